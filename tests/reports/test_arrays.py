"""Columns of a query, the same on both databases."""

import struct

import numpy as np
import pytest

from packs.models import Failure, VoltageCheck
from packs.rules.voltages import MISSING
from reports.reads import arrays
from reports.reads.among import Placed
from reports.reads.arrays import UNKNOWN, Kind, columns
from tests import world


def sent(*rows: list[int | None]) -> bytes:
    """Arrays of int4 as PostgreSQL sends them, one after the other."""
    told = b""
    for row in rows:
        told += struct.pack(">5i", 1, int(None in row), 23, len(row), 1)
        for value in row:
            told += struct.pack(">i", -1) if value is None else struct.pack(">2i", 4, value)
    return told


@pytest.mark.parametrize(
    "rows",
    [
        [[7, 8, -9]],
        [[1, 2], [3, 4], [5, 6]],
        [[1, 2], [3], [4, 5, 6]],
        [[1, None, 3], [4, 5, 6]],
        [[None, None], [0, -1]],
        # Together as long as two rows of four are, and yet of other lengths.
        [[1, 2, 3, 4], [5], [6, 7, 8, 9, 10]],
    ],
)
def test_arrays_of_any_length_and_with_nulls_are_read(rows: list[list[int | None]]) -> None:
    found = arrays._units(sent(*rows))
    parts = np.split(found.values, found.start[1:-1])
    given = [[MISSING if value is None else value for value in row] for row in rows]
    assert [part.tolist() for part in parts] == given
    last = np.array([len(rows) - 1])
    assert found.only(last).values.tolist() == given[-1]
    assert found.only(last[:0]).start.tolist() == [0]


@pytest.mark.django_db
def test_each_kind_comes_as_it_was_stored() -> None:
    volts: list[float | None] = [*world.healthy_v(27), None]
    world.check(world.pack("TP-1"), voltages_v=volts, temperature_c=21.5, set="gate A")
    other = world.pack_type("NM-13", module_count=13)
    world.check(world.pack("TP-2", other), voltages_v=world.healthy_v(13))
    rows = VoltageCheck.objects.order_by("pack__serial").values_list(
        "revision", "temperature_c", "taken_at", "voided_at", Placed("level", ("block", "module")),
        "set_name", "voltages",
    )  # fmt: skip
    revision, temperature_c, taken_at, voided_at, level, names, units = columns(
        rows, Kind.NUMBER, Kind.REAL, Kind.INSTANT, Kind.INSTANT, Kind.NUMBER, Kind.WORDS,
        Kind.UNITS,
    )  # fmt: skip
    first, second = VoltageCheck.objects.order_by("pack__serial")
    assert revision.tolist() == [first.revision, second.revision]
    assert (temperature_c[0], np.isnan(temperature_c[1])) == (21.5, True)
    assert taken_at[0] / 1e6 == first.taken_at.timestamp()
    assert voided_at.tolist() == [UNKNOWN, UNKNOWN]
    assert level.tolist() == [1, 1]
    assert names == ["gate A", None]
    assert units.start.tolist() == [0, 28, 41]
    assert units.values[27] == MISSING
    assert units.values.tolist() == [*first.voltages.tolist(), *second.voltages.tolist()]


@pytest.mark.django_db
def test_of_no_rows_each_kind_is_empty() -> None:
    days, serials = columns(
        Failure.objects.values_list("failed_on", "pack__serial"), Kind.DAY, Kind.WORDS
    )
    assert (days.size, list(serials)) == (0, [])
    (units,) = columns(VoltageCheck.objects.values_list("voltages"), Kind.UNITS)
    assert (units.start.tolist(), units.values.size) == ([0], 0)
