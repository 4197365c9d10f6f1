"""Forms of the bench: who did it is asked, for tablets are shared, and when."""

from datetime import datetime
from typing import Any

from django import forms
from django.utils.dateparse import parse_datetime

from packs.errors import DomainError, Fault
from packs.models import Fact, Person, Role
from packs.pages.forms import EntryForm, Moment, of_our_time
from packs.reads import sites
from packs.writes.actors import Actor

NOBODY = ("", "Who did it?")


def people(role: str = Role.BENCH) -> list[tuple[str, str]]:
    """Those with the role, by code and name: a scanner types the code, and the list finds it."""
    rows = Person.objects.order_by("code").values_list("code", "name", "roles")
    return [(code, f"{code}, {name}") for code, name, roles in rows if role in roles]


def _choices() -> list[tuple[str, str]]:
    return [NOBODY, *people()]


class Doer(forms.ChoiceField):
    """A person of the bench, chosen or scanned; never taken from the sign-in."""

    def __init__(self, **said: Any) -> None:
        super().__init__(choices=_choices, **said)


class BenchForm(EntryForm):
    """A step of the work: who did it and when, beside what the step itself asks.

    A tablet without network keeps what was typed and when; `typed_at` is that instant.
    """

    done_by = Doer(label="Done by")
    at = Moment(required=False, label="When", help_text="Empty: now.")
    typed_at = forms.CharField(required=False, max_length=40, widget=forms.HiddenInput)

    field_order = ("done_by",)
    told_at = "/at"  # what the register calls the time, where it has a name of its own

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        middle = [name for name in self.fields if name not in ("done_by", "at")]
        self.order_fields(["done_by", *middle, "at"])

    def clean_typed_at(self) -> datetime | None:
        """The instant that the tablet noted; one that is none is left out."""
        try:
            when = parse_datetime(self.cleaned_data["typed_at"] or "")
            if when is None or when.tzinfo is None:
                return None
            of_our_time(when)
        except (ValueError, forms.ValidationError):
            return None
        return when

    def refuse(self, error: DomainError) -> None:
        """What is wrong with the time stands beside it, whatever the register calls it."""
        moved = [
            Fault("/at", one.code, one.detail) if one.pointer == self.told_at else one
            for one in error.faults
        ]
        super().refuse(type(error)(moved))

    def entry(self, below: str = "") -> dict[str, Any]:
        """What was filled in; without a time said, that at which it was typed."""
        entry = super().entry(below)
        typed = entry.pop("typed_at", None)
        if not below and typed is not None:
            entry.setdefault("at", typed)
        return entry


class Figure(forms.FloatField):
    """A measured number with its unit; a comma is read as the decimal mark that it is in many
    countries."""

    default_error_messages = {"invalid": "Write a number, such as 15.42."}

    def __init__(self, *, unit: str, **said: Any) -> None:
        box = forms.TextInput(attrs={"inputmode": "decimal", "data-unit": unit})
        super().__init__(widget=box, **said)

    def to_python(self, value: Any) -> Any:
        written = value.strip() if isinstance(value, str) else value
        if isinstance(written, str) and written.count(",") == 1 and "." not in written:
            written = written.replace(",", ".")
        return super().to_python(written)


class Degrees(Figure):
    """A temperature in the unit of the site; degrees Celsius inside."""

    def __init__(self, **said: Any) -> None:
        super().__init__(unit="°C", **said)

    def get_bound_field(self, form: forms.BaseForm, field_name: str) -> forms.BoundField:
        self.widget.attrs["data-unit"] = "°F" if self._fahrenheit() else "°C"
        return super().get_bound_field(form, field_name)

    def clean(self, value: Any) -> Any:
        said = super().clean(value)
        return (said - 32) / 1.8 if said is not None and self._fahrenheit() else said

    def _fahrenheit(self) -> bool:
        return sites.present().temperature == "f"


def sent_before(model: type[Fact], form: EntryForm, by: Actor) -> bool:
    """Whether what this form sends is stored already: a tablet sends again what it kept."""
    rows = model._default_manager.filter(client=by.client)
    return rows.filter(external_id=form.external_id).exists()
