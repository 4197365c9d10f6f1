"""The pages of papers: each to read and print, as PDF, and all those of a visit."""

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone, translation

from packs.models import Site, Visit
from packs.pages.doors import page, roles
from packs.pages.papers import printing
from packs.pages.papers.asking import Asked
from packs.pages.papers.blocks import Paper, as_data
from packs.pages.papers.kinds import kind as kind_of
from packs.pages.papers.links import of_visit
from packs.reads import names, sites
from packs.reads.roles import may


def asked_by(request: HttpRequest) -> Asked:
    return Asked(site=sites.present(), roles=roles(request), at=timezone.now())


@page("visits")
def paper(request: HttpRequest, kind: str, key: str) -> HttpResponse:
    """A paper as a page that prints."""
    return show(request, _described(request, kind, key))


def show(request: HttpRequest, made: Paper, *, has_pdf: bool = True) -> HttpResponse:
    """A described paper as a page."""
    context = {"paper": as_data(made), "has_pdf": has_pdf, "visit": made.visit, "pack": made.pack}
    return render(request, "packs/papers/paper.html", context)


@page("visits")
def paper_pdf(request: HttpRequest, kind: str, key: str) -> HttpResponse:
    """A paper as PDF, on the sheet of the site's region or as `?size=` a4 or letter."""
    made = _described(request, kind, key)
    size = request.GET.get("size", "")
    content = printing.as_pdf(
        made,
        size=size if size in printing.SIZES else _size(sites.present()),
        region=translation.get_language()[-2:].upper(),
        at=timezone.now(),
    )
    named = {"Content-Disposition": f'inline; filename="{made.kind}-{made.key}.pdf"'}
    return HttpResponse(content, content_type="application/pdf", headers=named)


@page("visits")
def visit_papers(request: HttpRequest, key: str) -> HttpResponse:
    """All the papers of a visit."""
    visit = names.addressed(Visit.objects.select_related("vehicle", "pack"), key)
    context = {"visit": visit, "key": key, "papers": of_visit(visit, roles=roles(request))}
    return render(request, "packs/papers/of_visit.html", context)


def _described(request: HttpRequest, name: str, key: str) -> Paper:
    kind = kind_of(name)
    if not may(roles(request), kind.resource, write=False):
        raise PermissionDenied
    return kind.describe(key, asked_by(request))


def _size(site: Site) -> str:
    """Letter where the month comes before the day, A4 elsewhere; common practice, no source."""
    return "letter" if site.date_order == Site.DateOrder.MONTH_DAY else "a4"
