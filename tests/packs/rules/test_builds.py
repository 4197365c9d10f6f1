"""What work begins a build, and what it touches."""

import pytest

from packs.rules.builds import begun_by_slots, begun_by_step, touched


@pytest.mark.parametrize(
    ("kind", "part", "chemistry", "begins"),
    [
        ("fitted", "bus_bar", "nimh", True),
        ("fitted", "sense_harness", "nimh", True),
        ("fitted", "module", "li_ion", True),
        ("fitted", "cover", "li_ion", False),
        ("fitted", "service_switch", "nimh", False),
        ("equalised", "", "li_ion", True),
        ("equalised", "", "nimh", False),
        ("polarity", "", "li_ion", False),
        ("half", "", "li_ion", False),
    ],
)
def test_which_steps_begin_a_build(kind: str, part: str, chemistry: str, begins: bool) -> None:
    assert begun_by_step(kind, part, chemistry) is begins


def test_which_parts_begin_a_build() -> None:
    assert begun_by_slots(["fuse", "bus_bar:5"])
    assert not begun_by_slots(["fuse", "cooling_fan:2"])


@pytest.mark.parametrize(
    ("part", "places", "positions"),
    [
        ("bus_bar", [5], (5, 6)),
        ("bus_bar", [0], (1,)),
        ("bus_bar", [8], (8,)),
        ("bus_bar", [2, 3], (2, 3, 4)),
        ("module", [4], (4,)),
        ("sense_harness", [3, 1], (1, 3)),
        ("sense_harness", [], ()),
        ("", [], ()),
    ],
)
def test_what_a_step_touches(part: str, places: list[int], positions: tuple[int, ...]) -> None:
    assert touched(part, places, 8) == positions
