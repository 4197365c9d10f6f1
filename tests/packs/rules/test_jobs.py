"""A job on a visit: which step is next, and what a release still wants."""

from dataclasses import replace

import pytest

from packs.rules.jobs import Progress, next_of, release_wants, stages

CLOSED = Progress(
    as_found_rest=True, as_found_load=True, codes=1, inspected=True, ever_locked_out=True,
    opened=True, swapped=1, re_energised=True, isolation=True, rest_after=True, load_after=True,
)  # fmt: skip


def states(progress: Progress) -> dict[str, str]:
    return {stage.name: stage.state for stage in stages(progress)}


def upcoming(progress: Progress) -> str:
    stage = next_of(stages(progress))
    return "" if stage is None else stage.name


def test_the_order_of_the_work_leads() -> None:
    told = Progress()
    assert upcoming(told) == "checks"
    told = replace(told, as_found_rest=True, as_found_load=True)
    assert upcoming(told) == "codes"
    told = replace(told, codes=1)
    assert upcoming(told) == "inspection"
    told = replace(told, inspected=True)
    assert upcoming(told) == "lock-out"
    told = replace(told, locked_out=True, ever_locked_out=True)
    assert upcoming(told) == "teardown"
    told = replace(told, opened=True, out=("A module is still out.",))
    assert upcoming(told) == "reassembly"
    told = replace(told, out=())
    assert upcoming(told) == "re-energise"
    told = replace(told, locked_out=False, re_energised=True)
    assert upcoming(told) == "isolation"
    told = replace(told, isolation=True)
    assert upcoming(told) == "after"
    told = replace(told, rest_after=True, load_after=True)
    assert upcoming(told) == "release"
    assert upcoming(replace(told, released=True)) == ""


def test_nothing_is_taken_apart_before_the_lock_out() -> None:
    assert states(Progress())["teardown"] == "blocked"
    assert (
        states(Progress(inspected=True, locked_out=True, ever_locked_out=True))["teardown"]
        == "next"
    )


def test_the_switch_waits_for_what_is_out_or_unproved() -> None:
    locked = Progress(inspected=True, locked_out=True, ever_locked_out=True, opened=True)
    assert states(replace(locked, out=("A cover is out.",)))["re-energise"] == "blocked"
    assert states(replace(locked, unready=("Half 1 was not measured.",)))["re-energise"] == (
        "blocked"
    )
    assert states(locked)["re-energise"] == "next"


def test_one_step_is_next_and_each_has_a_sentence() -> None:
    told = stages(Progress())
    assert [stage.state for stage in told].count("next") == 1
    assert all(stage.said.endswith(".") for stage in told)
    assert all(stage.word for stage in told)


def test_a_closed_and_measured_pack_wants_nothing() -> None:
    assert release_wants(CLOSED) == []
    assert states(CLOSED)["release"] == "next"


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"out": ("Two nuts are left.",)}, "still_out"),
        ({"unready": ("Half 2 is off by 2.4 V.",)}, "not_ready"),
        ({"locked_out": True}, "locked_out"),
        ({"isolation": None}, "no_isolation"),
        ({"isolation": False}, "isolation_low"),
        ({"open_codes": 1}, "codes_open"),
        ({"rest_after": False}, "no_rest_check"),
        ({"load_after": False}, "no_load_check"),
        ({"load_after": False, "load_said": "Checked under load at 2 A."}, "no_load_check"),
        ({"unlocked": ("Position 3 changed, and no lock-out is recorded.",)}, "no_lock_out"),
        ({"elsewhere": "A lock-out stands on this pack."}, "locked_out_elsewhere"),
        ({"over_limit": ("The spread at rest is 0.50 V.",)}, "over_limit"),
    ],
)
def test_each_thing_that_is_missing_is_told(changes: dict[str, object], code: str) -> None:
    wants = release_wants(replace(CLOSED, **changes))  # type: ignore[arg-type]
    assert [want for want, _ in wants] == [code]
    assert states(replace(CLOSED, **changes))["release"] == "blocked"  # type: ignore[arg-type]


def test_what_was_changed_without_a_lock_out_wants_an_isolation_check() -> None:
    told = replace(CLOSED, ever_locked_out=False, unlocked=("Position 3 changed.",), isolation=None)
    assert [code for code, _ in release_wants(told)] == ["no_lock_out", "no_isolation"]
    assert states(told)["isolation"] == "next"


def test_open_codes_say_how_they_are_cleared() -> None:
    for many in (1, 2):
        ((_, said),) = release_wants(replace(CLOSED, open_codes=many))
        assert "supersedes and cleared_at, or use the page Codes" in said


def test_a_pack_that_was_never_opened_needs_no_isolation_check() -> None:
    looked_at = Progress(as_found_rest=True, as_found_load=True, rest_after=True, load_after=True)
    assert release_wants(looked_at) == []
