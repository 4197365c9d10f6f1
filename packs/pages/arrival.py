"""The form of a check-in: what is always asked, and what is asked only where records differ."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.core.validators import RegexValidator
from django.http import QueryDict

from packs.errors import DomainError, Fault
from packs.models import Consent, PackType, Site, Warranty
from packs.pages.forms import Day, EntryForm, Km, Moment
from packs.pages.promises import kind, past, until
from packs.pages.units import day, distance
from packs.reads import questions
from packs.reads.arrivals import Arrival, Promise
from packs.rules.bounds import EARLIEST, LATEST
from packs.rules.identity import encode
from packs.rules.vehicles import as_scanned, normalise_vin

CODE_ROWS, CODE_ROWS_MAX = 1, 6  # at first, and at most on one sheet
FRAME_LENGTH = 4_000  # characters; a frame of 200 named values takes as many
SERIAL = re.compile(r"^[A-Za-z0-9][A-Za-z0-9._-]{0,39}\Z")
READ_OFF = RegexValidator(
    SERIAL,
    "1 to 40 letters, digits, dots, underscores or hyphens, no mark at the front.",
)
FIGURE = re.compile(r"-?\d{1,15}(\.\d{1,15})?")

CAR = (
    "vehicle__vin",
    "vehicle__plate",
    "vehicle__same_car",
    "vehicle__description",
    "vehicle__model_year",
)
OWNER = ("owner__name", "owner__still", "owner__customer", "owner__phone", "owner__email")
PACK = ("pack__serial", "pack__moved", "pack__moved_on", "pack__removed_km", "pack__pack_type")
STAY = (
    "visit__here_already",
    "visit__complaint",
    "visit__odometer_km",
    "visit__odometer_sure",
    "claims",
)
AGREED = ("consent__how", "visit__promised_at")
CAME = ("visit__opened_at",)
OF_A_CAR = ("pack__serial", "pack__moved_on", "pack__removed_km", "pack__pack_type")
CODE = ("code", "control_unit", "status", "freeze_frame")

ASKED: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "asked_car": (("vehicle__vin", "vehicle__plate"), ("vehicle__same_car",)),
    "asked_owner": (("owner__name",), ("owner__still", "owner__customer")),
    "asked_pack": (
        ("vehicle__vin", "pack__serial"),
        ("pack__moved", "pack__moved_on", "pack__removed_km"),
    ),
    "asked_here": (("vehicle__vin", "pack__serial"), ("visit__here_already",)),
    "asked_km": (("visit__odometer_km",), ("visit__odometer_sure",)),
}
"""By hidden field, what a question is about, and where it is answered: an answer to a question
about something else than is sent now counts for nothing."""

ANSWERS = frozenset(name for _, answers in ASKED.values() for name in answers)
NOT_YET, REFUSED = "not_yet", "refused"
HOW = [
    (NOT_YET, "Not yet"),
    ("signed", "Signed"),
    ("in_person", "In person"),
    ("telephone", "By telephone"),
    (REFUSED, "Refused, at the counter"),
]
STATUSES = [
    ("", "Not told"),
    ("confirmed", "Confirmed"),
    ("pending", "Pending"),
    ("permanent", "Permanent"),
]  # what a scan tool is answered (ISO 15031-5, services 03, 07 and 0A)


STORED_BEFORE = (
    "This sheet was stored before with something else on it. Look at the visit of this car, and "
    "change it there; for another visit open a new sheet."
)
HERE = (
    "It is here already: its visit of {day} is not closed. Go on with that one; if it left and "
    "came back since, say so here."
)


def _text(label: str, longest: int, **kwargs: Any) -> forms.CharField:
    return forms.CharField(label=label, max_length=longest, required=False, **kwargs)


def _key_box(longest: int, **attrs: str) -> forms.TextInput:
    """A box for what is read off a label, which nobody shall correct."""
    plain = {"autocapitalize": "characters", "spellcheck": "false", "autocomplete": "off"}
    return forms.TextInput(attrs={**plain, "maxlength": longest, **attrs})


class ArrivalForm(EntryForm):
    """A check-in. `known` is what stands recorded of what came; a `fixed` car is not asked for."""

    vehicle__vin = _text("VIN", 40, widget=_key_box(40), help_text="17 characters.")
    vehicle__plate = _text("Plate", 20, widget=_key_box(20))
    vehicle__same_car = forms.BooleanField(
        label="It is this car, under the plate given here", required=False
    )
    vehicle__description = _text("Make and model", 200)
    vehicle__model_year = forms.IntegerField(
        label="Model year", required=False, min_value=EARLIEST, max_value=LATEST
    )
    owner__name = _text("Owner", 200)
    owner__still = forms.ChoiceField(
        label="The recorded owner", required=False, widget=forms.RadioSelect
    )
    owner__customer = forms.ChoiceField(label="Owner of that name", required=False)
    owner__phone = _text("Telephone", 40, widget=forms.TextInput(attrs={"type": "tel"}))
    owner__email = forms.EmailField(label="Mail", max_length=254, required=False)
    pack__serial = _text(
        "Pack serial, as read off",
        40,
        widget=_key_box(40),
        validators=[READ_OFF],
        help_text="Leave it empty where it was not read.",
    )
    pack__moved = forms.ChoiceField(
        label="Which pack is here",
        required=False,
        widget=forms.RadioSelect,
        choices=[
            (questions.YES_HERE, "Yes, the serial was read off it"),
            (questions.MISREAD, "No, the serial was misread: keep to what is recorded"),
        ],
    )
    pack__moved_on = Day(
        label="In this car since", required=False, help_text="Empty: since this visit."
    )
    pack__removed_km = Km(
        label="Odometer of the car that it left",
        required=False,
        help_text="As it stood when the pack came out.",
    )
    pack__pack_type = forms.ChoiceField(
        label="Pack type",
        required=False,
        help_text="For a pack that is not recorded yet.",
    )
    visit__here_already = forms.BooleanField(label="It left and came back since", required=False)
    visit__complaint = forms.CharField(
        label="Complaint",
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="What the owner says, in their words.",
    )
    visit__odometer_km = Km(label="Odometer", required=False)
    visit__odometer_sure = forms.BooleanField(
        label="The odometer figure is right as it stands here", required=False
    )
    claims = forms.MultipleChoiceField(
        label="Open a claim under", required=False, widget=forms.CheckboxSelectMultiple
    )
    consent__how = forms.ChoiceField(
        label="Owner agrees to the work", choices=HOW, initial=NOT_YET, widget=forms.RadioSelect
    )
    visit__promised_at = Moment(label="Promised for", required=False)
    visit__opened_at = Moment(label="Came at", required=False, help_text="Empty: now.")
    shown = forms.CharField(required=False, widget=forms.HiddenInput)
    asked_car = forms.CharField(required=False, widget=forms.HiddenInput)
    asked_owner = forms.CharField(required=False, widget=forms.HiddenInput)
    asked_pack = forms.CharField(required=False, widget=forms.HiddenInput)
    asked_here = forms.CharField(required=False, widget=forms.HiddenInput)
    asked_km = forms.CharField(required=False, widget=forms.HiddenInput)
    rows = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(
        self,
        data: QueryDict | None = None,
        *,
        known: Arrival,
        site: Site,
        fixed: bool,
        rows: int = CODE_ROWS,
        initial: Mapping[str, Any] | None = None,
    ) -> None:
        self.known, self.site, self.fixed, self.code_rows = known, site, fixed, rows
        first = {"rows": rows, "shown": shown_of(known), **(initial or {})}
        super().__init__(None if data is None else answered(data), initial=first)
        for row in range(rows):
            self._add_code(row)
        self._choices()
        if fixed:
            self.fields["vehicle__vin"].widget = forms.HiddenInput()
            self.fields["vehicle__description"].widget = forms.HiddenInput()
            self.fields["vehicle__model_year"].widget = forms.HiddenInput()
        if fixed and known.vehicle is None:
            for name in (*CAR[1:3], *OWNER, *OF_A_CAR):
                self.fields[name].widget = forms.HiddenInput()

    def _add_code(self, row: int) -> None:
        frame = forms.Textarea(attrs={"rows": 2})
        hint = "One value a line, such as “coolant temperature: 84”."
        row_of: dict[str, forms.Field] = {
            "code": _text(f"Code {row + 1}", 40, widget=_key_box(40)),
            "control_unit": _text("Read from", 100),
            "status": forms.ChoiceField(label="Status", choices=STATUSES, required=False),
            "freeze_frame": _text("Freeze frame", FRAME_LENGTH, widget=frame, help_text=hint),
        }
        for name, field in row_of.items():
            self.fields[f"codes__{row}__{name}"] = field

    def _choices(self) -> None:
        types = PackType.objects.order_by("code").values_list("code", "name")
        self._offer("pack__pack_type", [("", "Choose"), *types])
        recorded = self.known.owner.name if self.known.owner else "them"
        still = [
            (questions.STILL_THEIRS, f"Still that of {recorded}"),
            (questions.PASSED_ON, "It is the car of the owner given here now"),
        ]
        self._offer("owner__still", still)
        name = self.data.get("owner__name") or self.initial.get("owner__name") or ""
        known = questions.namesakes(name) if name and name.isprintable() else []
        people = [(encode(row.PREFIX, row.pk), _who(row)) for row in known]
        new = (questions.SOMEBODY_NEW, "Somebody else of that name")
        self._offer("owner__customer", [("", "Choose"), *people, new])
        running = [row for row in self.known.promises if row.running]
        offered = [(_key(row), f"{kind(row)}, {until(row, self.site)}") for row in running]
        # What was ticked stays sendable, so that its end is told by who judges it.
        sent = self.data.getlist("claims") if isinstance(self.data, QueryDict) else []
        told = {_key(row): row for row in self.known.promises if not row.running}
        offered += [
            (key, f"{kind(told[key])}, {past(told[key], self.site)}") for key in sent if key in told
        ]
        self._offer("claims", offered)

    def _offer(self, name: str, choices: Sequence[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        field.choices = list(choices)

    def clean_vehicle__vin(self) -> str:
        return normalise_vin(self.cleaned_data["vehicle__vin"])

    def clean(self) -> dict[str, Any]:
        for row in range(self.code_rows):
            name = f"codes__{row}__freeze_frame"
            if self.cleaned_data.get(name):
                self.cleaned_data[name] = self._frame(name, self.cleaned_data[name])
        return self.cleaned_data

    def _frame(self, name: str, text: str) -> dict[str, Any] | None:
        """The lines of a freeze frame by name."""
        found: dict[str, Any] = {}
        for line in filter(None, map(str.strip, text.splitlines())):
            label, colon, value = (part.strip() for part in line.partition(":"))
            if not (colon and label and value):
                self.add_error(name, f"“{line[:40]}” is no value with a name: write “name: value”.")
                return None
            found[label] = float(value) if FIGURE.fullmatch(value) else value
        return found or None

    def entry(self, below: str = "") -> dict[str, Any]:
        """The check-in as packs.writes.check_in takes it."""
        entry = super().entry(below)
        for name in ("shown", "rows", *ASKED):
            entry.pop(name, None)
        rows = entry.pop("codes", {})
        entry["codes"] = [rows.get(str(row), {}) for row in range(self.code_rows)]
        if entry.get("consent", {}).get("how") == NOT_YET:
            entry.pop("consent")
        elif entry.get("consent", {}).get("how") == REFUSED:
            entry["consent"] = {"how": Consent.How.IN_PERSON.value, "given": False}
        return {**entry, "external_id": self.external_id}

    def refuse(self, error: DomainError) -> None:
        """As ever, in the words of the counter; distances as the site reads them."""
        super().refuse(type(error)([self._worded(fault) for fault in error.faults]))

    def _worded(self, fault: Fault) -> Fault:
        last, here = self.known.reading, self.known.still_here
        if fault.code == questions.HERE_ALREADY and here is not None:
            return Fault(fault.pointer, fault.code, HERE.format(day=day(here.opened_at)))
        if fault.code == "external_id_taken":
            return Fault(fault.pointer, fault.code, STORED_BEFORE)
        if fault.code != questions.RUNS_BACK or last is None:
            return fault
        said = distance(self.cleaned_data["visit__odometer_km"], self.site)
        told = (
            f"{said} is less than the {distance(last.km, self.site)} read on {day(last.at)}. If it "
            "is right, as with a mended cluster, say so here; else correct the odometer."
        )
        return Fault(fault.pointer, fault.code, told)

    def parts(self) -> dict[str, list[forms.BoundField]]:
        """The visible fields in their parts; a question only while it is asked."""
        parts = {
            "car": CAR, "owner": OWNER, "pack": PACK, "stay": STAY, "agreed": AGREED, "came": CAME,
        }  # fmt: skip
        return {
            part: [self[name] for name in names if self._visible(name)]
            for part, names in parts.items()
        }

    def codes(self) -> list[list[forms.BoundField]]:
        return [[self[f"codes__{row}__{name}"] for name in CODE] for row in range(self.code_rows)]

    def focus(self, name: str) -> None:
        """Where one types first."""
        self.fields[name].widget.attrs["autofocus"] = True

    def touched(self, *fields: str) -> bool:
        """Whether something is said, or wrong, in one of the fields."""
        wrong = self.errors if self.is_bound else {}
        return any(name in wrong or self[name].value() for name in fields if self._visible(name))

    def _visible(self, name: str) -> bool:
        if self.fields[name].widget.is_hidden:
            return False
        if name == "claims":
            return bool(self.fields["claims"].choices)  # type: ignore[attr-defined]
        if name not in ANSWERS:
            return True
        if name in {"pack__moved_on", "pack__removed_km"}:
            return self._visible("pack__moved")
        wrong = self.errors if self.is_bound else {}
        return name in wrong or bool(self[name].value())


def answered(data: QueryDict) -> QueryDict:
    """What was sent, as it was meant: labels as scanned, no answers to what is asked no longer."""
    kept = data.copy()
    for name in ("vehicle__vin", "pack__serial"):
        if name in kept:
            kept[name] = as_scanned(kept.get(name, ""))
    for asked, (about, answers) in ASKED.items():
        now = "|".join(kept.get(name, "").strip() for name in about)
        if kept.get(asked) != now:
            for name in answers:
                kept.pop(name, None)
        kept[asked] = now
    return kept


def shown_of(known: Arrival) -> str:
    """The name of what stands recorded, to know whether it was read before it was sent."""
    vin = known.vehicle.vin if known.vehicle else ""
    return f"{vin}|{known.pack.serial if known.pack else ''}"


def _who(row: Any) -> str:
    plates = [car.plate or car.vin for car in row.vehicles.all()]
    return " · ".join(filter(None, [row.name, row.phone, *plates]))


def _key(promise: Promise) -> str:
    return encode(Warranty.PREFIX, promise.warranty.pk)
