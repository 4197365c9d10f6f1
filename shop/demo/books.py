"""The shop's books as they lie in fixtures/: every file says of itself that it is made up."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shop.demo.mechanism import Nature, Stock

FOLDER = Path(__file__).resolve().parents[2] / "fixtures"

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Kind:
    """A pack type as the bench knows it, and what it is really made of."""

    code: str
    nature: Nature
    sizes: NDArray[np.int64]
    reference_a: float
    limit_v: float
    form: str
    generation: str
    row: Row

    @property
    def cells_in_series(self) -> int:
        return self.nature.elements_per_module * self.nature.cells_per_element

    @property
    def reads_cells(self) -> bool:
        return self.nature.elements_per_module > 1


class Books:
    """All the files, read once."""

    def __init__(self, folder: Path = FOLDER) -> None:
        self.folder = folder

    def read(self, name: str) -> Row:
        text = (self.folder / f"{name}.json").read_text(encoding="utf-8")
        content: Row = json.loads(text)
        return content

    def rows(self, name: str) -> Sequence[Row]:
        """The list that a file is named after."""
        rows: Sequence[Row] = self.read(name)[name]
        return rows

    @cached_property
    def words(self) -> Row:
        return self.read("words")

    def picture(self, name: str) -> bytes:
        """A made-up photograph, as a camera would send it."""
        return (self.folder / "photos" / f"{name}.jpg").read_bytes()

    @cached_property
    def bench(self) -> Row:
        """Parts with a tag, their tests, tests to come, what was nearly an accident."""
        return self.read("bench")

    @cached_property
    def rates(self) -> Mapping[str, float]:
        rates: Mapping[str, float] = self.read("nature")["rates"]
        return rates

    @cached_property
    def packs(self) -> Sequence[Row]:
        return self.rows("packs")

    @cached_property
    def prices(self) -> Row:
        return self.read("prices")

    @cached_property
    def lots(self) -> Sequence[Row]:
        return self.rows("lots")

    @cached_property
    def donor_packs(self) -> Sequence[Row]:
        rows: Sequence[Row] = self.read("lots")["donor_packs"]
        return rows

    @cached_property
    def noise_v(self) -> Mapping[str, float]:
        """What each meter adds to a reading, V, one standard deviation."""
        return {row["code"]: row["noise_v"] for row in self.rows("equipment") if "noise_v" in row}

    @cached_property
    def kinds(self) -> Mapping[str, Kind]:
        lots = self.read("lots")
        natures = self.read("nature")["types"]
        return {
            row["code"]: _kind(row, natures[row["code"]], lots) for row in self.rows("pack_types")
        }


def _kind(row: Row, figures: Mapping[str, float], lots: Row) -> Kind:
    modules, each = row["module_count"], row["modules_per_block"]
    whole = {"elements_per_module", "cells_per_element"}
    told = {name: int(v) if name in whole else float(v) for name, v in figures.items()}
    return Kind(
        code=row["code"],
        nature=Nature(modules=modules, **told),  # type: ignore[arg-type]
        sizes=np.full(modules // each, each, dtype=np.int64),
        reference_a=row["reference_load_a"],
        limit_v=row["load_spread_limit_v"],
        form=lots["module_forms"][row["code"]],
        generation=lots["module_generations"][row["code"]],
        row=row,
    )


def stock_of(row: Row) -> Stock:
    """How good a lot or a donor pack really is."""
    return Stock(aged_years=row["aged_years"], wear_times=row["wear_times"])
