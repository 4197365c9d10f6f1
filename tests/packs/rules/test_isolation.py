"""Isolation by two voltages: the method's own numbers, identities of leaks, and what is said."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packs.rules import isolation
from packs.rules.isolation import Voltages
from packs.rules.isolation_words import Found, judge, kilohm

EXACT = 1e-9


def of_leaks(
    pack_v: float, leaks: dict[float, float], shunt_ohm: float, meter_ohm: float = 1e15
) -> Voltages:
    """What a meter of that resistance reads; `leaks` in ohms, each by its share from minus."""
    conductance = sum(1 / ohms for ohms in leaks.values())
    share = sum(at / ohms for at, ohms in leaks.items()) / conductance

    def read(at: float, *across: float) -> float:
        """From that share to the case, loaded by the meter and what else lies across it."""
        load = 1 / sum(1 / ohms for ohms in (*across, meter_ohm))
        return abs(share - at) * pack_v * load / (1 / conductance + load)

    plus, minus = read(1), read(0)
    shunted = read(0, shunt_ohm) if minus >= plus else read(1, shunt_ohm)
    return Voltages(pack_v, plus, minus, shunted, shunt_ohm)


def test_the_worked_numbers_of_the_method() -> None:
    read = Voltages(250, 50, 200, 121.95121951219512, 125_000)
    found = isolation.by_two_voltages(read)
    assert found.isolation_ohm == pytest.approx(100_000, rel=EXACT)
    older = 125_000 * (1 + 50 / 200) * (200 - read.shunted_v) / read.shunted_v
    assert found.isolation_ohm == pytest.approx(older, rel=EXACT)
    assert isolation.verdict(found.isolation_ohm / 250) == "enough_for_dc"


def test_of_two_leaks_at_the_ends_it_gives_the_smaller() -> None:
    read = of_leaks(250, {1: 100_000, 0: 400_000}, 125_000)
    assert (read.minus_case_v, read.plus_case_v) == pytest.approx((200, 50))
    assert read.shunted_v == pytest.approx(121.951220, abs=1e-6)
    found = isolation.by_two_voltages(read)
    assert found.isolation_ohm == pytest.approx(100_000)
    assert found.true_ohm == pytest.approx(80_000)


def test_one_leak_inside_the_string_is_placed_and_not_flattered() -> None:
    found = isolation.by_two_voltages(of_leaks(250, {0.8: 100_000}, 125_000))
    assert found.isolation_ohm == pytest.approx(125_000)
    assert found.true_ohm == pytest.approx(100_000)
    place = isolation.place(found.from_minus, 28)
    assert place.from_negative == pytest.approx(22.4)
    assert (place.position, place.beside) == (6, None)


@given(
    share=st.floats(0.02, 0.98),
    ohms=st.floats(1e3, 5e6),
    shunt=st.floats(2e4, 5e5),
    meter=st.sampled_from([1e6, 1e7, 1e15]),
)
def test_a_leak_is_found_whatever_the_meter(
    share: float, ohms: float, shunt: float, meter: float
) -> None:
    found = isolation.by_two_voltages(of_leaks(220, {share: ohms}, shunt, meter))
    assert found.true_ohm == pytest.approx(ohms, rel=1e-6)
    assert found.from_minus == pytest.approx(share, rel=1e-6)
    assert found.isolation_ohm >= found.true_ohm * (1 - 1e-6)


@pytest.mark.parametrize(
    ("from_minus", "count", "position", "beside"),
    [(1, 28, 1, None), (0, 28, 28, None), (0.5, 28, 14, 15), (0.51, 28, 14, None), (0.49, 28, 15, None),
     (0.5, 11, 6, None), (0.5, 1, 1, None)],
)  # fmt: skip
def test_positions_count_from_the_positive_end(
    from_minus: float, count: int, position: int, beside: int | None
) -> None:
    place = isolation.place(from_minus, count)
    assert (place.position, place.beside) == (position, beside)


@pytest.mark.parametrize(
    ("read", "field", "code"),
    [
        (Voltages(200, 150, 80, 50, 1e5), "pack_v", "sum_above_pack"),
        (Voltages(200, 0, 0, 0, 1e5), "minus_case_v", "nothing_read"),
        (Voltages(200, 50, 150, 151, 1e5), "shunted_v", "shunted_above"),
        (Voltages(200, 50, 150, 0, 1e5), "shunted_v", "shunted_to_nothing"),
    ],
)
def test_what_cannot_be_is_named(read: Voltages, field: str, code: str) -> None:
    problem = isolation.trouble(read)
    assert problem is not None
    assert problem[:2] == (field, code)
    with pytest.raises(ValueError, match=r".+"):
        isolation.by_two_voltages(read)


@pytest.mark.parametrize(
    ("read", "refusal"),
    [
        (Voltages(200, 75, -125, 100, 1e5), ("minus_case_v", "below_zero")),
        (Voltages(200, -75, 125, 100, 1e5), ("plus_case_v", "below_zero")),
        (Voltages(200, 50, 125, 70, 1e5), ("pack_v", "sum_below_pack")),
        (Voltages(200, 150, 80, 50, 1e5), ("pack_v", "sum_above_pack")),
        (Voltages(200, 50, 145, 70, 1e5), None),
        (of_leaks(220, {0.5: 5e6}, 1.1e5, 1e7), None),
    ],
)
def test_readings_that_do_not_go_together_are_doubted(
    read: Voltages, refusal: tuple[str, str] | None
) -> None:
    """What a meter of 10 MΩ draws down in a well isolated string is no reason for doubt."""
    problem = isolation.doubt(read)
    assert (problem and problem[:2]) == refusal


def test_a_dead_short_to_the_case_reads_nothing() -> None:
    assert isolation.trouble(Voltages(200, 50, 150, 150, 1e5)) is None
    assert isolation.by_two_voltages(Voltages(200, 50, 150, 150, 1e5)).isolation_ohm == 0


@pytest.mark.parametrize(
    ("per_v", "verdict"),
    [(99.9, "too_low"), (100, "enough_for_dc"), (499.9, "enough_for_dc"), (500, "good")],
)
def test_verdicts_at_the_limits(per_v: float, verdict: str) -> None:
    assert isolation.verdict(per_v) == verdict


def found(**changes: object) -> Found:
    said: dict[str, object] = {
        "isolation_ohm": 125_000.0, "true_ohm": 100_000.0, "working_v": 250.0,
        "scope": "pack_alone", "wet": False,
    }  # fmt: skip
    return Found(**{**said, **changes})  # type: ignore[arg-type]


def test_it_is_judged_by_the_true_value() -> None:
    told = judge(found(place=isolation.place(0.8, 28)))
    assert (told.ohm_per_v, told.least_ohm_per_v, told.passes) == (500, 400, True)
    assert told.said.startswith("Enough for direct current: 400 Ω/V")
    assert told.place_said == ""
    failed = judge(found(place=isolation.place(0.8, 28), scope="in_car"))
    assert "22.4 modules from the negative end: in the module at position 6" in failed.place_said
    assert any("it says 125 kΩ, true are 100 kΩ" in note for note in told.notes)
    flattered = judge(found(isolation_ohm=26_000.0, true_ohm=20_000.0))
    assert (flattered.ohm_per_v > 100, flattered.verdict, flattered.passes) == (
        True,
        "too_low",
        False,
    )


def test_in_the_car_the_a_c_side_counts() -> None:
    told = judge(found(scope="in_car"))
    assert (told.asked_ohm_per_v, told.passes) == (500, False)
    assert "Not enough in the car" in told.said
    assert any("unplug its wiring" in note for note in told.notes)


def test_wet_dry_and_a_low_test_voltage_are_told() -> None:
    wet = judge(found(true_ohm=10_000.0, wet=True)).notes
    dry = judge(found()).notes
    assert any(note.startswith("It was wet") for note in wet)
    assert any(note.startswith("It was dry") for note in dry)
    assert any("Tested at 100 V" in note for note in judge(found(test_v=100.0)).notes)
    assert not any("Tested at" in note for note in judge(found(test_v=500.0)).notes)


def test_a_meter_that_is_most_of_the_path_is_told() -> None:
    read = of_leaks(200, {0.5: 20e6}, 100_000, meter_ohm=isolation.METER_OHM)
    assert isolation.meter_loads(read)
    assert not isolation.meter_loads(of_leaks(200, {0.5: 1e5}, 100_000, isolation.METER_OHM))


def test_resistances_as_meters_show_them() -> None:
    assert [kilohm(ohms) for ohms in (1.5e6, 100_000, 950)] == ["1.5 MΩ", "100 kΩ", "950 Ω"]
    assert isolation.shunt_for(250) == 125_000
