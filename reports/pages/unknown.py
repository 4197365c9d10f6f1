"""What is not known of a pack, what its last check points at, and what one more would settle."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from packs.rules.pairing import PAIR_WITHIN_S
from reports.models import Outlook
from reports.pages.figures import EPOCH, NBSP, capital
from reports.pages.words import LEVEL_NOUN, has_grown, past_by_trend, stale
from reports.reads.pack_page import PackPage

OLD_CHECK = timedelta(days=180)  # a last check older than this is told; common practice, no source


@dataclass(frozen=True)
class Suspect:
    """A part under suspicion: where, why, and what would settle it."""

    where: str
    why: str
    settle: str


def not_known(outlook: Outlook, page: PackPage, *, at: datetime) -> Iterator[str]:
    """What the register can not say of this pack, plainly."""
    if page.not_comparable is not None:
        yield f"The last check is kept but not compared: {page.not_comparable}."
    if page.bench is not None and page.bench.unread:
        numbers = ", ".join(str(number) for number in page.bench.unread)
        noun = LEVEL_NOUN[page.bench.level]
        yield f"Nothing was read at {noun} {numbers} in the last check."
    if outlook.level != "too_little_data" and page.bench is not None:
        age = at - (EPOCH + timedelta(days=page.bench.day))
        if age > OLD_CHECK:
            months = age.days // 30
            yield f"The last comparable check is {months} months old; much may have changed."
    if page.records.checks and page.trail.condition == "rest":
        yield "No two checks under load compare; voltages at rest say little about a worn module."
    if page.installation is None:
        yield "Which car it sits in is not recorded."
    yield "How far the chances above may be off is not worked out for a single pack."


def would_settle(outlook: Outlook, page: PackPage, *, at: datetime) -> str:
    """What one more check would tell that is not known now."""
    how = (
        f"all voltages under a steady load near {outlook.reference_load_a:g}{NBSP}A, "
        f"and at rest within {int(PAIR_WITHIN_S // 60)} minutes of it"
    )
    if outlook.level == "too_little_data":
        needed = "Two checks some weeks apart" if outlook.checks_used == 0 else "One more check"
        return f"{needed} would let us say more: {how}."
    if page.trail.condition == "rest":
        return f"Two checks under load, some weeks apart, would show a worn module: {how}."
    return f"One more check, {how}, {_settled(outlook, page, at)}."


def _settled(outlook: Outlook, page: PackPage, at: datetime) -> str:
    if stale(page.trail, at):
        return "would say where the spread stands today"
    if outlook.level == "over_limit":
        return "would not change the advice, unless the weakest part was changed since"
    if past_by_trend(outlook):
        return "would show whether the limit is passed"
    if not has_grown(page.trail):
        return "would show whether the spread grows as in packs of this kind"
    return "would narrow the range of days in which the limit may be reached"


def suspects(page: PackPage) -> list[Suspect]:
    """What the last check points at, before a module is blamed."""
    if page.last_check is None:
        return []
    noun = LEVEL_NOUN[page.last_check.level]
    return [
        Suspect(_numbered(noun, found.positions), found.why, found.settle)
        for found in page.suspicions
    ]


def strange(page: PackPage) -> list[Suspect]:
    """What the last check read that is possible but strange, position by position."""
    if page.last_check is None:
        return []
    noun = LEVEL_NOUN[page.last_check.level]
    return [
        Suspect(_numbered(noun, (one["position"],)), one["why"], "")
        for one in page.last_check.suspect
    ]


def _numbered(noun: str, positions: tuple[int, ...]) -> str:
    many = "s" if len(positions) > 1 else ""
    return f"{capital(noun)}{many} {' and '.join(str(number) for number in positions)}"
