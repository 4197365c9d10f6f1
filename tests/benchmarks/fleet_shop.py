"""A fleet to measure on: packs of four types with eight checks each, changes and failures."""

from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from django.db import models

from packs.models import Failure, Pack, PackType, Swap, SwapChange, VoltageCheck
from packs.rules.voltages import to_units
from packs.writes.inserting import insert
from reports.trends.histories import Histories
from reports.trends.history import Floats
from tests import world

BEGUN = datetime(2021, 1, 1, tzinfo=UTC)
DAY_S = 86_400.0
CHECKS, BLOCKS, TYPES = 8, 14, 4
YEARS = 4.0
LIMIT_V = 1.2
TURN = 5_000  # packs made in one go


def readings(numbers: "np.ndarray[Any, np.dtype[np.int_]]") -> tuple[Floats, Floats]:
    """Days since the fleet began (n, 8) and voltages (n, 8, 14) of packs, each always the same."""
    rng = np.random.default_rng([7, int(numbers[0])])
    days = np.sort(rng.uniform(0.0, YEARS * 365.0, (numbers.size, CHECKS)), axis=1)
    start, rate = rng.normal(-1.8, 0.5, numbers.size), rng.normal(0.3, 0.25, numbers.size)
    low = LIMIT_V * np.exp(start[:, None] + rate[:, None] * days / 365.25)
    volts = 15.0 + rng.normal(0.0, 0.02, (numbers.size, CHECKS, BLOCKS))
    worst = rng.integers(0, BLOCKS, numbers.size)
    volts[np.arange(numbers.size), :, worst] -= np.minimum(low, 4.0)
    return days, np.round(volts, 4)


def in_arrays(first: int, count: int) -> Histories:
    """Such packs as the trends take them, without a database."""
    numbers = np.arange(first, first + count)
    days, volts = readings(numbers)
    rng = np.random.default_rng([8, first])
    changed = np.flatnonzero(rng.random(count) < 0.1)
    failed = np.flatnonzero(rng.random(count) < 0.1)
    flat = volts.reshape(-1, BLOCKS)
    return Histories(
        key=numbers,
        names=tuple(f"FT-{kind}/load/block" for kind in range(TYPES)),
        group=numbers % TYPES,
        positions=np.full(count, BLOCKS),
        limit_v=np.full(count, LIMIT_V),
        entry_day=days[:, 0],
        contact_day=days[:, -1],
        check_pack=np.repeat(np.arange(count), CHECKS),
        days=days.ravel(),
        spread_v=np.ptp(flat, axis=1),
        deviation_v=np.median(flat, axis=1)[:, None] - flat,
        temperature_c=rng.normal(22.0, 6.0, flat.shape[0]),
        renewal_pack=changed,
        renewal_days=rng.uniform(days[changed, 2], days[changed, 5]),
        renewed=rng.random((changed.size, BLOCKS)) < 0.3,
        failure_pack=failed,
        failure_days=days[failed, -1],
    )


def grow(count: int) -> None:
    """Packs in the database, up to so many; as an import would leave them, without its marks."""
    have = Pack.objects.count()
    kinds = [
        PackType.objects.filter(code=f"FT-{kind}").first() or world.pack_type(f"FT-{kind}")
        for kind in range(TYPES)
    ]
    for first in range(have, count, TURN):
        _turn(np.arange(first, min(first + TURN, count)), kinds)


def _turn(numbers: "np.ndarray[Any, np.dtype[np.int_]]", kinds: list[PackType]) -> None:
    size = numbers.size
    days, volts = readings(numbers)
    keys = [int(number) + 1 for number in numbers]
    kept = _kept(size)
    known = BEGUN + timedelta(days=YEARS * 365.0 + 30.0)
    serials = [f"FL-{key:07d}" for key in keys]
    _fill(
        Pack, size, kept | {
            "id": keys, "serial": serials, "serial_alike": [s.replace("-", "") for s in serials],
            "pack_type_id": [kinds[number % TYPES].pk for number in numbers.tolist()],
            "status": ["in_service"] * size, "revision": [CHECKS + 3] * size,
            "settled_at": [known] * size, "version": [1] * size,
        },
    )  # fmt: skip
    _checks(keys, days, volts)
    rng = np.random.default_rng([9, keys[0]])
    _changes([key for key in keys if key % 10 == 3], days[np.array(keys) % 10 == 3])
    failed = [key for key in keys if key % 10 == 7]
    ends = days[np.array(keys) % 10 == 7, -1] - rng.uniform(1.0, 20.0, len(failed))
    Failure.objects.bulk_create(
        Failure(
            pack_id=key,
            revision=CHECKS + 2,
            failed_on=(BEGUN + timedelta(days=day)).date(),
            cause="module",
            how_known="stranded",
            **world.posted(b"-", known),
        )
        for key, day in zip(failed, ends.tolist(), strict=True)
    )


def _checks(keys: list[int], days: Floats, volts: Floats) -> None:
    """Six under the reference load, two at rest."""
    size = len(keys) * CHECKS
    taken = [BEGUN + timedelta(seconds=round(day * DAY_S)) for day in days.ravel().tolist()]
    load = [place % 4 != 3 for place in range(CHECKS)] * len(keys)
    flat = volts.reshape(-1, BLOCKS)
    warm = np.random.default_rng(keys[0]).normal(22.0, 6.0, size).round(1).tolist()
    _fill(
        VoltageCheck, size, _kept(size) | {
            "id": [(key - 1) * CHECKS + place for key in keys for place in range(1, CHECKS + 1)],
            "pack_id": [key for key in keys for _ in range(CHECKS)],
            "revision": [place + 2 for _ in keys for place in range(CHECKS)],
            "taken_at": taken, "recorded_at": [at + timedelta(minutes=1) for at in taken],
            "level": ["block"] * size,
            "condition": ["load" if under else "rest" for under in load],
            "current_a": [20.0 if under else 0.2 for under in load],
            "voltages": list(to_units(flat)), "temperature_c": warm,
            "external_id": [f"{key}-{place}" for key in keys for place in range(CHECKS)],
            "spread_v": np.ptp(flat, axis=1).round(4).tolist(),
            "median_v": np.median(flat, axis=1).round(4).tolist(),
            "weakest_position": (flat.argmin(axis=1) + 1).tolist(),
            "weakest_deviation_v": [0.1] * size, "suspect": [[]] * size,
        },
    )  # fmt: skip


def _changes(keys: list[int], days: Floats) -> None:
    when = [BEGUN + timedelta(days=day) for day in (days[:, 4] + 0.5).tolist()]
    size = len(keys)
    _fill(
        Swap, size, _kept(size) | {
            "id": keys, "pack_id": keys, "revision": [CHECKS + 3] * size, "done_at": when,
            "recorded_at": when, "kind": ["module"] * size, "starts_build": [True] * size,
        },
    )  # fmt: skip
    changes = [(key, place) for key in keys for place in (3, 4)]
    _fill(
        SwapChange, len(changes), {
            "id": [2 * key + place for key, place in changes],
            "swap_id": [key for key, _ in changes],
            "position": [place for _, place in changes],
        },
    )  # fmt: skip


def _kept(size: int) -> dict[str, list[Any]]:
    client = world.actor().client.pk
    return {
        "recorded_at": [BEGUN] * size,
        "client_id": [client] * size,
        "digest": [b"-"] * size,
        "void_reason": [""] * size,
    }


def _fill(model: type[models.Model], size: int, given: dict[str, list[Any]]) -> None:
    """Insert; what is not given is the column's own default, or null."""
    columns = {
        field.attname: given[field.attname]
        if field.attname in given
        else [field.get_default() if field.has_default() else None if field.null else ""] * size
        for field in model._meta.concrete_fields
    }
    if size:
        insert(model, columns)
