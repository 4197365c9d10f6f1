"""A pack of eleven modules as the bench knows it: how it is built, what it wears, who works on it.

Eight bolts hold the junction board, four of them electrical and four through loose spacers; two
bolts a module hold the bus bars; three temperature sensors (common practice, no source).
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

SERIAL = "EL-0007"
VIN = "TST11111111100007"
PLATE = "TST 11"
TYPE = "EL-11"
FITTED = "EM-208"  # the module that goes in at BAD
MODULES, PARTED_AFTER = 11, 5
BAD = 8
REST_V = 15.60  # of a healthy module of twelve cells; common practice, no source
LOAD_A = 20.0
OWN_MOHM = 20.0
LOOSE_MOHM = 30.0
TAP_V = 0.30  # by which the shared lead between LEADS reads wrong
LEADS = (3, 4)
SENSORS = {1: "inlet", 6: "outlet 1", 11: "outlet 2"}
BAR_BOLT, BOARD_BOLT, LONG_BOLT, SPACER = "bar bolt", "board bolt", "long board bolt", "spacer"


def way_round(position: int) -> str:
    return "normal" if position % 2 else "reversed"


LAYOUT: dict[str, Any] = {
    "switch_after": PARTED_AFTER,
    "positions": [
        {
            "position": at,
            "orientation": way_round(at),
            "sense_lead": f"S{at}",
            **({"sensor": SENSORS[at]} if at in SENSORS else {}),
        }
        for at in range(1, MODULES + 1)
    ],
    "slots": [{"slot": "fuse", "kind": "fuse"}],
    "fasteners": [
        {"kind": BAR_BOLT, "count": 22, "part": "bus_bar"},
        {"kind": BOARD_BOLT, "count": 4, "part": "junction_board"},
        {"kind": LONG_BOLT, "count": 4, "part": "junction_board"},
        {"kind": SPACER, "count": 4, "part": "junction_board", "loose": True},
    ],
    "torques": [{"fastener": BAR_BOLT, "torque_nm": 5.4, "paint": True}],
    "waits": {"discharge_min": 10},
    "pass_marks": {"resistance_mohm": OWN_MOHM, "capacity_ah": 5.0},
}

PACK_TYPE: dict[str, Any] = {
    "code": TYPE,
    "name": "Eleven by twelve",
    "chemistry": "nimh",
    "module_count": MODULES,
    "cells_per_module": 12,
    "cell_nominal_v": 1.2,
    "modules_per_block": 1,
    "rated_capacity_ah": 6.0,
    "reference_load_a": LOAD_A,
    "load_spread_limit_v": 1.2,
    "rest_spread_limit_v": 0.4,
    **LAYOUT,
}

SITE: dict[str, Any] = {
    "code": "main",
    "name": "Main",
    "time_zone": "UTC",
    "rules": {"warranties": {"module_swap": {"months": 12, "km": 20_000}}},
}


def setting(now: datetime) -> list[tuple[str, dict[str, Any]]]:
    """The shop on that day, as it is posted: its rules, people, tools, one module, and the car."""

    def day(days: int) -> str:
        return (now + timedelta(days=days)).date().isoformat()

    old = {"checked_on": day(-300), "issued_on": day(-299)}
    new = {"checked_on": day(-40), "issued_on": day(-35)}
    sits = {"installed_at": (now - timedelta(days=480)).isoformat(), "installed_km": 98_000}
    return [
        ("sites", SITE),
        ("pack-types", PACK_TYPE),
        ("packs", {"serial": SERIAL, "pack_type": TYPE}),
        ("people", {"code": "kim", "name": "Kim Reed", "roles": ["bench"]}),
        ("people", {"code": "ash", "name": "Ash Birch", "roles": ["bench"]}),
        ("equipment", {"code": "DMM-1", "kind": "meter"}),
        ("equipment", {"code": "TRQ-1", "kind": "torque_tool"}),
        ("equipment", {"code": "G-OLD", "kind": "gloves", "rating": "class 0", **old}),
        ("equipment", {"code": "G-NEW", "kind": "gloves", "rating": "class 0", **new}),
        ("modules", {"tag": FITTED, "form": "prismatic", "cells": 12}),
        ("vehicles", {"vin": VIN, "plate": PLATE}),
        ("installations", {"pack": SERIAL, "vehicle": VIN, **sits}),
    ]


def as_found(condition: str) -> list[float]:
    """Volts by position: one module is low, and two neighbours share a lead that reads wrong."""
    loaded = condition == "load"
    volts = healthy(condition)
    volts[BAD - 1] -= 0.95 if loaded else 0.55
    volts[LEADS[0] - 1] -= TAP_V
    volts[LEADS[1] - 1] += TAP_V
    return [round(volt, 2) for volt in volts]


def healthy(condition: str) -> list[float]:
    """Volts by position of a pack with nothing wrong, each module a little its own."""
    drop_v = LOAD_A * OWN_MOHM / 1000 if condition == "load" else 0.0
    return [round(REST_V - drop_v + 0.01 * (at % 3), 2) for at in range(MODULES)]


def half(number: int, volts: Sequence[float]) -> float:
    """What the modules of a half sum to, V."""
    places = slice(0, PARTED_AFTER) if number == 1 else slice(PARTED_AFTER, None)
    return round(sum(volts[places]), 2)


def repaired() -> list[float]:
    """At rest with the other module in; the shared lead still reads wrong."""
    volts = as_found("rest")
    volts[BAD - 1] = healthy("rest")[BAD - 1]
    return volts


def under_load(number: int, joint_mohm: float = 0.0) -> float:
    """A half alone under LOAD_A, V, with what one joint has too much."""
    count = PARTED_AFTER if number == 1 else MODULES - PARTED_AFTER
    return round(half(number, repaired()) - LOAD_A * (count * OWN_MOHM + joint_mohm) / 1000, 2)
