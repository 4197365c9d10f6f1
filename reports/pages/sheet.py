"""The sheet that the owner takes home: one page of paper, in plain words."""

from dataclasses import replace

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from packs.pages.doors import page, roles
from packs.pages.papers.blocks import paragraphs
from packs.reads import papers, sites
from packs.reads.roles import may
from reports.pages import tables, work
from reports.pages.pack import answer, trend
from reports.reads import pack_page
from reports.writes import outlooks

WORKS_SHOWN = 4  # what fits on the page; the register keeps the rest


@page("outlooks")
def sheet(request: HttpRequest, serial: str) -> HttpResponse:
    """How the pack stands and what was done, for the owner."""
    now = timezone.now()
    outlook = outlooks.present_of(serial, at=now)
    shown, site = pack_page.gather(outlook.pack, at=now), sites.present()
    shown = replace(shown, trail=replace(shown.trail, beside=()))
    said = papers.words("outlook")
    works = work.done_for_owner(shown.records.works, shown.pack.pack_type.module_count)
    context = {
        "page": shown,
        "site": site,
        "now": now,
        "heading": said.heading,
        "opening": paragraphs(said.opening).paragraphs,
        "closing": paragraphs(said.closing).paragraphs,
        "sees_owner": may(roles(request), "customers", write=False),
        **answer(outlook, shown, site, now),
        **trend(outlook, shown, now),
        "trend_rows": tables.trail_table(shown.trail, places=2),
        "spread_words": tables.trail_for_owner(shown.trail),
        "done": works[:WORKS_SHOWN],
        "more": len(works) > WORKS_SHOWN,
        "last_check": shown.last_check,
    }
    return render(request, "reports/sheet.html", context)
