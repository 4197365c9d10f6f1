"""Recording voltage checks: one, a list, or a stream in batches, by the same rules."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from django.db import IntegrityError, transaction

from packs.errors import DomainError
from packs.models import VoltageCheck
from packs.reads import sites
from packs.writes.actors import Actor
from packs.writes.check_lines import Lines, resolve
from packs.writes.check_names import Entry
from packs.writes.check_rows import LINE_MARK, Result, Told, known, line_id, store
from packs.writes.check_verdicts import judge_all
from packs.writes.recording import Outcome

__all__ = [
    "LINE_MARK",
    "Told",
    "line_id",
    "record",
    "record_all",
    "record_each",
    "take_in",
    "together",
]

FAULTS_TOLD = 1000  # of one list; who has more begins with these
RACES = 3  # how often a batch is begun again when another request took its external ids


def record(*, by: Actor, at: datetime, entry: Entry) -> Outcome[VoltageCheck]:
    """Store one check; raises the DomainError that stands against it."""
    result = record_each(by=by, at=at, entries=[entry])[0]
    if isinstance(result, DomainError):
        raise result
    return result


def record_all(*, by: Actor, at: datetime, entries: Sequence[Entry]) -> list[Outcome[VoltageCheck]]:
    """Store all of them or none; what is wrong is told by its place in the list."""
    with transaction.atomic():
        results = record_each(by=by, at=at, entries=entries)
        refusals = [
            result.below(f"/{place}")
            for place, result in enumerate(results)
            if isinstance(result, DomainError)
        ]
        if refusals:
            raise together(refusals)
    return [result for result in results if isinstance(result, Outcome)]


def together(refusals: Sequence[DomainError]) -> DomainError:
    """One error for many: those of the kind that is told first."""
    first = min(refusals, key=lambda refusal: refusal.status)
    same = [refusal for refusal in refusals if refusal.status == first.status]
    return type(first)([fault for refusal in same for fault in refusal.faults][:FAULTS_TOLD])


def record_each(
    *, by: Actor, at: datetime, entries: Sequence[Entry]
) -> list[Outcome[VoltageCheck] | DomainError]:
    """Store every entry that can be; each gets its outcome or its error, in order.

    Entries as `take_in` takes them.
    """
    lines, results = _taken_in(entries, by=by, at=at)
    before = _stored_before(results)
    return [
        result if isinstance(result, DomainError) else _outcome(lines, place, result, before)
        for place, result in enumerate(results)
    ]


def take_in(*, by: Actor, at: datetime, entries: Sequence[Entry]) -> list[Result]:
    """Store every entry that can be; each gets the number of its check or its error, in order.

    An entry holds the fields of a voltage check by their names in the API, the right types
    given; `voltages_v` as a list in V, None unreadable, or as an array of stored units. The
    whole batch is one transaction.
    """
    return _taken_in(entries, by=by, at=at)[1]


def _taken_in(entries: Sequence[Entry], *, by: Actor, at: datetime) -> tuple[Lines, list[Result]]:
    for _ in range(RACES - 1):
        try:
            return _once(entries, by=by, at=at)
        except IntegrityError as race:
            if not _of_external_ids(race):
                raise
    return _once(entries, by=by, at=at)


def _of_external_ids(race: IntegrityError) -> bool:
    """Whether another request stored one of the external ids in the same moment."""
    return "external_id" in str(race) or "once_per_client" in str(race)


def _once(entries: Sequence[Entry], *, by: Actor, at: datetime) -> tuple[Lines, list[Result]]:
    with transaction.atomic():
        lines = resolve(entries)
        stored = known(lines, by=by)
        names = lines.columns["external_id"]
        new = [
            place
            for place in range(len(lines))
            if place not in lines.unknown and names[place] not in stored
        ]
        judge_all(lines, new, at=at, zone=sites.zone())
        return lines, store(lines, stored, by=by, at=at)


def _stored_before(results: Sequence[Result]) -> Mapping[int, VoltageCheck]:
    """The checks that were there, or came twice in one go, as they are stored."""
    numbers = {one.number for one in results if isinstance(one, Told) and not one.created}
    rows = VoltageCheck.objects.select_related("pack__pack_type", "equipment")
    return rows.in_bulk(numbers) if numbers else {}


def _outcome(
    lines: Lines, place: int, result: Told, before: Mapping[int, VoltageCheck]
) -> Outcome[VoltageCheck]:
    if result.created:
        return Outcome(lines.check(place), created=True)
    return Outcome(before[result.number], created=False)
