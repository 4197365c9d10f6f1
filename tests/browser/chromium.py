"""The Chromium of this machine: where it is, what is said where there is none, and how it starts."""

import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, sync_playwright

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
MISSING = f"the browser tests need Chromium, and none of {', '.join(NAMES)} is on the PATH"
MISSED = re.compile(rf"^SKIPPED \[(\d+)\] .*{re.escape(MISSING)}")


def find() -> str | None:
    """The first of NAMES that this machine has."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


def skipped(line: str) -> str:
    """What the test command says at its end, if this line of pytest tells of skipped ones."""
    told = MISSED.match(line)
    return f"{told[1]} tests were skipped: {MISSING}." if told else ""


def must_be_there() -> bool:
    """Whether a missing browser is a failure: CI that skips would say too much."""
    return bool(os.environ.get("CI"))


@contextmanager
def launched() -> Iterator[Browser]:
    """One browser without a window, for as long as it is needed."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find())
        try:
            yield browser
        finally:
            browser.close()
