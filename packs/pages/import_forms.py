"""Forms of the import: which file, and what its columns and its silence mean."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from packs.errors import DomainError, Fault
from packs.models import ImportSource
from packs.pages.forms import EntryForm
from packs.rules import columns
from packs.rules.import_settings import BY_COUNT, BY_CURRENT, OPTIONS, typed

Choices = list[tuple[str, str]]

VOLTAGE = "voltage"  # the use of a column that holds voltages, one or all of them
USES: Choices = [
    ("", "not used"),
    ("pack", "Pack serial"),
    ("taken_at", "Date and time"),
    ("date", "Date"),
    ("time", "Time of day"),
    (VOLTAGE, "Voltage"),
    ("position", "Position, where each has its own row"),
    ("current_a", "Current"),
    ("condition", "Condition: rest, load, charge"),
    ("level", "Level: block, module, cell"),
    ("temperature_c", "Temperature of the pack"),
    ("inlet_c", "Temperature at the inlet"),
    ("middle_c", "Temperature in the middle"),
    ("outlet_c", "Temperature at the outlet"),
    ("odometer_km", "Odometer"),
    ("soc_pct", "State of charge, %"),
    ("current_min_a", "Smallest current of the check"),
    ("current_max_a", "Largest current of the check"),
    ("condition_s", "Seconds under this condition"),
    ("rested_min", "Minutes rested before"),
    ("last_current", "Last current: charge, discharge"),
    ("soc_source", "Source of the state of charge"),
    ("taken", "Taken together or one by one"),
    ("set", "Set that the check belongs to"),
    ("instrument", "Instrument, as text"),
    ("equipment", "Equipment, by its code"),
    ("done_by", "Person, by their code"),
    ("visit", "Visit, by its id"),
]
AS_IT_STANDS = ("delimiter", "encoding", "header_row")  # settings that change the headers


class FileForm(EntryForm):
    """The file, and where it comes from."""

    file = forms.FileField(
        label="File",
        allow_empty_file=True,
        help_text="Text with columns, such as CSV, as the tester exports it. Up to 20 MB.",
    )
    source = forms.ChoiceField(
        label="From which tester",
        required=False,
        help_text="One that was used before is known by its columns; choose only to be sure.",
    )
    name = forms.CharField(
        label="Name for a new tester",
        required=False,
        max_length=100,
        help_text="Its columns are asked once and kept under this name.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = [(row.code, row.name or row.code) for row in ImportSource.objects.order_by("code")]
        source = self.fields["source"]
        assert isinstance(source, forms.ChoiceField)
        source.choices = [("", "known by its columns, or new"), *known]


def _chosen(label: str, choices: Choices, help_text: str = "") -> forms.ChoiceField:
    """A choice that always stands on something; the blank one is a choice too."""
    open_one = any(value == "" for value, _ in choices)
    return forms.ChoiceField(
        label=label,
        choices=choices,
        required=not open_one,
        help_text=help_text,
        initial=choices[0][0],
    )


def _typed(label: str, help_text: str = "", unit: str = "") -> forms.CharField:
    widget = forms.TextInput(attrs={"data-unit": unit} if unit else {})
    return forms.CharField(
        label=label, required=False, max_length=100, help_text=help_text, widget=widget
    )


class ColumnsForm(EntryForm):
    """What each column of a file holds, and what the file does not say."""

    settings__pack = _typed(
        "Pack, if the file does not name it", "The serial that every line of this file is about."
    )
    settings__level = _chosen(
        "What one voltage belongs to",
        [
            (BY_COUNT, "told by how many there are"),
            ("block", "a block"),
            ("module", "a module"),
            ("cell", "a cell"),
        ],
        "Where a column says it, the column counts.",
    )
    settings__condition = _chosen(
        "Taken",
        [
            ("", "as a column says, or else the current"),
            (BY_CURRENT, "as the current says: within 1 A at rest, else by its sign"),
            ("rest", "at rest"),
            ("load", "under load"),
            ("charge", "on charge"),
        ],
    )
    settings__current_a = _typed(
        "Current, if no column says it",
        "Positive out of the pack; 0 where nothing flowed.",
        "A",
    )
    settings__dates = _chosen(
        "Dates such as 3/5/2026 or 3.5.2026",
        [
            ("iso", "there are none"),
            ("day_month", "the day first"),
            ("month_day", "the month first"),
        ],
    )
    settings__unit = _chosen("Voltages are in", [("v", "volts"), ("mv", "millivolts")])
    settings__decimal = _chosen(
        "Decimal mark",
        [("auto", "point or comma, as it comes"), ("point", "point"), ("comma", "comma")],
    )
    settings__order = _chosen(
        "Order of the voltages",
        [("", "by position, 1 at the positive end"), ("monitor", "by the car's own numbers")],
    )
    settings__current_sign = _chosen(
        "A positive current flows",
        [("out", "out of the pack (load)"), ("in", "into the pack (charge)")],
    )
    settings__temperature_c = _typed("Temperature, if no column says it", unit="°C")
    settings__temperature_unit = _chosen(
        "Temperatures are in", [("c", "degrees Celsius"), ("f", "degrees Fahrenheit")]
    )
    settings__distance = _chosen("The odometer is in", [("km", "kilometres"), ("mi", "miles")])
    settings__time = _typed("Time of day, if no column says it", "Such as 12:00.")
    settings__time_zone = _typed(
        "Time zone of the tester's clock",
        "Unless said, that of this workshop. A name such as Europe/Vienna.",
    )
    settings__first_position = _chosen("Positions count from", [("1", "1"), ("0", "0")])
    settings__separator = _chosen(
        "Between voltages in one cell",
        [("auto", "found out"), *((one, one) for one in OPTIONS["separator"][1:])],
    )
    settings__delimiter = _chosen(
        "Between the columns",
        [("auto", "found out"), *((one, one) for one in OPTIONS["delimiter"][1:])],
    )
    settings__encoding = _chosen(
        "Letters are written as",
        [("auto", "found out"), *((one, one) for one in OPTIONS["encoding"][1:])],
    )
    settings__header_row = _typed("Line of the headers", "Unless said, it is found out.")

    def __init__(
        self, headers: Sequence[str], source: ImportSource, *args: Any, **kwargs: Any
    ) -> None:
        self.headers, self.source = headers, source
        super().__init__(*args, **kwargs)
        uses = uses_of(source.columns, headers)
        for place, header in enumerate(headers):
            self.fields[f"column__{place}"] = forms.ChoiceField(
                label=header, choices=USES, required=False, initial=uses.get(place, "")
            )
        for name in self.setting_names():
            if name in source.settings:
                self.initial.setdefault(f"settings__{name}", source.settings[name])

    def setting_names(self) -> list[str]:
        names = [name.split("__")[1] for name in self.fields if name.startswith("settings__")]
        return [name for name in names if name]

    def part(self, *names: str) -> list[forms.BoundField]:
        """These settings, as they are shown."""
        return [self[f"settings__{name}"] for name in names]

    @property
    def first_part(self) -> list[forms.BoundField]:
        return self.part("pack", "level", "condition", "current_a", "dates", "unit")

    @property
    def other_part(self) -> list[forms.BoundField]:
        shown = {field.name for field in self.first_part}
        names = [name for name in self.setting_names() if f"settings__{name}" not in shown]
        return self.part(*names)

    def said_columns(self) -> dict[str, str | list[str]]:
        """The columns as a source keeps them."""
        chosen = self.entry("column")
        named: dict[str, str | list[str]] = {}
        volts = []
        for place, use in chosen.items():
            header = self.headers[int(place)]
            if use == VOLTAGE:
                volts.append(header)
            elif use in named:
                told = f"“{header}” and “{named[use]}” are both {dict(USES)[use]}; keep one."
                self.add_error(f"column__{place}", told)
            else:
                named[use] = header
        if len(volts) > 1:
            named["voltages_v"] = columns.as_pattern(volts, self.headers)
        elif volts:
            named["voltage" if "position" in named else "voltages_v"] = volts[0]
        if "position" in named and len(volts) > 1:
            told = "With a column of positions there is one column of voltages; keep one."
            self.add_error(None, told)
        return named

    def said_settings(self, named: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """The settings as a source keeps them, those that this form does not ask as they were.

        Where no column is `named` that says the condition, and one the current, that tells it.
        """
        shown = self.setting_names()
        kept = {name: one for name, one in self.source.settings.items() if name not in shown}
        given = {name: typed(name, str(one)) for name, one in self.entry("settings").items()}
        if named is not None and "current_a" in named and "condition" not in named:
            given.setdefault("condition", BY_CURRENT)
        usual = {name: values[0] for name, values in OPTIONS.items()} | {"first_position": 1}
        return kept | {name: one for name, one in given.items() if usual.get(name) != one}

    def refuse_columns(self, error: DomainError) -> None:
        """What the columns lack that a setting can say stands beside that setting."""
        told = [
            Fault(fault.pointer.replace("/columns", "/settings", 1), fault.code, fault.detail)
            if fault.pointer.replace("/columns/", "settings__", 1) in self.fields
            else fault
            for fault in error.faults
        ]
        self.refuse(type(error)(told))

    def reads_anew(self) -> bool:
        """Whether other headers may come of what was said."""
        said, before = self.said_settings(), self.source.settings
        return any(said.get(name) != before.get(name) for name in AS_IT_STANDS)


def uses_of(named: Mapping[str, Any], headers: Sequence[str]) -> dict[int, str]:
    """What each column is used for, by its place."""
    places, _ = columns.find(named, headers)
    uses = {at: VOLTAGE if field == "voltages_v" else field for field, at in places.single.items()}
    return uses | dict.fromkeys(places.volts, VOLTAGE)
