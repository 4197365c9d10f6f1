"""The test certificate: measured before, done, measured after."""

from collections.abc import Mapping, Sequence
from itertools import zip_longest
from math import isnan

from packs.models import Swap, SwapChange, Visit, VoltageCheck
from packs.pages import units
from packs.pages.papers import parties
from packs.pages.papers.asking import Asked
from packs.pages.papers.blocks import (
    Block,
    Heading,
    Paper,
    Signatures,
    Table,
    Text,
    facts,
    paragraphs,
)
from packs.reads import comparing, names, visit_work
from packs.reads.papers import words
from packs.reads.visit_work import Pair, Work
from packs.rules.voltages import to_volts

POSITIONS_TOLD = 40  # voltages listed one by one; a cell-level check is told by its spread alone
NOT_MEASURED = "–"
CONDITION = {"load": "under load", "rest": "at rest", "charge": "on charge"}


def describe(key: str, asked: Asked) -> Paper:
    """The certificate of the visit with that id."""
    visit = names.addressed(Visit.objects.select_related("vehicle", "pack__pack_type"), key)
    work = visit_work.done_on(visit)
    said = words("test_certificate", at=work.recorded_at)
    blocks: list[Block] = [
        paragraphs(said.opening),
        facts(
            *parties.of_visit(visit, asked),
            *parties.of_owner(visit.vehicle, on=visit.opened_at, asked=asked),
            *parties.of_car(visit.vehicle),
            *parties.of_pack(visit.pack),
        ),
        Heading("What was done"),
        *_done(visit, work),
        Heading("What was measured"),
        *_measured(work, asked),
        paragraphs(said.closing),
        Signatures(("Place and date", "For the workshop")),
        parties.DANGER,
    ]
    return Paper(
        kind="test_certificate",
        key=key,
        title=said.heading,
        shop=asked.site.name,
        dated=units.day(visit.opened_at),
        blocks=tuple(blocks),
        visit=key,
        pack=parties.serial_of(visit.pack),
    )


def _done(visit: Visit, work: Work) -> list[Block]:
    if not work.swaps:
        return [Text(("No part was changed on this visit, as far as is recorded.",))]
    rows = tuple(
        (units.day(swap.done_at), _place(change), *_exchange(change, swap))
        for swap in work.swaps
        for change in visit_work.changes(swap)
    )
    head = ("Day", "Place", "Taken out", "Put in")
    return [Table("Parts changed", head, rows), Text(tuple(_extent(visit, work)))]


def _place(change: SwapChange) -> str:
    return change.slot.replace("_", " ") if change.position is None else f"module {change.position}"


def _exchange(change: SwapChange, swap: Swap) -> tuple[str, str]:
    """What came out and what went in, in plain words; every module fitted counts as used."""
    if change.position is None:
        return change.removed_part or "not named", change.fitted_part or "part fitted, not named"
    removed = "not named" if change.removed is None else change.removed.tag
    if change.fitted is None:
        return removed, "module fitted, not named"
    moved = visit_work.moved_from(change, swap)
    if moved is not None:
        return removed, f"{change.fitted.tag}, moved here from position {moved} of this pack"
    return removed, f"{change.fitted.tag}: used module fitted{_origin(change)}"


def _origin(change: SwapChange) -> str:
    assert change.fitted is not None
    if change.fitted.donor_pack is not None:
        return f", from pack {change.fitted.donor_pack.serial}"
    if change.fitted.lot is not None:
        return f", from lot {change.fitted.lot.code}"
    return ", from stock"


def _extent(visit: Visit, work: Work) -> list[str]:
    """How much of the pack was changed; a rebuild is told where it was one, and only there."""
    if visit.pack is None:
        return []
    total, changed = visit.pack.pack_type.module_count, len(work.changed)
    if changed >= total:
        return [f"All {total} module positions were changed: the pack was rebuilt."]
    verb = "was" if changed == 1 else "were"
    told = [f"{changed} of {total} module positions {verb} changed; the others are as they were."]
    if work.is_rebuild:
        told.append("The warranty of this visit is given for a rebuild.")
    return told


def _measured(work: Work, asked: Asked) -> list[Block]:
    if not work.pairs:
        return [Text(("No check under load or at rest is recorded for this visit.",))]
    checks = [check for pair in work.pairs for check in (pair.before, pair.after) if check]
    derived = comparing.derive(checks)
    blocks: list[Block] = [_pair_table(pair, work, derived, asked) for pair in work.pairs]
    if work.swaps and all(pair.after is None for pair in work.pairs):
        blocks.append(Text(("No check was recorded after the work.",)))
    return [*blocks, *_voltages(work)]


def _pair_table(
    pair: Pair, work: Work, derived: Mapping[int, comparing.Derived], asked: Asked
) -> Table:
    shown = [check for check in (pair.before, pair.after) if check is not None]
    columns = [_column(check, derived[check.pk], asked) for check in shown]
    rows = tuple(
        (name, *(column[place][1] for column in columns))
        for place, (name, _) in enumerate(columns[0])
    )
    head = ("", *(_when(check, pair, work) for check in shown))
    return Table(f"{pair.level.capitalize()}s {CONDITION[pair.condition]}", head, rows)


def _when(check: VoltageCheck, pair: Pair, work: Work) -> str:
    if not work.swaps and (pair.before is None or pair.after is None):
        return f"Measured on {units.day(check.taken_at)}"
    if not work.swaps:
        return "First" if check is pair.before else "Last"
    return "Before the work" if check is pair.before else "After the work"


def _column(check: VoltageCheck, derived: comparing.Derived, asked: Asked) -> list[tuple[str, str]]:
    """What one check says, line by line, the same lines for every check of a condition."""
    load = check.condition == VoltageCheck.Condition.LOAD
    lines = [
        ("Taken", units.moment(check.taken_at)),
        ("Current", f"{check.current_a:.3g}\u00a0A"),
        ("Temperature", units.temperature(check.temperature_c, asked.site) or NOT_MEASURED),
        ("Measured with", _instrument(check)),
        ("Spread", _volts(check.spread_v)),
    ]
    if load:
        lines.append(("Spread brought to the reference", _at_reference(check, derived)))
    return [*lines, *_verdict(check, derived), ("Weakest", _weakest(check))]


def _instrument(check: VoltageCheck) -> str:
    if check.equipment is not None:
        return check.equipment.code
    return check.instrument or "not recorded"


def _at_reference(check: VoltageCheck, derived: comparing.Derived) -> str:
    if derived.spread_v is None:
        return f"not comparable: {derived.why_not}"
    limits = visit_work.limits_then(check)
    return f"{_volts(derived.spread_v)} at {limits.reference_load_a:.3g}\u00a0A"


def _verdict(check: VoltageCheck, derived: comparing.Derived) -> list[tuple[str, str]]:
    """The limit of the type, and on which side of it the check lies, where it can be said."""
    if check.level == VoltageCheck.Level.CELL:
        return []
    limits = visit_work.limits_then(check)
    load = check.condition == VoltageCheck.Condition.LOAD
    limit = limits.load_spread_limit_v if load else limits.rest_spread_limit_v
    compared = derived.spread_v if load else check.spread_v
    if compared is None:
        return [("Limit of the spread", _volts(limit))]
    side = "above it" if compared > limit else "within it"
    return [("Limit of the spread", f"{_volts(limit)}: {side}")]


def _weakest(check: VoltageCheck) -> str:
    if check.weakest_position is None or check.weakest_deviation_v is None:
        return NOT_MEASURED
    below = f"{abs(check.weakest_deviation_v):.2f}\u00a0V below the middle"
    return f"{check.level} {check.weakest_position}, {below}"


def _volts(volts: float) -> str:
    return f"{volts:.2f}\u00a0V"


def _voltages(work: Work) -> list[Block]:
    """Position by position, of the first pair that is short enough to be read."""
    for pair in work.pairs:
        shown = [check for check in (pair.before, pair.after) if check is not None]
        if len(shown[0].voltages) <= POSITIONS_TOLD:
            return [_position_table(pair, shown, work)]
    return []


def _position_table(pair: Pair, shown: Sequence[VoltageCheck], work: Work) -> Table:
    """The second half of the positions beside the first, so that the sheet holds them."""
    columns = [to_volts(check.voltages) for check in shown]
    rows = [
        (str(place + 1), *(_one(column[place]) for column in columns))
        for place in range(len(columns[0]))
    ]
    half = (len(rows) + 1) // 2
    blank = ("",) * len(rows[0])
    folded = zip_longest(rows[:half], rows[half:], fillvalue=blank)
    head = (pair.level.capitalize(), *(_short(check, pair, work) for check in shown))
    right = tuple(range(2 * len(head)))
    beside = tuple((*left, *other) for left, other in folded)
    return Table(f"Voltages {CONDITION[pair.condition]}", (*head, *head), beside, right=right)


def _short(check: VoltageCheck, pair: Pair, work: Work) -> str:
    return f"{_when(check, pair, work).removesuffix(' the work')}, V"


def _one(volts: float) -> str:
    return "not read" if isnan(volts) else f"{volts:.2f}"
