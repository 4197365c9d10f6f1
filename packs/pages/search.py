"""The box on every page: what it finds, and what was in hand last."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from packs.pages.doors import page, roles
from packs.reads import packs, searching
from packs.reads.roles import may

LONGEST = 200  # characters searched for, as the API takes them


@page("search")
def search(request: HttpRequest) -> HttpResponse:
    """What is found for `q`; the one thing found is shown at once, unless still being typed."""
    text = request.GET.get("q", "").strip()[:LONGEST]
    with_customers = may(roles(request), "customers", write=False)
    hits = searching.find(text, with_customers=with_customers) if text else []
    if len(hits) == 1 and "HX-Request" not in request.headers:
        return redirect(hits[0].link)
    context = {
        "q": text,
        "hits": hits,
        "cut": len(hits) == searching.FOUND_MAX,
        "with_customers": with_customers,
        "recent": [] if text else packs.last_seen(),
    }
    return render(request, "packs/search.html", context)
