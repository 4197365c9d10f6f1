"""What a new fact costs: its own pack. What a fit costs: one row a pack, and the records of those
that something was recorded about since."""

import re
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from packs.models import Pack, PackType
from packs.writes import pack_types, voiding
from reports.models import Outlook, PackStatistics, StoredFit
from reports.reads import knowledge
from reports.writes import fits, fleet_work, outlooks
from tests import world
from tests.reports import ageing
from tests.reports.test_fleet_work import numbers, two_types, whole

pytestmark = pytest.mark.django_db

NOW = world.later(days=1200)


def stored(serial: str) -> Pack:
    return Pack.objects.get(serial=serial)


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The serials whose records a fit reads, as it reads them."""
    seen: list[str] = []
    known = knowledge.known

    def watched(views: Any) -> Any:
        seen.extend(view.pack.serial for view in views)
        return known(views)

    monkeypatch.setattr(fits, "known", watched)
    return seen


def refitted(at: datetime = NOW, as_of: datetime | None = None) -> StoredFit:
    return fleet_work.fit_fleet(at=at, as_of=as_of)


def as_from_records(fit: StoredFit) -> bool:
    """Whether the fit is the one that all the records give, none of it kept."""
    anew = whole(fit.facts_through)
    return list(numbers(fit.parameters)) == pytest.approx(anew, rel=1e-9, abs=1e-12)


def test_a_second_fit_reads_no_records(read: list[str]) -> None:
    two_types()
    first = refitted()
    assert len(read) == 15
    assert PackStatistics.objects.count() == 15
    read.clear()
    again = refitted(NOW + timedelta(hours=1))
    assert read == []
    assert (again.packs, first.packs) == (14, 14)
    assert as_from_records(again)


def test_a_new_check_a_late_one_and_a_void_cost_their_own_packs(read: list[str]) -> None:
    ageing.fleet(6)
    refitted()
    read.clear()
    ageing.record(stored("TP-0001"), 1150, 0.6)
    ageing.record(stored("TP-0003"), 300, 0.2)  # late: before others that are recorded
    wrong = ageing.record(stored("TP-0004"), 1151, 2.0)
    voiding.void(wrong, by=world.actor(), at=world.later(days=1152), reason="another pack")
    fit = refitted(NOW + timedelta(hours=1))
    assert sorted(read) == ["TP-0001", "TP-0003", "TP-0004"]
    assert as_from_records(fit)


def test_a_changed_limit_costs_the_packs_of_its_type(read: list[str]) -> None:
    two_types()
    refitted()
    read.clear()
    pack_types.change_pack_type(
        PackType.objects.get(code="NM-28B"),
        by=world.actor(),
        at=NOW,
        version=1,
        changes={"load_spread_limit_v": 0.9},
    )
    fit = refitted(NOW + timedelta(hours=1))
    assert sorted(read) == ["TP-b1", "TP-b2", "TP-b3"]
    assert fit.packs == 14


def test_a_fit_to_a_past_instant_takes_what_is_wholly_before_it(read: list[str]) -> None:
    ageing.fleet(4)
    ageing.record(stored("TP-0002"), 1100, 0.6)
    refitted()
    read.clear()
    fit = refitted(as_of=world.later(days=1000))
    assert read == ["TP-0002"]
    assert as_from_records(fit)
    kept = PackStatistics.objects.get(pack__serial="TP-0002")
    assert kept.last_day == pytest.approx(world.later(days=1100).timestamp() / 86_400)


def test_what_is_recorded_while_a_fit_is_under_way_is_not_in_it(read: list[str]) -> None:
    ageing.fleet(4)
    work = fleet_work.ask_fit(at=world.later(days=700))
    ageing.record(stored("TP-0001"), 701, 0.9)
    while fleet_work.advance(at=world.later(days=702), work=work):
        pass
    work.refresh_from_db()
    assert work.fit is not None
    assert as_from_records(work.fit)
    kept = set(PackStatistics.objects.values_list("pack__serial", flat=True))
    assert kept == {"TP-0000", "TP-0002", "TP-0003"}
    read.clear()
    fit = refitted(NOW)
    assert read == ["TP-0001"]
    assert as_from_records(fit)


def test_an_older_revision_never_takes_the_place_of_a_newer_one() -> None:
    ageing.fleet(2)
    refitted()
    PackStatistics.objects.update(revision=100)
    with connection.cursor() as cursor:
        row = PackStatistics.objects.values_list(
            "pack_id", "revision", "ratings", "group", "last_day", "builds", "landmarks",
            "followed", "figures",
        ).earliest("pk")  # fmt: skip
        cursor.execute(fits.KEEP, [row[0], 99, *row[2:-1], bytes(row[-1])])
    assert set(PackStatistics.objects.values_list("revision", flat=True)) == {100}


def queries_of_an_outlook(serial: str, at: datetime) -> list[str]:
    with CaptureQueriesContext(
        connection,
    ) as caught:
        assert outlooks.work_out([stored(serial).pk], at=at) == 1
    return [query["sql"] for query in caught.captured_queries]


def test_a_new_check_costs_as_much_whatever_the_fleet_and_the_past() -> None:
    """The same queries for one pack of three as of one of nine with six times the checks, and
    every one that reads or writes facts names the one pack."""
    ageing.fleet(3)
    fits.prior()
    outlooks.work_out([*Pack.objects.values_list("pk", flat=True)], at=NOW)
    ageing.record(stored("TP-0001"), 1190, 0.5)
    few = queries_of_an_outlook("TP-0001", NOW + timedelta(hours=1))
    for number in range(20):
        ageing.record(stored("TP-0001"), 1191 + number / 10, 0.5)
    kind = PackType.objects.get()
    for number in range(6):
        ageing.drifting_pack(f"TP-more-{number}", kind)
    outlooks.work_out([*Pack.objects.values_list("pk", flat=True)], at=NOW + timedelta(hours=2))
    ageing.record(stored("TP-0001"), 1195, 0.5)
    others = list(Outlook.objects.exclude(pack__serial="TP-0001").values())
    many = queries_of_an_outlook("TP-0001", NOW + timedelta(hours=3))
    assert len(many) == len(few) <= 24
    assert list(Outlook.objects.exclude(pack__serial="TP-0001").values()) == others
    number = stored("TP-0001").pk
    of_packs = [sql for sql in many if "pack_id" in sql and "INSERT" not in sql]
    assert of_packs
    named = re.compile(rf"pack_id\" (IN|= ANY).*[\[{{]{number}[\]}}]")
    assert [sql for sql in of_packs if not named.search(sql)] == []
