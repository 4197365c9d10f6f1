"""What a check says when it is held beside its mates: at the reference, and which part it is."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol, TypeVar
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Q
from numpy.typing import NDArray

from packs.models import PackType, VoltageCheck
from packs.reads import beginnings, sites, tools, types
from packs.rules.diagnosis import Finding, which_part
from packs.rules.leveling import as_equal
from packs.rules.pairing import PAIR_WITHIN_S, pair
from packs.rules.reference import ACTIVATION_EV, Comparable, at_reference
from packs.rules.voltages import to_volts

NOT_UNDER_LOAD = "only checks under load are brought to the reference current"
CHUNK = 500  # rows that one query names, far below what either database takes
PAIRED_BY = ("pk", "pack_id", "level", "taken_at", "set_name")

RowT = TypeVar("RowT")


class Read(Protocol):
    """What a check read, however its row was fetched."""

    @property
    def level(self) -> str: ...
    @property
    def condition(self) -> str: ...
    @property
    def current_a(self) -> float: ...
    @property
    def voltages(self) -> NDArray[np.int32]: ...
    @property
    def temperature_c(self) -> float | None: ...


class Timed(Protocol):
    """What pairs a check with another."""

    @property
    def level(self) -> str: ...
    @property
    def taken_at(self) -> datetime: ...
    @property
    def set_name(self) -> str | None: ...


TimedT = TypeVar("TimedT", bound=Timed)


@dataclass(frozen=True)
class Derived:
    """What follows from a check: V at the reference or why not, findings, and warnings."""

    spread_v: float | None
    why_not: str | None
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...]


def derive(checks: Sequence[VoltageCheck]) -> Mapping[int, Derived]:
    """By id, what follows from each check, with the rest checks known by now."""
    rests = _partners([check for check in checks if check.condition == "load"])
    zone = sites.zone()
    return {check.pk: _derived(check, rests.get(check.pk), zone) for check in checks}


def _derived(check: VoltageCheck, rest: VoltageCheck | None, zone: ZoneInfo) -> Derived:
    assert check.pack is not None
    pack_type = check.pack.pack_type
    warnings = tuple(_warnings(check, zone))
    if check.condition == "charge":
        return Derived(None, NOT_UNDER_LOAD, (), warnings)
    findings = suspicions(check, rest, pack_type)
    if check.condition == "rest":
        return Derived(None, NOT_UNDER_LOAD, findings, warnings)
    brought = brought_to_reference(check, rest, pack_type)
    return Derived(brought.spread_v, brought.why_not, findings, (*warnings, *brought.notes))


def suspicions(check: Read, rest: Read | None, pack_type: PackType) -> tuple[Finding, ...]:
    """Which part a check under load or at rest points at, beside the one it pairs with."""
    return tuple(
        which_part(
            to_volts(check.voltages),
            check.current_a if check.condition == "load" else 0.0,
            None if rest is None else to_volts(rest.voltages),
            types.cells(pack_type, check.level),
            pack_type.chemistry,
        )
    )


def brought_to_reference(check: Read, rest: Read | None, pack_type: PackType) -> Comparable:
    """A check under load at the type's reference current and temperature, or why not."""
    cells = types.cells(pack_type, check.level)
    return at_reference(
        as_equal(to_volts(check.voltages), cells),
        check.current_a,
        None if rest is None else as_equal(to_volts(rest.voltages), cells),
        0.0 if rest is None else rest.current_a,
        pack_type.reference_load_a,
        check.temperature_c,
        pack_type.reference_temperature_c,
        ACTIVATION_EV[pack_type.chemistry],
    )


def _warnings(check: VoltageCheck, zone: ZoneInfo) -> Iterable[str]:
    return tools.warnings(check.equipment, check.taken_at.astimezone(zone).date())


def _partners(loads: Sequence[VoltageCheck]) -> Mapping[int, VoltageCheck]:
    """By the load check's number, the rest check that pairs with it, of the same build only."""
    if not loads:
        return {}
    builds = _builds({check.pack_id for check in loads})
    mates = _by_build(_rests_near(loads), builds)
    found: dict[int, int] = {}
    for build, checks in _by_build(loads, builds).items():
        found |= _paired(checks, mates.get(build, []))
    rests = VoltageCheck.objects.in_bulk(list(set(found.values())))
    return {load: rests[rest] for load, rest in found.items()}


def _rests_near(loads: Sequence[VoltageCheck]) -> list[VoltageCheck]:
    """The rest checks that could pair with any of these, in order, without their voltages."""
    near = timedelta(seconds=PAIR_WITHIN_S)
    found: dict[int, VoltageCheck] = {}
    for some in _chunks(sorted(loads, key=lambda check: (check.pack_id or 0, check.taken_at))):
        times = [check.taken_at for check in some]
        window = Q(taken_at__range=(min(times) - near, max(times) + near))
        sets = Q(set_name__in={check.set_name for check in some if check.set_name})
        rests = VoltageCheck.objects.filter(
            window | sets,
            pack__in={check.pack_id for check in some},
            condition=VoltageCheck.Condition.REST,
            voided_at__isnull=True,
        )
        found |= {rest.pk: rest for rest in rests.only(*PAIRED_BY)}
    return sorted(found.values(), key=lambda rest: (rest.taken_at, rest.pk))


def _builds(packs: Collection[int | None]) -> Mapping[int | None, Sequence[datetime]]:
    """By pack, when each of its builds but the first began."""
    found: dict[int | None, Sequence[datetime]] = {}
    for some in _chunks(sorted(pack for pack in packs if pack is not None)):
        found |= beginnings.of_packs(some)
    return found


def _chunks(rows: Sequence[RowT]) -> Iterable[Sequence[RowT]]:
    return (rows[begin : begin + CHUNK] for begin in range(0, len(rows), CHUNK))


def _by_build(
    checks: Iterable[VoltageCheck], builds: Mapping[int | None, Sequence[datetime]]
) -> Mapping[tuple[int | None, str, int], Sequence[VoltageCheck]]:
    """Checks by pack, level and build: two of different builds are of different packs."""
    found = defaultdict(list)
    for check in checks:
        build = bisect_right(builds.get(check.pack_id, ()), check.taken_at)
        found[check.pack_id, check.level, build].append(check)
    return found


def _paired(loads: Sequence[VoltageCheck], rests: Sequence[VoltageCheck]) -> dict[int, int]:
    """The numbers of those that pair, all of one pack, level and build."""
    named = {check.set_name or "" for check in (*loads, *rests)} - {""}
    codes = {name: code for code, name in enumerate(sorted(named))}
    index = pair(*_times_and_sets(loads, codes), *_times_and_sets(rests, codes))
    return {
        load.pk: rests[mate].pk
        for load, mate in zip(loads, index.tolist(), strict=True)
        if mate >= 0
    }


def mate(load: Timed, rests: Sequence[TimedT], changes: Sequence[datetime]) -> TimedT | None:
    """The rest check that pairs with a load check of the same pack; both lists in order of time.

    `changes`: when each build but the first began.
    """
    build = bisect_right(changes, load.taken_at)
    same = [
        rest
        for rest in rests
        if rest.level == load.level and bisect_right(changes, rest.taken_at) == build
    ]
    named = sorted({load.set_name or "", *(rest.set_name or "" for rest in same)} - {""})
    codes = {name: code for code, name in enumerate(named)}
    (place,) = pair(*_times_and_sets([load], codes), *_times_and_sets(same, codes)).tolist()
    return same[place] if place >= 0 else None


def _times_and_sets(
    checks: Sequence[Timed], codes: Mapping[str, int]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    times = np.array([check.taken_at.timestamp() for check in checks], dtype=np.float64)
    sets = [codes.get(check.set_name or "", -1) for check in checks]
    return times, np.array(sets, dtype=np.int64)
