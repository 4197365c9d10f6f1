"""A job on a visit: its steps in order, what each still wants, and what stands in the way.

The order is that of the work; nothing here forbids to go back, and only what would cost a pack or
a hand blocks.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

State = Literal["done", "next", "open", "blocked", "needless"]

OVER_LIMIT = "over_limit"  # what a manager may release all the same, with a reason
FEW = 2  # sentences that a step says of itself

WORDS = {
    "done": "done",
    "next": "next",
    "open": "still open",
    "blocked": "not yet possible",
    "needless": "not needed so far",
}


@dataclass(frozen=True)
class Progress:
    """What counts on a visit, as far as the order of the work is concerned.

    `opened`: something was taken out; `reserved` modules kept for it and not fitted; `out` what is
    still out and `unready` what the halves, polarities and fasteners still want, each a sentence;
    `open_codes` those not cleared; `unlocked` what was changed while no lock-out is recorded,
    `elsewhere` that one stands on another visit, `load_said` that the load was none that tells,
    and `over_limit` the spreads above a limit, each a sentence.
    """

    as_found_rest: bool = False
    as_found_load: bool = False
    codes: int = 0
    open_codes: int = 0
    inspected: bool = False
    locked_out: bool = False
    ever_locked_out: bool = False
    opened: bool = False
    swapped: int = 0
    reserved: int = 0
    out: tuple[str, ...] = ()
    unready: tuple[str, ...] = ()
    re_energised: bool = False
    isolation: bool | None = None
    rest_after: bool = False
    load_after: bool = False
    released: bool = False
    unlocked: tuple[str, ...] = ()
    elsewhere: str = ""
    load_said: str = ""
    over_limit: tuple[str, ...] = ()


@dataclass(frozen=True)
class Stage:
    """One step: its name in addresses, what it is called, how it stands, and a sentence on it."""

    name: str
    label: str
    state: State
    said: str

    @property
    def word(self) -> str:
        return WORDS[self.state]


@dataclass(frozen=True)
class _Step:
    name: str
    label: str
    judge: Callable[[Progress], tuple[State, str]]


def stages(progress: Progress) -> tuple[Stage, ...]:
    """Every step with its state; the first that is open and matters is the next."""
    judged = [Stage(step.name, step.label, *step.judge(progress)) for step in _STEPS]
    upcoming = None if progress.released else next_of(judged)
    return tuple(
        Stage(one.name, one.label, "next", one.said) if one is upcoming else one for one in judged
    )


def next_of(judged: Sequence[Stage]) -> Stage | None:
    """The step to do next, or None where all is done."""
    marked = next((one for one in judged if one.state == "next"), None)
    return marked or next((one for one in judged if one.state == "open"), None)


def release_wants(progress: Progress) -> list[tuple[str, str]]:
    """What stands in the way of a release: a code and a sentence each, in order of the work."""
    wants: list[tuple[str, str]] = []
    wants += [("no_lock_out", one) for one in progress.unlocked]
    wants += [("still_out", one) for one in progress.out]
    wants += [("not_ready", one) for one in progress.unready]
    if progress.elsewhere:
        wants.append(("locked_out_elsewhere", progress.elsewhere))
    if progress.locked_out:
        wants.append(("locked_out", "The lock-out still stands; record the re-energising first."))
    if _opened(progress) and progress.isolation is None:
        wants.append(("no_isolation", "No isolation check since the pack was closed; make one."))
    if progress.isolation is False:
        wants.append(
            ("isolation_low", "The last isolation check is below the limit; find the leak first.")
        )
    return [*wants, *_codes_open(progress), *_unproved(progress)]


def _opened(progress: Progress) -> bool:
    """Whether somebody was at the string, with or without a lock-out on record."""
    return progress.ever_locked_out or bool(progress.unlocked)


def _codes_open(progress: Progress) -> list[tuple[str, str]]:
    many = progress.open_codes
    if not many:
        return []
    left, it = ("1 trouble code is", "it") if many == 1 else (f"{many} trouble codes are", "each")
    return [
        (
            "codes_open",
            f"{left} not cleared; clear {'it' if many == 1 else 'them'} first, then post {it} "
            "again with supersedes and cleared_at, or use the page Codes.",
        )
    ]


def _unproved(progress: Progress) -> list[tuple[str, str]]:
    """What the checks after the work do not show yet."""
    wants = []
    if not progress.rest_after:
        wants.append(("no_rest_check", "No check at rest after the work; take one."))
    if not progress.load_after:
        said = progress.load_said or "No check under load after the work; take one."
        wants.append(("no_load_check", said))
    return [*wants, *((OVER_LIMIT, one) for one in progress.over_limit)]


def _arrival(told: Progress) -> tuple[State, str]:
    if told.as_found_rest and told.as_found_load:
        return "done", "Checked as found, at rest and under load."
    missing = "rest and load" if not told.as_found_rest and not told.as_found_load else (
        "rest" if not told.as_found_rest else "load"
    )  # fmt: skip
    if told.ever_locked_out:
        return "needless", f"The as-found check ({missing}) was not taken before the lock-out."
    return "open", f"Check it as found in the car, before anything is switched off: {missing}."


def _codes(told: Progress) -> tuple[State, str]:
    if told.codes:
        many = "code" if told.codes == 1 else "codes"
        return "done", f"{told.codes} trouble {many} noted with the freeze frame."
    if told.ever_locked_out:
        return "needless", "No code was noted."
    return "open", "Read the trouble codes with their freeze frame before anything is cleared."


def _inspection(told: Progress) -> tuple[State, str]:
    if told.inspected:
        return "done", "Inspected."
    return "open", "Look at the cooling first: filter, duct, fan; then the pack."


def _lock_out(told: Progress) -> tuple[State, str]:
    if told.locked_out:
        return "done", "The car side was measured dead; the pack side stays live."
    if told.re_energised:
        return "done", "Ended by the re-energising; to open the pack again needs a new lock-out."
    if told.isolation is False:
        return "needless", "Isolation is below the limit: say where the leak is before opening it."
    return "open", "Lock out before anything is opened."


def _teardown(told: Progress) -> tuple[State, str]:
    if told.opened:
        return "done", _some(told.out) or "All that came out is back."
    if told.locked_out:
        return "open", "Take out what the work needs; note each step."
    if told.re_energised:
        return "needless", "Nothing was taken out."
    return "blocked", "Not before a lock-out stands."


def _tests(told: Progress) -> tuple[State, str]:
    return "needless", "Test modules and parts where the checks do not settle it."


def _decision(told: Progress) -> tuple[State, str]:
    return "needless", "See what each repair would do, and match modules, before one is begun."


def _swap(told: Progress) -> tuple[State, str]:
    if told.reserved:
        many = "module is" if told.reserved == 1 else "modules are"
        return "open", f"{told.reserved} {many} reserved for this job and not fitted yet."
    if told.swapped:
        many = "change" if told.swapped == 1 else "changes"
        return "done", f"{told.swapped} {many} recorded."
    return "needless", "Record each module or part that is changed."


def _reassembly(told: Progress) -> tuple[State, str]:
    if not told.opened:
        return "needless", "Nothing was taken out."
    wants = [*told.out, *told.unready]
    if wants:
        return "open", _some(wants)
    return "done", "Everything is back, counted and measured."


def _some(sentences: Sequence[str]) -> str:
    """The first of them, and how many more there are: the page of the step says them all."""
    more = len(sentences) - FEW
    said = " ".join(sentences[:FEW])
    return f"{said} And {more} more." if more > 0 else said


def _re_energise(told: Progress) -> tuple[State, str]:
    if told.re_energised and not told.locked_out:
        return "done", "Switch in, tools out, everybody clear."
    if not told.ever_locked_out:
        return "needless", "No lock-out was recorded."
    if told.out or told.unready:
        return "blocked", "Not before everything is back, counted and measured."
    return "open", "Tools out, everybody clear, then the switch."


def _isolation(told: Progress) -> tuple[State, str]:
    if told.isolation:
        return "done", "Isolation is above the limit."
    if told.isolation is False:
        return "open", "Isolation is below the limit: find the leak."
    if _opened(told):
        return "open", "Measure the isolation once the pack is closed."
    return "needless", "The pack was not opened."


def _checks(told: Progress) -> tuple[State, str]:
    if not told.ever_locked_out and not told.swapped:
        return "needless", "Nothing was changed: the checks as found stand."
    if told.rest_after and told.load_after:
        return "done", "Checked after the work, at rest and under load."
    return "open", "Road test with a logged load, then a check at rest and one under load."


def _release(told: Progress) -> tuple[State, str]:
    if told.released:
        return "done", "Released."
    wants = release_wants(told)
    return ("blocked", wants[0][1]) if wants else ("open", "Everything is there: release it.")


_STEPS = (
    _Step("checks", "As found", _arrival),
    _Step("codes", "Codes", _codes),
    _Step("inspection", "Inspection", _inspection),
    _Step("lock-out", "Lock-out", _lock_out),
    _Step("teardown", "Teardown", _teardown),
    _Step("tests", "Tests", _tests),
    _Step("decision", "Decision", _decision),
    _Step("swap", "Swaps", _swap),
    _Step("reassembly", "Reassembly", _reassembly),
    _Step("re-energise", "Re-energise", _re_energise),
    _Step("isolation", "Isolation", _isolation),
    _Step("after", "Road test", _checks),
    _Step("release", "Release", _release),
)
