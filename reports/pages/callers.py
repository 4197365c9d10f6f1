"""Why an owner is to be called, in a sentence."""

from collections.abc import Callable, Mapping
from datetime import date

from packs.models import Call, Site
from packs.pages.units import day, distance
from reports.models import Outlook
from reports.pages import words
from reports.pages.counting import day_of, since
from reports.pages.figures import frequency, volts
from reports.reads.rhythm import FIRST_KM
from reports.reads.today import Need, settles

OUTCOMES: Mapping[str, str] = {
    Call.Outcome.REACHED: "reached",
    Call.Outcome.NOT_REACHED: "not reached",
    Call.Outcome.BOOKED: "a day was booked",
}


def reason_for(need: Need, site: Site, today: date) -> str:
    return REASONS[need.reason](need, site, today)


def tried(call: Call | None, today: date) -> str:
    """How the last call went, and when it is to be tried again."""
    if call is None:
        return ""
    when, outcome = day_of(call.happened_at, today), OUTCOMES[call.outcome]
    if settles(call, today):
        return f"The last call, {when}, was before the pack came to this: {outcome} then."
    told = f"Called {when}: {outcome}"
    if call.again_on is None:
        return f"{told}."
    asked = "today" if call.again_on == today else f"on {day(call.again_on)}"
    return f"{told}; asked to be called again {asked}."


def _outlook(need: Need, site: Site, today: date) -> str:
    assert need.outlook is not None
    share = frequency(need.outlook.p180)
    if need.outlook.level == Outlook.Level.TOO_LITTLE_DATA:
        return _one_check(need.outlook)
    where = "Over the limit of its type"
    if words.past_by_trend(need.outlook):
        where = "By its trend probably over the limit of its type, which no check has shown yet"
    elif need.outlook.level == Outlook.Level.NEAR_LIMIT:
        where = "Near the limit of its type"
    return f"{where}: {share} like this one fail within half a year."


def _one_check(outlook: Outlook) -> str:
    assert outlook.spread_now_v is not None
    return (
        f"One check over the limit, and no other to compare: {volts(outlook.spread_now_v)} against "
        f"{volts(outlook.limit_v)}; to be checked again before the car is relied on."
    )


def _owner_word(need: Need, site: Site, today: date) -> str:
    assert need.stay is not None
    return f"The work waits for the owner’s word {since(need.stay.waits_since, today)}."


def _ready(need: Need, site: Site, today: date) -> str:
    assert need.stay is not None
    return f"The car is ready to be collected {since(need.stay.waits_since, today)}."


def _recheck(need: Need, site: Site, today: date) -> str:
    assert need.since is not None
    return (
        f"Modules or joints were changed on {day(need.since)}; the check about a month or "
        f"{distance(FIRST_KM, site)} later is not recorded."
    )


def _core(need: Need, site: Site, today: date) -> str:
    assert need.core is not None
    deposit = f"{need.core.deposit} {site.currency}".strip()
    return f"The old pack was due back on {day(need.core.due_on)}; a deposit of {deposit} is held."


REASONS: Mapping[Call.Reason, Callable[[Need, Site, date], str]] = {
    Call.Reason.OUTLOOK: _outlook,
    Call.Reason.OWNER_WORD: _owner_word,
    Call.Reason.READY: _ready,
    Call.Reason.RECHECK: _recheck,
    Call.Reason.CORE: _core,
}
