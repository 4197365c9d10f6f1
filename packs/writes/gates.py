"""What stands before work on a pack alike: a pack to work on, sound tools, a second person."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, TypeVar

from django.db.models import QuerySet

from packs.errors import Conflict, Contradiction, Fault
from packs.models import Equipment, Fact, LockOut, Person, Site, Visit
from packs.reads import lock_outs, names, sites
from packs.writes.actors import Actor

FactT = TypeVar("FactT", bound=Fact)


def visit_with_pack(text: str, pointer: str = "/visit") -> Visit:
    """The visit of that id with its pack and type; Conflict where it names no pack."""
    visit = names.visit(text, pointer)
    assert visit is not None
    if visit.pack_id is None:
        raise Conflict.at(
            pointer,
            "no_pack_on_visit",
            "This visit names no pack; note the serial of its pack on the visit first.",
        )
    visit.pack = names.packs().get(pk=visit.pack_id)
    return visit


def sent_before(model: type[FactT], entry: Mapping[str, Any], *, by: Actor) -> FactT | None:
    """The record stored under this external id before.

    What is sent again is answered, not judged again by what came after it.
    """
    if entry.get("external_id") is None:
        return None
    rows: QuerySet[FactT] = model._default_manager.filter(
        client=by.client, external_id=entry["external_id"]
    )
    return rows.first()


def refuse(recorded: Sequence[Fault], said: Sequence[Fault]) -> None:
    """Raise what stands in the way: Conflict, if any of it is recorded, else Contradiction."""
    if recorded:
        raise Conflict([*recorded, *said])
    if said:
        raise Contradiction(said)


def elsewhere_faults(visit: Visit, but: LockOut | None = None) -> list[Fault]:
    """What is wrong where the pack of the visit is locked out on another one."""
    sentence = lock_outs.elsewhere_said(visit, but)
    return [Fault("/visit", "locked_out_elsewhere", sentence)] if sentence else []


def kind_faults(row: Equipment, kind: str, pointer: str) -> list[Fault]:
    """What is wrong with a tool of another kind than is asked for."""
    if row.kind == kind:
        return []
    wanted, found = kind.replace("_", " "), row.kind.replace("_", " ")
    sentence = f"'{row.code}' is recorded as {found}; name one recorded as {wanted}."
    return [Fault(pointer, "wrong_kind", sentence)]


MEASURING = (Equipment.Kinds.METER, Equipment.Kinds.TESTER, Equipment.Kinds.ISOLATION_TESTER)


def measuring_faults(row: Equipment | None, pointer: str = "/equipment") -> list[Fault]:
    """What is wrong with a thing that can not measure, named as what measured."""
    if row is None or row.kind in MEASURING:
        return []
    found = row.kind.replace("_", " ")
    sentence = f"'{row.code}' is recorded as {found}, which measures nothing; name the meter or "
    return [Fault(pointer, "wrong_kind", sentence + "tester that was used.")]


def bad_faults(row: Equipment, pointer: str, on: date) -> list[Fault]:
    """What is wrong with a tool that was known to be bad on that day."""
    if row.bad_since is None or on < row.bad_since:
        return []
    sentence = (
        f"'{row.code}' is marked as bad since {row.bad_since.isoformat()}; put it aside and take "
        "another."
    )
    return [Fault(pointer, "equipment_bad", sentence)]


def overdue_faults(row: Equipment, pointer: str, on: date) -> list[Fault]:
    """What is wrong with a tool whose own test was due before that day."""
    if row.due_on is None or row.due_on >= on:
        return []
    sentence = (
        f"'{row.code}' was due for its own test on {row.due_on.isoformat()}; take another, or "
        "record its test on the equipment first."
    )
    return [Fault(pointer, "equipment_overdue", sentence)]


def second_person_faults(visit: Visit, doer: Person | None, second: Person | None) -> list[Fault]:
    """What is wrong with who stands by: nobody where one is asked for, or the doer again."""
    if second is None:
        if not asks_for_second(visit):
            return []
        sentence = "A second person stands by at this work; name who."
        return [Fault("/second_person", "second_person_needed", sentence)]
    if doer is None or second.pk != doer.pk:
        return []
    sentence = f"'{second.code}' does the work; the second person is another."
    return [Fault("/second_person", "second_person_is_the_first", sentence)]


def asks_for_second(visit: Visit) -> bool:
    """Whether the workshop or the type of the pack asks for somebody who stands by."""
    assert visit.pack is not None
    if visit.pack.pack_type.layout.second_person:
        return True
    return rules(visit).get("second_person") is True


def site_of(visit: Visit) -> Site:
    """The workshop that the visit is in."""
    return visit.site or sites.present()


def rules(visit: Visit) -> Mapping[str, Any]:
    """The workshop's own rules."""
    said = site_of(visit).rules
    return said if isinstance(said, dict) else {}
