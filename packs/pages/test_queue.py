"""The queue of tests: what is overdue, what waits on which channel, and what is on a tester."""

from functools import partial

from django.contrib import messages
from django.http import HttpRequest, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode

from packs.errors import DomainError
from packs.models import Module, PlannedTest
from packs.pages.doors import actor, form, page, roles
from packs.pages.forms import stored
from packs.pages.module_test_forms import PlanForm
from packs.reads import names
from packs.reads import planned_tests as reads
from packs.reads.roles import may
from packs.rules.identity import encode
from packs.rules.module_tests import KIND_WORDS
from packs.writes import planned_tests as writes


@page("planned-tests")
def tests(request: HttpRequest) -> HttpResponseBase:
    """The queue; a tag scanned here opens the form of its test."""
    tag = request.GET.get("tag", "").strip()
    found = Module.objects.filter(tag__iexact=tag).first() if tag else None
    if found is not None and may(roles(request), "module-tests", write=True):
        return redirect(_first_of(found))
    return _shown(request, PlanForm(), tag)


def _first_of(module: Module) -> str:
    """Where its next planned test is recorded; else any."""
    waiting = reads.for_module(module, at=timezone.now())
    return _record(waiting[0]) if waiting else reverse("module-test-new", args=[module.tag])


def _record(row: PlannedTest) -> str:
    """The form of a planned test, with what was planned filled in."""
    said = {"kind": row.kind, "channel": row.channel}
    if row.equipment is not None:
        said["equipment"] = row.equipment.code
    if row.visit_id is not None:
        said["visit"] = encode("vi", row.visit_id)
    told = {name: value for name, value in said.items() if value}
    return f"{reverse('module-test-new', args=[row.module.tag])}?{urlencode(told)}"


@form("planned-tests")
def test_plan(request: HttpRequest) -> HttpResponseBase:
    """Plan a test."""
    filled = PlanForm(request.POST or None)
    if request.method == "POST" and filled.is_valid():
        entry = {**filled.entry(), "external_id": filled.external_id}
        write = partial(writes.plan_test, by=actor(request), at=timezone.now(), entry=entry)
        row = stored(filled, write)
        if row is not None:
            messages.success(request, f"{KIND_WORDS[row.kind]} of {row.module.tag} is planned.")
            return redirect("tests")
    return _shown(request, filled, "", status=422 if filled.errors else 200)


@form("planned-tests")
def test_start(request: HttpRequest, key: str) -> HttpResponseBase:
    """The module of a planned test goes on the tester."""
    row = names.addressed(reads.rows(at=timezone.now()), key)
    if request.method == "POST":
        try:
            writes.put_on(row.module, by=actor(request), at=timezone.now())
            messages.success(request, f"{row.module.tag} is on test.")
        except DomainError as error:
            messages.error(request, f"{error}")
    return HttpResponseRedirect(reverse("tests"))


@form("planned-tests")
def module_off_test(request: HttpRequest, tag: str) -> HttpResponseBase:
    """The module comes off the tester, back to stock."""
    row = names.keyed(Module.objects.all(), tag=tag)
    if request.method == "POST":
        try:
            writes.take_off(row, by=actor(request), at=timezone.now())
            messages.success(request, f"{row.tag} is back in stock.")
        except DomainError as error:
            messages.error(request, f"{error}")
    return HttpResponseRedirect(reverse("tests"))


def _shown(request: HttpRequest, filled: PlanForm, tag: str, status: int = 200) -> HttpResponseBase:
    queue = reads.queue(at=timezone.now())
    context = {
        "form": filled,
        "tag": tag,
        "overdue": [_line(row) for row in queue.overdue],
        "waiting": [_line(row) for row in queue.waiting],
        "done": [_line(row) for row in queue.done],
        "on_test": queue.on_test,
        "plans": may(roles(request), "planned-tests", write=True),
        "records": may(roles(request), "module-tests", write=True),
    }
    return render(request, "packs/modules/queue.html", context, status=status)


def _line(row: PlannedTest) -> dict[str, object]:
    return {
        "row": row,
        "key": encode(PlannedTest.PREFIX, row.pk),
        "word": KIND_WORDS[row.kind],
        "record": _record(row),
        "on_test": row.module.status == Module.Status.ON_TEST,
        "free": row.module.status in writes.FREE,
    }
