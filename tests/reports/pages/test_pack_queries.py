"""The page of a pack costs as many queries for a hundred checks as for ten."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from packs.models import HistoryEntry, Pack
from reports.writes import outlooks
from tests.pages import signed_in, text
from tests.reports.pages.full import full_pack

pytestmark = pytest.mark.django_db
MOST = 13  # with those of the session and of who is signed in


def queries(client: Client, pack: Pack) -> list[str]:
    """The tables that the page reads from first, query by query, nothing being owed."""
    outlooks.present(pack, at=timezone.now())
    text(client, f"/packs/{pack.serial}/")
    with CaptureQueriesContext(connection) as captured:
        text(client, f"/packs/{pack.serial}/")
    return [query["sql"].partition(" FROM ")[2].split()[0] for query in captured]


def test_the_queries_are_few_and_do_not_grow() -> None:
    few, many = full_pack(10, 12, "TP-0010"), full_pack(100, 40, "TP-0100")
    assert HistoryEntry.objects.filter(pack=many).count() == 40
    client = signed_in("desk")
    of_few, of_many = queries(client, few), queries(client, many)
    assert of_many == of_few
    assert len(of_many) <= MOST, of_many
    assert of_many[0] == '"django_session"'


def test_the_sheet_costs_no_more() -> None:
    pack = full_pack(10)
    client = signed_in("desk")
    outlooks.present(pack, at=timezone.now())
    with CaptureQueriesContext(connection) as captured:
        text(client, f"/packs/{pack.serial}/sheet/")
    assert len(captured) <= MOST
