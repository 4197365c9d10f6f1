"""Pictures of every page, for people to look at: `python -m tests.browser.screens FOLDER`.

The made-up shop is set up beside them in a file of its own, and each page that a link leads to is
taken once: three widths, light and dark, and a PDF as it would be printed.
"""

import argparse
import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.error import URLError
from urllib.parse import urlsplit
from urllib.request import urlopen

import django
from django.conf import settings
from django.urls import Resolver404, resolve
from playwright.sync_api import Browser, Page

from tests import servers
from tests.browser import addresses, chromium, windows

BASE_DIR = Path(__file__).resolve().parents[2]
WAIT_S = 600  # for the made-up shop to be set up
BEGINNINGS = ("/", "/search/?q=an", "/search/?q=01")  # names of owners, and tags of modules
OF_A_KIND = 2  # pages of one kind that are taken: there are hundreds of packs


@contextmanager
def demo(folder: Path) -> Iterator[str]:
    """The made-up shop, set up in that folder and served; its address."""
    address = f"127.0.0.1:{servers.free_port()}"
    environment = {**os.environ, "DATABASE_URL": f"sqlite:///{folder.resolve()}/demo.sqlite3"}
    command = [sys.executable, "manage.py", "demo", "--bind", address]
    with subprocess.Popen(command, cwd=BASE_DIR, env=environment) as running:
        try:
            wait_for(f"http://{address}/health/live", running)
            yield f"http://{address}"
        finally:
            running.terminate()


def wait_for(address: str, running: "subprocess.Popen[bytes]") -> None:
    last = time.monotonic() + WAIT_S
    while time.monotonic() < last and running.poll() is None:
        try:
            urlopen(address).close()
        except URLError:
            time.sleep(0.5)
        else:
            return
    raise SystemExit(f"nothing answers at {address}")


def sign_in(page: Page) -> None:
    """As the manager, who sees all."""
    rows = json.loads((BASE_DIR / "fixtures" / "sign_ins.json").read_text(encoding="utf-8"))
    (manager,) = [row for row in rows["sign_ins"] if row["role"] == "manager"]
    page.goto("/sign-in/")
    page.get_by_label("User name").fill(manager["user_name"])
    page.get_by_label("Password").fill(manager["password"])
    page.get_by_role("button", name="Sign in").click()


def kind_of(path: str) -> str:
    """The name of the page at that path; nothing if it is no page."""
    try:
        name = resolve(path).view_name
    except Resolver404:
        return ""
    known = name and not path.startswith(f"/{addresses.API}") and name not in addresses.NO_PAGES
    return name if known else ""


def walk(page: Page) -> Iterator[tuple[str, str]]:
    """Every page that links lead to, up to OF_A_KIND of each kind: its name and its path."""
    waiting, seen, taken = [*BEGINNINGS], {*BEGINNINGS}, dict.fromkeys(addresses.names(), 0)
    while waiting:
        path = waiting.pop(0)
        kind = kind_of(urlsplit(path).path)
        if not kind or taken[kind] >= OF_A_KIND:
            continue
        taken[kind] += 1
        page.goto(path)
        yield f"{kind}-{taken[kind]}", path
        links = page.eval_on_selector_all("a[href]", "all => all.map(a => a.getAttribute('href'))")
        for link in links:
            if link.startswith("/") and link not in seen:
                seen.add(link)
                waiting.append(link)


def take(browser: Browser, address: str, session: str, path: str, name: Path) -> None:
    """The page at each width and in each scheme, and as it is printed."""
    with windows.opened(browser, address, session=session) as page:
        page.goto(path)
        for width in windows.WIDTHS:
            page.set_viewport_size({"width": width, "height": windows.HEIGHT})
            for scheme in windows.SCHEMES:
                page.emulate_media(color_scheme=scheme)
                page.screenshot(path=f"{name}-{width}-{scheme}.png", full_page=True)
        page.emulate_media(media="print", color_scheme="light")
        page.pdf(path=f"{name}.pdf", format="A4", prefer_css_page_size=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    folder: Path = parser.parse_args().folder
    folder.mkdir(parents=True, exist_ok=True)
    with demo(folder) as address, chromium.launched() as browser:
        with windows.opened(browser, address, session=None) as page:
            sign_in(page)
            (session,) = [
                str(cookie.get("value"))
                for cookie in page.context.cookies()
                if cookie.get("name") == settings.SESSION_COOKIE_NAME
            ]
            found = list(walk(page))
        for name, path in found:
            take(browser, address, session, path, folder / re.sub(r"[^\w-]", "", name))
            print(f"{name}  {path}", flush=True)
    missing = set(addresses.EXAMPLES) - {name.rpartition("-")[0] for name, _ in found}
    print(f"{len(found)} pages in {folder}; no link led to: {', '.join(sorted(missing)) or 'none'}")


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    django.setup()
    main()
