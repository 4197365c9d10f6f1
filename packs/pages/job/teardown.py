"""Taking a pack apart: what came out, how it lay, and its fasteners."""

from functools import partial

from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from packs.models import Visit
from packs.pages.doors import actor, form
from packs.pages.forms import stored
from packs.pages.job import frame, steps
from packs.pages.job.step_forms import StepPhotoForm, TeardownForm
from packs.reads import lock_outs, openings
from packs.rules.ways_round import seen_otherwise
from packs.writes import teardowns


@form("teardowns")
def teardown(request: HttpRequest, key: str) -> HttpResponseBase:
    """The path as it lies, and the next thing that comes out of it."""
    visit = frame.visit_of(key)
    assert visit.pack is not None
    opening, pictures = openings.state(visit), steps.free_photos(visit)
    photo = steps.photo_of(request)
    if steps.is_photo(request):
        if steps.photo_taken(request, visit, key, photo):
            return redirect("job-teardown", key=key)
        empty = TeardownForm(visit.pack.pack_type, opening, pictures)
        return _shown(request, visit, empty, photo, status=422)
    filled = TeardownForm(
        visit.pack.pack_type, opening, pictures, request.POST or None, initial=steps.asked(request)
    )
    if request.method == "POST" and filled.is_valid() and _taken(request, visit, key, filled):
        return redirect("job-teardown", key=key)
    return _shown(request, visit, filled, photo, status=422 if filled.errors else 200)


def _taken(request: HttpRequest, visit: Visit, key: str, filled: TeardownForm) -> bool:
    entry = {**filled.entry(), "visit": key, "external_id": filled.external_id}
    write = partial(teardowns.record_teardown, by=actor(request), at=timezone.now(), entry=entry)
    row = stored(filled, write)
    if row is None:
        return False
    assert visit.pack is not None
    for warning in seen_otherwise(visit.pack.pack_type.layout, row.seen):
        messages.warning(request, warning)
    messages.success(request, f"Stored. {lock_outs.pieces(visit).said}")
    return True


def _shown(
    request: HttpRequest, visit: Visit, filled: TeardownForm, photo: StepPhotoForm, status: int
) -> HttpResponseBase:
    chosen = filled.data if filled.is_bound else filled.initial
    context = {
        **steps.standing(visit, openings.state(visit), chosen),
        "form": filled,
        "photo": photo,
        "counted": list(filled.fields_of("count_")),
        "odd": list(filled.fields_of("odd_")),
        "odd_errors": any(name.startswith("odd_") for name in filled.errors),
        "choose": "kind=out",
    }
    template = "packs/job/teardown.html"
    return frame.shown(request, visit, "teardown", template, context, status=status)
