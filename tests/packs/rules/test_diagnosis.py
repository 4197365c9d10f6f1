import numpy as np
import pytest
from numpy.typing import NDArray

from packs.rules.diagnosis import Finding, which_part

Floats = NDArray[np.float64]
BLOCKS = 14
CELLS = np.full(BLOCKS, 12)
LOAD_A = 100.0


def blocks(level_v: float = 16.0, **off: float) -> Floats:
    """Fourteen equal blocks with some off by an amount, V: p5=-0.3."""
    volts = np.full(BLOCKS, level_v)
    for position, by in off.items():
        volts[int(position[1:]) - 1] += by
    return volts


def found(load: Floats, rest: Floats | None = None) -> list[Finding]:
    return which_part(load, LOAD_A, rest, CELLS, "nimh")


def test_a_healthy_set_has_no_findings() -> None:
    assert found(blocks(14.0), blocks()) == []
    assert found(blocks(14.0)) == []


@pytest.mark.parametrize("rest", [None, blocks(17.0, p5=-0.3, p6=0.3)])
def test_a_shared_sense_lead_leaves_the_sum_unchanged(rest: Floats | None) -> None:
    """Identity: 15.70 and 16.30 among fourteen blocks of 16.00 V, sum 224.00 V."""
    load = blocks(p5=-0.3, p6=0.3)
    assert load.sum() == pytest.approx(224.0)
    (finding,) = found(load, rest)
    assert (finding.kind, finding.positions) == ("sense_lead", (5, 6))
    assert "15.70 and 16.30 V" in finding.why
    assert ("at rest as well" in finding.why) is (rest is not None)
    assert "between positions 5 and 6" in finding.settle


def test_neighbours_off_by_unlike_amounts_share_no_lead() -> None:
    (finding,) = found(blocks(p5=-0.9, p6=0.3))
    assert (finding.kind, finding.positions) == ("slow_module", (5,))


def test_a_low_module_takes_its_loss_from_the_sum() -> None:
    """Identity: 15.70 among fourteen blocks of 16.00 V, sum 223.70 V."""
    (finding,) = found(blocks(p5=-0.3))
    assert (finding.kind, finding.positions) == ("slow_module", (5,))
    assert "223.70 V, 224.00 V at the median" in finding.why
    assert "rest check" in finding.settle


def test_a_poor_joint_is_gone_at_rest() -> None:
    (finding,) = found(blocks(14.0, p5=-0.3), blocks())
    assert (finding.kind, finding.positions) == ("joint", (5,))
    assert "3.0 mΩ" in finding.why


def test_a_joint_between_two_blocks_is_one_joint() -> None:
    (finding,) = found(blocks(14.0, p5=-0.3, p6=-0.2), blocks())
    assert (finding.kind, finding.positions) == ("joint", (5, 6))
    assert "5.0 mΩ" in finding.why


def test_a_slow_module_falls_at_rest_too() -> None:
    (finding,) = found(blocks(14.0, p5=-0.9), blocks(p5=-0.2))
    assert (finding.kind, finding.positions) == ("slow_module", (5,))
    assert "0.90 V at 100 A and by 0.20 V at rest" in finding.why
    assert "bench" in finding.settle


@pytest.mark.parametrize("rest", [None, blocks(16.4, p5=-1.35)])
def test_a_lost_cell_is_a_step(rest: Floats | None) -> None:
    (finding,) = found(blocks(14.4, p5=-1.22), rest)
    assert (finding.kind, finding.positions) == ("lost_cell", (5,))
    assert "one cell" in finding.why


def test_a_step_that_is_gone_at_rest_is_no_lost_cell() -> None:
    (finding,) = found(blocks(14.4, p5=-1.25), blocks())
    assert finding.kind == "joint"


def test_reversed_and_dead_positions() -> None:
    findings = found(blocks(14.0, p3=-28.0, p9=-14.0), blocks())
    assert [(finding.kind, finding.positions) for finding in findings] == [
        ("reversed", (3,)),
        ("sense_lead", (9,)),
    ]


def test_several_faults_are_told_apart_in_order() -> None:
    load = blocks(14.0, p2=-0.4, p3=0.4, p7=-0.5, p11=-0.6)
    rest = blocks(p2=-0.4, p3=0.4, p11=-0.3)
    assert [(finding.kind, finding.positions) for finding in found(load, rest)] == [
        ("sense_lead", (2, 3)),
        ("joint", (7,)),
        ("slow_module", (11,)),
    ]


def test_what_was_not_read_is_not_blamed() -> None:
    (finding,) = found(blocks(14.0, p1=np.nan, p5=-0.9), blocks(p2=np.nan, p5=-0.3))
    assert finding.positions == (5,)
    assert found(blocks(np.nan), blocks(np.nan)) == []


def test_uneven_blocks_are_compared_cell_by_cell() -> None:
    cells = np.array([12, 12, 24, 12, 12, 24, 12])
    assert which_part(cells * 1.2, LOAD_A, None, cells, "nimh") == []
    low = cells * 1.2 - np.array([0, 0, 0.9, 0, 0, 0, 0])
    (finding,) = which_part(low, LOAD_A, None, cells, "nimh")
    assert finding.positions == (3,)


@pytest.mark.parametrize("count", [5, 14, 28])
@pytest.mark.parametrize(("noise_v", "rest_v", "share"), [(0.01, 0.01, 0.03), (0.02, 0.02, 0.05)])
def test_healthy_packs_are_seldom_accused(
    count: int, noise_v: float, rest_v: float, share: float
) -> None:
    """Meter noise, resting scatter and a few percent of resistance: under 1 finding in 100."""
    random, cells = np.random.default_rng(count), np.full(count, 12)
    accused, tries = 0, 1000
    for _ in range(tries):
        rest = random.normal(16.0, rest_v, count)
        load = rest - LOAD_A * random.normal(0.020, 0.020 * share, count)
        noise = random.normal(0.0, noise_v, (2, count))
        accused += bool(which_part(load + noise[0], LOAD_A, rest + noise[1], cells, "nimh"))
    assert accused < 0.01 * tries


@pytest.mark.parametrize(
    ("kind", "load_off", "rest_off"),
    [
        ("sense_lead", (-0.4, 0.4), (-0.4, 0.4)),
        ("joint", (-0.5, 0.0), (0.0, 0.0)),
        ("lost_cell", (-1.22, 0.0), (-1.32, 0.0)),
        ("slow_module", (-0.8, 0.0), (-0.3, 0.0)),
    ],
)
def test_faults_are_found_through_noise(
    kind: str, load_off: tuple[float, float], rest_off: tuple[float, float]
) -> None:
    random, right, tries = np.random.default_rng(2), 0, 200
    for _ in range(tries):
        load = blocks(14.4, p5=load_off[0], p6=load_off[1]) + random.normal(0, 0.02, BLOCKS)
        rest = blocks(16.0, p5=rest_off[0], p6=rest_off[1]) + random.normal(0, 0.01, BLOCKS)
        told = [finding.kind for finding in found(load, rest) if 5 in finding.positions]
        right += told == [kind]
    assert right > 0.95 * tries
