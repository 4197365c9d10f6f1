import pytest

from packs.rules.layouts import PassMarks
from packs.rules.module_verdicts import Figures, judge, temperature_note

MARKS = PassMarks(capacity_ah=4.5, resistance_mohm=15.0, stand_mv_per_day=20.0, settled_pct=3.0)


@pytest.mark.parametrize(
    ("figures", "word", "said"),
    [
        (Figures(capacity_ah=4.5), "pass", "Capacity 4.5 Ah, at or above the mark of 4.5 Ah."),
        (Figures(capacity_ah=4.49), "fail", "Capacity 4.49 Ah, below the mark of 4.5 Ah."),
        (Figures(resistance_mohm=15.2), "fail", "Resistance 15.2 mΩ, above the mark of 15 mΩ."),
        (Figures(stand_mv_per_day=-1), "pass", "at or below the mark of 20 mV a day"),
        (Figures(), "no_mark", "Nothing to be held"),
    ],
)
def test_a_figure_against_its_mark(figures: Figures, word: str, said: str) -> None:
    told = judge(figures, MARKS, {})
    assert told.word == word
    assert said in told.reasons[0]


def test_capacity_that_has_not_settled_does_not_pass() -> None:
    assert judge(Figures(capacity_ah=6, change_pct=2.99), MARKS, {}).word == "pass"
    told = judge(Figures(capacity_ah=6, change_pct=3.0), MARKS, {})
    assert told.word == "fail"
    assert "run another cycle" in told.reasons[0]


def test_a_type_without_marks_judges_nothing() -> None:
    told = judge(Figures(capacity_ah=1.0), PassMarks(), {})
    assert told.word == "no_mark"
    assert "sets no mark" in told.reasons[0]


@pytest.mark.parametrize(
    ("findings", "word"),
    [
        ({"venting": 1}, "fail"),
        ({"swelling": 2}, "fail"),
        ({"heat": 3}, "fail"),
        ({"swelling": 1, "heat": 1, "venting": 0}, "pass"),
    ],
)
def test_what_was_seen_of_the_module_counts(findings: dict[str, int], word: str) -> None:
    assert judge(Figures(capacity_ah=6), MARKS, findings).word == word


def test_the_temperature_that_capacity_is_asked_for() -> None:
    """20 ± 5 °C, IEC 61951-2."""
    assert temperature_note(15) is temperature_note(25) is None
    assert "8 °C" in str(temperature_note(8))
    assert "not noted" in str(temperature_note(None))
