"""A tablet at one job: its pages, filled in by tapping, or by a scanner and nothing else."""

from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

from django.utils import timezone
from playwright.sync_api import Locator, Page

from tests import eleven
from tests.browser import shop
from tests.browser.hands import SCANNER_KEY_MS

STOPS_MAX = 80  # fields that a scanner goes past on one page
YES = "yes"  # what a card says that ticks a box or presses a button


def car_here() -> str:
    """The shop with its car, which came this morning; the id of the visit."""
    office, now = shop.Office(), timezone.now()
    for resource, body in eleven.setting(now):
        office.post(resource, body)
    here = {"vehicle": eleven.VIN, "opened_at": (now - timedelta(hours=6)).isoformat()}
    return office.post("visits", {**here, "complaint": "lamp on the hill"})


def locked_out() -> str:
    """As `car_here`, and its pack is locked out since an hour; the id of the visit."""
    visit, office = car_here(), shop.Office()
    done = dict.fromkeys(("key_away", "twelve_v_off", "switch_out", "covers"), True)
    worn = ("gloves_air_tested", "protectors", "eye_protection", "insulated_tools")
    read = {"plus_minus_v": 0.4, "plus_case_v": 0.1, "minus_case_v": -0.2}
    office.post(
        "lock-outs",
        {"visit": visit, "at": shop.ago(hours=1), "done_by": "kim", "switch_kept_by": "kim",
         "done": done, "worn": dict.fromkeys(worn, True), "waited_min": 12, "meter": "DMM-1",
         "source_v": 12.6, "source_before_v": 12.6, "source_after_v": 12.5, "readings": read,
         "gloves": "G-NEW"},
    )  # fmt: skip
    return visit


class Tablet:
    """One page of the job at a time."""

    def __init__(self, page: Page, visit: str) -> None:
        self.page, self.visit = page, visit

    def go(self, step: str = "", query: str = "") -> None:
        where = f"{step}/" if step else ""
        self.page.goto(f"/visits/{self.visit}/job/{where}{query}")

    def box(self, name: str) -> Locator:
        return self.page.locator(f'form.entry [name="{name}"]:visible').first

    def fill(self, said: Mapping[str, Any]) -> None:
        """Each field by its name: True ticks, a list ticks or fills one after the other."""
        for name, value in said.items():
            box = self.box(name)
            if value is True:
                box.check()
            elif box.evaluate("one => one.tagName") == "SELECT":
                box.select_option(value=str(value))
            else:
                box.fill(str(value))

    def store(self, said: Mapping[str, Any], button: str, done_by: str = "kim") -> None:
        """Fill it in, press the button, and wait until the page has its answer."""
        self.fill({"done_by": done_by, **said})
        self.press(button)

    def press(self, button: str) -> None:
        with self.page.expect_response(lambda one: one.request.method == "POST"):
            self.page.get_by_role("button", name=button, exact=True).first.click()
        self.settle()

    def settle(self) -> None:
        """Until what was sent is shown."""
        self.page.wait_for_function("() => !document.querySelector('form[data-busy]')")
        self.page.wait_for_load_state()

    def check(self, step: str, condition: str, volts: Sequence[float]) -> None:
        self.go(step, f"?condition={condition}&level=block")
        said = {f"voltages_v__{at}": volt for at, volt in enumerate(volts)}
        current = eleven.LOAD_A if condition == "load" else 0
        self.store({"current_a": current, "temperature_c": 23, **said}, "Store the check")

    def scan(self, said: Mapping[str, str], ending: str = "Enter") -> None:
        """A scanner alone: code by code, past what stays empty, and the card that stores it."""
        for name, code in said.items():
            self.past_to("one => one.name", name, ending)
            self.page.keyboard.type(code, delay=SCANNER_KEY_MS)
            self.page.keyboard.press(ending)
        self.past_to("one => one.type", "submit", ending)
        with self.page.expect_response(lambda one: one.request.method == "POST"):
            self.page.keyboard.type(YES, delay=SCANNER_KEY_MS)
            self.page.keyboard.press(ending)
        self.settle()

    def past_to(self, asked: str, wanted: str, ending: str) -> None:
        """A card with nothing but the ending on it goes on to the next field."""
        for _ in range(STOPS_MAX):
            if self.page.evaluate(f"() => ({asked})(document.activeElement)") == wanted:
                return
            self.page.keyboard.press(ending)
        raise AssertionError(f"the scanner does not come to {wanted}")

    def keep(self, said: Mapping[str, Any], button: str, done_by: str = "kim") -> None:
        """As `store`, where there is no network to answer."""
        self.fill({"done_by": done_by, **said})
        self.page.get_by_role("button", name=button, exact=True).first.click()

    def strip(self) -> Locator:
        """What is said of the network and of what this tablet keeps."""
        return self.page.locator("[data-away]")

    def others(self) -> Locator:
        """What is said of entries of other tablets."""
        return self.page.locator("[data-others]")

    def says(self) -> str:
        return " ".join(self.page.get_by_role("main").inner_text().split())

    def wrong(self) -> str:
        """What the summary of errors says."""
        return " ".join(self.page.get_by_role("alert").inner_text().split())
