"""Judging a batch: most checks are beyond doubt and are judged by column; the others one by one,
by the rules that can tell what is wrong. Both ways end in the same row.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, time
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from packs.errors import DomainError
from packs.models import PackType
from packs.reads import types
from packs.rules import batches
from packs.writes.check_lines import Lines
from packs.writes.judging import CLOCK_ERROR, judge

Truths = NDArray[np.bool_]
Units = NDArray[np.int32]


def judge_all(lines: Lines, places: Sequence[int], *, at: datetime, zone: ZoneInfo) -> None:
    """Fill in what follows from each row, or what stands against it."""
    for place in _in_doubt(lines, places, at=at, zone=zone):
        _judge_alone(lines, place, at=at, zone=zone)


def _in_doubt(lines: Lines, places: Sequence[int], *, at: datetime, zone: ZoneInfo) -> list[int]:
    """Judge by column what is beyond doubt; the places of the rest."""
    groups = defaultdict(list)
    levels = lines.columns["level"]
    for place in places:
        pack = lines.packs[place]
        assert pack is not None
        groups[pack.pack_type.pk, levels[place], lines.orders[place]].append(place)
    doubtful: list[int] = []
    for (_, level, order), alike in groups.items():
        pack = lines.packs[alike[0]]
        assert pack is not None
        plain = _plain(lines, alike, pack.pack_type, level, at=at, zone=zone)
        sure = [place for place, good in zip(alike, plain.tolist(), strict=True) if good]
        doubtful += [place for place, good in zip(alike, plain.tolist(), strict=True) if not good]
        if sure:
            doubtful += _judge_alike(lines, sure, pack.pack_type, level, order)
    return sorted(doubtful)


def _plain(
    lines: Lines,
    places: Sequence[int],
    kind: PackType,
    level: str,
    *,
    at: datetime,
    zone: ZoneInfo,
) -> Truths:
    """Of checks of one type and level, whose time, current and count are beyond doubt."""
    columns, latest, count = lines.columns, at + CLOCK_ERROR, types.cells(kind, level).size
    taken, volts = columns["taken_at"], columns["voltages"]
    low, high = columns["current_min_a"], columns["current_max_a"]
    clear = [
        taken[place] <= latest
        and volts[place].size == count
        and (low[place] is None or high[place] is None)
        and _after_built(lines, place, zone)
        for place in places
    ]
    return np.array(clear, dtype=np.bool_) & _currents_agree(lines, places, kind)


def _after_built(lines: Lines, place: int, zone: ZoneInfo) -> bool:
    pack = lines.packs[place]
    assert pack is not None
    if pack.built_on is None:
        return True
    taken_at: datetime = lines.columns["taken_at"][place]
    return taken_at >= datetime.combine(pack.built_on, time.max, zone)


def _currents_agree(lines: Lines, places: Sequence[int], kind: PackType) -> Truths:
    """Whether each current goes with its condition."""
    conditions = lines.columns["condition"]
    said = np.array([conditions[place] for place in places])
    current = np.array([lines.columns["current_a"][place] for place in places])
    agrees: Truths = np.where(
        said == "rest",
        np.abs(current) <= kind.rest_current_max_a,
        np.where(said == "load", current > 0, current < 0),
    )
    return agrees


def _judge_alike(
    lines: Lines, places: Sequence[int], kind: PackType, level: str, order: str
) -> Sequence[int]:
    """Judge by column checks of one type, level and order; the places of those in doubt."""
    cells = types.cells(kind, level)
    volts = lines.columns["voltages"]
    units = np.stack([volts[place] for place in places])
    if order == "monitor":
        if kind.monitor_order is None or len(kind.monitor_order) != cells.size:
            return places
        by_position = np.empty_like(units)
        by_position[:, np.asarray(kind.monitor_order) - 1] = units
        units = by_position
    good = batches.beyond_doubt(units, cells, kind.chemistry, kind.cell_nominal_v)
    said = batches.summarise(units)
    numbers = np.asarray(places)
    _take(lines, numbers[good].tolist(), units[good], said, good)
    doubtful: list[int] = numbers[~good].tolist()
    return doubtful


def _take(
    lines: Lines, places: Sequence[int], units: Units, said: batches.Summaries, good: Truths
) -> None:
    told = {
        "voltages": units,
        "spread_v": said.spread_v[good].tolist(),
        "median_v": said.median_v[good].tolist(),
        "weakest_position": [position or None for position in said.weakest[good].tolist()],
        "weakest_deviation_v": said.weakest_deviation_v[good].tolist(),
    }
    for name, values in told.items():
        column = lines.columns[name]
        for place, value in zip(places, values, strict=True):
            column[place] = value


def _judge_alone(lines: Lines, place: int, *, at: datetime, zone: ZoneInfo) -> None:
    check = lines.check(place)
    try:
        judge(check, at=at, zone=zone, order=lines.orders[place])
    except DomainError as error:
        lines.refused[place] = error
    else:
        lines.take(place, check)
