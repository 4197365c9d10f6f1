"""Lines of all kinds that testers may send, drawn with a seed: good, strange, wrong, and no JSON."""

import json
import random
from collections.abc import Iterator
from typing import Any

from tests import world

PARTS = {"A-1": (28, 14, 6), "A-2": (14, 14, 6), "A-3": (11, 5, 6), "A-4": (8, 4, 4)}
"""Modules, blocks and cells in each module of the packs that `sameness.found` records."""

BASES = 60  # checks recorded before, which corrections name
SPOILT, TWICE, BLANK, NO_JSON = 0.3, 0.1, 0.02, 0.03  # shares of the lines
EXTRA, SUPERSEDING = 0.25, 0.02

EXTREME: list[Any] = [
    None, True, False, "", " ", "x", "7.9", "\u0000", "a\u0007b", "Ω„ü😀", "y" * 201, 0, -0.0, 1, -1,
    1.5, 1e-320, 1e308, -1e308, 10**18, 2**31, 2**63, 10**59, "@1e999@", "@NaN@", "@-Infinity@",
    "@1E2@", "@1.0@", "@100000000000000000000000000000000000000000000000000000000000000@",
    [], [None], [[]], {}, {"a": 1}, "2024-03-05T10:00:00Z", "A-1", "vc_00000000", "\ud800",
]  # fmt: skip

INSTANTS = [
    "yesterday", "2024-03-05", "2024-03-05 10:00:00Z", "2024-03-05t10:00:00z",
    "2024-03-05T10:00:60Z", "2024-03-05T10:00:00", "2024-02-30T10:00:00Z", "2150-01-01T00:00:00Z",
    "2024-01-05T10:00:00Z", "2024-02-01T12:00:00Z", "2024-03-05T10:00:00.1+01:00",
    "2024-03-05T10:00:00.1234567+01:00", "2024-03-05T10:00:00.123-00:00", "2024-03-05T24:00:00Z",
    "2024-03-05T10:00:00+23:59", "2024-03-05T10:00:00+24:00", "1899-12-31T23:59:59Z",
    "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "2024-03-05T10:00Z", " 2024-03-05T10:00:00Z",
    "٢٠٢٤-03-05T10:00:00Z",
]  # fmt: skip

WORDED: list[dict[str, Any]] = [
    {"pack": "NOBODY"}, {"pack": " A-1 "}, {"pack": "a-1\n"}, {"level": "pack"}, {"level": "Module"},
    {"condition": "idle"}, {"current_a": 2500}, {"current_a": 2000}, {"current_a": 9.5},
    {"current_a": 0}, {"voltages_v": []}, {"voltages_v": [8.0, 8.1]}, {"voltages_v": "8"},
    {"voltages_v": [8.0, None, "8"]}, {"voltages_v": [8.0, True, [8]]}, {"voltages_v": [7.9] * 2001},
    {"voltages_v": [None] * 28}, {"voltages_v": {"1": 7.9}}, {"soc_pct": 101}, {"soc_pct": -0.0},
    {"soc_source": "guess"}, {"last_current": "none"}, {"temperature_c": 200}, {"temperature_c": -40},
    {"odometer_km": 1.5}, {"odometer_km": 9_000_000}, {"odometer_km": 3_000_000}, {"set": "s" * 101},
    {"colour": "red"}, {"Pack": "A-1", "~/": 1}, {"equipment": "E-9"}, {"equipment": "e-1"},
    {"done_by": "nobody"}, {"done_by": "k" * 41}, {"visit": "vi_00000000"}, {"visit": "vc_00000000"},
    {"external_id": "y" * 200}, {"external_id": " x-1 "}, {"instrument": "a\tb"}, {"instrument": " a "},
    {"order": "reverse"}, {"order": None}, {"supersedes": "vc_00000000"}, {"supersedes": "7"},
    {"current_min_a": 9, "current_max_a": 1}, {"current_min_a": 1, "current_max_a": 9},
    {"temperatures_c": {"roof": 20}}, {"temperatures_c": {"inlet": 91, "outlet": "20"}},
    {"temperatures_c": {"inlet": None}}, {"temperatures_c": {}}, {"temperatures_c": None},
    {"condition_s": -1}, {"rested_min": 1e300}, {"taken": "apart"}, {"equipment": "", "visit": 5},
]  # fmt: skip

FIELDS = (
    "pack", "taken_at", "level", "condition", "current_a", "voltages_v", "set", "current_min_a",
    "current_max_a", "condition_s", "rested_min", "last_current", "soc_pct", "soc_source",
    "temperature_c", "temperatures_c", "odometer_km", "taken", "order", "equipment", "instrument",
    "visit", "done_by", "external_id", "supersedes", "id", "spread_v",
)  # fmt: skip

RAW = [
    b"{", b"}", b"null", b"7", b'"A-1"', b"{}", b'{"pack": NaN}', b'{"pack": 1e999}',
    b"\xff", b'{"pack":"\xff"}', b'{"pack":"\xed\xa0\x80"}', b'{"pack":"\\ud800"}', b"\xef\xbb\xbf{}",
    b'{"pack": "A-1", "pack": "A-1"}', b"{'pack': 'A-1'}", b'{"pack": "A-1",}', b'{"pack" "A-1"}',
    b"[" * 40 + b"]" * 40, b"[" * 5_000, b'{"a":' * 40 + b"1" + b"}" * 40, b'{"pack": "A\x011"}',
    b'{"pack": Infinity, "level": -Infinity}', b'{"a": 0x10}', b'{"a": 01}', b"{} {}", b"\x00",
    b'{"current_a": ' + b"9" * 5_000 + b"}", b"// {}", b'{"voltages_v": [1, 2, 3,, 4]}',
]  # fmt: skip


class Sender:
    """Draws lines; what it names was recorded before: `visits` and `bases` are their ids."""

    def __init__(self, seed: int, *, visits: list[str], bases: list[str]) -> None:
        self.rnd = random.Random(seed)
        self.visits, self.bases = visits, bases
        self.earlier: list[dict[str, Any]] = []

    def lines(self, count: int) -> Iterator[bytes]:
        rnd = self.rnd
        for number in range(count):
            kind = rnd.random()
            if kind < BLANK:
                yield rnd.choice([b"", b" ", b"\r", b"\t \r"])
            elif kind < BLANK + NO_JSON:
                yield rnd.choice(RAW)
            else:
                yield self._written(self._said(number, count))

    def _said(self, number: int, count: int) -> dict[str, Any]:
        rnd = self.rnd
        if self.earlier and rnd.random() < TWICE:
            return rnd.choice(self.earlier)
        said = self._good(number, count)
        while rnd.random() < SPOILT:
            said = self._spoilt(said)
        if rnd.random() < 0.1:  # in any order, which means nothing
            said = dict(rnd.sample([*said.items()], len(said)))
        self.earlier.append(said)
        return said

    def _good(self, number: int, count: int) -> dict[str, Any]:
        """A good check, more or less as testers send them."""
        rnd = self.rnd
        serial = rnd.choice(["A-1", "A-1", "a-1", "A-2", "A-3", "A-4"])
        modules, blocks, cells = PARTS[serial.upper()]
        level = rnd.choice(["module", "module", "block", "cell"])
        positions = {"module": modules, "block": blocks, "cell": modules * cells}[level]
        per = {"module": cells, "block": cells * modules / blocks, "cell": 1}[level]
        cell_v = 3.7 if serial == "A-4" else 1.32
        condition = rnd.choice(["rest", "load", "charge"])
        current = {"rest": 0.4, "load": rnd.choice([20, 20.0, 1e1]), "charge": -6.5}[condition]
        said: dict[str, Any] = {
            "pack": serial,
            "taken_at": world.later(days=1 + number / 100).isoformat(),
            "level": level,
            "condition": condition,
            "current_a": current,
            "voltages_v": [self._volt(cell_v * per) for _ in range(positions)],
        }
        extras = self._extras(current, count)
        said |= {name: value for name, value in extras.items() if rnd.random() < EXTRA}
        if rnd.random() < SUPERSEDING:
            said["supersedes"] = rnd.choice(self.bases)
        return said

    def _volt(self, middle: float) -> float:
        digits = self.rnd.choice([1, 2, 4, 4, 5, 9])
        return round(middle + self.rnd.gauss(0, 0.02), digits)

    def _extras(self, current: float, count: int) -> dict[str, Any]:
        rnd = self.rnd
        return {
            "external_id": f"x-{rnd.randrange(count)}", "temperature_c": rnd.choice([21, 21.5, -0.0]),
            "odometer_km": rnd.choice([120000.0, 120000, 0]), "set": "go „1“", "equipment": "E-1",
            "done_by": "kim", "soc_pct": 55.5, "soc_source": "monitor", "taken": "one_by_one",
            "current_min_a": current - 1, "current_max_a": current + 1, "instrument": "meter “5” Ω",
            "temperatures_c": {"inlet": 20, "outlet": 25.5}, "order": rnd.choice(["monitor", "position"]),
            "rested_min": rnd.choice([None, 30]), "last_current": "charge", "condition_s": 10,
            "visit": rnd.choice(self.visits),
        }  # fmt: skip

    def _spoilt(self, said: dict[str, Any]) -> dict[str, Any]:
        rnd = self.rnd
        way = rnd.randrange(6)
        if way == 0:
            return {**said, rnd.choice(FIELDS): rnd.choice(EXTREME)}
        if way == 1:
            return {**said, **rnd.choice(WORDED)}
        if way == 2:
            return {**said, "taken_at": rnd.choice(INSTANTS)}
        if way == 3:
            gone = rnd.choice([*said])
            return {name: value for name, value in said.items() if name != gone}
        volts = said.get("voltages_v")
        return {**said, "voltages_v": self._twisted(volts)} if isinstance(volts, list) else said

    def _twisted(self, volts: list[Any]) -> list[Any]:
        """Voltages of which one is out of its place, or all are wrong by a factor."""
        rnd = self.rnd
        if not volts or not all(type(volt) in (int, float) for volt in volts):
            return volts
        place, scale = rnd.randrange(len(volts)), rnd.choice([1000, 0.001, 1 / 6, 0])
        odd = [
            None, 0, -0.0, -7.9, 99.0, 1e5, 99_999.99999, -1e5, 1e6, 1e308, 7.90005, 4.2, 0.05, "8",
            volts[place] - 1.3, volts[place] - 1.15, volts[place] - 2.6, True, "@NaN@", "@1e999@",
        ]  # fmt: skip
        if rnd.random() < 0.2:
            return [volt * scale for volt in volts]
        if rnd.random() < 0.1:
            return volts[1:]
        return [*volts[:place], rnd.choice(odd), *volts[place + 1 :]]

    def _written(self, said: dict[str, Any]) -> bytes:
        """As JSON, in one of the ways to write it; numbers between @ stand as they are."""
        rnd = self.rnd
        ascii_only = rnd.random() < 0.5 or "\ud800" in said.values()
        text = json.dumps(
            said, ensure_ascii=ascii_only, separators=rnd.choice([None, (",", ":"), (" , ", " : ")])
        )
        around = rnd.choice(["{}", "{}", "{}", " {}\t", "{}\r"])
        return around.format(text.replace('"@', "").replace('@"', "")).encode()
