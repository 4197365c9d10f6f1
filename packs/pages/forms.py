"""Pages that take input: fields named as the pointers of what they fill, and errors beside them."""

import re
from collections.abc import Callable, Iterator
from datetime import date, datetime
from typing import Any, TypeVar
from uuid import uuid4

from django import forms
from django.db.models import Model
from django.forms.renderers import DjangoTemplates

from packs.errors import DomainError, Fault
from packs.models import Site
from packs.reads import sites
from packs.rules.bounds import (
    BAD_YEAR,
    EARLIEST,
    FARTHEST_KM,
    KM_PER_MILE,
    LATEST,
    TOO_HIGH,
    TOO_LOW,
)
from packs.writes.recording import Outcome

RowT = TypeVar("RowT", bound=Model)

BELOW = "__"  # in the name of a field, where its pointer has a slash
LARGEST_AMOUNT = 99_999_999  # that a column of money holds


class Described(forms.BoundField):
    """A field that is read out with what stands beside it, also where it was refused later."""

    @property
    def aria_describedby(self) -> str | None:
        return " ".join(f"{self.auto_id}-{part}" for part in self._beside()) or None

    def _beside(self) -> Iterator[str]:
        if self.errors:
            yield "error"
        if self.help_text and not self.is_hidden:
            yield "hint"


def _wanted(field: forms.Field) -> str:
    """What to do about a field that was left empty."""
    if field.widget.is_hidden:
        return "Open the page again, and send it anew."
    if isinstance(field, forms.FileField):
        return "Choose a file."
    return "Choose one." if isinstance(field, forms.ChoiceField) else "Fill this in."


class EntryForm(forms.Form):
    """A form for one call down: field `vehicle__vin` is `/vehicle/vin` of the entry.

    `sent_as` is the form's own name for what it sends, so that sent twice it is stored once.
    """

    required_css_class = "needed"
    error_css_class = "has-error"
    default_renderer = DjangoTemplates
    bound_field_class = Described

    sent_as = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.error_messages["required"] = _wanted(field)
        self.fields["sent_as"].initial = uuid4

    def entry(self, below: str = "") -> dict[str, Any]:
        """What was filled in, by the names of the API; `below` a part of it alone."""
        entry: dict[str, Any] = {}
        prefix = below + BELOW if below else ""
        for name, value in self.cleaned_data.items():
            if name == "sent_as" or value in (None, "", []) or not name.startswith(prefix):
                continue
            *parents, last = name.removeprefix(prefix).split(BELOW)
            inner = entry
            for parent in parents:
                inner = inner.setdefault(parent, {})
            inner[last] = value
        return entry

    @property
    def external_id(self) -> str:
        """The name under which what this form sends is stored once."""
        return f"page:{self.cleaned_data['sent_as']}"

    def refuse(self, error: DomainError) -> None:
        """Each fault beside the field that it points at, or above them all."""
        for fault in error.faults:
            name = fault.pointer.strip("/").replace("/", BELOW)
            where = name if name in self.fields and not self._hidden(name) else None
            told = worded(fault, str(self.cleaned_data.get(name) or ""))
            self.add_error(where, forms.ValidationError(told, code=fault.code))

    def _hidden(self, name: str) -> bool:
        return bool(self.fields[name].widget.is_hidden)


def stored(form: EntryForm, write: Callable[[], Outcome[RowT]]) -> RowT | None:
    """The row that was written, or None where the form now says what is wrong."""
    try:
        return write().row
    except DomainError as error:
        form.refuse(error)
        return None


def worded(fault: Fault, serial: str) -> str:
    """What is wrong, as people at the counter can act on it."""
    if fault.code != "unknown_pack":
        return fault.detail
    return f"No pack '{serial}' is recorded; check the car in first, or correct the serial."


def of_our_time(when: date | datetime) -> None:
    """Refuse a year that nobody meant."""
    if not EARLIEST < when.year < LATEST:
        raise forms.ValidationError(BAD_YEAR, code="out_of_range")


class Day(forms.DateField):
    """A calendar date, picked or typed as the browser likes it."""

    default_validators = [of_our_time]

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
        super().__init__(widget=widget, input_formats=["%Y-%m-%d"], **kwargs)


class Moment(forms.DateTimeField):
    """An instant by the clock of the site."""

    default_validators = [of_our_time]

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.DateTimeInput(format="%Y-%m-%dT%H:%M", attrs={"type": "datetime-local"})
        formats = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"]
        super().__init__(widget=widget, input_formats=formats, **kwargs)

    def prepare_value(self, value: Any) -> Any:
        value = super().prepare_value(value)
        return value.replace(second=0, microsecond=0) if isinstance(value, datetime) else value


GROUPED = re.compile(r"\d{1,3}(?:[\s.,]\d{3})+\Z")  # thousands set apart, as people write them


class Km(forms.IntegerField):
    """A distance in the unit of the site; km inside."""

    default_error_messages = {
        "invalid": "Write a whole number, such as 152300.",
        "min_value": TOO_LOW.format(min_value=0),
        "max_value": TOO_HIGH.format(max_value=FARTHEST_KM),
    }

    def __init__(self, *, site: Site | None = None, **kwargs: Any) -> None:
        self.site = site
        box = forms.TextInput(attrs={"inputmode": "numeric"})
        super().__init__(min_value=0, max_value=FARTHEST_KM, widget=box, **kwargs)

    def get_bound_field(self, form: forms.BaseForm, field_name: str) -> forms.BoundField:
        self.widget.attrs["data-unit"] = self._site().distance
        return super().get_bound_field(form, field_name)

    def to_python(self, value: Any) -> Any:
        written = value.strip() if isinstance(value, str) else value
        if isinstance(written, str) and GROUPED.match(written):
            written = re.sub(r"\D", "", written)
        return super().to_python(written)

    def clean(self, value: Any) -> Any:
        shown = super().clean(value)
        if shown is None or self._site().distance == "km":
            return shown
        km = round(shown * KM_PER_MILE)
        if km > FARTHEST_KM:
            farthest = int(FARTHEST_KM / KM_PER_MILE)
            raise forms.ValidationError(TOO_HIGH.format(max_value=farthest), code="max_value")
        return km

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, int) and self._site().distance == "mi":
            return round(value / KM_PER_MILE)
        return value

    def _site(self) -> Site:
        self.site = self.site or sites.present()
        return self.site


class MoneyField(forms.DecimalField):
    """An amount in the currency of the site."""

    default_error_messages = {
        "invalid": "Write an amount, such as 62.50.",
        "min_value": TOO_LOW.format(min_value=0),
        "max_value": TOO_HIGH.format(max_value=LARGEST_AMOUNT),
        "max_decimal_places": "At most two places behind the decimal mark.",
    }

    def __init__(self, **kwargs: Any) -> None:
        box = forms.TextInput(attrs={"inputmode": "decimal"})
        super().__init__(
            min_value=0, max_value=LARGEST_AMOUNT, decimal_places=2, widget=box, **kwargs
        )

    def to_python(self, value: Any) -> Any:
        """A comma is read as the decimal mark that it is in many countries."""
        written = value.strip() if isinstance(value, str) else value
        if isinstance(written, str) and written.count(",") == 1 and "." not in written:
            written = written.replace(",", ".")
        return super().to_python(written)

    def get_bound_field(self, form: forms.BaseForm, field_name: str) -> forms.BoundField:
        self.widget.attrs["data-unit"] = sites.present().currency
        return super().get_bound_field(form, field_name)
