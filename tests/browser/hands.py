"""Ways to work a page: a mouse, the keyboard alone, a scanner, a browser without script."""

import re
from typing import ClassVar

from playwright.sync_api import Error, Locator, Page

SCANNER_KEY_MS = 5  # between two characters of a scanner; common practice, no source
TABS_MAX = 250  # nothing on a page lies further than that many presses of Tab
OPTIONS_MAX = 200
PARTS_MAX = 6  # of a date with its time


def begins(words: str) -> re.Pattern[str]:
    """A label by how it begins: a hint such as “if known” may follow."""
    return re.compile(rf"^\s*{re.escape(words)}")


class Hand:
    """What people do on a page, by the words they read on it. This one is a mouse."""

    name: ClassVar[str] = "mouse"
    script: ClassVar[bool] = True
    ending: ClassVar[str] = ""  # the key that ends what is scanned

    def __init__(self, page: Page) -> None:
        self.page = page

    def open(self, address: str) -> None:
        self.page.goto(address)

    def field(self, label: str, group: str = "") -> Locator:
        """The field of that label; where several bear it, the one in that group."""
        within = self.page.get_by_role("group", name=group, exact=True) if group else self.page
        return within.get_by_label(begins(label)).first

    def button(self, name: str) -> Locator:
        return self.page.get_by_role("button", name=name, exact=True).first

    def link(self, name: str) -> Locator:
        return self.page.get_by_role("link", name=name).first

    def summary(self, words: str) -> Locator:
        return self.page.locator("summary", has_text=words).first

    def radio(self, option: str, group: str) -> Locator:
        within = self.page.get_by_role("group", name=begins(group))
        return within.get_by_role("radio", name=begins(option))

    def told(self) -> Locator:
        """What the page says of the thing just done."""
        return self.page.get_by_role("main").get_by_role("status").first

    def reach(self, target: Locator) -> None:
        """Bring the focus there."""
        target.click()

    def write(self, label: str, text: str, group: str = "") -> None:
        """Write into the field of that label, in place of what it holds."""
        self.reach(self.field(label, group))
        self.page.keyboard.press("ControlOrMeta+A")
        self.page.keyboard.type(text)

    def scan(self, label: str, code: str) -> None:
        """Bring a code into a field; who has no scanner types it."""
        self.write(label, code)

    def ask(self, label: str, text: str, button: str) -> None:
        """Bring a text into the one box of a form, and send it."""
        self.write(label, text)
        self.press(button)

    def search(self, text: str) -> None:
        """Use the box on every page."""
        self.ask("Find", text, "Search")

    def moment(self, label: str, said: str) -> None:
        """Set a date, or a date and a time, given as 2026-11-20 or 2026-11-20T09:30."""
        self.field(label).fill(said)

    def pick(self, label: str, option: str, group: str = "") -> None:
        """Pick from a list of choices."""
        self.field(label, group).select_option(label=option)

    def choose(self, option: str, group: str) -> None:
        """Choose one of a few that all stand there."""
        self.radio(option, group).check()

    def tick(self, label: str) -> None:
        self.field(label).check()

    def attach(self, label: str, path: str) -> None:
        """Give a file; the window of the system in which it is picked is not ours."""
        self.field(label).set_input_files(path)

    def press(self, name: str) -> None:
        """Press a button."""
        self.button(name).click()

    def follow(self, name: str) -> None:
        """Follow a link."""
        self.link(name).click()

    def unfold(self, words: str) -> None:
        """Open what is folded away under these words."""
        self.summary(words).click()


class Keyboard(Hand):
    """Tab, arrows, Space, Enter and typing; the mouse is not touched."""

    name = "keyboard"

    def reach(self, target: Locator) -> None:
        target.wait_for()
        self.tab_until(target, "there => there === document.activeElement")

    def tab_until(self, target: Locator, reached: str) -> None:
        for _ in range(TABS_MAX):
            if target.evaluate(reached):
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"Tab does not come to {target}")

    def ask(self, label: str, text: str, button: str) -> None:
        self.write(label, text)
        self.page.keyboard.press("Enter")

    def moment(self, label: str, said: str) -> None:
        """The browser shows in which order it takes day, month and year; here each is tried."""
        field = self.field(label)
        self.reach(field)
        date, _, time = said.partition("T")
        year, month, day = date.split("-")
        for digits in (f"{month}{day}{year}", f"{day}{month}{year}", f"{year}{month}{day}"):
            for _ in range(PARTS_MAX):
                self.page.keyboard.press("ArrowLeft")
            self.page.keyboard.type(digits)
            if time:
                self.page.keyboard.press("ArrowRight")
                self.page.keyboard.type(time.replace(":", ""))
            if field.input_value() == said:
                return
        raise AssertionError(f"{label} does not take {said}")

    def pick(self, label: str, option: str, group: str = "") -> None:
        field = self.field(label, group)
        self.reach(field)
        self.page.keyboard.press("Home")
        for _ in range(OPTIONS_MAX):
            if field.evaluate("list => list.selectedOptions[0].label.trim()") == option:
                return
            self.page.keyboard.press("ArrowDown")
        raise AssertionError(f"the arrows do not come to {option}")

    def choose(self, option: str, group: str) -> None:
        radio = self.radio(option, group)
        radio.wait_for()
        self.tab_until(radio, "one => one.name === document.activeElement.name")
        self.page.keyboard.press("Space")
        for _ in range(OPTIONS_MAX):
            if radio.is_checked():
                return
            self.page.keyboard.press("ArrowDown")
        raise AssertionError(f"the arrows do not come to {option}")

    def tick(self, label: str) -> None:
        box = self.field(label)
        self.reach(box)
        if not box.is_checked():
            self.page.keyboard.press("Space")

    def press(self, name: str) -> None:
        self.reach(self.button(name))
        self.page.keyboard.press("Enter")

    def follow(self, name: str) -> None:
        self.reach(self.link(name))
        self.page.keyboard.press("Enter")

    def unfold(self, words: str) -> None:
        self.reach(self.summary(words))
        self.page.keyboard.press("Enter")


class Scanner(Hand):
    """Codes come from a scanner that ends each with Enter; the rest by tapping."""

    name = "scanner, Enter"
    ending = "Enter"

    def scan(self, label: str, code: str) -> None:
        self.reach(self.field(label))
        self.page.keyboard.press("ControlOrMeta+A")
        self.page.keyboard.type(code, delay=SCANNER_KEY_MS)
        self.page.keyboard.press(self.ending)
        self.page.wait_for_load_state()

    def ask(self, label: str, text: str, button: str) -> None:
        self.scan(label, text)


class TabScanner(Scanner):
    """A scanner that ends each code with Tab."""

    name = "scanner, Tab"
    ending = "Tab"

    def ask(self, label: str, text: str, button: str) -> None:
        """Tab sends the box; without that it comes to the button, which Enter then presses."""
        self.scan(label, text)
        if self.has_focus(button):
            self.page.keyboard.press("Enter")

    def has_focus(self, button: str) -> bool:
        try:
            return bool(self.page.evaluate("() => document.activeElement.innerText") == button)
        except Error:  # the page is being left
            return False


class NoScript(Hand):
    """A browser that runs no script."""

    name = "no script"
    script = False


HANDS: tuple[type[Hand], ...] = (Hand, Keyboard, Scanner, TabScanner, NoScript)
PLAIN: tuple[type[Hand], ...] = (Hand, Keyboard, NoScript)  # where nothing is scanned
