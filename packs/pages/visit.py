"""The page of a visit: what it is about, and how it goes on."""

from datetime import datetime
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from packs.errors import DomainError
from packs.models import TroubleCode, Visit
from packs.pages.claims import told
from packs.pages.doors import actor, form, roles
from packs.pages.forms import EntryForm, Moment
from packs.pages.units import distance
from packs.reads import sites, visits
from packs.reads.roles import may
from packs.rules import stays
from packs.rules.identity import encode
from packs.writes.visits import change_visit

MOMENT = "%Y-%m-%dT%H:%M"  # as a box for an instant holds it (HTML, 4.10.5.1.11)
NOTHING = "nothing"  # a choice of its own, where the register keeps an empty text
WAITS = (
    (NOTHING, "Nothing"),
    *((reason, thing.capitalize()) for reason, thing in stays.WAITS.items()),
)
STATES = (
    (Visit.State.OPEN.value, "Open: work goes on"),
    (Visit.State.WAITING.value, "Waiting: work stands still"),
    (Visit.State.READY.value, "Ready: it can be collected"),
    (Visit.State.CLOSED.value, "Closed: it has left"),
)


SAID = ("state", "waits_for", "promised_at")


class VisitForm(EntryForm):
    """How a visit goes on; `version` is the one that whoever sends it was looking at.

    Each field carries the value that it was shown with, so that one nobody touched says nothing.
    """

    state = forms.ChoiceField(choices=STATES, label="State")
    waits_for = forms.ChoiceField(choices=WAITS, label="Waits for")
    promised_at = Moment(
        required=False, label="Promised for", help_text="Empty: no day was promised."
    )
    version = forms.IntegerField(widget=forms.HiddenInput, min_value=1)

    def __init__(self, row: Visit, *args: Any) -> None:
        self.row = row
        now = {
            "state": row.state,
            "waits_for": row.waits_for or NOTHING,
            "promised_at": row.promised_at,
            "version": row.version,
        }
        super().__init__(*args, initial=now)
        for name in SAID:
            self.fields[name].show_hidden_initial = True

    def clean_promised_at(self) -> datetime | None:
        promised: datetime | None = self.cleaned_data["promised_at"]
        if promised is None or promised == _minute(self.row.promised_at):
            return self.row.promised_at if promised else None
        problem = stays.promise_problem(promised, self.row.opened_at)
        if problem is not None:
            raise forms.ValidationError(problem[1], code=problem[0])
        return promised

    def changes(self) -> dict[str, Any]:
        """The fields that are no longer as they were shown, nor as they stand."""
        said = self.cleaned_data
        waits_for = "" if said["waits_for"] == NOTHING else said["waits_for"]
        stands = {
            "state": said["state"],
            "waits_for": waits_for,
            "promised_at": said["promised_at"],
        }
        touched = {name: stands[name] for name in SAID if self._touched(name)}
        return {name: value for name, value in touched.items() if getattr(self.row, name) != value}

    def _touched(self, name: str) -> bool:
        """Whether it was changed; all that is sent without the value it was shown with."""
        return name in self.changed_data or self[name].html_initial_name not in self.data

    def look_again(self, row: Visit) -> None:
        """Sent once more, it is sent by who has read how the visit stands now.

        What nobody touched is shown as it stands; what was typed stays.
        """
        fresh, data = VisitForm(row), dict(self.data.items())
        touched = [name for name in SAID if self._touched(name)]
        for name in SAID:
            stands = fresh[name].value()
            if isinstance(stands, datetime):
                stands = stands.strftime(MOMENT)
            data[self[name].html_initial_name] = stands or ""
            if name not in touched:
                data[name] = stands or ""
        self.data = {**data, "version": str(row.version)}


def _minute(at: datetime | None) -> datetime | None:
    """An instant as a box of a form holds it."""
    return None if at is None else at.replace(second=0, microsecond=0)


@form("visits")
def visit(request: HttpRequest, key: str) -> HttpResponse:
    """A visit by the id of the API; a change made meanwhile by somebody else is told."""
    row = visits.addressed(key)
    if request.method != "POST":
        return _shown(request, row, VisitForm(row))
    sent = VisitForm(row, request.POST)
    if sent.is_valid():
        try:
            return _stored(request, row, sent)
        except DomainError as error:
            sent.refuse(error)
            row = visits.addressed(key)
            sent.look_again(row)
    return _shown(request, row, sent, status=422)


def _stored(request: HttpRequest, row: Visit, sent: VisitForm) -> HttpResponse:
    changes, version = sent.changes(), sent.cleaned_data["version"]
    name = visits.name_of(row)
    if not changes and version == row.version:
        messages.success(request, f"The visit of {name} stands as it was.")
    else:
        by, at = actor(request), timezone.now()
        change_visit(row, by=by, at=at, version=version, changes=changes)
        closed = row.state == Visit.State.CLOSED
        messages.success(request, f"The visit of {name} is {'closed' if closed else 'changed'}.")
    return HttpResponseRedirect(reverse("today"))


def _shown(request: HttpRequest, row: Visit, sent: VisitForm, status: int = 200) -> HttpResponse:
    sees_owner = may(roles(request), "customers", write=False)
    shown = visits.gather(row, with_owner=sees_owner)
    now = timezone.localdate()
    context = {
        "page": shown,
        "form": sent,
        "name": visits.name_of(row),
        "key": encode(Visit.PREFIX, row.pk),
        "sees_owner": sees_owner,
        "estimates": may(roles(request), "cost-estimates", write=True),
        "notes_word": may(roles(request), "consents", write=True) and not shown.agreed,
        "claims": may(roles(request), "claims", write=True),
        "covered": told(shown.covered),
        "currency": sites.present().currency,
        "odometer": distance(row.odometer_km, sites.present()),
        "days": (now - timezone.localdate(row.opened_at)).days,
        "waits_for": dict(WAITS)[row.waits_for or NOTHING].lower(),
        "codes": [(code, _frame(code)) for code in shown.codes],
    }
    return render(request, "packs/visit.html", context, status=status)


def _frame(code: TroubleCode) -> list[tuple[str, Any]]:
    """What the car froze with the code, name by name."""
    frame = code.freeze_frame
    if isinstance(frame, dict):
        return [(str(name).replace("_", " "), value) for name, value in sorted(frame.items())]
    return [("frame", frame)] if frame is not None else []
