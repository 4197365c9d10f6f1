"""Forms of the steps of a teardown and of a reassembly."""

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django import forms

from packs.errors import DomainError, Fault
from packs.models import Equipment, PackType, Part, Placement, Reassembly
from packs.pages.forms import EntryForm
from packs.pages.job.doers import BenchForm, Figure
from packs.pages.job.tools import Tool
from packs.pages.photos import Picture
from packs.reads.openings import Opening
from packs.reads.photos import Shown
from packs.rules.layouts import Seat

PARTS = [(part.value, part.label.capitalize()) for part in Part]
DASH = re.compile(r"\s*(?:-|–|\bto\b)\s*")
FROM_TO = re.compile(r"(\d{1,4})-(\d{1,4})\Z")
RANGE_MAX = 2000  # places of one step; as many as a type may have modules
PAINT = (("", "Not looked at"), ("intact", "Intact"), ("broken", "Broken"), ("none", "None there"))
ROUND = (("", "As above, or not said"), *Placement.Orientation.choices)


class Places(forms.CharField):
    """Positions as they are typed, tapped or scanned: 3, 4 or 3-6."""

    default_error_messages = {"invalid": "Write positions, such as 3, 4 or 3-6."}

    def to_python(self, value: Any) -> Any:
        places: list[int] = []
        for said in re.split(r"[\s,;]+", DASH.sub("-", str(value or ""))):
            places += self._read(said)
        return places

    def _read(self, said: str) -> Sequence[int]:
        if not said:
            return ()
        span = FROM_TO.match(said)
        if span:
            first, last = int(span[1]), int(span[2])
            if first <= last < first + RANGE_MAX:
                return range(first, last + 1)
        if said.isdecimal() and len(said) <= len(str(RANGE_MAX)):
            return (int(said),)
        raise forms.ValidationError(self.error_messages["invalid"], code="invalid")

    def prepare_value(self, value: Any) -> Any:
        return ", ".join(map(str, value)) if isinstance(value, list) else value

    def validate(self, value: Any) -> None:
        """Which are needed, the register says: that depends on the part."""

    def run_validators(self, value: Any) -> None:
        """Nothing beside the reading."""


class StepForm(BenchForm):
    """A step of the work on an open pack; what is wrong with a list is told at its field."""

    note = forms.CharField(label="Note", required=False, max_length=1000)

    def entry(self, below: str = "") -> dict[str, Any]:
        told = super().entry(below)
        own = [name for name in told if name.startswith(OWN)]
        return {name: value for name, value in told.items() if name not in own}

    def fields_of(self, prefix: str) -> Iterator[forms.BoundField]:
        return (self[name] for name in self.fields if name.startswith(prefix))

    def refuse(self, error: DomainError) -> None:
        moved = [Fault(self._moved(one.pointer), one.code, one.detail) for one in error.faults]
        super().refuse(type(error)(moved))

    def _moved(self, pointer: str) -> str:
        """From a row of a list to the field that it was made from."""
        head, _, rest = pointer.strip("/").partition("/")
        place = rest.partition("/")[0]
        return f"/{self.field_at(head, int(place) if place.isdecimal() else 0, rest)}"

    def field_at(self, name: str, index: int, rest: str) -> str:
        """The field of that list; of what is no list, the field itself."""
        return f"{name}/{rest}" if rest and name not in self.fields else name


OWN = ("count_", "volt_", "torque_", "odd_", "as_", "tool", "order_", "paint", "torque_paint")


class MovingForm(StepForm):
    """A part that is taken out or put back, with its fasteners and how it lies."""

    part = forms.ChoiceField(label="Part", choices=[("", "Which part?"), *PARTS])
    places = Places(
        label="Which",
        required=False,
        help_text="Tap it in the drawing, or type or scan: positions, and of a bus bar the module "
        "that it follows. Such as 3, 4 or 3-6.",
    )
    slot = forms.CharField(label="Slot", required=False, max_length=60)
    odd_position = forms.IntegerField(label="Position", required=False, min_value=1)
    odd_orientation = forms.ChoiceField(label="Way round", required=False, choices=ROUND)
    odd_sense_lead = forms.CharField(label="Sense lead", required=False, max_length=60)
    odd_clip = forms.CharField(label="Clip", required=False, max_length=60)
    odd_sensor = forms.CharField(label="Sensor", required=False, max_length=60)

    def __init__(
        self, kind: PackType, opening: Opening, pictures: Sequence[Shown], *args: Any, **said: Any
    ) -> None:
        self.pictures = pictures
        self.lay: Mapping[int, Seat] = opening.seen
        self.kinds = self.kinds_of(kind, opening)
        super().__init__(*args, **said)
        slots = [slot.slot for slot in kind.layout.slots]
        if slots:
            self.fields["slot"] = forms.ChoiceField(
                label="Slot", required=False, choices=[("", "None"), *((one, one) for one in slots)]
            )
        for index, name in enumerate(self.kinds):
            self.fields[f"count_{index}"] = forms.IntegerField(
                label=name, required=False, min_value=0, max_value=2000
            )
        keys = [(one.key, one.note or f"{one.width} × {one.height}") for one in pictures]
        if keys:
            self.fields["photos"] = forms.MultipleChoiceField(
                label="Photographs with it",
                required=False,
                choices=keys,
                initial=[key for key, _ in keys],
                widget=forms.CheckboxSelectMultiple,
            )
        self.order_fields([name for name in self.fields if name != "at"] + ["at"])

    def kinds_of(self, kind: PackType, opening: Opening) -> list[str]:
        """The kinds of fasteners that are asked for."""
        raise NotImplementedError

    def counted(self) -> list[tuple[str, int]]:
        """Kinds with how many, those of none left out."""
        said = [self.cleaned_data.get(f"count_{index}") for index in range(len(self.kinds))]
        return [(name, count) for name, count in zip(self.kinds, said, strict=True) if count]

    def seen(self, as_known: bool) -> list[dict[str, Any]]:
        """How the places lie: as known where that was ticked, and one that lies otherwise."""
        places = self.cleaned_data.get("places") or []
        rows = {at: vars(self.lay[at]) for at in places if at in self.lay} if as_known else {}
        odd = {
            name.removeprefix("odd_"): value
            for name, value in self.cleaned_data.items()
            if name.startswith("odd_") and value not in (None, "")
        }
        if "position" in odd:
            rows[odd["position"]] = {**rows.get(odd["position"], {}), **odd}
        return [{key: value for key, value in row.items() if value} for row in rows.values()]

    def field_at(self, name: str, index: int, rest: str) -> str:
        if name == "fasteners":
            counted = self.counted()
            kind = counted[index][0] if index < len(counted) else self.kinds[0]
            named = "tool" if rest.endswith("/tool") else f"count_{self.kinds.index(kind)}"
            return named if named in self.fields else "part"
        if name == "seen":
            field = f"odd_{rest.rpartition('/')[2]}"
            return field if field in self.fields else "odd_position"
        return name if name in ("places", "photos", "slot") else super().field_at(name, index, rest)


class TeardownForm(MovingForm):
    """What comes out."""

    torque_paint = forms.ChoiceField(label="Torque paint", choices=PAINT, required=False)
    as_type = forms.BooleanField(label="I looked: each lies as the type says", required=False)

    def kinds_of(self, kind: PackType, opening: Opening) -> list[str]:
        return [row.kind for row in opening.fasteners]

    def entry(self, below: str = "") -> dict[str, Any]:
        paint = self.cleaned_data.get("torque_paint")
        rows = [{"kind": name, "count": count} for name, count in self.counted()]
        fasteners = [{**row, "torque_paint": paint} if paint else row for row in rows]
        seen = self.seen(bool(self.cleaned_data.get("as_type")))
        return {**super().entry(below), "fasteners": fasteners, "seen": seen}


class FittedForm(MovingForm):
    """What goes back."""

    torque_nm = Figure(label="Torque, where it was tightened", unit="N·m", required=False)
    tool = Tool(kind=Equipment.Kinds.TORQUE_TOOL, label="Torque tool", required=False)
    order_kept = forms.BooleanField(label="Tightened in the order of the type", required=False)
    paint = forms.BooleanField(label="Marked with paint", required=False)
    as_seen = forms.BooleanField(
        label="I looked: each lies as it was when it came out", required=False
    )

    def kinds_of(self, kind: PackType, opening: Opening) -> list[str]:
        self.torques = {row.fastener: row for row in kind.layout.torques}
        return [row.kind for row in opening.fasteners if row.left > 0]

    def entry(self, below: str = "") -> dict[str, Any]:
        told = super().entry(below)
        fasteners = [self._row(name, count) for name, count in self.counted()]
        seen = self.seen(bool(self.cleaned_data.get("as_seen")))
        kind = Reassembly.Kinds.FITTED.value
        return {**told, "kind": kind, "fasteners": fasteners, "seen": seen}

    def _row(self, kind: str, count: int) -> dict[str, Any]:
        said, asked = self.cleaned_data, self.torques.get(kind)
        row = {"kind": kind, "count": count}
        if asked is None:
            return row
        order = asked.order if said.get("order_kept") else ""
        told = {"torque_nm": said.get("torque_nm"), "tool": said.get("tool"), "order": order}
        return {**row, **{name: v for name, v in told.items() if v}, "paint": bool(said["paint"])}


class MeasuredForm(StepForm):
    """Rest voltages with their sign, a box a position."""

    meter = Tool(kind=Equipment.Kinds.METER, label="Meter", required=False)

    def __init__(self, kind: str, positions: Sequence[int], *args: Any) -> None:
        super().__init__(*args)
        self.kind, self.positions = kind, positions
        for at in positions:
            self.fields[f"volt_{at}"] = Figure(label=str(at), unit="V", required=False)
        self.order_fields([name for name in self.fields if name != "at"] + ["at"])

    def _measured(self) -> list[tuple[int, float]]:
        said = [(at, self.cleaned_data.get(f"volt_{at}")) for at in self.positions]
        return [(at, volts) for at, volts in said if volts is not None]

    def entry(self, below: str = "") -> dict[str, Any]:
        rows = [{"position": at, "rest_v": volts} for at, volts in self._measured()]
        return {**super().entry(below), "kind": self.kind, "readings": rows}

    def field_at(self, name: str, index: int, rest: str) -> str:
        measured = self._measured()
        if name != "readings" or index >= len(measured) or not rest:
            return super().field_at(name, index, rest)
        return f"volt_{measured[index][0]}"


class HalfForm(StepForm):
    """One half alone, without current, or under one."""

    half = forms.TypedChoiceField(label="Half", coerce=int, choices=())
    half_v = Figure(label="Voltage of the half", unit="V")
    current_a = Figure(
        label="Current, where it was loaded", unit="A", required=False, min_value=0,
        help_text="Empty: without current.",
    )  # fmt: skip
    meter = Tool(kind=Equipment.Kinds.METER, label="Meter", required=False)

    def __init__(self, halves: Sequence[tuple[int, str]], *args: Any) -> None:
        super().__init__(*args)
        self.fields["half"].choices = halves  # type: ignore[attr-defined]

    def entry(self, below: str = "") -> dict[str, Any]:
        return {**super().entry(below), "kind": Reassembly.Kinds.HALF.value}


class StepPhotoForm(EntryForm):
    """A photograph of the step that comes next on the page."""

    prefix = "photo"

    image = Picture(label="Photograph of this step", help_text="JPEG, PNG or WebP, at most 5 MB.")
    note = forms.CharField(
        label="What it shows", max_length=200, required=False, help_text="No names."
    )
