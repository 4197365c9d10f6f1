"""The desk's morning: which cars are here, what is promised, and whom to call."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from packs.models import Call, Customer, Site, Visit
from packs.pages.doors import page, roles
from packs.reads import sites
from packs.reads.roles import may
from packs.rules import stays
from packs.rules.identity import encode
from reports.pages import words
from reports.pages.callers import reason_for, tried
from reports.pages.counting import counted, day_of, days_here, number, overdue_by, since, together
from reports.pages.figures import capital
from reports.reads import today as reading
from reports.reads.today import CORE_CALLS, STAYS, Need, Stay, Today

WAITS: Mapping[str, str] = {"": "not said", **stays.WAITS}
LATE, DUE_TODAY, READY, LATER, NO_DAY = "late", "today", "ready", "later", ""
ORDER = (LATE, DUE_TODAY, LATER, READY, NO_DAY)


@dataclass(frozen=True)
class Card:
    """A car in the shop as the page shows it; `mark` is one of ORDER."""

    stay: Stay
    link: str
    job: str
    name: str
    level: words.Level | None
    waits: str
    waits_since: str
    mark: str
    promised: str
    late_by: str
    here: str


@dataclass(frozen=True)
class Talk:
    """An owner to call; without a customer nobody is recorded."""

    need: Need
    customer: Customer | None
    why: str
    tried: str
    link: str


@page("visits")
def today(request: HttpRequest) -> HttpResponse:
    """The answer in a sentence, then the cars, then the calls for who makes them."""
    now, site = timezone.now(), sites.present()
    found = reading.gather(at=now, zone=sites.zone(site))
    cards = sorted((_card(stay, found, now) for stay in found.stays), key=_place)
    calls = may(roles(request), "calls", write=True)
    context = {
        "day": found.day,
        "now": now,
        "answer": _answer(found, cards, calls=calls),
        "promised": [card for card in cards if card.mark in {LATE, DUE_TODAY}],
        "cards": cards,
        "more": found.more,
        "calls": calls,
        "talks": [_talk(need, found, site) for need in found.needs] if calls else [],
        "sees_owner": may(roles(request), "customers", write=False),
        "cores": [(core, (found.day - core.due_on).days) for core in found.cores],
        "currency": site.currency,
    }
    return render(request, "reports/today.html", context)


def _card(stay: Stay, found: Today, now: datetime) -> Card:
    visit, outlook = stay.visit, stay.outlook
    mark = _mark(stay, found, now)
    late = mark == LATE and visit.promised_at is not None
    pack_name = visit.pack.serial if visit.pack else ""
    car_name = (stay.vehicle.plate or stay.vehicle.vin) if stay.vehicle else pack_name
    return Card(
        stay=stay,
        link=reverse("visit", args=[encode(Visit.PREFIX, visit.pk)]),
        job=reverse("job", args=[encode(Visit.PREFIX, visit.pk)]),
        name=car_name,
        level=None if outlook is None or stay.owed else words.LEVELS[outlook.level],
        waits=WAITS[Visit.WaitsFor.COLLECTION if mark == READY else visit.waits_for],
        waits_since=_waiting(stay, found),
        mark=mark,
        promised="" if visit.promised_at is None else day_of(visit.promised_at, found.day),
        late_by=overdue_by(visit.promised_at, now) if late and visit.promised_at else "",
        here=days_here(visit.opened_at, found.day),
    )


def _waiting(stay: Stay, found: Today) -> str:
    """Since when it waits, or that it need not any more."""
    if stay.visit.waits_for == Visit.WaitsFor.OWNER and stay.answered:
        return "an answer is recorded"
    return since(stay.waits_since, found.day) if stay.visit.waits_for or stay.ready else ""


def _mark(stay: Stay, found: Today, now: datetime) -> str:
    promised = stay.visit.promised_at
    if stay.ready:
        return READY
    if promised is None:
        return NO_DAY
    if stay.late(now):
        return LATE
    return DUE_TODAY if timezone.localdate(promised) == found.day else LATER


def _place(card: Card) -> tuple[int, datetime]:
    visit = card.stay.visit
    return ORDER.index(card.mark), visit.promised_at or visit.opened_at


def _answer(found: Today, cards: Sequence[Card], *, calls: bool) -> str:
    """The page in a sentence."""
    said = [_here(found), *_standing(found, cards)]
    told = capital(", ".join(said))
    if not calls:
        return f"{told}."
    cut = (Call.Reason.OUTLOOK, Call.Reason.RECHECK, CORE_CALLS)
    beyond = sum(found.more[name] for name in cut)
    if beyond:
        return f"{told}; {counted(len(found.needs) + beyond, 'call')} to make."
    owners = {need.vehicle.customer_id if need.vehicle else None for need in found.needs}
    nameless = sum(1 for need in found.needs if not (need.vehicle and need.vehicle.customer_id))
    return f"{told}; {counted(len(owners - {None}) + nameless, 'owner')} to call."


def _here(found: Today) -> str:
    cars = sum(1 for stay in found.stays if stay.vehicle is not None) + found.more[STAYS]
    bare = len(found.stays) + found.more[STAYS] - cars
    things = [(cars, "car"), (bare, "pack without a car")]
    told = [(count, noun) for count, noun in things if count or (noun == "car" and not bare)]
    nouns = [
        counted(count, noun, "packs without a car" if noun != "car" else "") for count, noun in told
    ]
    return f"{together(nouns)} {'is' if cars + bare == 1 else 'are'} here"


def _standing(found: Today, cards: Sequence[Card]) -> Iterator[str]:
    """How many of them are late, promised for today, ready, or wait for a word."""
    marks = [card.mark for card in cards]
    asked = sum(
        1
        for card in cards
        if card.stay.visit.waits_for == Visit.WaitsFor.OWNER
        and card.mark != READY
        and not card.stay.answered
    )
    for count, one, many in (
        (marks.count(LATE), "is late", "are late"),
        (marks.count(DUE_TODAY), "is promised for today", "are promised for today"),
        (marks.count(READY), "is ready to be collected", "are ready to be collected"),
        (asked, "waits for the owner’s word", "wait for their owners’ word"),
    ):
        if count:
            yield f"{number(count)} {one if count == 1 else many}"


def _talk(need: Need, found: Today, site: Site) -> Talk:
    return Talk(
        need=need,
        customer=need.vehicle.customer if need.vehicle else None,
        why=reason_for(need, site, found.day),
        tried=tried(need.last, found.day),
        link=_noting(need),
    )


def _noting(need: Need) -> str:
    """Where the call is noted; a call is about a pack, so there is none before that is known."""
    if need.pack is None:
        return ""
    asked = {"pack": need.pack.serial, "reason": need.reason.value}
    if need.stay is not None:
        asked["visit"] = encode(Visit.PREFIX, need.stay.visit.pk)
    return f"{reverse('call-new')}?{urlencode(asked)}"
