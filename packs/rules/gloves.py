"""Insulating gloves: what their class stands, and how long a test of them holds."""

import re
from dataclasses import dataclass
from datetime import date

from packs.rules.terms import add_months

MAX_USE_DC_V = {"00": 750, "0": 1_500, "1": 11_250, "2": 25_500, "3": 39_750, "4": 54_000}
"""Highest d.c. voltage a class of gloves is used at, V (ASTM D120, IEC 60903)."""

MONTHS_FROM_ISSUE = 6
"""Months that gloves in use stay in use after their issue or a later test (29 CFR 1910.137,
table I-5)."""

MONTHS_SHELF = 12
"""Months from the test within which gloves may still be issued (29 CFR 1910.137, note to table
I-5)."""

NAMED = re.compile(r"\bclass\s*(00|[0-4])(?!\d)", re.IGNORECASE)
BARE = re.compile(r"(00|[0-4])\Z")


@dataclass(frozen=True)
class DateRule:
    """How long a test holds where the shop is, in calendar months."""

    months_from_issue: int = MONTHS_FROM_ISSUE
    months_shelf: int = MONTHS_SHELF


@dataclass(frozen=True)
class Gloves:
    """A pair of gloves as the register knows it; `due_on` a date that somebody set beside it."""

    code: str
    rating: str
    tested_on: date | None
    issued_on: date | None
    due_on: date | None = None


@dataclass(frozen=True)
class Refusal:
    """Why a pair of gloves is not to be worn, and what to do."""

    code: str
    sentence: str


def class_of(rating: str) -> str | None:
    """The class in a rating such as 'class 0', '00' or 'IEC 60903 class 0'; None without one."""
    found = NAMED.search(rating) or BARE.match(rating.strip())
    return found[1] if found else None


def class_for(highest_v: float) -> str:
    """The lowest class that is good for a voltage, V."""
    good = (name for name, volts in MAX_USE_DC_V.items() if volts >= highest_v)
    return next(good, "4 or more")


def refusals(
    gloves: Gloves, *, highest_v: float, worn_on: date, rule: DateRule
) -> tuple[Refusal, ...]:
    """Everything that speaks against wearing them on a day, at a voltage in V; empty if nothing."""
    found = (_class_refusal(gloves, highest_v), _test_refusal(gloves, worn_on, rule))
    return tuple(refusal for refusal in found if refusal is not None)


def last_day(gloves: Gloves, rule: DateRule, worn_on: date) -> date | None:
    """The last day on which their test still holds; None where no test is known.

    Gloves tested again while in use count from that test; those not yet issued on `worn_on` are
    issued by being worn.
    """
    if gloves.tested_on is None:
        return None
    shelf = add_months(gloves.tested_on, rule.months_shelf)
    if gloves.issued_on is None or gloves.issued_on > worn_on:
        last = shelf
    elif gloves.issued_on < gloves.tested_on:
        last = add_months(gloves.tested_on, rule.months_from_issue)
    elif gloves.issued_on > shelf:
        last = shelf
    else:
        last = add_months(gloves.issued_on, rule.months_from_issue)
    return last if gloves.due_on is None else min(last, gloves.due_on)


def _class_refusal(gloves: Gloves, highest_v: float) -> Refusal | None:
    named = class_of(gloves.rating)
    if named is None:
        return Refusal(
            "glove_class_unknown",
            f"No class is recorded for gloves {gloves.code}; note it with them, such as "
            "'class 0', and take others until then.",
        )
    if MAX_USE_DC_V[named] >= highest_v:
        return None
    return Refusal(
        "glove_class_too_low",
        f"Gloves {gloves.code} are class {named}, good for {MAX_USE_DC_V[named]} V d.c.; this "
        f"pack has up to {highest_v:.1f} V. Take gloves of class {class_for(highest_v)}.",
    )


def _test_refusal(gloves: Gloves, worn_on: date, rule: DateRule) -> Refusal | None:
    last = last_day(gloves, rule, worn_on)
    if last is None or gloves.tested_on is None:
        return Refusal(
            "gloves_not_tested",
            f"No test of gloves {gloves.code} is recorded; have them tested and note the day, or "
            "take a tested pair.",
        )
    if gloves.tested_on > worn_on:
        return Refusal(
            "gloves_tested_later",
            f"Gloves {gloves.code} were tested on {gloves.tested_on.isoformat()}, after the day "
            "they were worn; name the pair that was worn, or correct the time.",
        )
    if worn_on <= last:
        return None
    return Refusal(
        "gloves_out_of_date",
        f"The test of gloves {gloves.code} held until {last.isoformat()}; take a pair in date, "
        "and send these to be tested.",
    )
