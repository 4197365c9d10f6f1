"""The box on every page: what it finds, as one types and at last, and what was in hand last."""

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from packs.pages.doors import page, roles
from packs.reads import recent, searching
from packs.reads.roles import may

LONGEST = 200  # characters searched for, as the API takes them
SUGGESTED = 8  # hits under the box: as many as a small screen shows


@page("search")
def search(request: HttpRequest) -> HttpResponse:
    """What is found for `q`; the one thing meant is shown at once, unless still being typed."""
    text, with_customers = _asked(request)
    hits = searching.find(text, with_customers=with_customers) if text else []
    meant = searching.meant(hits)
    if meant is not None and "HX-Request" not in request.headers:
        return redirect(meant.link)
    context = {
        "q": text,
        "hits": hits,
        "cut": len(hits) == searching.FOUND_MAX,
        "with_customers": with_customers,
        "checks_in": may(roles(request), "visits", write=True) and with_customers,
        "sought": urlencode({"q": text}),
        "recent": [] if text else recent.last_seen(),
    }
    return render(request, "packs/search.html", context)


@page("search")
def suggest(request: HttpRequest) -> HttpResponse:
    """The list under the box: what is found for `q` so far, or what was in hand last."""
    text, with_customers = _asked(request)
    context = {
        "q": text,
        "hits": searching.find(text, with_customers=with_customers, most=SUGGESTED) if text else [],
        "most": SUGGESTED,
        "recent": [] if text else recent.last_seen(),
    }
    return render(request, "packs/suggest.html", context)


def _asked(request: HttpRequest) -> tuple[str, bool]:
    """What is sought, and whether the names of owners are."""
    text = request.GET.get("q", "").strip()[:LONGEST]
    return text, may(roles(request), "customers", write=False)
