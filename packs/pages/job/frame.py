"""What every page of a job shows: where it stands, what is next, what is missing, what is live."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse

from packs.errors import NotFound
from packs.models import Visit
from packs.pages.doors import page, roles
from packs.reads import jobs, names, visits
from packs.reads.roles import may
from packs.rules.identity import encode


def visit_of(key: str) -> Visit:
    """The visit with its pack, type and car; NotFound where it has no pack to work on."""
    rows = Visit.objects.select_related("pack__pack_type", "vehicle", "site")
    row = names.addressed(rows, key)
    if row.pack is None:
        raise NotFound.at(
            "",
            "no_pack_on_visit",
            "This visit names no pack: check the car in with the serial of its pack first.",
        )
    return row


def key_of(visit: Visit) -> str:
    return encode(Visit.PREFIX, visit.pk)


def shown(
    request: HttpRequest,
    visit: Visit,
    step: str,
    template: str,
    context: Mapping[str, Any],
    status: int | None = None,
) -> HttpResponse:
    """A page of the job inside its frame; `step` is the name of the stage it belongs to.

    A form shown again was refused, which a tablet that sent it by itself must be able to tell.
    """
    status = status or (422 if request.method == "POST" else 200)
    return render(request, template, {**framed(request, visit, step), **context}, status=status)


def framed(request: HttpRequest, visit: Visit, step: str) -> dict[str, Any]:
    """What the frame needs; who may not work on packs reads the steps without a way into them."""
    job = jobs.of(visit)
    key = key_of(visit)
    works = may(roles(request), "lock-outs", write=True)
    return {
        "job": job,
        "visit": visit,
        "key": key,
        "name": visits.name_of(visit),
        "step": step,
        "works": works,
        "stages": [(stage, _address(stage.name, key) if works else "") for stage in job.stages],
        "next_address": _address(job.next.name, key) if job.next and works else "",
    }


@page("lock-outs")
def state(request: HttpRequest, key: str) -> HttpResponse:
    """The part of the frame that others' entries change, for tablets that look again."""
    visit = visit_of(key)
    return render(
        request, "packs/job/_state.html", framed(request, visit, request.GET.get("step", ""))
    )


def _address(name: str, key: str) -> str:
    try:
        return reverse(f"job-{name}", args=[key])
    except NoReverseMatch:
        return ""
