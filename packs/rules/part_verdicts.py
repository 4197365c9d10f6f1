"""What a test of a part says: each figure against what it must stand, in words with the numbers.

What a part must stand comes from its slot in the pack type, from its own plate, and from the pack
it sits in. Where nobody says, a figure is told and not judged.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from packs.rules import junction_board as board

Figures = Mapping[str, Any]

RATINGS: Mapping[str, str] = {
    "rated_v": "V d.c.",
    "rated_a": "A",
    "breaking_a": "A",
    "coil_ohm": "Ω",
    "contact_mohm": "mΩ",
    "resistance_ohm": "Ω",
    "resistance_mohm": "mΩ",
    "energy_j": "J",
    "offset_a": "A",
    "off_c": "°C",
    "current_a": "A",
    "tolerance_pct": "%",
}
"""What a plate or a slot may state, each a number with its unit."""

_CONTACTOR = ("coil_ohm", "contact_mohm", "welded", "rated_v", "rated_a", "breaking_a")
MEASURED: Mapping[str, tuple[str, ...]] = {
    "main_contactor": _CONTACTOR,
    "precharge_contactor": _CONTACTOR,
    "precharge_resistor": ("resistance_ohm", "energy_j"),
    "current_sensor": ("offset_a",),
    "service_switch": ("contact_mohm", "interlock_ok", "rated_v", "rated_a"),
    "fuse": ("resistance_mohm", "rated_a", "rated_v", "breaking_a"),
    "temperature_sensor": ("shown_c", "thermometer_c"),
    "bus_bar": ("resistance_mohm",),
    "sense_harness": ("resistance_ohm", "leads_ok"),
    "cooling_fan": ("current_a", "runs"),
}
"""What is measured, or read off the plate, of each kind of part."""

_ANY_PLATE = frozenset({"rated_v", "rated_a", "breaking_a", "tolerance_pct"})


def plate_of(kind: str) -> tuple[str, ...]:
    """What the plate of a part of that kind may state."""
    told = {*MEASURED[kind], *_ANY_PLATE}
    if kind == "temperature_sensor":
        told.add("off_c")
    return tuple(name for name in RATINGS if name in told)


TRUTHS = frozenset({"welded", "interlock_ok", "leads_ok", "runs"})
SIGNED = frozenset({"offset_a", "shown_c", "thermometer_c"})


@dataclass(frozen=True)
class Circuit:
    """The pack that the part sits in: its highest voltage, V, its resistance and the bus it fills;
    None where the type does not say."""

    highest_v: float | None = None
    pack_resistance_ohm: float | None = None
    capacitance_f: float | None = None


@dataclass(frozen=True)
class Verdict:
    """One figure: which, whether it will do (None: nobody says what would), and the sentence."""

    figure: str
    passes: bool | None
    said: str


@dataclass(frozen=True)
class _Part:
    """What was measured, what the part's plate says, what its slot asks, and the pack."""

    kind: str
    measured: Figures
    plate: Figures
    slot: Figures
    circuit: Circuit

    def read(self, name: str) -> float | None:
        """Of a rating: as read off the plate in the test, else as recorded of the part."""
        return _number(self.measured.get(name, self.plate.get(name)))

    def asked(self, name: str) -> float | None:
        """What the slot asks, else what the part's own plate promises."""
        return _number(self.slot.get(name, self.plate.get(name)))

    def slot_asks(self, name: str) -> float | None:
        return _number(self.slot.get(name))


def _number(said: Any) -> float | None:
    """A rating as a number; one that is told in words is not judged by."""
    if isinstance(said, bool) or not isinstance(said, int | float):
        return None
    return float(said)


def judge(
    kind: str, measured: Figures, *, plate: Figures, slot: Figures, circuit: Circuit
) -> tuple[Verdict, ...]:
    """Every figure that something can be said of, those that fail first.

    A current is positive, volts are d.c.; the arithmetic is that of `junction_board`.
    """
    part = _Part(kind, measured, plate, slot, circuit)
    told = [verdict for look in _LOOKS for verdict in look(part)]
    return tuple(sorted(told, key=lambda verdict: verdict.passes is not False))


def overall(verdicts: tuple[Verdict, ...]) -> str:
    """fails where anything does, passes where something was judged, else not_judged."""
    if any(verdict.passes is False for verdict in verdicts):
        return "fails"
    return "passes" if any(verdict.passes for verdict in verdicts) else "not_judged"


def _rated_v(part: _Part) -> Iterator[Verdict]:
    rated, pack_v = part.read("rated_v"), part.circuit.highest_v
    needed = max(part.slot_asks("rated_v") or 0.0, pack_v or 0.0)
    if rated is None:
        return
    if not needed:
        yield Verdict(
            "rated_v", None, f"Rated {rated:g} V d.c.; the type does not say its voltage."
        )
        return
    reach = f"the pack reaches {pack_v:.1f} V" if pack_v == needed else f"{needed:g} V is asked"
    word = "enough" if rated >= needed else "too little: an arc would not go out"
    yield Verdict("rated_v", rated >= needed, f"Rated {rated:g} V d.c., {reach}: {word}.")


def _breaking_a(part: _Part) -> Iterator[Verdict]:
    breaks, circuit = part.read("breaking_a"), part.circuit
    if breaks is None:
        return
    if circuit.highest_v is None or circuit.pack_resistance_ohm is None:
        said = f"Breaks {breaks:g} A; the type does not say the pack's resistance, so what a short "
        yield Verdict("breaking_a", None, said + "would drive is not known.")
        return
    short = board.short_circuit_a(circuit.highest_v, circuit.pack_resistance_ohm)
    word = "enough" if breaks >= short else "too little: it would burst or weld"
    milliohm = circuit.pack_resistance_ohm * 1000
    yield Verdict(
        "breaking_a",
        breaks >= short,
        f"Breaks {breaks:g} A; a dead short drives {short:,.0f} A ({circuit.highest_v:.1f} V "
        f"through {milliohm:g} mΩ): {word}.",
    )


def _rated_a(part: _Part) -> Iterator[Verdict]:
    rated, asked = part.read("rated_a"), part.slot_asks("rated_a")
    if rated is None or asked is None:
        return
    if part.kind == "fuse":
        same = rated == asked
        word = "right" if same else "wrong: a larger fuse protects less, a smaller one blows in use"
        yield Verdict("rated_a", same, f"Rated {rated:g} A, the slot takes {asked:g} A: {word}.")
        return
    word = "enough" if rated >= asked else "too little"
    yield Verdict("rated_a", rated >= asked, f"Rated {rated:g} A, {asked:g} A is asked: {word}.")


def _near(figure: str, what: str, unit: str) -> Callable[[_Part], Iterator[Verdict]]:
    """A figure that must lie near its rating."""

    def look(part: _Part) -> Iterator[Verdict]:
        value, rated = part.measured.get(figure), part.asked(figure)
        if value is None:
            return
        if rated is None:
            yield Verdict(figure, None, f"{what} {value:g} {unit}; nobody states its rating.")
            return
        room = part.asked("tolerance_pct") or board.TOLERANCE_PCT
        off = 100 * (value - rated) / rated if rated else 0.0
        good = abs(off) <= room
        word = "within" if good else "outside"
        said = f"{what} {value:g} {unit}, rated {rated:g} {unit}: {off:+.1f} %, {word} ±{room:g} %."
        yield Verdict(figure, good, said)

    return look


def _most(figure: str, what: str, unit: str) -> Callable[[_Part], Iterator[Verdict]]:
    """A figure that may be so much at the most."""

    def look(part: _Part) -> Iterator[Verdict]:
        value, most = part.measured.get(figure), part.asked(figure)
        if value is None:
            return
        if most is None:
            yield Verdict(
                figure, None, f"{what} {value:g} {unit}; nobody states how much it may be."
            )
            return
        word = "good" if value <= most else "too much: it will run hot"
        said = f"{what} {value:g} {unit}, at most {most:g} {unit}: {word}."
        yield Verdict(figure, value <= most, said)

    return look


def _resistor(part: _Part) -> Iterator[Verdict]:
    """What filling the bus asks of the resistor that was measured."""
    ohms, circuit = part.measured.get("resistance_ohm"), part.circuit
    if not ohms or circuit.highest_v is None or circuit.capacitance_f is None:
        return
    fill = board.precharge(
        circuit.highest_v, ohms, circuit.capacitance_f, circuit.pack_resistance_ohm
    )
    bare = "" if fill.inrush_bare_a is None else f", without it {fill.inrush_bare_a:,.0f} A"
    said = (
        f"Fills the bus to 95 % in {fill.t95_s * 1000:.0f} ms (time constant "
        f"{fill.tau_s * 1000:.1f} ms); inrush {fill.inrush_a:.1f} A{bare}."
    )
    yield Verdict("precharge", None, said)
    takes = part.read("energy_j") or part.asked("energy_j")
    if takes is None:
        said = f"Each filling puts {fill.energy_j:.1f} J into it; nobody states what it takes."
        yield Verdict("energy_j", None, said)
        return
    word = "enough" if takes >= fill.energy_j else "too little: it will burn out"
    said = f"Takes {takes:g} J, each filling puts {fill.energy_j:.1f} J into it (½CV²): {word}."
    yield Verdict("energy_j", takes >= fill.energy_j, said)


def _offset(part: _Part) -> Iterator[Verdict]:
    offset = part.measured.get("offset_a")
    if offset is None:
        return
    most = part.asked("offset_a")
    most = board.OFFSET_A if most is None else most
    counted = board.offset_ah_a_day(abs(offset))
    word = "good" if abs(offset) <= most else "too much: the car loses count of the charge"
    said = (
        f"Shows {offset:g} A with nothing flowing, at most {most:g} A: {word}. In a day that "
        f"counts as {counted:.1f} Ah."
    )
    yield Verdict("offset_a", abs(offset) <= most, said)


def _temperature(part: _Part) -> Iterator[Verdict]:
    shown, true = part.measured.get("shown_c"), part.measured.get("thermometer_c")
    if shown is None or true is None:
        return
    most = part.asked("off_c") or board.TEMPERATURE_OFF_C
    off = shown - true
    word = "good" if abs(off) <= most else "too far off"
    said = (
        f"Shows {shown:g} °C, the thermometer {true:g} °C: {off:+.1f} °C, at most {most:g}: {word}."
    )
    yield Verdict("shown_c", abs(off) <= most, said)


_TRUTHS: Mapping[str, tuple[bool, str, str]] = {
    "welded": (False, "Its contacts open.", "Its contacts are welded: change it."),
    "interlock_ok": (True, "Its interlock opens and closes.", "Its interlock does not work."),
    "leads_ok": (True, "Every lead has its way through.", "A lead is broken or frayed."),
    "runs": (True, "It runs.", "It does not run."),
}


def _truths(part: _Part) -> Iterator[Verdict]:
    for name, (wanted, good, bad) in _TRUTHS.items():
        said = part.measured.get(name)
        if said is not None:
            yield Verdict(name, said == wanted, good if said == wanted else bad)


_LOOKS: tuple[Callable[[_Part], Iterator[Verdict]], ...] = (
    _truths,
    _rated_v,
    _breaking_a,
    _rated_a,
    _near("coil_ohm", "Coil", "Ω"),
    _most("contact_mohm", "Contacts", "mΩ"),
    _near("resistance_ohm", "Resistance", "Ω"),
    _most("resistance_mohm", "Resistance", "mΩ"),
    _resistor,
    _offset,
    _temperature,
    _near("current_a", "Draws", "A"),
)
