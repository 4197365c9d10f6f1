import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from packs.rules.pairing import PAIR_WITHIN_S, pair


def paired(loads: list[tuple[float, int]], rests: list[tuple[float, int]]) -> list[int]:
    def columns(checks: list[tuple[float, int]]) -> tuple[list[float], list[int]]:
        return [time for time, _ in checks], [code for _, code in checks]

    (load_s, load_sets), (rest_s, rest_sets) = columns(loads), columns(rests)
    indices: list[int] = pair(
        np.array(load_s, float),
        np.array(load_sets, np.int64),
        np.array(rest_s, float),
        np.array(rest_sets, np.int64),
    ).tolist()
    return indices


def expected(load: tuple[float, int], rests: list[tuple[float, int]]) -> int:
    """The rule, read aloud."""
    time, code = load
    able = [
        (abs(at - time), at, index)
        for index, (at, other) in enumerate(rests)
        if (other == code if code >= 0 else abs(at - time) <= PAIR_WITHIN_S)
    ]
    return min(able)[2] if able else -1


def test_the_same_set_pairs_however_far_apart() -> None:
    assert paired([(0, 7)], [(10, -1), (20, 8), (90_000, 7)]) == [2]


def test_a_set_without_its_rest_check_pairs_with_none() -> None:
    assert paired([(0, 7)], [(10, -1)]) == [-1]


def test_without_a_set_the_set_of_the_rest_check_does_not_matter() -> None:
    assert paired([(0, -1)], [(40, -1), (10, 8), (90_000, 7)]) == [1]
    assert paired([(0, -1), (5, 8)], [(10, 8)]) == [0, 0]


@pytest.mark.parametrize(("apart", "index"), [(3600, 0), (-3600, 0), (3601, -1), (-3601, -1)])
def test_without_a_set_an_hour_is_the_limit(apart: float, index: int) -> None:
    assert paired([(10_000, -1)], [(10_000 + apart, -1)]) == [index]


def test_the_nearest_counts_and_of_equals_the_earlier() -> None:
    assert paired([(100, -1)], [(130, -1), (90, -1), (400, -1)]) == [1]
    assert paired([(100, -1)], [(130, -1), (70, -1)]) == [1]
    assert paired([(100, -1)], [(70, -1), (70, -1)]) == [0]


def test_without_rest_checks_there_are_no_pairs() -> None:
    assert paired([(0, -1), (5, 2)], []) == [-1, -1]
    assert paired([], [(0, -1)]) == []


CHECKS = st.lists(
    st.tuples(st.integers(0, 40).map(lambda step: step * 600.0), st.integers(-1, 2)), max_size=12
)


@given(CHECKS, CHECKS)
def test_many_at_once_agree_with_the_rule(
    loads: list[tuple[float, int]], rests: list[tuple[float, int]]
) -> None:
    assert paired(loads, rests) == [expected(load, rests) for load in loads]
