"""Recording a test of a module: figures by kind, or a tester's file that is looked at first."""

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode

from packs.errors import DomainError
from packs.models import Module, ModuleTest
from packs.pages import curves, series_upload
from packs.pages.doors import actor, form
from packs.pages.forms import stored
from packs.pages.job.doers import sent_before
from packs.pages.module_test_forms import KINDS, TestForm
from packs.pages.series_upload import FIRST_ROWS, Upload
from packs.reads import module_tests as reads
from packs.reads import names
from packs.rules.module_tests import CAPACITY, KIND_WORDS, LOAD, RESISTANCE, STAND
from packs.writes import module_tests as writes
from packs.writes.module_tests import Tested

SAYS = {
    CAPACITY: "Charge by ampere-hours with an eye on the temperature, rest, then discharge to the "
    "cut-off, and stop at the knee. The last of three cycles counts.",
    RESISTANCE: "Two currents one after the other, or a pulse from rest. The time from the step to "
    "the reading belongs to the figure.",
    STAND: "Three readings or more from 24 hours after charge on, all at one temperature.",
    LOAD: "The voltage at rest, then after a few seconds under a known load.",
}
AT_ONCE = frozenset({RESISTANCE, LOAD})
HANDED_ON = ("channel", "equipment", "cycle")  # fields that the queue's link fills in


@form("module-tests")
def module_test_new(request: HttpRequest, tag: str) -> HttpResponseBase:
    """Record a test of a module; with a file, what it comes to is shown before it is stored."""
    row = names.keyed(Module.objects.select_related("lot", "donor_pack"), tag=tag)
    asked = request.GET.get("kind", "")
    kind = asked if asked in KINDS else CAPACITY
    if request.method != "POST":
        filled = TestForm(kind, None, initial=_initial(request, kind))
        return _shown(request, row, filled, None)
    try:
        upload = series_upload.sent(request)
    except DomainError as error:
        filled = TestForm(kind, None, request.POST, request.FILES)
        filled.full_clean()
        filled.refuse(error)
        return _shown(request, row, filled, None, status=422)
    return _sent(request, row, kind, upload)


def _initial(request: HttpRequest, kind: str) -> dict[str, Any]:
    """What the queue's link says; a test that takes no time is taken to be made now."""
    handed = {name: request.GET[name] for name in HANDED_ON if name in request.GET}
    return {"started_at": timezone.now(), **handed} if kind in AT_ONCE else handed


def _sent(request: HttpRequest, row: Module, kind: str, upload: Upload | None) -> HttpResponseBase:
    filled, problem = _filled(request, kind, upload)
    tested, valid = None, filled.is_valid()
    if problem is not None:
        filled.refuse(problem)
    elif valid:
        try:
            entry = _entry(request, row, filled)
            by, at = actor(request), timezone.now()
            tested = writes.work_out(entry, at=at)
            if not _looks_first(request, upload):
                write = partial(writes.record_module_test, by=by, at=at, entry=entry)
                if sent_before(ModuleTest, filled, by) or stored(filled, write) is not None:
                    return _told(request, row, tested)
        except DomainError as error:
            filled.refuse(error)
    status = 200 if not filled.errors else 422
    return _shown(request, row, filled, tested, status=status)


def _filled(
    request: HttpRequest, kind: str, upload: Upload | None
) -> tuple[TestForm, DomainError | None]:
    """The form as it was sent; a new file fills in what its columns look to be."""
    data, problem = request.POST.copy(), None
    if upload is not None:
        data["kept"] = upload.kept
        if upload.fresh:
            try:
                data.update(upload.filled())
            except DomainError as error:
                problem = error
    return TestForm(kind, upload, data), problem


def _looks_first(request: HttpRequest, upload: Upload | None) -> bool:
    """Whether what a file comes to is to be seen before it is stored."""
    return upload is not None and (upload.fresh or request.POST.get("act") != "store")


def _entry(request: HttpRequest, row: Module, filled: TestForm) -> dict[str, Any]:
    entry = {**filled.entry(), "module": row.tag}
    if request.GET.get("visit"):
        entry["visit"] = request.GET["visit"]
    if filled.upload is not None:
        read = filled.upload.series(filled.entry("column"), filled.entry("setting"))
        entry["series"] = {
            "seconds": read.curve.seconds,
            "current_a": read.curve.current_a,
            "voltage_v": read.curve.voltage_v,
        }
    return entry


def _told(request: HttpRequest, row: Module, tested: Tested) -> HttpResponseBase:
    said = " ".join(tested.verdict.reasons)
    messages.success(request, f"The test of {row.tag} is stored. {said}")
    if request.GET.get("visit"):
        return redirect(reverse("job-tests", args=[request.GET["visit"]]))
    return redirect("module", tag=row.tag)


def _shown(
    request: HttpRequest, row: Module, filled: TestForm, tested: Tested | None, status: int = 200
) -> HttpResponseBase:
    kept = {name: request.GET[name] for name in ("visit",) if name in request.GET}
    upload = filled.upload
    context = {
        "module": row,
        "form": filled,
        "kind": filled.kind,
        "kind_word": KIND_WORDS[filled.kind],
        "says": SAYS[filled.kind],
        "others": [
            (KIND_WORDS[kind], "?" + urlencode({"kind": kind, **kept}))
            for kind in KINDS
            if kind != filled.kind
        ],
        "upload": upload,
        "rows": upload.sample[:FIRST_ROWS] if upload else (),
        "tested": tested if upload else None,
        "curve": _curve(tested),
        "kind_of_pack": reads.type_of(row),
    }
    return render(request, "packs/modules/test.html", context, status=status)


def _curve(tested: Tested | None) -> curves.Drawing | None:
    if tested is None or tested.curve is None:
        return None
    return curves.discharge(tested.curve, tested.worked.details.get("cut_off_v"))
