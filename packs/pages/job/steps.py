"""What the pages of teardown and reassembly show and take alike."""

from collections.abc import Mapping
from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpRequest
from django.utils import timezone

from packs.models import Reassembly, Teardown, Visit
from packs.pages.doors import actor
from packs.pages.forms import stored
from packs.pages.job.path import Marks, drawn
from packs.pages.job.step_forms import StepPhotoForm
from packs.reads import lock_outs, photos
from packs.reads.openings import Opening
from packs.reads.photos import Shown
from packs.writes import photos as photo_writes


def asked(request: HttpRequest) -> dict[str, Any]:
    """The part and places that the link of the drawing named."""
    places = request.GET.get("places", "")
    return {"part": request.GET.get("part", ""), "places": places}


def standing(visit: Visit, opening: Opening, chosen: Mapping[str, Any]) -> dict[str, Any]:
    """The drawing, what is out, what was counted, and what is still wanted."""
    assert visit.pack is not None
    kind = visit.pack.pack_type
    marks = _marks(chosen)
    return {
        "opening": opening,
        "drawing": drawn(kind, opening, lock_outs.pieces(visit), marks),
        "locked": lock_outs.standing(visit) is not None,
        "torques": kind.layout.torques,
        "counts": [row for row in opening.fasteners if row.out or row.listed],
    }


def _marks(chosen: Mapping[str, Any]) -> Marks:
    """What is chosen already; places that nobody can read mark nothing."""
    said = str(chosen.get("places") or "")
    places = [int(one) for one in said.replace(",", " ").split() if one.isdecimal()]
    if chosen.get("part") == "bus_bar":
        return Marks(joints=places)
    return Marks(positions=places if chosen.get("part") == "module" else ())


def free_photos(visit: Visit) -> list[Shown]:
    """Photographs of this visit that no step names yet."""
    assert visit.pack is not None
    used: set[str] = set()
    for model in (Teardown, Reassembly):
        rows = model._default_manager.filter(visit=visit, voided_at__isnull=True)
        used |= {key for keys in rows.values_list("photos", flat=True) for key in keys}
    return [one for one in photos.of_visit(visit) if one.key not in used]


def photo_of(request: HttpRequest) -> StepPhotoForm:
    """The form of a photograph, filled where that is what was sent."""
    sent = is_photo(request)
    return StepPhotoForm(request.POST if sent else None, request.FILES if sent else None)


def is_photo(request: HttpRequest) -> bool:
    return request.method == "POST" and "photo-sent_as" in request.POST


def photo_taken(request: HttpRequest, visit: Visit, key: str, filled: StepPhotoForm) -> bool:
    """Whether the photograph is stored; the form says what is wrong with it."""
    assert visit.pack is not None
    if not filled.is_valid():
        return False
    named = {"pack": visit.pack.serial, "visit": key, "external_id": filled.external_id}
    write = partial(
        photo_writes.record_photo,
        by=actor(request),
        at=timezone.now(),
        entry={**filled.entry(), **named},
    )
    if stored(filled, write) is None:
        return False
    messages.success(request, "The photograph is stored. It goes with the next step noted here.")
    return True
