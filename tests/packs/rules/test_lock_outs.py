"""The gates of a lock-out: the wait, the meter on its known source, the car side."""

from collections.abc import Mapping
from typing import Any

import pytest

from packs.rules.lock_outs import (
    CONFIRMED,
    SOURCE_TOLERANCE,
    Measured,
    breaches,
    findings,
    unconfirmed,
)

DEAD = {"plus_minus_v": 0.4, "plus_case_v": 0.1, "minus_case_v": -0.2}


def measured(readings: Mapping[str, float] = DEAD, /, **changes: Any) -> Measured:
    told = {"source_v": 12.6, "source_before_v": 12.6, "source_after_v": 12.5, "waited_min": 10.0}
    return Measured(**{**told, "readings": readings, **changes})


def found(told: Measured, *, limit: float = 50.0, wait: float = 10.0) -> list[tuple[str, str]]:
    return [(one.pointer, one.code) for one in breaches(told, touch_limit_v=limit, wait_min=wait)]


def test_a_dead_car_side_passes() -> None:
    assert found(measured()) == []


@pytest.mark.parametrize("name", DEAD)
@pytest.mark.parametrize("sign", [1, -1])
def test_each_reading_is_held_to_the_limit_whatever_its_sign(name: str, sign: int) -> None:
    assert found(measured({**DEAD, name: sign * 49.99})) == []
    assert found(measured({**DEAD, name: sign * 50.0})) == [(f"/readings/{name}", "car_side_live")]
    assert found(measured({**DEAD, name: sign * 49.0}), limit=30.0) == [
        (f"/readings/{name}", "car_side_live")
    ]


def test_the_wait_of_the_type_is_kept() -> None:
    assert found(measured(waited_min=9.9)) == [("/waited_min", "wait_too_short")]
    assert found(measured(waited_min=0.0), wait=0.0) == []


@pytest.mark.parametrize("name", ["source_before_v", "source_after_v"])
def test_a_meter_is_proved_before_and_after(name: str) -> None:
    refused = [(f"/{name}", "meter_not_proved")]
    assert found(measured(**{name: 0.0})) == refused
    assert found(measured(**{name: -12.6})) == refused
    assert found(measured(**{name: 12.6 * (1 + 1.1 * SOURCE_TOLERANCE)})) == refused
    assert found(measured(**{name: 12.6 * (1 - 0.9 * SOURCE_TOLERANCE)})) == []


def test_a_source_of_nothing_proves_no_meter() -> None:
    dead = measured(source_v=0.0, source_before_v=0.0, source_after_v=0.0)
    assert found(dead) == [("/source_v", "source_too_low")]


def test_all_gates_are_told_at_once() -> None:
    told = measured(dict.fromkeys(DEAD, 200.0), waited_min=1.0, source_after_v=3.0)
    assert len(found(told)) == 5


def test_a_car_side_that_does_not_decay_is_a_finding() -> None:
    assert findings(DEAD, 10.0) == ()
    (said,) = findings({**DEAD, "minus_case_v": -31.0}, 10.0)
    assert said.startswith("After 10 min the car side still shows -31 V minus to case")


@pytest.mark.parametrize("pointer", CONFIRMED)
def test_each_confirmation_is_asked_for(pointer: str) -> None:
    said: dict[str, dict[str, Any]] = {"done": {}, "worn": {}}
    for one in CONFIRMED:
        _, group, name = one.split("/")
        said[group][name] = True
    assert unconfirmed(said, CONFIRMED) == ()
    _, group, name = pointer.split("/")
    for answer in (False, None, 1, "yes"):
        said[group][name] = answer
        (missing,) = unconfirmed(said, CONFIRMED)
        assert (missing.pointer, missing.code) == (pointer, "not_confirmed")
    del said[group]
    assert pointer in {one.pointer for one in unconfirmed(said, CONFIRMED)}
