"""Servers of their own for the tests of this folder, which kill, cross and break off."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from django.db import connection, connections

from tests import servers
from tests.conftest import url_of_test_database
from tests.faults.deaf import Deaf
from tests.faults.shop import Shop, opened, served

PACKS = 40


@pytest.fixture(scope="session")
def shop(django_db_setup: None) -> Iterator[Shop]:
    """Its tables are those of the tests' own database, which is migrated already."""
    with opened(PACKS, tables=servers.dump_tables(url_of_test_database())) as made:
        yield made


@pytest.fixture(scope="session")
def deaf(
    django_db_setup: None, request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Deaf]:
    """A sender to gunicorn over PostgreSQL, or to `serve` over SQLite."""
    if connection.vendor == "postgresql":
        shop: Shop = request.getfixturevalue("shop")
        yield Deaf(shop.port, shop.token)
        return
    file = tmp_path_factory.mktemp("served") / "shop.sqlite3"
    copy_test_database(file)
    with served(PACKS, file) as (port, token):
        yield Deaf(port, token)


def copy_test_database(file: Path) -> None:
    source = str(connections["default"].settings_dict["NAME"])
    with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(file)) as new:
        old.backup(new)
