"""What may be asked of the fleet in an address: levels, types, chances, days and names."""

from datetime import datetime, time
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils import timezone

from packs.models import Pack, PackType
from packs.pages.forms import Day
from reports.models.outlooks import HORIZONS_DAYS
from reports.pages.figures import capital
from reports.pages.words import HORIZON_WORDS, LEVELS
from reports.reads.fleet import Asked

ANY = "any"
LONGEST_TEXT = 40  # characters of a serial
ORDERS = (
    ("chance", "Likeliest to fail first"),
    ("-chance", "Least likely to fail first"),
    ("spread", "Widest spread first"),
    ("-spread", "Narrowest spread first"),
    ("growth", "Fastest growth first"),
    ("-growth", "Slowest growth first"),
    ("seen", "Last seen first"),
    ("-seen", "Longest unseen first"),
    ("next", "Next check soonest first"),
    ("-next", "Next check latest first"),
)
DEFAULTS = {"status": Pack.Status.IN_SERVICE.value, "within": "180", "order": "chance"}


class FleetFilter(forms.Form):
    """Always bound: what an address leaves out is as usual, and what is wrong is told beside it."""

    level = forms.ChoiceField(required=False, label="Level")
    type = forms.ChoiceField(required=False, label="Pack type")
    status = forms.ChoiceField(required=False, label="Status")
    at_least = forms.FloatField(
        required=False, label="Chance of failing at least, %", min_value=0, max_value=100
    )
    within = forms.ChoiceField(required=False, label="Within")
    seen_since = Day(required=False, label="Seen since")
    text = forms.CharField(required=False, label="Serial or plate", max_length=LONGEST_TEXT)
    order = forms.ChoiceField(required=False, label="Order", choices=ORDERS)

    def __init__(self, said: QueryDict) -> None:
        given = {name: value for name, value in said.items() if value}
        super().__init__({**DEFAULTS, **given})
        self.given = given
        self.fields["at_least"].widget = forms.NumberInput(
            attrs={"min": 0, "max": 100, "step": "any", "inputmode": "decimal"}
        )
        types = PackType.objects.order_by("code").values_list("code", "name")
        self._offer("level", [("", "any"), *((key, one.word) for key, one in LEVELS.items())])
        self._offer("type", [("", "any"), *types])
        statuses = [(key, capital(label.lower())) for key, label in Pack.Status.choices]
        self._offer("status", [*statuses, (ANY, "any")])
        self._offer("within", [(str(days), HORIZON_WORDS[days]) for days in HORIZONS_DAYS])
        for name in self.fields:
            if name in self.errors:
                self.fields[name].widget.attrs["aria-describedby"] = f"id_{name}-error"

    def _offer(self, name: str, choices: list[tuple[str, Any]]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices

    def narrowed(self) -> bool:
        """Whether more is asked than a level, a type and a status."""
        return bool(self.given.keys() & {"at_least", "seen_since", "text"})

    def asked(self) -> Asked:
        """What is asked for; what could not be understood is not asked."""
        said = {**DEFAULTS, **self.cleaned_data}
        order = said["order"]
        since = said.get("seen_since")
        return Asked(
            level=said.get("level", ""),
            pack_type=said.get("type", ""),
            status="" if said["status"] == ANY else said["status"],
            horizon_days=int(said["within"]),
            least_chance=(said.get("at_least") or 0.0) / 100,
            seen_since=since and timezone.make_aware(datetime.combine(since, time.min)),
            text=said.get("text", ""),
            order=order.removeprefix("-"),
            turned=order.startswith("-"),
        )
