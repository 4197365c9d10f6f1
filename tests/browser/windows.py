"""A window on the service as somebody has it, and what must never happen in one."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Literal

from django.conf import settings
from playwright.sync_api import Browser, ConsoleMessage, Page, Response

WIDTHS = (390, 820, 1280)  # a telephone, a tablet at the bench, a desk
HEIGHT = 900
PATIENCE_MS = 10_000  # two cores may be shared
EXPECTED = ("the server responded with a status of", "net::ERR_INTERNET_DISCONNECTED")
Scheme = Literal["light", "dark"]
SCHEMES: tuple[Scheme, ...] = ("light", "dark")


@dataclass
class Faults:
    """What went wrong behind a page that may still look well."""

    found: list[str] = field(default_factory=list)

    def heard(self, message: ConsoleMessage) -> None:
        """Errors of scripts and of the content policy; a refused page is not one of them, nor is
        a network that a test cut."""
        expected = any(words in message.text for words in EXPECTED)
        if message.type == "error" and not expected:
            self.found.append(f"console: {message.text}")

    def answered(self, response: Response) -> None:
        """A page may be refused, and so may a form that a script sends in its place; what a page
        loads may not, and nothing may break."""
        is_page = response.request.is_navigation_request() or response.request.method == "POST"
        if response.status >= (500 if is_page else 400):
            self.found.append(f"{response.status} at {response.url}")

    def watch(self, page: Page) -> None:
        page.on("console", self.heard)
        page.on("response", self.answered)
        page.on("pageerror", lambda error: self.found.append(f"script: {error}"))


@contextmanager
def opened(
    browser: Browser,
    address: str,
    *,
    session: str | None,
    width: int = 1280,
    scheme: Scheme = "light",
    script: bool = True,
) -> Iterator[Page]:
    """A window at that address; fails at its end if anything went wrong behind it."""
    context = browser.new_context(
        base_url=address,
        viewport={"width": width, "height": HEIGHT},
        color_scheme=scheme,
        java_script_enabled=script,
        locale="en-GB",
        reduced_motion="reduce",
    )
    context.set_default_timeout(PATIENCE_MS)
    if session:
        cookie = {"name": settings.SESSION_COOKIE_NAME, "value": session, "url": address}
        context.add_cookies([cookie])  # type: ignore[list-item]  # a TypedDict of the same keys
    page, faults = context.new_page(), Faults()
    faults.watch(page)
    try:
        yield page
    finally:
        context.close()
    assert not faults.found, "; ".join(faults.found)
