"""Equipment by what is to be done about it: bad, overdue, due soon, good for now."""

from dataclasses import dataclass
from datetime import date, timedelta

from packs.models import Equipment, Site
from packs.rules import gloves

DUE_SOON = timedelta(days=30)
"""How long before its date a piece is told as due. Common practice, no source."""

ORDER = ("bad", "overdue", "due_soon", "good", "undated")
GLOVE_RULE = ("months_from_issue", "months_shelf")


@dataclass(frozen=True)
class Standing:
    """A piece, the day its test ends (None: nobody knows), how it stands, and the sentence."""

    tool: Equipment
    due_on: date | None
    word: str
    said: str


def standings(site: Site, today: date) -> list[Standing]:
    """Every piece, the worst first, then by date and code."""
    found = [standing(tool, site, today) for tool in Equipment.objects.order_by("code")]
    return sorted(found, key=lambda one: (ORDER.index(one.word), one.due_on or date.max))


def standing(tool: Equipment, site: Site, today: date) -> Standing:
    """How one piece stands on a day: the worst that is to be said of it."""
    due_on = _due_on(tool, site, today)
    if tool.bad_since is not None:
        return Standing(
            tool, due_on, "bad", "Bad: put it aside, and look again at what it touched since."
        )
    return Standing(tool, due_on, *_by_date(due_on, today))


def _by_date(due_on: date | None, today: date) -> tuple[str, str]:
    if due_on is None:
        return "undated", "Nobody recorded when its next test is due."
    days = (due_on - today).days
    many = "" if abs(days) == 1 else "s"
    if days < 0:
        return "overdue", f"Overdue by {-days} day{many}: have it tested before it is used."
    if not days:
        return "due_soon", "Due today."
    if due_on - today <= DUE_SOON:
        return "due_soon", f"Due in {days} day{many}."
    return "good", "Good for now."


def _due_on(tool: Equipment, site: Site, today: date) -> date | None:
    """When its test ends; that of gloves by the site's rule as well, from test and issue."""
    if tool.kind != Equipment.Kinds.GLOVES:
        return tool.due_on
    pair = gloves.Gloves(tool.code, tool.rating, tool.checked_on, tool.issued_on, tool.due_on)
    return gloves.last_day(pair, _glove_rule(site), today) or tool.due_on


def _glove_rule(site: Site) -> gloves.DateRule:
    said = site.rules.get("gloves")
    kept = said if isinstance(said, dict) else {}
    months = {name: kept[name] for name in GLOVE_RULE if type(kept.get(name)) is int}
    return gloves.DateRule(**{name: count for name, count in months.items() if count >= 0})
