"""What every test shares: which tests a database can run, and a clean database after each."""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit, urlunsplit

import pytest
from django.conf import settings
from django.db import connections, transaction
from django.db.backends.sqlite3.base import DatabaseWrapper

from shop.celery import app
from tests import servers

HERE = Path(__file__).parent
PURE = (HERE / "packs" / "rules", HERE / "reports" / "trends")  # these know no database


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Tests that need a server are left out, not skipped, where there is none.

    The browser looks once, on SQLite, and last: it is slow, and its event loop stays with it. What
    is pure arithmetic runs once as well.
    """
    on_postgresql = "postgresql" in settings.DATABASES["default"]["ENGINE"]
    missing = {"browser"} if on_postgresql else {"postgres", "broker"}
    missing |= set() if settings.REDIS_URL else {"broker"}
    left_out = [
        item
        for item in items
        if missing & {mark.name for mark in item.iter_markers()}
        or (on_postgresql and any(item.path.is_relative_to(folder) for folder in PURE))
    ]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
    kept = [item for item in items if item not in left_out]
    items[:] = sorted(kept, key=lambda item: item.get_closest_marker("browser") is not None)


@pytest.fixture(scope="session", autouse=True)
def flush_past_triggers() -> Iterator[None]:
    """Emptying the tables after a test must pass the triggers that refuse to delete a fact."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(DatabaseWrapper.ops_class, "execute_sql_flush", flush_without_triggers)
        yield


def flush_without_triggers(operations: Any, statements: list[str]) -> None:
    """SQLite only: PostgreSQL truncates, which its row triggers do not see."""
    alias = operations.connection.alias
    with transaction.atomic(using=alias), connections[alias].cursor() as cursor:
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        triggers = cursor.fetchall()
        for name, _ in triggers:
            cursor.execute(f'DROP TRIGGER "{name}"')
        for statement in statements:
            cursor.execute(statement)
        for _, text in triggers:
            cursor.execute(text)


@pytest.fixture
def celery_worker(transactional_db: None) -> Iterator[Path]:
    """A real worker over the test database, begun with an empty queue; yields its log."""
    assert settings.REDIS_URL is not None
    app.control.purge()
    with servers.worker(url_of_test_database(), settings.REDIS_URL) as log:
        yield log


def url_of_test_database() -> str:
    """The URL of the database that this run of the tests made for itself."""
    given = urlsplit(os.environ["DATABASE_URL"])
    name = quote(str(connections["default"].settings_dict["NAME"]))
    return urlunsplit(given._replace(path=f"/{name}"))
