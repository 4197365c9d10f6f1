"""What the measures find on a page that has everything wrong."""

import pytest
from playwright.sync_api import Browser

from tests.browser import looking, windows

pytestmark = pytest.mark.browser
BAD = """<!DOCTYPE html><html lang="en"><title>Bad</title><main><h1>Bad</h1>
<style>button { outline: none !important }</style>
<button style="width: 10px; height: 10px; min-height: 0; padding: 0" aria-label="x"></button>
<div style="width: 3000px">wide</div>
<p style="color: #bbb; background: #fff">pale</p><input></main>"""


def test_each_measure_finds_what_it_is_for(chromium: Browser, service: str) -> None:
    with windows.opened(chromium, service, session=None) as page:
        page.set_content(BAD)
        broken = {(found.impact, found.rule) for found in looking.violations(page)}
        assert {("critical", "label"), ("serious", "color-contrast")} <= broken
        assert "wide" in looking.too_wide(page)[0]
        small = looking.small_controls(page)
        assert [line[:4] for line in small] == ["<but", "<inp"]
        assert small[0].endswith("10 x 10")
        assert ["button" in line for line in looking.unseen_focus(page)] == [True]


@pytest.mark.parametrize(
    "mistake",
    [
        "() => console.error('broken')",
        "() => { setTimeout(() => { throw new Error('broken') }) }",
        "() => fetch('/no/such/page/')",
        "() => { document.body.append(Object.assign(document.createElement('script'), {text: '1'})) }",
    ],
    ids=["console", "script", "missing", "policy"],
)
def test_what_goes_wrong_behind_a_page_fails_the_test(
    chromium: Browser, service: str, transactional_db: None, mistake: str
) -> None:
    with pytest.raises(AssertionError, match=r"broken|404 at|Content Security Policy"):
        stumble(chromium, service, mistake)


def stumble(chromium: Browser, service: str, mistake: str) -> None:
    with windows.opened(chromium, service, session=None) as page:
        page.goto("/sign-in/")
        page.evaluate(mistake)
        page.wait_for_timeout(100)  # what is heard comes a moment later
