"""Isolation on a job: the voltages are entered, the verdict and the place of a leak are told."""

from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone

from packs.models import IsolationCheck, Visit
from packs.pages.doors import actor, form
from packs.pages.forms import stored
from packs.pages.job import frame
from packs.pages.job.doers import BenchForm, Figure, sent_before
from packs.reads import isolation as reads
from packs.rules.isolation import METER_OHM, shunt_for
from packs.rules.isolation_words import SCOPES, kilohm
from packs.writes import isolation_checks

OHM_PER_KILOHM = 1000
METHODS = {
    IsolationCheck.Method.TWO_VOLTAGES.value: "By two voltages",
    IsolationCheck.Method.TESTER.value: "With a tester",
}


class Kilohm(Figure):
    """A resistance as it is typed, in kΩ; ohms inside."""

    def __init__(self, **said: Any) -> None:
        super().__init__(unit="kΩ", **said)

    def clean(self, value: Any) -> Any:
        said = super().clean(value)
        return None if said is None else said * OHM_PER_KILOHM


class Magnitude(Figure):
    """A voltage as a meter shows it: its sign tells only how the probes lay, and is taken off."""

    def __init__(self, **said: Any) -> None:
        super().__init__(unit="V", **said)

    def clean(self, value: Any) -> Any:
        said = super().clean(value)
        return None if said is None else abs(said)


class IsolationForm(BenchForm):
    """What both methods ask for."""

    scope = forms.ChoiceField(
        label="What is measured",
        choices=[(scope, words.capitalize()) for scope, words in SCOPES.items()],
        widget=forms.RadioSelect,
    )
    wet = forms.BooleanField(label="It is wet, or was just washed", required=False)
    pack_v = Magnitude(label="The pack, plus to minus")


class VoltagesForm(IsolationForm):
    """By two voltages: which are read in this order."""

    plus_case_v = Magnitude(label="Plus to case")
    minus_case_v = Magnitude(label="Minus to case")
    shunt_ohm = Kilohm(label="Known resistor", help_text="From the side that read higher, to case.")
    shunted_v = Magnitude(label="That side to case again, with the resistor")
    equipment = forms.CharField(label="Meter, by its code", max_length=40, required=False)
    note = forms.CharField(label="Note", max_length=1000, required=False)


class TesterForm(IsolationForm):
    """With a tester: what it shows."""

    test_v = Figure(label="It tests with", unit="V")
    isolation_ohm = Kilohm(label="It shows", help_text="1 MΩ is 1000 kΩ.")
    equipment = forms.CharField(label="Tester, by its code", max_length=40, required=False)
    note = forms.CharField(label="Note", max_length=1000, required=False)


@form("isolation-checks")
def isolation(request: HttpRequest, key: str) -> HttpResponseBase:
    """The checks of the visit with their verdicts, and the form for the next."""
    visit = frame.visit_of(key)
    assert visit.pack is not None
    tester = request.GET.get("method") == IsolationCheck.Method.TESTER
    method = IsolationCheck.Method.TESTER if tester else IsolationCheck.Method.TWO_VOLTAGES
    working_v = reads.working_v(visit.pack.pack_type, 0)
    first = {"shunt_ohm": round(shunt_for(working_v) / OHM_PER_KILOHM)}
    kind = TesterForm if tester else VoltagesForm
    filled = kind(request.POST or None, initial=first)
    if request.method == "POST" and filled.is_valid() and _taken(request, visit, filled, method):
        messages.success(request, "The isolation check is stored.")
        return redirect("job-isolation", key=key)
    context = {
        "form": filled,
        "method": method.value,
        "methods": METHODS,
        "told": [_told(check) for check in reads.of_visit(visit)],
        "suits": kilohm(shunt_for(working_v)),
        "meter": kilohm(METER_OHM),
    }
    return frame.shown(request, visit, "isolation", "packs/job/isolation.html", context)


def _taken(request: HttpRequest, visit: Visit, filled: IsolationForm, method: str) -> bool:
    by, at = actor(request), timezone.now()
    if sent_before(IsolationCheck, filled, by):
        return True
    entry = {
        **filled.entry(),
        "method": method,
        "visit": frame.key_of(visit),
        "external_id": filled.external_id,
    }
    write = partial(isolation_checks.record_isolation_check, by=by, at=at, entry=entry)
    return stored(filled, write) is not None


def _told(check: IsolationCheck) -> dict[str, Any]:
    leak = reads.leak(check)
    return {
        "row": check,
        "judged": reads.judged(check),
        "resistance": kilohm(check.isolation_ohm),
        "true": "" if leak is None else kilohm(leak.true_ohm),
        "scope": SCOPES[check.scope],
        "warnings": reads.warnings(check),
    }
