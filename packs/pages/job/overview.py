"""The job on a visit in one look: what is next, what is missing, what must not be done."""

from django.http import HttpRequest, HttpResponse

from packs.pages.doors import page
from packs.pages.job import frame


@page("lock-outs")
def job(request: HttpRequest, key: str) -> HttpResponse:
    """The job page; each step has a page of its own."""
    return frame.shown(request, frame.visit_of(key), "", "packs/job/overview.html", {})
