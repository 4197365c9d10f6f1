"""The form of a module's test: what each kind asks, and a tester's file in place of figures."""

from collections.abc import Iterator
from typing import Any

from django import forms

from packs.models import Equipment, ModuleTest
from packs.pages.forms import EntryForm, Moment
from packs.pages.job.doers import BenchForm, Degrees, Doer, Figure
from packs.pages.series_upload import Upload, fields_for
from packs.rules.module_tests import CAPACITY, LOAD, RESISTANCE, STAND, WITH_SERIES
from packs.rules.module_verdicts import GRADES, LOOKED_FOR

READINGS = 5  # rows of a stand that the page offers; more go in over the API
OF_FILE = ("column", "setting")
ABOUT = ("done_by", "started_at", "temperature_c", "equipment", "channel", "method")
BESIDE_FILE = ("measured__cut_off_v", "measured__pulse_s")
BEFORE = ("rest_before_min", "charge_before_ah", "cycle")


class Minutes(Figure):
    """A time in minutes; seconds inside."""

    def __init__(self, **said: Any) -> None:
        super().__init__(unit="min", min_value=0, **said)

    def clean(self, value: Any) -> Any:
        said = super().clean(value)
        return None if said is None else said * 60


def _figure(label: str, unit: str, help_text: str = "") -> Figure:
    return Figure(label=label, unit=unit, required=False, help_text=help_text)


def _measured(kind: str) -> dict[str, forms.Field]:
    """The fields of what is measured in a test of that kind."""
    fields: dict[str, dict[str, forms.Field]] = {
        CAPACITY: {
            "capacity_ah": _figure("Capacity as read", "Ah", "Or a current and its time, below."),
            "current_a": _figure("Discharge current", "A"),
            "duration_s": Minutes(label="Time to the cut-off", required=False),
            "cut_off_v": _figure("Cut-off of the module", "V", "Empty: as its type says."),
        },
        RESISTANCE: {
            "u1_v": _figure("First voltage", "V", "Before the step, at the first current."),
            "i1_a": _figure("First current", "A", "Out of the module; 0 for a pulse from rest."),
            "u2_v": _figure("Second voltage", "V", "At the end of the step."),
            "i2_a": _figure("Second current", "A"),
            "pulse_s": _figure("Read after", "s", "From the step to the second reading."),
            "resistance_mohm": _figure("Resistance as read", "mΩ", "With its method, below."),
        },
        STAND: {
            **_readings(),
            "capacity_before_ah": _figure("Capacity before the stand", "Ah"),
            "capacity_after_ah": _figure("Capacity after it, not charged again", "Ah"),
        },
        LOAD: {
            "rest_v": _figure("Voltage at rest", "V"),
            "load_v": _figure("Voltage under load", "V"),
            "current_a": _figure("Load", "A"),
            "after_s": _figure("Read after", "s"),
        },
    }
    return fields[kind]


def _readings() -> dict[str, forms.Field]:
    fields: dict[str, forms.Field] = {}
    for place in range(READINGS):
        name = f"Reading {place + 1}"
        fields[f"readings__{place}__at"] = Moment(label=f"{name}: when", required=False)
        fields[f"readings__{place}__voltage_v"] = _figure(f"{name}: voltage", "V")
        fields[f"readings__{place}__temperature_c"] = Degrees(
            label=f"{name}: temperature", required=False
        )
    return fields


def _seen(name: str) -> forms.ChoiceField:
    choices = [("", "none"), *((str(grade), word) for grade, word in enumerate(GRADES) if grade)]
    return forms.ChoiceField(label=name.capitalize(), choices=choices, required=False)


class TestForm(BenchForm):
    """One test of one module, of the kind that the page was opened for."""

    __test__ = False  # its name does not make it a test

    at = None  # type: ignore[assignment]  # a test says when it began, not when it was noted
    done_by = Doer(label="Done by")
    started_at = Moment(label="Began")
    temperature_c = Degrees(label="Temperature of the module", required=False)
    equipment = forms.CharField(
        label="Tester", required=False, max_length=40, help_text="Its code, typed or scanned."
    )
    channel = forms.CharField(label="Channel", required=False, max_length=40)
    method = forms.CharField(
        label="Method",
        required=False,
        max_length=100,
        help_text="Such as: slow discharge, a.c. 1 kHz.",
    )
    rest_before_min = _figure("Rest before", "min")
    charge_before_ah = _figure("Charged before", "Ah")
    cycle = forms.IntegerField(
        label="Cycle",
        required=False,
        min_value=1,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea(attrs={"rows": 2}))
    file = forms.FileField(
        label="Or the tester’s file",
        required=False,
        help_text="Columns of time, current and voltage, such as CSV; shown before it is stored.",
    )
    kept = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, kind: str, upload: Upload | None, *args: Any, **kwargs: Any) -> None:
        self.kind, self.upload = kind, upload
        super().__init__(*args, **kwargs)
        for name, made in _measured(kind).items():
            self.fields[f"measured__{name}"] = made
        for name in LOOKED_FOR:
            self.fields[f"findings__{name}"] = _seen(name)
        if kind not in WITH_SERIES:
            del self.fields["file"]
        if upload is not None:
            self.fields.update(fields_for(upload))
        if kind != CAPACITY:
            del self.fields["cycle"]

    def about(self) -> Iterator[forms.BoundField]:
        return (self[name] for name in ABOUT)

    def before(self) -> Iterator[forms.BoundField]:
        return (self[name] for name in BEFORE if name in self.fields)

    def measured(self) -> Iterator[forms.BoundField]:
        """All of it; beside a file, what a file does not say, and whatever was filled in."""
        fields = (self[name] for name in self.fields if name.startswith("measured__"))
        if self.upload is None:
            return fields
        return (field for field in fields if field.name in BESIDE_FILE or field.value())

    def seen(self) -> Iterator[forms.BoundField]:
        return (self[f"findings__{name}"] for name in LOOKED_FOR)

    def of_file(self) -> Iterator[forms.BoundField]:
        heads = tuple(f"{part}__" for part in OF_FILE)
        return (self[name] for name in self.fields if name.startswith(heads))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for place in range(READINGS if self.kind == STAND else 0):
            head = f"measured__readings__{place}__"
            said = {part: cleaned.get(head + part) for part in ("at", "voltage_v", "temperature_c")}
            for part in ("at", "voltage_v"):
                if said[part] is None and any(one is not None for one in said.values()):
                    self.add_error(head + part, "Fill this in, or empty the whole reading.")
        return cleaned

    def clean_equipment(self) -> str:
        code: str = self.cleaned_data["equipment"].strip()
        if code and not Equipment.objects.filter(code=code).exists():
            raise forms.ValidationError(f"No tester '{code}' is recorded; correct the code.")
        return code

    def entry(self, below: str = "") -> dict[str, Any]:
        """The test by the names of the API, without its series."""
        entry = super().entry(below)
        if below:
            return entry
        for name in ("at", "file", "kept", *OF_FILE):
            entry.pop(name, None)
        readings = entry.get("measured", {}).get("readings")
        if readings is not None:
            entry["measured"]["readings"] = [readings[place] for place in sorted(readings)]
        seen = entry.get("findings")
        if seen is not None:
            entry["findings"] = {name: int(grade) for name, grade in seen.items()}
        return {**entry, "kind": self.kind, "external_id": self.external_id}


class PlanForm(EntryForm):
    """A test that a module is to wait for."""

    module = forms.CharField(
        label="Tag of the module",
        max_length=40,
        widget=forms.TextInput(attrs={"autocapitalize": "characters"}),
    )
    kind = forms.ChoiceField(
        label="Test",
        choices=[
            (CAPACITY, "Capacity"),
            (RESISTANCE, "Resistance"),
            (STAND, "Stand"),
            (LOAD, "Load step"),
        ],
    )
    channel = forms.CharField(label="Channel", required=False, max_length=40)
    due_at = Moment(label="Due by")
    note = forms.CharField(label="Note", required=False, max_length=200)


KINDS = tuple(ModuleTest.Kinds.values)
