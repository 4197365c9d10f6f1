"""Putting a pack together again: what goes back, and what is measured before it is joined."""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone

from packs.models import PackType, Reassembly, Visit
from packs.pages.doors import actor, form
from packs.pages.forms import stored
from packs.pages.job import frame, steps
from packs.pages.job.step_forms import FittedForm, HalfForm, MeasuredForm, StepForm, StepPhotoForm
from packs.reads import lock_outs, openings
from packs.reads.openings import Opening
from packs.rules.charge import tolerance_v
from packs.writes import reassemblies

KINDS: Mapping[str, str] = {
    Reassembly.Kinds.FITTED.value: "Put back",
    Reassembly.Kinds.POLARITY.value: "Measure polarity",
    Reassembly.Kinds.EQUALISED.value: "Equal charge",
    Reassembly.Kinds.HALF.value: "Half alone",
}
SAID: Mapping[str, str] = {
    Reassembly.Kinds.FITTED.value: "Put back what is out, and count its fasteners.",
    Reassembly.Kinds.POLARITY.value: "Measure each opened position at rest, with the sign, before "
    "its last bus bar goes in.",
    Reassembly.Kinds.EQUALISED.value: "Bring the modules to equal charge before they are joined, "
    "and note how.",
    Reassembly.Kinds.HALF.value: "Measure each half alone, before the service switch joins them.",
}


def next_kind(opening: Opening) -> str:
    """The step that the pack asks for now; nobody is kept to it."""
    modules_out = any(item.part == "module" for item in opening.out)
    if not modules_out and (opening.polarity_missing or opening.polarity_wrong):
        return Reassembly.Kinds.POLARITY.value
    if opening.equalised is False and not modules_out:
        return Reassembly.Kinds.EQUALISED.value
    if opening.out or not any(not half.agrees for half in opening.halves):
        return Reassembly.Kinds.FITTED.value
    return Reassembly.Kinds.HALF.value


@form("reassemblies")
def reassembly(request: HttpRequest, key: str) -> HttpResponseBase:
    """The path as it lies, what is still out or unproved, and the next step."""
    visit = frame.visit_of(key)
    opening = openings.state(visit)
    kind = request.GET.get("kind", "")
    kind = kind if kind in KINDS else next_kind(opening)
    photo = steps.photo_of(request)
    if steps.is_photo(request):
        if steps.photo_taken(request, visit, key, photo):
            return redirect(f"{reverse('job-reassembly', args=[key])}?kind={kind}")
        return _shown(request, visit, kind, _form(visit, opening, kind), photo, status=422)
    filled = _form(visit, opening, kind, request.POST or None, initial=steps.asked(request))
    if request.method == "POST" and filled.is_valid() and _taken(request, visit, key, filled):
        return redirect("job-reassembly", key=key)
    return _shown(request, visit, kind, filled, photo, status=422 if filled.errors else 200)


def _form(visit: Visit, opening: Opening, kind: str, *args: Any, **said: Any) -> StepForm:
    assert visit.pack is not None
    return _FORMS[kind](visit, visit.pack.pack_type, opening, *args, **said)


def _fitted(visit: Visit, kind: PackType, opening: Opening, *args: Any, **said: Any) -> StepForm:
    return FittedForm(kind, opening, steps.free_photos(visit), *args, **said)


def _polarity(visit: Visit, kind: PackType, opening: Opening, *args: Any, **said: Any) -> StepForm:
    """Those not measured yet; where none is, any may be measured again."""
    wanted = {*opening.polarity_missing, *opening.polarity_wrong}
    places = sorted(wanted) or list(range(1, kind.module_count + 1))
    return MeasuredForm(Reassembly.Kinds.POLARITY.value, _sent(places, args), *args)


def _equalised(visit: Visit, kind: PackType, opening: Opening, *args: Any, **said: Any) -> StepForm:
    places = list(range(1, kind.module_count + 1))
    return MeasuredForm(Reassembly.Kinds.EQUALISED.value, places, *args)


def _half(visit: Visit, kind: PackType, opening: Opening, *args: Any, **said: Any) -> StepForm:
    string = openings.string_of(kind)
    halves = [
        (number, f"{number}: modules {places[0]} to {places[-1]}")
        for number in (1, 2)
        if (places := string.positions_of(number))
    ]
    return HalfForm(halves, *args)


_FORMS: Mapping[str, Callable[..., StepForm]] = {
    Reassembly.Kinds.FITTED.value: _fitted,
    Reassembly.Kinds.POLARITY.value: _polarity,
    Reassembly.Kinds.EQUALISED.value: _equalised,
    Reassembly.Kinds.HALF.value: _half,
}


def _sent(places: list[int], args: tuple[Any, ...]) -> list[int]:
    """With the positions that were sent: somebody may have measured them meanwhile."""
    data = args[0] if args and args[0] else {}
    named = [name.removeprefix("volt_") for name in data if name.startswith("volt_")]
    return sorted({*places, *(int(one) for one in named if one.isdecimal() and len(one) < 5)})


def _taken(request: HttpRequest, visit: Visit, key: str, filled: StepForm) -> bool:
    entry = {**filled.entry(), "visit": key, "external_id": filled.external_id}
    write = partial(
        reassemblies.record_reassembly, by=actor(request), at=timezone.now(), entry=entry
    )
    row = stored(filled, write)
    if row is None:
        return False
    for warning in row.warnings:
        messages.warning(request, warning)
    halves = [half.said for half in openings.state(visit).halves if half.number == row.half]
    messages.success(request, " ".join(["Stored.", *halves, lock_outs.pieces(visit).said]))
    return True


def _shown(
    request: HttpRequest,
    visit: Visit,
    kind: str,
    filled: StepForm,
    photo: StepPhotoForm,
    status: int,
) -> HttpResponseBase:
    assert visit.pack is not None
    type_of = visit.pack.pack_type
    opening = openings.state(visit)
    chosen = filled.data if filled.is_bound else filled.initial
    context = {
        **steps.standing(visit, opening, chosen),
        "form": filled,
        "photo": photo,
        "kind": kind,
        "measured": [half for half in opening.halves if half.verdict is not None],
        "kinds": [(one, words) for one, words in KINDS.items() if one != "half" or _parted(visit)],
        "kind_said": SAID[kind],
        "suggested": next_kind(opening),
        "kinds_next": _lower(SAID[next_kind(opening)]),
        "counted": list(filled.fields_of("count_")),
        "odd": list(filled.fields_of("odd_")),
        "odd_errors": any(name.startswith("odd_") for name in filled.errors),
        "volts": list(filled.fields_of("volt_")),
        "tolerance_v": tolerance_v(type_of.cells_per_module, type_of.chemistry),
        "choose": f"kind={Reassembly.Kinds.FITTED.value}",
    }
    template = "packs/job/reassembly.html"
    return frame.shown(request, visit, "reassembly", template, context, status=status)


def _lower(sentence: str) -> str:
    return sentence[0].lower() + sentence[1:]


def _parted(visit: Visit) -> bool:
    """Whether the type says where its switch parts the string."""
    assert visit.pack is not None
    return visit.pack.pack_type.layout.switch_after is not None
