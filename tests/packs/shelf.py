"""Tested modules on the shelf."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import numpy as np

from packs.models import Module, ModuleTest
from packs.writes.digests import digest
from tests import world

TESTED = world.later(days=20)


def record_tests(module: Module, *, days_ago: float = 0.0, **figures: float) -> list[ModuleTest]:
    """A test for each figure, by its name in the API, so many days before TESTED."""
    ended_at = TESTED - timedelta(days=days_ago)
    kinds = {
        "capacity_ah": "capacity",
        "resistance_mohm": "resistance",
        "stand_mv_per_day": "stand",
    }
    return [
        ModuleTest.objects.create(
            module=module,
            kind=kinds[name],
            started_at=ended_at - timedelta(hours=3),
            ended_at=ended_at,
            **{name: value},
            **world.posted(digest({"tag": module.tag, name: value, "at": ended_at})),
        )
        for name, value in figures.items()
    ]


def stock(count: int, *, seed: int = 1, first: int = 1, **module: Any) -> list[Module]:
    """So many modules of 6 cells, each with all three figures."""
    random = np.random.default_rng(seed)
    made = []
    for number in range(first, first + count):
        row = world.module(f"S-{number:03d}", **module)
        record_tests(
            row,
            capacity_ah=float(random.normal(6.0, 0.3)),
            resistance_mohm=float(random.normal(22.0, 2.5)),
            stand_mv_per_day=float(random.gamma(4.0, 1.0)),
        )
        made.append(row)
    return made


def tags(rows: Sequence[dict[str, Any]]) -> list[str]:
    return [row["module"] for row in rows]


def fault(response: Any, pointer: str) -> dict[str, str]:
    """The one fault told at that place."""
    (told,) = [one for one in response.json()["errors"] if one["pointer"] == pointer]
    return dict(told)
