"""What is out of an open pack after any order of steps."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packs.rules.openings import (
    Clash,
    Event,
    Item,
    Step,
    String,
    new_clashes,
    replay,
    shows_plus,
)

STRING = String(module_count=6, switch_after=3)
PARTS = ("bus_bar", "module", "cover")


def step(key: str, kind: Step, part: str = "cover", *places: int, **said: object) -> Event:
    items = tuple(Item(part, place) for place in places) or (Item(part),)
    return Event(key, kind, items=items, **said)  # type: ignore[arg-type]


def measured(key: str, **volts: float) -> Event:
    return Event(key, "polarity", readings={int(name[1:]): volt for name, volt in volts.items()})


def codes(*events: Event) -> list[str]:
    return [clash.code for clash in replay(STRING, events)[1]]


def test_out_and_back_leaves_nothing_out() -> None:
    state, clashes = replay(STRING, [step("a", "out"), step("b", "fitted")])
    assert (state.out, clashes, state.begun) == ({}, (), True)


def test_an_order_of_work_that_holds() -> None:
    events = [
        step("a", "out", "bus_bar", 1, 2),
        step("b", "out", "module", 2),
        step("c", "fitted", "module", 2),
        measured("d", p1=7.9, p2=7.9, p3=7.9),
        step("e", "fitted", "bus_bar", 1, 2),
        Event("f", "half", half=1, half_v=23.7),
    ]
    state, clashes = replay(STRING, events)
    assert clashes == ()
    assert (state.out, state.rest_v, state.changed) == ({}, {1: 23.7}, {2})


@pytest.mark.parametrize(
    ("events", "code"),
    [
        ([step("a", "out"), step("b", "out")], "out_already"),
        ([step("a", "fitted")], "not_out"),
        ([step("a", "out", "module", 2)], "still_joined"),
        ([step("a", "out", "bus_bar", 1), step("b", "fitted", "bus_bar", 1)], "polarity_missing"),
        (
            [
                step("a", "out", "bus_bar", 1),
                measured("b", p1=7.9, p2=-7.9),
                step("c", "fitted", "bus_bar", 1),
            ],
            "wrong_way_round",
        ),
        (
            [
                step("a", "out", "bus_bar", 1),
                measured("b", p1=7.9, p2=0.01),
                step("c", "fitted", "bus_bar", 1),
            ],
            "wrong_way_round",
        ),
        (
            [step("a", "out", "bus_bar", 1, 2), step("b", "out", "module", 2), measured("c", p2=8)],
            "module_out",
        ),
        (
            [step("a", "out", "bus_bar", 5), Event("b", "half", half=2, half_v=23.0)],
            "half_is_open",
        ),
    ],
)
def test_what_can_not_have_been_clashes(events: list[Event], code: str) -> None:
    assert code in codes(*events)


def test_the_switch_parts_the_modules_on_either_side_of_it() -> None:
    """Module 3 sits at the switch: with it out, one bus bar is left to take out."""
    assert codes(step("a", "out", "bus_bar", 2), step("b", "out", "module", 3)) == []


def test_a_bus_bar_at_the_end_of_the_string_parts_nothing() -> None:
    state, clashes = replay(STRING, [step("a", "out", "bus_bar", 0, 6)])
    assert clashes == ()
    assert state.touched == {1, 6}


def test_a_half_is_measured_again_after_it_was_opened() -> None:
    half = Event("a", "half", half=1, half_v=23.7)
    other = Event("b", "half", half=2, half_v=23.6)
    state, _ = replay(STRING, [half, other, step("c", "out", "bus_bar", 1)])
    assert state.rest_v == {2: 23.6}


def test_fasteners_back_are_at_most_those_out() -> None:
    out = step("a", "out", fasteners=(("nut", 4),))
    assert codes(out, step("b", "fitted", fasteners=(("nut", 4),))) == []
    assert codes(out, step("b", "fitted", fasteners=(("nut", 5),))) == ["more_back_than_out"]
    _, clashes = replay(STRING, [out], {"nut": 3})
    assert [clash.code for clash in clashes] == ["more_than_the_type_has"]


def test_a_step_told_late_clashes_with_what_came_after() -> None:
    later = [step("b", "out")]
    early = [step("a", "out"), *later]
    assert [clash.key for clash in new_clashes(STRING, later, early)] == ["b"]
    assert new_clashes(STRING, early, early) == ()


items = st.builds(
    lambda part, place: Item(part, place if part != "cover" else None),
    st.sampled_from(PARTS),
    st.integers(1, 6),
)
events = st.lists(
    st.builds(
        lambda kind, moved, number: Event(f"{number}", kind, items=(moved,)),
        st.sampled_from(["out", "fitted", "swapped"]),
        items.filter(lambda item: item.place is not None),
        st.integers(),
    )
    | st.builds(
        lambda place, volt: Event("m", "polarity", readings={place: volt}),
        st.integers(1, 6),
        st.sampled_from([7.9, -7.9, 0.0]),
    ),
    max_size=15,
)


@given(events)
def test_what_is_out_is_what_the_last_word_left_out(told: list[Event]) -> None:
    state, _ = replay(STRING, told)
    last = {item: event.step for event in told for item in event.items if event.step != "swapped"}
    assert set(state.out) == {item for item, word in last.items() if word == "out"}


@given(events)
def test_what_is_accepted_never_joins_what_is_not_proved(told: list[Event]) -> None:
    """However the steps come: when the last bus bar of an opened position goes in, its module is
    there and reads plus."""
    kept: list[Event] = []
    for event in told:
        if new_clashes(STRING, kept, [*kept, event]):
            continue
        kept.append(event)
        state, _ = replay(STRING, kept)
        joined = [item.place for item in event.items if item.part == "bus_bar"]
        for place in joined if event.step == "fitted" else ():
            assert place is not None
            for position in STRING.ends_of(place):
                if not any(state.is_out("bus_bar", at) for at in (position - 1, position)):
                    assert not state.is_out("module", position)
                    assert shows_plus(state.polarity.get(position))


@given(events)
def test_going_through_the_steps_twice_says_the_same(told: list[Event]) -> None:
    assert replay(STRING, told) == replay(STRING, list(told))
    assert all(isinstance(clash, Clash) for clash in replay(STRING, told)[1])
