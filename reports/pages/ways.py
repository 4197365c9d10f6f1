"""What to do from a pack's page: links to the pages that take input, for who may use them."""

from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import urlencode

from django.urls import reverse

from packs.models import Visit, Warranty
from packs.pages.units import day
from packs.reads.roles import may
from packs.rules.identity import encode
from reports.pages.standing import GONE
from reports.reads.pack_page import PackPage


@dataclass(frozen=True)
class Way:
    """A link, and what it is for."""

    link: str
    words: str


def ways(page: PackPage, roles: frozenset[str]) -> list[Way]:
    return [
        *(_for_a_stay(page, roles) if page.stay is None else _in_the_shop(page, roles)),
        *_always(page, roles),
    ]


def _for_a_stay(page: PackPage, roles: frozenset[str]) -> Iterator[Way]:
    if may(roles, "vehicles", write=True):
        yield Way(_asking("check-in", pack=page.pack.serial), "Check it in")


def _in_the_shop(page: PackPage, roles: frozenset[str]) -> Iterator[Way]:
    assert page.stay is not None
    visit = encode(Visit.PREFIX, page.stay.pk)
    if may(roles, "visits", write=True):
        yield Way(reverse("visit", args=[visit]), "The visit")
    if may(roles, "visits", write=False):
        yield Way(reverse("visit-papers", args=[visit]), "Papers of the visit")


def _always(page: PackPage, roles: frozenset[str]) -> Iterator[Way]:
    serial = page.pack.serial
    about = {} if page.stay is None else {"visit": encode(Visit.PREFIX, page.stay.pk)}
    if may(roles, "photos", write=True):
        yield Way(_asking("photo-new", pack=serial, **about), "Add a photograph")
    if may(roles, "calls", write=True):
        yield Way(_asking("call-new", pack=serial, **about), "Note a call")
    yield from _papers(page, roles)


def _papers(page: PackPage, roles: frozenset[str]) -> Iterator[Way]:
    """What there is to hand out: the owner's sheet, certificates that run, the last visit's."""
    if page.pack.status not in GONE:
        yield Way(reverse("sheet", args=[page.pack.serial]), "Sheet for the owner")
    running = [row.warranty for row in page.covers if row.term.state == "running"]
    if may(roles, "warranties", write=False):
        for warranty in running:
            key = encode(Warranty.PREFIX, warranty.pk)
            words = f"Warranty certificate, from {day(warranty.starts_on)}"
            yield Way(reverse("paper", args=["warranty_certificate", key]), words)
    if page.stay is None and page.records.stays and may(roles, "visits", write=False):
        last = page.records.stays[0]
        words = f"Papers of the visit of {day(last.opened_at)}"
        yield Way(reverse("visit-papers", args=[encode(Visit.PREFIX, last.pk)]), words)


def _asking(name: str, **asked: str) -> str:
    return f"{reverse(name)}?{urlencode(asked)}"
