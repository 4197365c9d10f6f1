"""Every page of a job for a gloved finger on a tablet: what is tapped is large, and text is too."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.browser import addresses, windows
from tests.browser.conftest import session_of

pytestmark = pytest.mark.browser
TARGET_PX = 48
TYPE_PX = 17
PLACES = [
    (name, place)
    for name, places in addresses.EXAMPLES.items()
    if name == "job" or name.startswith("job-")
    for place in places
]

SMALL = """least => {
  for (const part of document.querySelectorAll("main details")) part.open = true;
  const controls = "a[href], button, input:not([type=hidden]), select, textarea, summary";
  return [...document.querySelectorAll(controls)].flatMap(control => {
    if (!control.closest("main") || !control.checkVisibility()) return [];
    const boxes = [control, ...(control.labels || [])].map(one => one.getBoundingClientRect());
    const box = control.type === "checkbox" || control.type === "radio" ? boxes : boxes.slice(0, 1);
    const wide = Math.max(...box.map(one => one.right)) - Math.min(...box.map(one => one.left));
    const high = Math.max(...box.map(one => one.height));
    return wide + 0.5 >= least && high + 0.5 >= least
      ? [] : [`${Math.round(wide)} x ${Math.round(high)}: ${control.outerHTML.slice(0, 90)}`];
  });
}"""

TYPE = """least => {
  const typed = "main :is(label, input, select, textarea, button, p.say, li, legend)";
  return [...document.querySelectorAll(typed)].flatMap(part => {
    const size = parseFloat(getComputedStyle(part).fontSize);
    return part.checkVisibility() && size < least && !part.closest(".small, .hint")
      ? [`${size} px: ${part.outerHTML.slice(0, 90)}`] : [];
  });
}"""


@pytest.fixture(scope="module")
def page(chromium: Browser, service: str, standing: dict[str, str]) -> Iterator[Page]:
    with windows.opened(chromium, service, session=session_of("manager"), width=820) as opened:
        yield opened


@pytest.mark.parametrize(("name", "place"), PLACES, ids=[place for _, place in PLACES])
def test_what_is_tapped_is_large(
    page: Page, standing: dict[str, str], name: str, place: str
) -> None:
    page.goto(place.format(**standing))
    assert page.evaluate(SMALL, TARGET_PX) == []
    assert page.evaluate(TYPE, TYPE_PX) == []
