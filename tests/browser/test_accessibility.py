"""Every page at every width, light and dark: WCAG 2.2 AA as far as a machine can tell."""

from collections.abc import Iterator, Sequence
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser import addresses, looking, windows
from tests.browser.conftest import session_of

FORM = "form.entry"
GRAVE = {"serious", "critical"}
SHOWN = [(name, place) for name, places in addresses.EXAMPLES.items() for place in places]


@pytest.fixture(scope="module")
def page(chromium: Browser, service: str, standing: dict[str, str]) -> Iterator[Page]:
    session = session_of("manager")
    with windows.opened(chromium, service, session=session) as opened:
        yield opened


@pytest.fixture(scope="module")
def stranger(chromium: Browser, service: str, standing: dict[str, str]) -> Iterator[Page]:
    with windows.opened(chromium, service, session=None) as opened:
        yield opened


def look(page: Page, widths: Sequence[int] = windows.WIDTHS) -> list[str]:
    """Everything wrong with the page that stands there, at each width and in each scheme."""
    wrong = []
    looking.load_pictures(page)
    for width in widths:
        page.set_viewport_size({"width": width, "height": windows.HEIGHT})
        said: list[Any] = looking.too_wide(page) + looking.small_controls(page)
        for scheme in windows.SCHEMES:
            page.emulate_media(color_scheme=scheme)
            rules = looking.TAGS if scheme == "light" else looking.OF_COLOUR
            for found in looking.violations(page, rules):
                if found.impact in GRAVE:
                    said.append(f"{scheme} {found}")
                else:
                    print(f"{page.url} {width} {scheme} {found}")
        said += looking.unseen_focus(page)
        wrong += [f"{width} px: {line}" for line in said]
    page.set_viewport_size({"width": looking.NARROWEST_PX, "height": windows.HEIGHT})
    return wrong + looking.too_wide(page)


def test_every_page_is_looked_at() -> None:
    known = set(addresses.EXAMPLES) | set(addresses.NO_PAGES)
    assert set(addresses.names()) == known


@pytest.mark.browser
@pytest.mark.parametrize(("name", "place"), SHOWN, ids=[f"{name}-{place}" for name, place in SHOWN])
def test_a_page_can_be_used_by_everybody(
    page: Page, standing: dict[str, str], name: str, place: str
) -> None:
    answer = page.goto(place.format(**standing))
    assert answer is not None
    assert answer.status == 200
    assert look(page) == []
    if page.locator(FORM).count():
        send_empty(page)
        assert look(page, windows.WIDTHS[:1]) == []


def send_empty(page: Page) -> None:
    """What is refused is a page as well: its errors, and the way from them to the fields."""
    page.eval_on_selector_all(
        f"{FORM} :is(input:not([type=hidden]), textarea)",
        "all => all.forEach(box => { box.type === 'radio' ? box.checked = false : box.value = '' })",
    )
    page.locator(FORM).get_by_role("button").last.click()
    page.wait_for_load_state()


@pytest.mark.browser
@pytest.mark.parametrize("place", addresses.OPEN)
def test_a_page_for_strangers_can_be_used_by_everybody(stranger: Page, place: str) -> None:
    stranger.goto(place)
    assert look(stranger) == []


@pytest.mark.browser
def test_the_list_under_the_box_can_be_used_by_everybody(
    page: Page, standing: dict[str, str]
) -> None:
    page.goto("/today/")
    page.get_by_label("Find").click()
    page.keyboard.type("tp-01", delay=50)
    expect(page.get_by_role("option").first).to_be_visible()
    assert [str(found) for found in looking.violations(page) if found.impact in GRAVE] == []
    assert looking.too_wide(page) == []
