"""Importing a file of readings: handed in whole, tried, stored batch by batch, carried on."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from itertools import islice
from typing import Any, Protocol

import numpy as np
from django.db import transaction

from packs.errors import Conflict, Contradiction, DomainError, Fault, Malformed
from packs.models import ImportFile, ImportSource, Pack, VoltageCheck
from packs.reads import imports, names, types
from packs.reads.imports import Reading
from packs.rules.bounds import BEYOND
from packs.rules.check_entry import wrong_in
from packs.rules.import_lines import Layout, Line
from packs.rules.import_settings import BY_COUNT
from packs.rules.voltages import to_units
from packs.writes import checks
from packs.writes.actors import Actor
from packs.writes.recording import Outcome

BATCH = 500  # lines stored in one transaction, with how far the file has come
NAME_MAX = 200  # characters of a file's name
LEVELS = ("module", "block", "cell")  # of two with as many positions the first is meant
READ_OTHERWISE = (
    "This line was stored before, read in another way; void that check if it is wrong, and hand "
    "the line in with a file of its own."
)
STORED, REPEATED, REFUSED = "stored", "repeated", "refused"

Clock = Callable[[], datetime]
Entry = dict[str, Any]
Result = Outcome[VoltageCheck] | DomainError


class Judge(Protocol):
    """Gives each entry its outcome or its error, in order."""

    def __call__(self, *, entries: list[Entry]) -> list[Result]: ...


Said = tuple[Any, ...]  # what a check says: its pack, when, how, and the voltages by position


@dataclass(frozen=True)
class Refusal:
    """Why a line is refused: the file's own header and words there, and a sentence."""

    header: str
    said: str
    code: str
    detail: str


@dataclass(frozen=True)
class Verdict:
    """What becomes of one check of a file: stored, repeated or refused."""

    number: int
    last: int
    word: str
    serial: str
    taken_at: datetime | None
    cells: tuple[str, ...]
    refusals: tuple[Refusal, ...] = ()
    how: tuple[str, str, float | None] = ("", "", None)  # its level, condition and current in A

    @property
    def unknown_pack(self) -> bool:
        return any(refusal.code == "unknown_pack" for refusal in self.refusals)


def hand_in(
    *, by: Actor, at: datetime, source: ImportSource, name: str, content: bytes
) -> Outcome[ImportFile]:
    """Keep a file, whole; the same content from the same source is the file of before."""
    imports.read_through(imports.open_file(content, source.settings, columns=source.columns))
    bare = re.split(r"[\\/]", name)[-1]
    bare = "".join(letter for letter in bare if letter.isprintable()).strip()[:NAME_MAX]
    row, created = ImportFile.objects.get_or_create(
        source=source,
        digest=imports.digest_of(content),
        defaults={
            "name": bare or "unnamed",
            "content": content,
            "handed_in_at": at,
            "client": by.client,
            "recorded_by": by.person,
        },
    )
    return Outcome(row, created=created)


def reading_of(file: ImportFile) -> Reading:
    """How a file that was handed in is read, by its source as that stands."""
    source = file.source
    return imports.understand(bytes(file.content), columns=source.columns, settings=source.settings)


def sender_of(file: ImportFile) -> Actor:
    """Whoever handed a file in; what is stored of it is theirs, whoever carries on."""
    return Actor(client=file.client, roles=frozenset(), person=file.recorded_by)


def try_out(
    reading: Reading, *, by: Actor, at: datetime, after: int = 0
) -> Iterator[list[Verdict]]:
    """What would become of each line below `after`, batch by batch; nothing is stored."""
    lines = reading.lines(after=after)
    met: set[Said] = set()
    while batch := _next_batch(lines):
        yield _verdicts(batch, reading, partial(_undone, by=by, at=at), met)


def _undone(*, entries: list[Entry], by: Actor, at: datetime) -> list[Result]:
    """Store and take back: what is tried is judged by the very code that stores."""
    with transaction.atomic():
        results = checks.record_each(by=by, at=at, entries=entries)
        transaction.set_rollback(True)
    return results


def _next_batch(lines: Iterator[Line]) -> list[Line]:
    with imports.readable():
        return list(islice(lines, BATCH))


def carry_on(file: ImportFile, *, at: Clock) -> Iterator[list[Verdict]]:
    """Store what is not stored yet, each batch in a transaction with how far the file has come.

    Whoever stops taking batches stops the storing; begun again it goes on at the next line.
    """
    if file.finished_at is not None:
        return
    reading, version = reading_of(file), file.source.version
    lines = reading.lines(after=file.lines_done)
    while True:
        batch = _next_batch(lines)
        told = _store(file, batch, reading, version, at=at())
        if told is None:
            return
        yield told
        if file.finished_at is not None:
            return


def _store(
    file: ImportFile, batch: list[Line], reading: Reading, version: int, *, at: datetime
) -> list[Verdict] | None:
    """Store one batch; None where somebody else carries the file on."""
    by = sender_of(file)
    with transaction.atomic():
        # The source too: its columns stay as they are until the batch is in.
        row = imports.files().select_for_update(of=("self", "source")).get(pk=file.pk)
        if row.lines_done != file.lines_done or row.finished_at is not None:
            return None
        if row.source.version != version:
            raise Conflict.at("", "source_changed", "Its columns were changed; look at it again.")
        verdicts = _verdicts(batch, reading, partial(checks.record_each, by=by, at=at), set())
        row.stored += sum(verdict.word == STORED for verdict in verdicts)
        row.repeated += sum(verdict.word == REPEATED for verdict in verdicts)
        row.refused += sum(verdict.word == REFUSED for verdict in verdicts)
        row.lines_done = batch[-1].last if batch else row.lines_done
        row.finished_at = at if len(batch) < BATCH else None
        row.save(update_fields=PROGRESS)
    for name in PROGRESS:
        setattr(file, name, getattr(row, name))
    return verdicts


PROGRESS = ("stored", "repeated", "refused", "lines_done", "finished_at")


def begin_again(file: ImportFile) -> None:
    """Go over a finished file anew: what is stored is found, what was refused may be taken."""
    again = dict.fromkeys(("stored", "repeated", "refused", "lines_done"), 0)
    ImportFile.objects.filter(pk=file.pk, finished_at__isnull=False).update(
        **again, finished_at=None
    )


def _verdicts(
    batch: Sequence[Line], reading: Reading, judge: Judge, met: set[Said]
) -> list[Verdict]:
    """Each line as an entry of the API's own shape, or what is wrong with it; then judged.

    `met` holds what the batches before this one said and would have stored.
    """
    serials = {str(line.entry.get("pack", "")).upper() for line in batch}
    packs = {pack.serial.upper(): pack for pack in names.packs().filter(serial__upper__in=serials)}
    taken = [_entry_of(line, reading, packs) for line in batch]
    results = _judged([one for one in taken if not isinstance(one, DomainError)], packs, judge, met)
    return [
        _verdict(line, reading.layout, (False, entry))
        if isinstance(entry, DomainError)
        else replace(_verdict(line, reading.layout, next(results)), how=_how(entry))
        for line, entry in zip(batch, taken, strict=True)
    ]


def _judged(
    entries: list[Entry], packs: Mapping[str, Pack], judge: Judge, met: set[Said]
) -> Iterator[tuple[bool, DomainError | None]]:
    """For each entry whether it is new, or what stands against it.

    The same reading of the same pack at the same instant is there once, whoever sent it: a
    logger's file begins with what its last one held.
    """
    said = [_said(entry, packs.get(entry["pack"].upper())) for entry in entries]
    before = met | _standing(said)
    firsts = {one: place for place, one in reversed(list(enumerate(said))) if one not in before}
    new = [place for place, one in enumerate(said) if firsts.get(one) == place]
    became = dict(zip(new, judge(entries=[entries[place] for place in new]), strict=True))
    for place, one in enumerate(said):
        result = became[firsts[one]] if one in firsts else None
        if isinstance(result, DomainError):
            yield False, result
            continue
        met.add(one)
        yield place in became and result is not None and result.created, None


def _said(entry: Entry, pack: Pack | None) -> Said:
    units = entry["voltages_v"]
    order = pack.pack_type.monitor_order if pack and entry.get("order") == "monitor" else None
    if order is not None and len(order) == len(units):
        by_position = np.empty_like(units)
        by_position[np.asarray(order) - 1] = units
        units = by_position
    named = pack.pk if pack else entry["pack"]
    how = (entry["level"], entry["condition"], float(entry["current_a"]))
    return (named, entry["taken_at"], *how, units.tobytes())


def _standing(said: Sequence[Said]) -> set[Said]:
    """What is recorded of the same packs at the same instants, and stands."""
    rows = VoltageCheck.objects.filter(
        pack_id__in={one[0] for one in said if isinstance(one[0], int)},
        taken_at__in={one[1] for one in said},
        voided_at=None,
    )
    return {
        (
            row.pack_id,
            row.taken_at,
            row.level,
            row.condition,
            row.current_a,
            np.asarray(row.voltages, dtype=np.int32).tobytes(),
        )
        for row in rows
    }


def _entry_of(line: Line, reading: Reading, packs: Mapping[str, Pack]) -> Entry | DomainError:
    entry = {**line.entry}
    _fit(entry, packs.get(str(entry.get("pack", "")).upper()))
    known = {wrong.pointer.split("/")[1] for wrong in line.wrong if wrong.pointer}
    shape = [wrong for wrong in wrong_in(entry) if wrong.pointer.split("/")[1] not in known]
    wrong = [*line.wrong, *shape]
    if wrong:
        faults = [Fault(one.pointer, one.code, one.detail) for one in wrong]
        beyond = all(fault.code in BEYOND for fault in faults)
        return Contradiction(faults) if beyond else Malformed(faults)
    return {
        **entry,
        "voltages_v": to_units(entry["voltages_v"]),
        "external_id": reading.name_of(line),
    }


def _fit(entry: Entry, pack: Pack | None) -> None:
    """Settle what only the pack's type can: the level by count, and columns it has no use for."""
    volts = entry.get("voltages_v")
    if volts is None:
        if entry.get("level") == BY_COUNT:
            entry["level"] = LEVELS[0]
        return
    counts = {level: len(types.cells(pack.pack_type, level)) for level in LEVELS} if pack else {}
    read = max((place for place, volt in enumerate(volts, 1) if volt is not None), default=0)
    if entry.get("level") == BY_COUNT:
        exact = [level for level in LEVELS if counts.get(level) == len(volts)]
        short = [level for level in LEVELS if read and counts.get(level) == read]
        entry["level"] = [*exact, *short, LEVELS[0]][0]
    count = counts.get(str(entry.get("level")), len(volts))
    if read <= count < len(volts):
        entry["voltages_v"] = volts[:count]


def _how(entry: Entry) -> tuple[str, str, float | None]:
    return entry["level"], entry["condition"], entry["current_a"]


def _verdict(line: Line, layout: Layout, became: tuple[bool, DomainError | None]) -> Verdict:
    serial, taken_at = str(line.entry.get("pack", "")), line.entry.get("taken_at")
    told: tuple[Refusal, ...] = ()
    new, error = became
    if isinstance(error, Conflict):
        told = (Refusal("", "", error.faults[0].code, READ_OTHERWISE),)
    elif error is not None:
        told = tuple(_refusal(line, layout, fault) for fault in error.faults)
    word = REFUSED if error is not None else STORED if new else REPEATED
    return Verdict(line.number, line.last, word, serial, taken_at, line.cells, told)


def _refusal(line: Line, layout: Layout, fault: Fault) -> Refusal:
    header = layout.header_of(fault.pointer) if fault.pointer else ""
    return Refusal(header, layout.said(line, fault.pointer), fault.code, fault.detail)
