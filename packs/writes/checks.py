"""Recording voltage checks: one, a list, or a stream in batches, by the same rules."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from packs.errors import Conflict, DomainError
from packs.models import Equipment, Pack, Person, Visit, VoltageCheck
from packs.reads import names, sites
from packs.rules.identity import decode
from packs.writes.actors import Actor
from packs.writes.digests import digest
from packs.writes.judging import judge
from packs.writes.recording import (
    REVISED,
    Outcome,
    must_stand,
    revise,
    sent_otherwise,
    take_out,
)

FAULTS_TOLD = 1000  # of one list; who has more begins with these
RACES = 3  # how often a batch is begun again when another request took its external ids

Entry = Mapping[str, Any]
Result = Outcome[VoltageCheck] | DomainError


@dataclass
class _Line:
    """One entry on its way in."""

    entry: Entry
    check: VoltageCheck | None = None
    result: Result | None = None
    first: "_Line | None" = None  # the line before it with the same external id


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


def record_each(*, by: Actor, at: datetime, entries: Sequence[Entry]) -> list[Result]:
    """Store every entry that can be; each gets its outcome or its error, in order.

    An entry holds the fields of a voltage check by their names in the API, the right types
    given. The whole batch is one transaction.
    """
    for attempt in range(RACES):
        lines = [_Line(entry) for entry in entries]
        try:
            with transaction.atomic():
                _prepare(lines, by=by, at=at)
                _store(lines, by=by, at=at)
        except IntegrityError as race:
            if "external_id" not in str(race) and "once_per_client" not in str(race):
                raise
            if attempt == RACES - 1:
                raise
            continue
        break
    return [line.result for line in lines if line.result is not None]


def _prepare(lines: Sequence[_Line], *, by: Actor, at: datetime) -> None:
    """Give each line its check, or its result where it was stored before or cannot be."""
    known = _Names.of([line.entry for line in lines])
    for line in lines:
        try:
            line.check = _columns(line.entry, known)
        except DomainError as error:
            line.result = error
    _find_stored(lines, by=by)
    _judge_each(lines, at=at)


def _judge_each(lines: Sequence[_Line], *, at: datetime) -> None:
    """Judge what is new; a line whose external id stood in a good one before waits for that."""
    zone, firsts = sites.zone(), dict[str, _Line]()
    for line in lines:
        if line.check is None or line.result is not None:
            continue
        name = line.check.external_id or ""
        line.first = firsts.get(name)
        if line.first is not None:
            continue
        try:
            judge(line.check, at=at, zone=zone, order=line.entry.get("order", "position"))
        except DomainError as error:
            line.result = error
        else:
            firsts |= {name: line} if name else {}


def _find_stored(lines: Sequence[_Line], *, by: Actor) -> None:
    """Settle the lines whose external id is in the database."""
    told = {line.check.external_id for line in lines if line.check and line.check.external_id}
    stored = (
        {
            check.external_id: check
            for check in VoltageCheck.objects.select_related("pack__pack_type").filter(
                client=by.client, external_id__in=told
            )
        }
        if told
        else {}
    )
    for line in lines:
        first = stored.get(line.check.external_id or "") if line.check else None
        if line.check is not None and first is not None:
            line.result = _again(line.check, first, Outcome(first, created=False))


def _again(check: VoltageCheck, first: VoltageCheck, result: Result) -> Result:
    """What a line gets whose external id came before with that check, which got `result`."""
    if bytes(first.digest) != bytes(check.digest):
        return _sent_otherwise(check.external_id or "")
    return result if isinstance(result, DomainError) else Outcome(first, created=False)


LINE_MARK = "\x1e"  # begins what no sender can send: the name of a line under an Idempotency-Key


def line_id(key: str, number: int) -> str:
    """The external id of a line that was given none."""
    return f"{LINE_MARK}{hashlib.sha256(key.encode()).hexdigest()}#{number}"


def _sent_otherwise(external_id: str) -> Conflict:
    if external_id.startswith(LINE_MARK):
        return Conflict.at(
            "",
            "idempotency_key_reused",
            "This line was sent before under this Idempotency-Key with other content; "
            "send the same lines again, or use another key.",
        )
    return sent_otherwise(external_id)


def _store(lines: Sequence[_Line], *, by: Actor, at: datetime) -> None:
    """Lock the packs in one order, raise their revisions, insert."""
    fresh = [line for line in lines if line.check is not None and line.result is None]
    if not fresh:
        return
    ids = {line.check.pack_id for line in fresh if line.check and line.check.pack_id}
    rows = Pack.objects.select_for_update().filter(pk__in=ids).order_by("pk")
    locked = {pack.pk: pack for pack in rows}
    checks = []
    for line in fresh:
        check, first = line.check, line.first
        assert check is not None
        assert check.pack_id is not None
        if first is not None and first.check is not None and first.result is not None:
            line.result = _again(check, first.check, first.result)
            continue
        try:
            _stamp(check, locked[check.pack_id], by=by, at=at)
        except DomainError as error:
            line.result = error
            continue
        checks.append(check)
        line.result = Outcome(check, created=True)
    Pack.objects.bulk_update(locked.values(), REVISED)
    VoltageCheck.objects.bulk_create(checks)


def _stamp(check: VoltageCheck, pack: Pack, *, by: Actor, at: datetime) -> None:
    """Give the check its revision; raises before anything is changed."""
    if check.supersedes is not None:
        must_stand(check.supersedes, pack=pack, pointer="/supersedes")
    check.recorded_at = revise(pack, at=at, happened_at=check.taken_at, save=False)
    check.revision = pack.revision
    check.client = by.client
    check.recorded_by = by.person
    if check.supersedes is not None:
        take_out(check.supersedes, pack=pack, by=by, at=check.recorded_at, reason="superseded")


@dataclass(frozen=True)
class _Names:
    """What the keys in a batch mean, read in one query a kind."""

    packs: Mapping[str, Pack]
    people: Mapping[str, Person]
    equipment: Mapping[str, Equipment]
    visits: Mapping[int, Visit]

    @classmethod
    def of(cls, entries: Sequence[Entry]) -> "_Names":
        serials = {entry["pack"].upper() for entry in entries}
        visits = {decode(Visit.PREFIX, entry["visit"]) for entry in entries if entry.get("visit")}
        return cls(
            packs={
                pack.serial.upper(): pack
                for pack in names.packs().filter(serial__upper__in=serials)
            },
            people=_by_code(Person, entries, "done_by"),
            equipment=_by_code(Equipment, entries, "equipment"),
            visits=Visit.objects.in_bulk([v for v in visits if v is not None]) if visits else {},
        )


def _by_code(model: type[Any], entries: Sequence[Entry], field: str) -> dict[str, Any]:
    codes = {entry[field] for entry in entries if entry.get(field)}
    return {row.code: row for row in model.objects.filter(code__in=codes)} if codes else {}


SAME = (
    "taken_at", "level", "condition", "current_a", "current_min_a", "current_max_a", "condition_s",
    "rested_min", "last_current", "soc_pct", "soc_source", "temperature_c", "temperatures_c",
    "odometer_km", "taken", "instrument",
)  # fmt: skip


def _columns(entry: Entry, known: _Names) -> VoltageCheck:
    """The row an entry asks for, its names resolved; raises Contradiction for an unknown one."""
    pack = known.packs.get(entry["pack"].upper()) or names.pack(entry["pack"])
    said = {name: entry.get(name) for name in SAME}
    done_by, tool, visit = entry.get("done_by"), entry.get("equipment"), entry.get("visit")
    check = VoltageCheck(
        **said,
        pack=pack,
        set_name=entry.get("set"),
        voltages=entry["voltages_v"],
        done_by=known.people.get(done_by or "") or names.person(done_by),
        equipment=known.equipment.get(tool or "") or names.equipment(tool),
        visit=known.visits.get(decode(Visit.PREFIX, visit or "") or -1) or names.visit(visit),
        supersedes=names.fact(VoltageCheck, entry.get("supersedes")),
        external_id=entry.get("external_id"),
    )
    check.digest = digest(
        {
            **said,
            "order": entry.get("order", "position"),
            "pack": pack.pk,
            "set": check.set_name,
            "voltages": check.voltages,
            "done_by": check.done_by,
            "equipment": check.equipment,
            "visit": check.visit,
            "supersedes": check.supersedes,
        }
    )
    return check
