"""Outlooks: worked out when owed, kept as given, made again from the records as they stood."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from packs.models import Failure, Pack, PackType, PackTypeVersion
from packs.reads import names
from packs.writes import checks, pack_types, voiding
from packs.writes.failures import record_failure
from packs.writes.inspections import record_inspection
from reports.models import Outlook, StoredFit
from reports.reads import outlooks as reading
from reports.writes import fits, fleet_work, outlooks
from tests import world
from tests.reports import ageing

pytestmark = pytest.mark.django_db

NOW = world.later(days=1200)
LONG_AFTER = world.later(days=5000)


def stored(serial: str) -> Pack:
    return names.packs().get(serial=serial)


def figures(outlook: Outlook) -> dict[str, Any]:
    """What an outlook says, without where it is kept."""
    left_out = {"id", "told_until", "known_at"}
    fields = [field.attname for field in outlook._meta.concrete_fields]
    return {name: getattr(outlook, name) for name in fields if name not in left_out}


def test_a_check_changes_the_outlook_when_it_is_asked_for() -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    before = outlooks.present(pack, at=NOW)
    ageing.record(pack, 1150, 0.9)
    after = outlooks.present(stored("TP-1"), at=NOW + timedelta(hours=1))
    assert (before.pack_revision, after.pack_revision) == (4, 5)
    assert after.p180 > before.p180
    assert after.weakest_position == 7


def test_asked_twice_it_is_worked_out_once() -> None:
    pack = ageing.drifting_pack("TP-1")
    first = outlooks.present(pack, at=NOW)
    again = outlooks.present(stored("TP-1"), at=NOW + timedelta(hours=1))
    assert again.pk == first.pk


def test_after_a_day_it_is_looked_at_anew_and_told_anew_once_it_says_something_else() -> None:
    pack = ageing.drifting_pack("TP-1")
    first = outlooks.present(pack, at=NOW)
    soon, later = NOW + timedelta(days=1, seconds=1), NOW + timedelta(days=20)
    assert outlooks.present(stored("TP-1"), at=soon).pk == first.pk
    assert stored("TP-1").estimate_due_at == soon + timedelta(days=1)
    other = outlooks.present(stored("TP-1"), at=later)
    assert other.pk != first.pk
    assert other.as_of == later
    assert abs(other.p180 - first.p180) > 0.01 * first.p180


def test_what_says_the_same_is_told_for_a_week_and_made_anew_where_that_is_asked() -> None:
    world.pack("TP-1")
    number = stored("TP-1").pk
    assert outlooks.work_out([number], at=NOW) == 1
    assert outlooks.work_out([number], at=NOW + timedelta(days=6)) == 0
    assert outlooks.work_out([number], at=NOW + timedelta(days=6), anew=True) == 1
    assert outlooks.work_out([number], at=NOW + timedelta(days=12)) == 0
    assert outlooks.work_out([number], at=NOW + timedelta(days=13)) == 1


def test_a_new_fact_is_always_told() -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=2)
    outlooks.present(pack, at=NOW)
    world.check(stored("TP-1"), at=NOW + timedelta(hours=1))  # at rest: it changes no figure
    told = outlooks.present(stored("TP-1"), at=NOW + timedelta(hours=2))
    assert told.pack_revision == stored("TP-1").revision
    assert Outlook.objects.count() == 2


def test_a_pack_without_checks_gets_the_prior() -> None:
    world.pack("TP-1")
    told = outlooks.present(stored("TP-1"), at=NOW)
    assert told.level == "too_little_data"
    assert told.limit_reached_on is None
    assert told.spread_now_v is None
    assert 0 < told.p30 < told.p90 < told.p180 < told.p365 < 1
    assert told.fit.packs == 0


def test_a_check_without_pair_far_from_the_reference_is_not_compared() -> None:
    pack = world.pack("TP-1")
    for day in (1, 2, 3):
        ageing.record(pack, day, 0.3, current_a=5.0)
    told = outlooks.present(stored("TP-1"), at=NOW)
    assert (told.level, told.checks_used) == ("too_little_data", 0)


def test_what_was_given_is_given_again() -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=4)
    given = outlooks.present(pack, at=NOW)
    ageing.record(pack, 600, 0.8)  # late: dated before what was given, learnt after
    Pack.objects.filter(serial="TP-1").update()
    outlooks.present(stored("TP-1"), at=NOW + timedelta(days=2))
    then = given.as_of
    assert (
        outlooks.seen_from(stored("TP-1"), as_of=then, known_at=then, at=LONG_AFTER).pk == given.pk
    )


def test_as_of_counts_what_was_learnt_later_and_known_at_does_not() -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    then = world.later(days=400)
    known_then = outlooks.seen_from(stored("TP-1"), as_of=then, known_at=then, at=LONG_AFTER)
    late = ageing.load_entry(pack, world.later(days=390), 0.9)
    checks.record(by=world.actor(), at=world.later(days=900), entry=late)
    now_known = outlooks.seen_from(stored("TP-1"), as_of=then, known_at=NOW, at=LONG_AFTER)
    again = outlooks.seen_from(stored("TP-1"), as_of=then, known_at=then, at=LONG_AFTER)
    assert (known_then.checks_used, now_known.checks_used) == (3, 4)
    assert figures(again) == figures(known_then)


def test_a_voided_check_counts_until_it_was_voided() -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    wrong = ageing.record(pack, 500, 3.0)
    voiding.void(wrong, by=world.actor(), at=world.later(days=510), reason="wrong pack")
    during = outlooks.seen_from(
        stored("TP-1"), as_of=world.later(days=505), known_at=world.later(days=505), at=LONG_AFTER
    )
    after = outlooks.seen_from(
        stored("TP-1"), as_of=world.later(days=505), known_at=world.later(days=511), at=LONG_AFTER
    )
    assert (during.checks_used, after.checks_used) == (4, 3)


def test_every_stored_outlook_is_made_again_from_its_revision_and_fit() -> None:
    for pack in ageing.fleet(12):
        outlooks.present(pack, at=NOW)
    fleet_work.fit_fleet(at=NOW + timedelta(hours=1))
    fits.owe_all(at=NOW + timedelta(hours=1))
    for pack in Pack.objects.select_related("pack_type"):
        outlooks.present(pack, at=NOW + timedelta(hours=2))
    checked = 0
    for kept in Outlook.objects.select_related("pack__pack_type", "fit"):
        made = reading.seen_from(kept.pack, as_of=kept.as_of, known_at=kept.known_at)
        assert made is not None
        assert figures(made) == figures(kept)
        checked += 1
    assert checked == 24


def test_the_fit_of_a_past_instant_knows_no_later_facts() -> None:
    ageing.fleet(6)
    early = fleet_work.fit_fleet(at=world.later(days=300), as_of=world.later(days=300))
    late = fleet_work.fit_fleet(at=NOW)
    fits.prior()
    seen = {
        days: outlooks.seen_from(
            stored("TP-0001"), as_of=world.later(days=days), known_at=NOW, at=LONG_AFTER
        ).fit.pk
        for days in (200, 400, 1200)
    }
    prior = StoredFit.objects.get(packs=0)
    assert seen == {200: prior.pk, 400: early.pk, 1200: late.pk}
    assert early.parameters != late.parameters


def test_a_fit_reads_only_facts_up_to_its_date() -> None:
    ageing.fleet(4)
    before = fleet_work.fit_fleet(at=NOW, as_of=world.later(days=300)).parameters
    ageing.record(stored("TP-0000"), 900, 1.1)
    again = fleet_work.fit_fleet(at=NOW, as_of=world.later(days=300)).parameters
    assert before == again


def test_a_failure_is_learnt_from_and_a_limit_crossed_is_none() -> None:
    packs = ageing.fleet(10)
    calm = fleet_work.fit_fleet(at=NOW).parameters
    for pack in packs[:5]:
        entry = {
            "pack": pack.serial,
            "failed_on": world.later(days=650).date(),
            "cause": Failure.Cause.MODULE,
            "how_known": Failure.HowKnown.STRANDED,
        }
        record_failure(by=world.actor(), at=world.later(days=700), entry=entry)
    struck = fleet_work.fit_fleet(at=NOW).parameters
    group = "NM-28/load/block"
    rates = [p["groups"][group]["failures_per_year"] for p in (calm, struck)]
    assert rates[1] > 2 * rates[0]


def test_a_new_limit_holds_from_when_it_was_set() -> None:
    pack = ageing.drifting_pack("TP-1")
    kind = PackType.objects.get()
    ratings = PackTypeVersion.objects.get()
    ratings.pk, ratings.number = None, 2
    ratings.recorded_at, ratings.load_spread_limit_v = world.later(days=1000), 0.5
    ratings.save(force_insert=True)
    assert kind.versions.count() == 2
    limits = [
        outlooks.seen_from(pack, as_of=world.later(days=days), known_at=NOW, at=LONG_AFTER).limit_v
        for days in (950, 1100)
    ]
    assert limits == [1.2, 0.5]


def test_a_pack_written_about_meanwhile_stays_owed(monkeypatch: pytest.MonkeyPatch) -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    worked_out = reading.estimate

    def interrupted(*args: Any) -> Any:
        made = worked_out(*args)
        ageing.record(pack, 700, 0.5)
        return made

    monkeypatch.setattr(reading, "estimate", interrupted)
    assert outlooks.work_out([pack.pk], at=NOW) == 0
    assert Pack.objects.filter(pk=pack.pk, estimate_due_at__lte=NOW).exists()
    assert not Outlook.objects.exists()


def test_a_clock_that_lags_never_tells_an_outlook_older_than_its_facts() -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    newest = pack.settled_at
    behind = newest - timedelta(hours=3)
    Pack.objects.filter(pk=pack.pk).update(estimate_due_at=behind)
    told = outlooks.present(pack, at=behind)
    assert told.as_of > newest
    newer = ageing.record(pack, 360.001, 0.4)
    assert newer.recorded_at > told.known_at


@pytest.mark.parametrize("change", ["level = 'settled'", "p30 = 0.5"])
def test_the_database_keeps_outlooks_as_they_were(change: str) -> None:
    outlooks.present(ageing.drifting_pack("TP-1"), at=NOW)
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"UPDATE reports_outlook SET {change}")
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM reports_outlook")


def test_the_database_keeps_fits_as_they_were() -> None:
    fits.prior()
    for statement in ("UPDATE reports_storedfit SET packs = 7", "DELETE FROM reports_storedfit"):
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)


def test_an_answer_given_is_not_taken_back_by_a_write_that_was_on_its_way() -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    asked = world.later(days=500)
    before = outlooks.seen_from(stored("TP-1"), as_of=asked, known_at=asked, at=asked)
    begun = asked - timedelta(seconds=2)
    late = ageing.load_entry(pack, world.later(days=499), 0.9)
    check = checks.record(by=world.actor(), at=begun, entry=late).row
    after = outlooks.seen_from(stored("TP-1"), as_of=asked, known_at=asked, at=LONG_AFTER)
    assert check.recorded_at > asked
    assert figures(after) == figures(before)


def test_a_limit_that_changes_meanwhile_is_still_owed(monkeypatch: pytest.MonkeyPatch) -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    Pack.objects.update(estimate_due_at=NOW - timedelta(days=1))
    worked_out = reading.estimate

    def interrupted(*args: Any) -> Any:
        made = worked_out(*args)
        pack_types.change_pack_type(
            PackType.objects.get(),
            by=world.actor(),
            at=NOW,
            version=1,
            changes={"load_spread_limit_v": 0.1},
        )
        return made

    monkeypatch.setattr(reading, "estimate", interrupted)
    assert outlooks.work_out([pack.pk], at=NOW) == 0
    monkeypatch.undo()
    assert outlooks.present(stored("TP-1"), at=NOW + timedelta(seconds=1)).limit_v == 0.1


def test_a_pack_that_was_scrapped_is_told_anew_for_new_facts_only() -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    Pack.objects.update(status=Pack.Status.SCRAPPED)
    first = outlooks.present(stored("TP-1"), at=NOW)
    assert outlooks.present(stored("TP-1"), at=NOW + timedelta(days=30)).pk == first.pk
    ageing.record(pack, 1190, 0.5)
    assert outlooks.present(stored("TP-1"), at=NOW + timedelta(days=31)).pk != first.pk


def test_a_pack_of_one_position_has_an_outlook_and_keeps_no_fleet_from_learning() -> None:
    kind = world.pack_type("ONE", module_count=1, blocks=[1])
    world.pack("ONE-1", kind)
    at = world.later(days=2)
    record_inspection(by=world.actor(), at=at, entry={"pack": "ONE-1", "at": at, "findings": []})
    ageing.drifting_pack("TP-1")
    fleet_work.fit_fleet(at=NOW)
    assert outlooks.present(stored("ONE-1"), at=NOW).level == "too_little_data"


def test_before_all_facts_there_is_the_prior() -> None:
    ageing.drifting_pack("TP-1", checks_taken=3)
    long_ago = world.later(days=-30_000 + 4_000)
    told = outlooks.seen_from(stored("TP-1"), as_of=long_ago, known_at=long_ago, at=NOW)
    assert (told.level, told.fit.packs, told.pack_revision) == ("too_little_data", 0, 0)
