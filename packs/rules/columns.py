"""Which column of a file is which field: named, matched by a pattern, or guessed from headers."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from packs.rules.check_entry import CHOICES, NUMBERS, PLACES, TEXTS, Wrong
from packs.rules.header_words import NO_VOLTAGE, field_of, level_of, meant, plain
from packs.rules.spreadsheets import is_figure

Named = Mapping[str, str | list[str]]

NUMBER = "#"  # in a pattern of headers, where each has its number
FEWEST = 3  # numbered columns that make a run of positions: a check has at least three
HEADER_MAX = 200  # characters of a header or pattern
NEEDED = (
    ("pack", "which pack it is about", "give its serial with the setting pack."),
    ("taken_at", "when it was taken", "the columns of date and time."),
    ("level", "the level", "set level to block, module, cell or by_count."),
    ("condition", "the condition", "set condition to rest, load, charge or by_current."),
    ("current_a", "the current", "set current_a for all of it, 0 where nothing flowed."),
)
TEMPERATURES = tuple(f"{place}_c" for place in PLACES)
FIELDS = (
    "pack", "taken_at", "date", "time", "level", "condition", "current_a", "voltages_v", "position",
    "voltage", *(name for name in NUMBERS if name != "current_a"), *TEMPERATURES,
    *(name for name in CHOICES if name not in ("level", "condition")),
    *(name for name in TEXTS if name != "pack"),
)  # fmt: skip
_ENDS_IN_NUMBER = re.compile(r"(?P<stem>.*?)(?P<number>\d{1,4})(?P<tail>\D*)\Z")


@dataclass(frozen=True)
class Places:
    """Where the fields stand in a row: one column each, and the columns of the positions."""

    single: Mapping[str, int]
    volts: tuple[int, ...] = ()

    @property
    def form(self) -> str:
        """wide: a column a position; list: all in one cell; long: a row a position."""
        if "position" in self.single:
            return "long"
        return "wide" if self.volts else "list"


def wrong_columns(columns: Named) -> list[Wrong]:
    """What is wrong with columns as they are named."""
    wrong = []
    for field, header in columns.items():
        named = header if isinstance(header, list) else [header]
        if field not in FIELDS:
            told = f"There is no field '{field}' to fill; there are: {', '.join(FIELDS)}."
            wrong.append(Wrong(f"/{field}", "unknown_field", told))
        elif isinstance(header, list) and field != "voltages_v":
            wrong.append(Wrong(f"/{field}", "not_a_text", "Name one header as a text."))
        elif not named or not all(isinstance(one, str) and one.strip() for one in named):
            told = "Name a header of the file as a text, or for voltages_v a list of them."
            wrong.append(Wrong(f"/{field}", "not_a_text", told))
        elif any(len(one) > HEADER_MAX for one in named):
            wrong.append(Wrong(f"/{field}", "max_length", f"At most {HEADER_MAX} characters."))
    return wrong


def lacking(columns: Named, fixed: Mapping[str, str]) -> list[Wrong]:
    """What neither the columns nor what is said for all lines tells of a check."""
    said = {*columns, *fixed}
    wrong = [
        Wrong(f"/{name}", "required", f"The file does not say {what}: name its column, or {rest}")
        for name, what, rest in NEEDED
        if name not in said and not (name == "taken_at" and {"date", "time"} <= said)
    ]
    if "voltages_v" not in columns and not {"position", "voltage"} <= set(columns):
        told = (
            "Name the voltages: voltages_v with a pattern such as V#, a list of headers or the one "
            "column that holds them all; or position and voltage where each has its own row."
        )
        wrong.append(Wrong("/voltages_v", "required", told))
    return wrong


def find(columns: Named, headers: Sequence[str]) -> tuple[Places, list[Wrong]]:
    """Where the named columns stand among these headers, and which are not there."""
    at = {_key(header): place for place, header in enumerate(headers)}
    single: dict[str, int] = {}
    volts: tuple[int, ...] = ()
    wrong: list[Wrong] = []
    for field, named in columns.items():
        if field == "voltages_v" and (isinstance(named, list) or NUMBER in named):
            volts, missing = _find_run(named, at)
        elif isinstance(named, str) and _key(named) in at:
            single[field], missing = at[_key(named)], []
        else:
            missing = [str(named)]
        wrong += [_not_there(field, name, headers) for name in missing]
    return Places(single, volts), wrong


def _key(header: str) -> str:
    return " ".join(header.casefold().split())


def _not_there(field: str, name: str, headers: Sequence[str]) -> Wrong:
    shown = ", ".join(headers[:12]) + (", ..." if len(headers) > 12 else "")
    told = f"The file has no column '{name}'; it has: {shown}."
    return Wrong(f"/{field}", "no_such_column", told)


def _find_run(named: str | list[str], at: Mapping[str, int]) -> tuple[tuple[int, ...], list[str]]:
    if isinstance(named, list):
        missing = [name for name in named if _key(name) not in at]
        return tuple(at[_key(name)] for name in named if _key(name) in at), missing
    stem, _, tail = _key(named).rpartition(NUMBER)
    form = re.compile(rf"{re.escape(stem)}0*(\d{{1,4}}){re.escape(tail)}\Z")
    found = [(int(match[1]), at[key]) for key in at if (match := form.match(key))]
    return tuple(place for _, place in sorted(found)), [] if found else [named]


def score(cells: Sequence[str], below: Sequence[str]) -> int:
    """How much a row looks like headers: words that are known, figures below texts."""
    if len(cells) < 2 and not cells:
        return 0
    run = _best_run(cells)
    known = sum(field_of(cell) is not None for cell in cells if cell) + len(run)
    texts = sum(bool(cell) and not is_figure(cell) for cell in cells)
    over_figures = sum(
        is_figure(under) and not is_figure(cell)
        for cell, under in zip(cells, below, strict=False)
        if cell and under
    )
    return 10 * known + texts + 2 * over_figures - 3 * (sum(map(bool, cells)) - texts)


def _best_run(headers: Sequence[str]) -> list[int]:
    """Columns numbered one after another under one stem: the positions, in order."""
    runs: dict[tuple[str, str], list[tuple[int, int]]] = {}
    for place, header in enumerate(headers):
        match = _ENDS_IN_NUMBER.match(header) if len(header) <= HEADER_MAX else None
        if match:
            ends = (_key(match["stem"]), _key(match["tail"]))
            runs.setdefault(ends, []).append((int(match["number"]), place))
    candidates = []
    for (stem, tail), members in runs.items():
        numbers = sorted(number for number, _ in members)
        whole = numbers == list(range(numbers[0], numbers[0] + len(numbers)))
        other = NO_VOLTAGE.search(plain(stem)) or NO_VOLTAGE.search(tail)
        if whole and len(members) >= FEWEST and not other:
            voltage = bool(re.search(r"v|u|spann|tens", stem + tail))
            candidates.append((voltage, len(members), [place for _, place in sorted(members)]))
    return max(candidates, default=(False, 0, []))[2]


@dataclass(frozen=True)
class Guess:
    """What the headers say: the columns, and what else can be told from them."""

    columns: dict[str, str | list[str]]
    settings: dict[str, str]


def guess(headers: Sequence[str], sample: Sequence[Sequence[str]] = ()) -> Guess:
    """The columns that a file's headers name in plain words; units from headers and sample."""
    run = _best_run(headers)
    columns: dict[str, str | list[str]] = {}
    for place, header in enumerate(headers):
        field = field_of(header)
        known = field and field not in columns and place not in run
        if known and _says(str(field), [row[place] for row in sample if place < len(row)]):
            columns[str(field)] = header
    _settle_time(columns)
    settings = _settle_voltages(columns, headers, run)
    return Guess(columns, {**settings, **_units(columns, headers, run, sample)})


def _says(field: str, cells: Sequence[str]) -> bool:
    """Whether a column of choices holds any that is known; any other column will do."""
    said = [cell for cell in cells if cell]
    choices = CHOICES.get(field)
    return choices is None or not said or any(meant(field, cell) in choices for cell in said)


def _settle_time(columns: dict[str, str | list[str]]) -> None:
    """A date without a time, or a time without a date, is the whole instant."""
    if "taken_at" in columns:
        columns.pop("date", None)
        columns.pop("time", None)
    elif ("date" in columns) != ("time" in columns):
        columns["taken_at"] = columns.pop("date" if "date" in columns else "time")


def _settle_voltages(
    columns: dict[str, str | list[str]], headers: Sequence[str], run: list[int]
) -> dict[str, str]:
    """Keep one way in which the voltages stand; answers the level if it says so."""
    if run:
        for other in ("voltages_v", "voltage", "position"):
            columns.pop(other, None)
        columns["voltages_v"] = as_pattern([headers[place] for place in run], headers)
        stem = _ENDS_IN_NUMBER.match(headers[run[0]])
        level = level_of(stem["stem"]) if stem else None
    elif "position" in columns and "voltage" in columns:
        columns.pop("voltages_v", None)
        level = level_of(str(columns["position"]))
    else:
        columns.pop("position", None)
        if "voltage" in columns:
            columns.setdefault("voltages_v", columns.pop("voltage"))
        level = level_of(str(columns.get("voltages_v", "")))
    return {"level": level} if level and "level" not in columns else {}


def as_pattern(chosen: list[str], headers: Sequence[str]) -> str | list[str]:
    """The pattern that finds just these of a file's headers; else their list."""
    match = _ENDS_IN_NUMBER.match(chosen[0])
    if match is None or NUMBER in chosen[0]:
        return chosen
    pattern = f"{match['stem']}{NUMBER}{match['tail']}"
    at = {_key(header): place for place, header in enumerate(headers)}
    places, _ = _find_run(pattern, at)
    return pattern if sorted(places) == sorted(at[_key(one)] for one in chosen) else chosen


MILLIVOLTS_FROM = 500.0  # no module or block shows so many volts; common practice, no source


def _units(
    columns: Named, headers: Sequence[str], run: list[int], sample: Sequence[Sequence[str]]
) -> dict[str, str]:
    named = columns.get("voltage", columns.get("voltages_v", ""))
    volts = [headers[place] for place in run] or ([named] if isinstance(named, str) else named)
    places = [place for place, header in enumerate(headers) if header in volts]
    milli = any(re.search(r"\bmv\b|_mv", header.casefold()) for header in volts)
    figures = [_roughly(row[place]) for row in sample for place in places if place < len(row)]
    large = sorted(figure for figure in figures if figure is not None)
    units = {}
    if milli or (large and large[len(large) // 2] >= MILLIVOLTS_FROM):
        units["unit"] = "mv"
    if re.search(r"°?f[)\]]|°f|_f\b|fahrenheit", str(columns.get("temperature_c", "")).casefold()):
        units["temperature_unit"] = "f"
    if re.search(r"mile|\bmi\b", str(columns.get("odometer_km", "")).casefold()):
        units["distance"] = "mi"
    return units


def _roughly(cell: str) -> float | None:
    first = re.match(r"[-+]?\d{1,6}(?:[.,]\d{1,6})?", cell)
    return float(first[0].replace(",", ".")) if first else None
