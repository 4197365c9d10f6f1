"""What a car waits for once something of its visit is stored: offered, and over nobody's change."""

from datetime import datetime
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest

from packs.errors import Stale
from packs.models import Visit
from packs.pages.doors import actor
from packs.pages.forms import EntryForm
from packs.writes.visits import change_visit

MEANWHILE = (
    "The visit was changed meanwhile, so what it waits for was left as it is; look at it there."
)


class WaitForm(EntryForm):
    """A form that also offers to say what the car waits for from then on.

    `visit_version` is the version of the visit that whoever sends it was looking at.
    """

    now_waits = forms.BooleanField(required=False)
    visit_version = forms.IntegerField(required=False, widget=forms.HiddenInput, min_value=1)

    def offer(self, visit: Visit, label: str, *, ticked: bool = True) -> None:
        """Offer it; a visit that is closed waits for nothing."""
        if visit.state == Visit.State.CLOSED:
            del self.fields["now_waits"]
            return
        self.fields["now_waits"].label = label
        self.fields["now_waits"].initial = ticked
        self.fields["visit_version"].initial = visit.version

    def entry(self, below: str = "") -> dict[str, Any]:
        said = super().entry(below)
        for name in ("now_waits", "visit_version"):
            said.pop(name, None)
        return said

    def move(self, request: HttpRequest, visit: Visit, waits_for: str, *, at: datetime) -> None:
        """Store what was offered, unless somebody changed the visit since it was shown."""
        version = self.cleaned_data["visit_version"]
        ticked = self.cleaned_data.get("now_waits") and version is not None
        if not ticked or visit.waits_for == waits_for:
            return
        changes = {"waits_for": waits_for}
        try:
            change_visit(visit, by=actor(request), at=at, version=version, changes=changes)
        except Stale:
            messages.warning(request, MEANWHILE)
