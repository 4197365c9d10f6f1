"""verify_records finds each kind of breach that is planted behind the ORM's back."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from packs.models import (
    Customer,
    Failure,
    Installation,
    Ownership,
    Placement,
    Vehicle,
    VoltageCheck,
)
from packs.reads import names
from packs.writes import failures, swaps, voiding
from reports.models import Outlook
from reports.writes import outlooks
from tests import world
from tests.packs.unguarded import guard, sql, unguard
from tests.reports import ageing

pytestmark = pytest.mark.django_db


def verified() -> list[str]:
    """The breaches that the command tells."""
    out = StringIO()
    try:
        call_command("verify_records", stdout=out, stderr=StringIO())
    except CommandError as told:
        return out.getvalue().splitlines() if told.returncode == 1 else []
    assert out.getvalue().strip() == "Everything holds."
    return []


@pytest.fixture(autouse=True)
def shop() -> Iterator[None]:
    """Two packs with checks, a swap, a failure, an installation, and their outlooks."""
    world.module("M-1")
    kind = world.pack_type()
    for serial in ("TP-1", "TP-2"):
        pack = ageing.drifting_pack(serial, kind)
        by, at = world.actor(), world.later(days=1000)
        change = {"position": 3, "orientation": "normal", "fitted": "M-1"}
        if serial == "TP-1":
            swaps.record_swap(
                by=by,
                at=at,
                entry={"pack": serial, "done_at": at, "kind": "module", "changes": [change]},
            )
        failures.record_failure(
            by=by,
            at=at,
            entry={
                "pack": serial,
                "failed_on": at.date(),
                "cause": "module",
                "how_known": "stranded",
            },
        )
        outlooks.present(pack, at=world.later(days=1010))
    yield
    guard()


def first_check() -> VoltageCheck:
    return VoltageCheck.objects.order_by("pk").first()  # type: ignore[return-value]


def car(vin: str) -> Vehicle:
    return Vehicle.objects.create(vin=vin, **world.posted(vin.encode()))


def installed(vehicle: Vehicle, days: float) -> None:
    pack = names.packs().get(serial="TP-1")
    Installation.objects.create(
        pack=pack,
        revision=1,
        vehicle=vehicle,
        installed_at=world.later(days=days),
        **world.posted(b"-"),
    )


def overlap_installations() -> None:
    unguard("packs_installation")
    installed(car("11111111111111111"), 1)
    installed(car("1M8GDM9AXKP042788"), 2)


def overlap_owners() -> None:
    unguard("packs_ownership")
    owner = Customer.objects.create(name="N. N.", **world.posted(b"c"))
    vehicle = car("11111111111111111")
    for days, until in ((0, 20), (10, None)):
        end = None if until is None else world.later(days=until)
        begin = world.later(days=days)
        Ownership.objects.create(vehicle=vehicle, customer=owner, from_at=begin, until_at=end)


def module_twice() -> None:
    unguard("packs_placement")
    other = Placement.objects.filter(pack__serial="TP-2", position=9).get()
    number = Placement.objects.get(module__tag="M-1").module_id
    sql("UPDATE packs_placement SET module_id = %s WHERE id = %s", [number, other.pk])


def gap() -> None:
    unguard("packs_placement")
    row = Placement.objects.filter(pack__serial="TP-2", position=9).get()
    late = "2024-01-01 00:00:00+00:00"
    sql("UPDATE packs_placement SET fitted_at = %s WHERE id = %s", [late, row.pk])


def position_missing() -> None:
    unguard("packs_placement")
    sql("DELETE FROM packs_placement WHERE position = 28")


def module_astray() -> None:
    sql("UPDATE packs_module SET status = 'stock'")


def voltages_cut() -> None:
    unguard("packs_voltagecheck")
    short = VoltageCheck._meta.get_field("voltages").get_db_prep_value(
        first_check().voltages[:9], connection
    )
    sql("UPDATE packs_voltagecheck SET voltages = %s WHERE id = %s", [short, first_check().pk])


def voltages_edited() -> None:
    unguard("packs_voltagecheck")
    edited = first_check().voltages.copy()
    edited[0] -= 2000
    stored = VoltageCheck._meta.get_field("voltages").get_db_prep_value(edited, connection)
    sql("UPDATE packs_voltagecheck SET voltages = %s WHERE id = %s", [stored, first_check().pk])


def check_removed() -> None:
    unguard("packs_voltagecheck")
    sql("DELETE FROM packs_voltagecheck WHERE id = %s", [first_check().pk])


def recorded_later() -> None:
    unguard("packs_voltagecheck")
    late = "2025-12-24 00:00:00+00:00"
    sql("UPDATE packs_voltagecheck SET recorded_at = %s WHERE id = %s", [late, first_check().pk])


def fact_without_line() -> None:
    unguard("packs_historyentry")
    sql("UPDATE packs_historyentry SET fact_id = 999999 WHERE kind = 'failure'")


def silent_void() -> None:
    voiding.void(first_check(), by=world.actor(), at=world.later(days=1020), reason="wrong pack")
    unguard("packs_voltagecheck")
    sql("UPDATE packs_voltagecheck SET void_reason = '' WHERE voided_at IS NOT NULL")


def correction_of_another_pack() -> None:
    unguard("packs_failure")
    one, two = (failure.pk for failure in Failure.objects.order_by("pk"))
    sql("UPDATE packs_failure SET supersedes_id = %s WHERE id = %s", [one, two])


def version_gone() -> None:
    unguard("packs_packtypeversion")
    sql("DELETE FROM packs_packtypeversion")


def limit_moved() -> None:
    unguard("packs_packtype")
    sql("UPDATE packs_packtype SET load_spread_limit_v = 9")


def blocks_changed() -> None:
    unguard("packs_packtype")
    sql("UPDATE packs_packtype SET block_count = 13")


def nothing_owed() -> None:
    ageing.record(names.packs().get(serial="TP-1"), 1015, 0.5)
    sql("UPDATE packs_pack SET estimate_due_at = NULL")


def outlook_ahead() -> None:
    unguard("reports_outlook")
    sql("UPDATE reports_outlook SET pack_revision = 999")


def told_twice() -> None:
    unguard("reports_outlook")
    first = Outlook.objects.order_by("pk").first()
    assert first is not None
    end = first.known_at + timedelta(days=3000)
    first.pk, first.known_at, first.told_until = None, first.known_at - timedelta(days=1), end
    first.save(force_insert=True)


def fit_too_knowing() -> None:
    unguard("reports_storedfit")
    sql("UPDATE reports_storedfit SET facts_through = '2099-01-01 00:00:00+00:00'")


def fit_emptied() -> None:
    unguard("reports_storedfit")
    sql("UPDATE reports_storedfit SET parameters = '{}', fitted_at = '1970-01-02 00:00:00+00:00'")


def tag_unfindable() -> None:
    sql("UPDATE packs_module SET tag_alike = 'M'")


PLANTED: list[tuple[Callable[[], Any], str]] = [
    (overlap_installations, "a pack is in one car at a time"),
    (overlap_owners, "a car has one owner at a time"),
    (module_twice, "a module is in one place at a time"),
    (module_twice, "placements follow from the swaps"),
    (gap, "a position holds one module at every instant"),
    (position_missing, "positions are those of the type"),
    (module_astray, "a module in a pack is fitted"),
    (voltages_cut, "a check has the positions of the type"),
    (voltages_edited, "what is derived follows from the voltages"),
    (check_removed, "each revision is one line"),
    (recorded_later, "records are in order"),
    (fact_without_line, "a fact has its line in the history"),
    (silent_void, "a void says who and why"),
    (correction_of_another_pack, "a correction is of the same pack"),
    (version_gone, "each version of a type is kept"),
    (limit_moved, "the present ratings are the last version's"),
    (blocks_changed, "modules divide into blocks"),
    (nothing_owed, "an estimate that is owed is marked"),
    (outlook_ahead, "an outlook is of a revision that was"),
    (told_twice, "one outlook is told at a time"),
    (fit_too_knowing, "a fit knows no later facts"),
    (fit_emptied, "a fit can be used again"),
    (tag_unfindable, "what is searched follows from what is recorded"),
]


def test_a_sound_register_holds() -> None:
    assert verified() == []


@pytest.mark.parametrize(("plant", "rule"), PLANTED)
def test_what_is_planted_is_found(plant: Callable[[], Any], rule: str) -> None:
    plant()
    assert rule in {line.partition(":")[0] for line in verified()}
