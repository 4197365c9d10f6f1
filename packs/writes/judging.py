"""Holding a voltage check against the pack's type, the physics and the clock."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from packs.errors import Contradiction, Fault
from packs.models import Pack, PackType, VoltageCheck
from packs.reads import types
from packs.rules import plausible, spread, voltages
from packs.rules.leveling import as_equal

CLOCK_ERROR = timedelta(minutes=5)  # of other people's clocks, forgiven


def judge(check: VoltageCheck, *, at: datetime, zone: ZoneInfo, order: str) -> None:
    """Put the check in order of position and fill in what follows from it.

    Raises Contradiction with everything that stands against it.
    """
    pack = check.pack
    assert pack is not None
    faults = [*time_faults(pack, check.taken_at, "/taken_at", at=at, zone=zone)]
    faults += _current_faults(check, pack.pack_type) + _count_faults(check, pack.pack_type)
    if not faults and order == "monitor":
        faults += _reorder(check, pack.pack_type)
    if not faults:
        as_sent = pack.pack_type.monitor_order if order == "monitor" else None
        faults += _voltage_faults(check, pack.pack_type, as_sent)
    if faults:
        raise Contradiction(faults)
    _derive(check, pack.pack_type)


def time_faults(
    pack: Pack, when: datetime, pointer: str, *, at: datetime, zone: ZoneInfo
) -> list[Fault]:
    """What is wrong with the time of a fact about this pack."""
    if when > at + CLOCK_ERROR:
        return [
            Fault(
                pointer,
                "in_the_future",
                f"{when.isoformat()} is ahead of the clock here ({at.isoformat()}) by more than "
                "five minutes; set the sender's clock, or give the time with its offset.",
            )
        ]
    if pack.built_on is not None and when.astimezone(zone).date() < pack.built_on:
        return [
            Fault(
                pointer,
                "before_built",
                f"{when.isoformat()} is before pack {pack.serial} was built "
                f"({pack.built_on.isoformat()}); correct the time or the serial.",
            )
        ]
    return []


def day_faults(pack: Pack, day: date, pointer: str, *, at: datetime, zone: ZoneInfo) -> list[Fault]:
    """What is wrong with the date of a fact about this pack; days are those of the site."""
    today = (at + CLOCK_ERROR).astimezone(zone).date()
    if day > today:
        return [
            Fault(
                pointer,
                "in_the_future",
                f"{day.isoformat()} has not come yet, today is {today.isoformat()}; "
                "correct the date.",
            )
        ]
    if pack.built_on is not None and day < pack.built_on:
        return [
            Fault(
                pointer,
                "before_built",
                f"{day.isoformat()} is before pack {pack.serial} was built "
                f"({pack.built_on.isoformat()}); correct the date or the serial.",
            )
        ]
    return []


def _current_faults(check: VoltageCheck, pack_type: PackType) -> list[Fault]:
    current, most = check.current_a, pack_type.rest_current_max_a
    if check.condition == "rest" and abs(current) > most:
        remedy = f"at rest it is within ±{most:g} A for this type; send it as load or charge."
    elif check.condition == "load" and current <= 0:
        remedy = "under load it is positive, out of the pack."
    elif check.condition == "charge" and current >= 0:
        remedy = "on charge it is negative, into the pack."
    else:
        return _range_faults(check)
    return [
        Fault("/current_a", "current_against_condition", f"current_a is {current:g} A; {remedy}")
    ]


def _range_faults(check: VoltageCheck) -> list[Fault]:
    low, high = check.current_min_a, check.current_max_a
    if low is None or high is None or low <= high:
        return []
    told = f"current_min_a is {low:g} A, above current_max_a, {high:g} A; swap them."
    return [Fault("/current_min_a", "min_above_max", told)]


def _count_faults(check: VoltageCheck, pack_type: PackType) -> list[Fault]:
    expected, given = len(types.cells(pack_type, check.level)), len(check.voltages)
    if given == expected:
        return []
    return [
        Fault(
            "/voltages_v",
            "wrong_count",
            f"{given} voltages given, but a pack of type {pack_type.code} has {expected} at "
            f"{check.level} level; send one for each, null where one could not be read.",
        )
    ]


def _reorder(check: VoltageCheck, pack_type: PackType) -> list[Fault]:
    """From the car's own numbers to positions from the positive end."""
    order = pack_type.monitor_order
    if order is None or len(order) != len(check.voltages):
        return [
            Fault(
                "/order",
                "no_monitor_order",
                f"Type {pack_type.code} has no monitor_order for {check.level} level; "
                "send the voltages in order of position, or add it to the type.",
            )
        ]
    by_position = np.empty_like(check.voltages)
    by_position[np.asarray(order) - 1] = check.voltages
    check.voltages = by_position
    return []


def _voltage_faults(
    check: VoltageCheck, pack_type: PackType, as_sent: list[int] | None
) -> list[Fault]:
    """What no cell can show, pointed at where it was sent: `as_sent` lists positions in order."""
    problems = plausible.impossible(
        voltages.to_volts(check.voltages),
        types.cells(pack_type, check.level),
        pack_type.chemistry,
        pack_type.cell_nominal_v,
        check.level,
    )
    return [
        Fault(
            _pointer(problem.position, as_sent),
            problem.code,
            problem.detail,
        )
        for problem in problems
    ]


def _pointer(position: int | None, as_sent: list[int] | None) -> str:
    if position is None:
        return "/voltages_v"
    place = position - 1 if as_sent is None else as_sent.index(position)
    return f"/voltages_v/{place}"


def _derive(check: VoltageCheck, pack_type: PackType) -> None:
    volts = voltages.to_volts(check.voltages)
    cells = types.cells(pack_type, check.level)
    summary = spread.summarise(as_equal(volts, cells))
    check.spread_v = summary.spread_v
    check.median_v = summary.median_v
    check.weakest_position = summary.weakest_position
    check.weakest_deviation_v = summary.weakest_deviation_v
    suspects = plausible.strange(
        volts,
        cells,
        pack_type.chemistry,
        pack_type.cell_nominal_v,
        check.condition,
        check.current_a,
    )
    check.suspect = [{"position": s.position, "why": s.why} for s in suspects]
