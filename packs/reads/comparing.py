"""What a check says when it is held beside its mates: at the reference, and which part it is."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from django.db.models import Q

from packs.models import PackType, VoltageCheck
from packs.reads import sites, types
from packs.rules.diagnosis import Finding, which_part
from packs.rules.pairing import PAIR_WITHIN_S, pair
from packs.rules.reference import ACTIVATION_EV, Comparable, at_reference
from packs.rules.voltages import to_volts

NOT_UNDER_LOAD = "only checks under load are brought to the reference current"


@dataclass(frozen=True)
class Derived:
    """What follows from a check: V at the reference or why not, findings, and warnings."""

    spread_v: float | None
    why_not: str | None
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...]


def derive(checks: Sequence[VoltageCheck]) -> Mapping[int, Derived]:
    """By id, what follows from each check, with the rest checks known by now."""
    rests = _rests_near([check for check in checks if check.condition == "load"])
    return {check.pk: _derived(check, _partner(check, rests)) for check in checks}


def _derived(check: VoltageCheck, rest: VoltageCheck | None) -> Derived:
    assert check.pack is not None
    pack_type = check.pack.pack_type
    warnings = tuple(_warnings(check))
    if check.condition == "charge":
        return Derived(None, NOT_UNDER_LOAD, (), warnings)
    findings = tuple(
        which_part(
            to_volts(check.voltages),
            check.current_a if check.condition == "load" else 0.0,
            None if rest is None else to_volts(rest.voltages),
            types.cells(pack_type, check.level),
            pack_type.chemistry,
        )
    )
    if check.condition == "rest":
        return Derived(None, NOT_UNDER_LOAD, findings, warnings)
    brought = _brought(check, rest, pack_type)
    return Derived(brought.spread_v, brought.why_not, findings, (*warnings, *brought.notes))


def _brought(check: VoltageCheck, rest: VoltageCheck | None, pack_type: PackType) -> Comparable:
    return at_reference(
        to_volts(check.voltages),
        check.current_a,
        None if rest is None else to_volts(rest.voltages),
        0.0 if rest is None else rest.current_a,
        pack_type.reference_load_a,
        check.temperature_c,
        pack_type.reference_temperature_c,
        ACTIVATION_EV[pack_type.chemistry],
    )


def _warnings(check: VoltageCheck) -> Iterable[str]:
    tool = check.equipment
    if tool is not None and tool.due_on is not None and tool.due_on < sites.day(check.taken_at):
        yield f"{tool.code} was due for its own test on {tool.due_on.isoformat()}."


Rests = Mapping[tuple[int | None, str], list[VoltageCheck]]  # by pack and level


def _rests_near(loads: Sequence[VoltageCheck]) -> Rests:
    """The rest checks that could pair with any of these, by pack and level."""
    if not loads:
        return {}
    near = timedelta(seconds=PAIR_WITHIN_S)
    wanted = Q()
    for check in loads:
        window = Q(taken_at__range=(check.taken_at - near, check.taken_at + near))
        same = Q(set_name=check.set_name) if check.set_name else window
        wanted |= Q(pack=check.pack_id, level=check.level) & same
    found = defaultdict(list)
    rests = VoltageCheck.objects.filter(wanted, condition="rest", voided_at__isnull=True)
    for rest in rests.order_by("taken_at", "pk"):
        found[rest.pack_id, rest.level].append(rest)
    return found


def _partner(check: VoltageCheck, rests: Rests) -> VoltageCheck | None:
    mates = rests.get((check.pack_id, check.level), []) if check.condition == "load" else []
    if not mates:
        return None
    index = pair(
        np.array([check.taken_at.timestamp()]),
        np.array([0 if check.set_name else -1]),
        np.array([rest.taken_at.timestamp() for rest in mates]),
        np.array([_same_set(check, rest) for rest in mates]),
    )[0]
    return None if index < 0 else mates[index]


def _same_set(check: VoltageCheck, rest: VoltageCheck) -> int:
    """0 for the check's own set, -1 for none, another number for another set."""
    if rest.set_name is None:
        return -1
    return 0 if rest.set_name == check.set_name else 1
