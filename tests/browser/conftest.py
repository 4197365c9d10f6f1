"""A browser, the service it looks at, a shop to look at, and windows for the roles."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import setup_databases, teardown_databases
from playwright.sync_api import Browser, Page
from pytest_django.live_server_helper import LiveServer
from pytest_django.plugin import DjangoDbBlocker

from packs.models import Account
from tests import pages
from tests.browser import chromium as machine
from tests.browser import shop, windows
from tests.browser.hands import HANDS, Hand

Open = Callable[..., Page]
Take = Callable[..., Hand]


@pytest.fixture(scope="package")
def chromium() -> Iterator[Browser]:
    """The one browser of all these tests."""
    if machine.find() is None:
        refuse = pytest.fail if machine.must_be_there() else pytest.skip
        refuse(machine.MISSING)
    with pytest.MonkeyPatch.context() as patch, machine.launched() as browser:
        # Its event loop makes Django believe that the tests themselves run in one.
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        yield browser


@pytest.fixture(scope="package")
def database(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """The database of the tests, which pytest-django makes only where a test bears its mark."""
    known = connection.settings_dict
    if known["NAME"] == known["TEST"]["NAME"]:
        yield
        return
    with django_db_blocker.unblock():
        made = setup_databases(verbosity=0, interactive=False)
        yield
        teardown_databases(made, verbosity=0)


@pytest.fixture(scope="package")
def service(database: None) -> Iterator[str]:
    """The service over the test database; the address it answers at."""
    server = LiveServer("127.0.0.1")
    yield server.url
    server.stop()


@pytest.fixture(scope="package")
def standing(
    chromium: Browser, database: None, django_db_blocker: DjangoDbBlocker
) -> Iterator[dict[str, str]]:
    """One shop for all tests that only look, and the keys of what is in it.

    They bear no mark of the database, so that they come after those that empty it.
    """
    with django_db_blocker.unblock():
        yield shop.stand()
        call_command("flush", interactive=False, verbosity=0)


def session_of(role: str) -> str:
    """The cookie of somebody with that role who is signed in."""
    client, known = Client(), Account.objects.filter(username=role).first()
    client.force_login(known or pages.account(role))
    return client.cookies[settings.SESSION_COOKIE_NAME].value


@pytest.fixture
def window(request: pytest.FixtureRequest, chromium: Browser, service: str) -> Iterator[Open]:
    """`window(role, width=…, scheme=…, script=…)` opens one; no role: nobody is signed in."""
    if "standing" not in request.fixturenames:
        request.getfixturevalue("transactional_db")
    with ExitStack() as stack:

        def opened(role: str = "", **wishes: Any) -> Page:
            session = session_of(role) if role else None
            shown = windows.opened(chromium, service, session=session, **wishes)
            return stack.enter_context(shown)

        yield opened


@pytest.fixture(params=HANDS, ids=lambda kind: str(kind.name))
def take(request: pytest.FixtureRequest, window: Open) -> Take:
    """`take(role)` gives a hand on a window of its own; each test runs once for each hand."""
    kind: type[Hand] = request.param

    def taken(role: str, **wishes: Any) -> Hand:
        return kind(window(role, script=kind.script, **wishes))

    return taken
