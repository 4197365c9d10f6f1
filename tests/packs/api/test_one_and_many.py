"""The same lines one by one and as a stream: the same records, the same refusals."""

import json
import random
from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from django.db import transaction
from rest_framework.test import APIClient

from packs.models import Equipment, Pack, PackType, VoltageCheck
from tests import world
from tests.packs.api.conftest import Api

pytestmark = pytest.mark.django_db
CHECKS = "/api/v1/voltage-checks/"
NDJSON = "application/x-ndjson"
LINES = 400
SAME = [
    field.attname
    for field in VoltageCheck._meta.concrete_fields
    if field.attname not in ("id", "recorded_at")
]


@pytest.fixture(autouse=True)
def shop() -> None:
    world.pack_type()
    order = [*range(14, 0, -1)]
    world.pack_type("NM-14U", module_count=14, modules_per_block=1, monitor_order=order)
    world.pack_type("NM-11", module_count=11, modules_per_block=None, blocks=[2, 2, 2, 2, 3])
    world.pack_type(
        "LI-8", module_count=8, chemistry="li_ion", cells_per_module=4, cell_nominal_v=3.6
    )
    for serial, code in (("A-1", "NM-28"), ("A-2", "NM-14U"), ("A-3", "NM-11"), ("A-4", "LI-8")):
        world.pack(serial, _kind(code), built_on=date(2024, 2, 1) if serial == "A-2" else None)
    world.person("kim")
    Equipment.objects.create(code="E-1", kind="meter", **world.posted(b"-"))


def _kind(code: str) -> Any:
    return PackType.objects.get(code=code)


PARTS = {"A-1": (28, 14, 6), "A-2": (14, 14, 6), "A-3": (11, 5, 6), "A-4": (8, 4, 4)}


def body(rnd: random.Random, number: int) -> dict[str, Any]:
    """A good check, more or less as testers send them."""
    serial = rnd.choice(["A-1", "A-1", "a-1", "A-2", "A-3", "A-4"])
    modules, blocks, cells = PARTS[serial.upper()]
    level = rnd.choice(["module", "module", "block", "cell"])
    count = {"module": modules, "block": blocks, "cell": modules * cells}[level]
    cell_v = 3.7 if serial == "A-4" else 1.32
    per = {"module": cells, "block": cells * modules / blocks, "cell": 1}[level]
    condition = rnd.choice(["rest", "load", "charge"])
    current = {"rest": 0.4, "load": 20, "charge": -6.5}[condition]
    taken = world.later(days=1 + number / 100)
    said: dict[str, Any] = {
        "pack": serial,
        "taken_at": taken.isoformat(),
        "level": level,
        "condition": condition,
        "current_a": current,
        "voltages_v": [round(cell_v * per + rnd.gauss(0, 0.02), 4) for _ in range(count)],
    }
    extras: dict[str, Any] = {
        "external_id": f"x-{rnd.randrange(LINES)}", "temperature_c": 21, "odometer_km": 120000.0,
        "set": "go 1", "equipment": "E-1", "done_by": "kim", "soc_pct": 55.5, "taken": "one_by_one",
        "current_min_a": current - 1, "instrument": "meter “5”", "temperatures_c": {"inlet": 20},
        "order": "monitor", "rested_min": None, "last_current": "charge",
    }  # fmt: skip
    for name, value in extras.items():
        if rnd.random() < 0.25:
            said[name] = value
    return said


SPOILT: list[dict[str, Any]] = [
    {"pack": "NOBODY"}, {"pack": ""}, {"pack": 7}, {"pack": " A-1 "}, {"taken_at": "yesterday"},
    {"taken_at": "2024-03-05 10:00:00Z"}, {"taken_at": "2024-03-05T10:00:60Z"},
    {"taken_at": "2024-03-05T10:00:00"}, {"taken_at": "2024-02-30T10:00:00Z"},
    {"taken_at": "2150-01-01T00:00:00Z"}, {"taken_at": "2024-01-05T10:00:00Z"},
    {"taken_at": "2024-03-05T10:00:00.1234567+01:00"}, {"level": "pack"}, {"condition": "idle"},
    {"current_a": "20"}, {"current_a": True}, {"current_a": 2500}, {"current_a": 9.5},
    {"current_a": None}, {"voltages_v": []}, {"voltages_v": [8.0, 8.1]}, {"voltages_v": "8"},
    {"voltages_v": [8.0, None, "8"]}, {"soc_pct": 101}, {"temperature_c": 200},
    {"odometer_km": 1.5}, {"odometer_km": 9_000_000}, {"set": ""}, {"colour": "red"},
    {"equipment": "E-9"}, {"done_by": "nobody"}, {"visit": "vi_00000000"}, {"visit": 5},
    {"external_id": "\u0000"}, {"external_id": "y" * 201}, {"instrument": "a\tb"},
    {"instrument": "a\u0007b"}, {"instrument": " a "}, {"order": "reverse"},
    {"supersedes": "vc_00000000"}, {"current_min_a": 9, "current_max_a": 1},
    {"temperatures_c": {"roof": 20}}, {"temperatures_c": {}}, {"temperatures_c": None},
]  # fmt: skip


def spoil(rnd: random.Random, said: dict[str, Any]) -> dict[str, Any]:
    volts = said["voltages_v"]
    place = rnd.randrange(len(volts))
    twisted = [
        {"voltages_v": [*volts[:place], value, *volts[place + 1 :]]}
        for value in (None, 0, -7.9, 99.0, 1e6, volts[place] - 1.3, volts[place] - 1.15, 4.2, 0.05)
    ]
    scaled = [{"voltages_v": [volt * factor for volt in volts]} for factor in (1000, 0.001, 1 / 6)]
    return {**said, **rnd.choice([*SPOILT, *twisted, *twisted, *scaled, {"voltages_v": volts[1:]}])}


def lines(rnd: random.Random) -> Iterator[bytes]:
    earlier: list[dict[str, Any]] = []
    for number in range(LINES):
        said = body(rnd, number)
        if rnd.random() < 0.35:
            said = spoil(rnd, said)
        if earlier and rnd.random() < 0.1:
            said = rnd.choice(earlier)
        earlier.append(said)
        yield json.dumps(said, ensure_ascii=rnd.random() < 0.5).encode()


RAW = [
    b"{",
    b"null",
    b'{"pack": NaN}',
    b"\xff",
    b'{"pack":"\xff"}',
    b'{"pack":"\xed\xa0\x80"}',
    b'{"pack": "A-1", "pack": "A-1"}',
    b"7",
]


def records() -> list[Any]:
    found = VoltageCheck.objects.order_by("pack", "revision").values(*SAME)
    told = [{name: _plain(value) for name, value in row.items()} for row in found]
    packs = Pack.objects.order_by("pk").values_list("revision", "last_contact")
    return [told, list(packs)]


def _plain(value: Any) -> Any:
    return (
        value.tolist()
        if hasattr(value, "tolist")
        else bytes(value)
        if isinstance(value, memoryview)
        else value
    )


def one_by_one(client: APIClient, said: list[bytes]) -> list[Any]:
    answers = []
    for raw in said:
        answer: Any = client.post(CHECKS, raw, content_type="application/json")
        told = answer.json()
        answers.append([answer.status_code, _without_clock(told.get("errors"))])
    return answers


def as_stream(client: APIClient, said: list[bytes]) -> list[Any]:
    answer: Any = client.post(CHECKS, b"\n".join(said), content_type=NDJSON)
    told = [json.loads(line) for line in b"".join(answer.streaming_content).splitlines()]
    return [[one["status"], _without_clock(one.get("errors"))] for one in told[:-1]]


def _without_clock(errors: list[dict[str, str]] | None) -> Any:
    """The sentence about a time ahead of the clock names the clock, which goes on."""
    if errors is None:
        return None
    return [{**e, "detail": ""} if e["code"] == "in_the_future" else e for e in errors]


@pytest.mark.parametrize("seed", range(2))
def test_the_same_lines_give_the_same_records_and_refusals(api: Api, seed: int) -> None:
    rnd = random.Random(seed)
    said = [*lines(rnd), *RAW]
    client = api("machine")
    client.get(CHECKS)
    with transaction.atomic():
        streamed = as_stream(client, said)
        stored = records()
        transaction.set_rollback(True)
    alone = one_by_one(client, said)
    differing = [(raw, a, b) for raw, a, b in zip(said, streamed, alone, strict=True) if a != b]
    assert differing[:3] == []
    assert stored == records()
    kept = {status for status, _ in streamed}
    assert kept >= {200, 201, 400, 409, 422}
