"""What every test shares: which tests a database can run, and a clean database after each."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.db import connections, transaction
from django.db.backends.sqlite3.operations import DatabaseOperations

from tests import servers


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Tests that need a server are left out, not skipped, where there is none."""
    on_postgresql = "postgresql" in settings.DATABASES["default"]["ENGINE"]
    missing = set() if on_postgresql else {"postgres", "broker"}
    missing |= set() if settings.REDIS_URL else {"broker"}
    left_out = [item for item in items if missing & {mark.name for mark in item.iter_markers()}]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in left_out]


@pytest.fixture(scope="session", autouse=True)
def flush_past_triggers() -> Iterator[None]:
    """Emptying the tables after a test must pass the triggers that refuse to delete a fact."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(DatabaseOperations, "execute_sql_flush", flush_without_triggers)
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
def celery_worker(transactional_db: None) -> Iterator[None]:
    """A real worker over the test database, with an empty queue."""
    database = settings.DATABASES["default"]
    from_test = connections["default"].settings_dict["NAME"]
    assert settings.REDIS_URL is not None
    url = f"postgresql://{database['USER']}@/{from_test}?host={database['HOST']}"
    with servers.worker(url, settings.REDIS_URL):
        yield
