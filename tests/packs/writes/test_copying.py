"""What intake packs and digests by column is what the one-by-one way makes of each row."""

import json
import random
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import numpy as np
import pytest
from django.db import connection

from packs.rules.identity import encode, encode_all
from packs.rules.voltages import MISSING
from packs.writes.check_digests import SAID, digest_columns
from packs.writes.copying import pack_rows
from packs.writes.digests import digest

TYPES = {
    "number": "bigint", "small": "smallint", "real": "double precision", "told": "text",
    "at": "timestamp with time zone", "raw": "bytea", "json": "jsonb", "units": "integer[]",
    "day": "date", "true": "boolean", "word": "varchar",
}  # fmt: skip


def rows(rnd: random.Random, count: int) -> list[dict[str, Any]]:
    """Rows with and without each value; `told` and `units` of any length."""
    made = []
    for number in range(count):
        units = np.array([rnd.randrange(-9000, 90_000) for _ in range(rnd.choice([3, 5]))])
        if rnd.random() < 0.3:
            units[rnd.randrange(units.size)] = MISSING
        at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=rnd.randrange(7 * 10**15))
        row = {
            "number": number,
            "small": rnd.randrange(-9, 9),
            "real": rnd.gauss(0, 1e9),
            "told": "é" * rnd.randrange(4),
            "at": at.astimezone(timezone(timedelta(hours=rnd.randrange(-9, 9)))),
            "raw": rnd.randbytes(4),
            "json": rnd.choice([[], {"a": [1.5, "ü"]}]),
            "units": units.astype(np.int32),
            "day": at.date(),
            "true": rnd.random() < 0.5,
            "word": rnd.choice(["rest", "load"]),
        }
        for name in ("small", "real", "told", "at", "json", "day", "true"):
            if rnd.random() < 0.2:
                row[name] = None
        made.append(row)
    return made


@pytest.mark.postgres
@pytest.mark.django_db
@pytest.mark.parametrize("count", [1, 2, 200])
def test_what_is_copied_is_read_again(count: int) -> None:
    said = rows(random.Random(count), count)
    order, packed = pack_rows(
        {name: (kind, [row[name] for row in said]) for name, kind in TYPES.items()}
    )
    with connection.cursor() as cursor:
        columns = ", ".join(f'"{name}" {kind}' for name, kind in TYPES.items())
        cursor.execute(f"CREATE TEMPORARY TABLE copied ({columns})")
        with cursor.cursor.copy(
            f"COPY copied ({_quoted(order)}) FROM STDIN (FORMAT BINARY)"
        ) as into:
            into.write(packed)
        cursor.execute(f"SELECT {_quoted(TYPES)} FROM copied ORDER BY number")
        found = [dict(zip(TYPES, row, strict=True)) for row in cursor.fetchall()]
        cursor.execute("DROP TABLE copied")
    for before, after in zip(said, found, strict=True):
        units = [None if unit == MISSING else unit for unit in before["units"].tolist()]
        expected = {**before, "units": units}
        after["raw"] = bytes(after["raw"])
        after["json"] = _read(after["json"])
        assert after == expected


def _quoted(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


def test_a_type_that_nobody_told_of_is_not_guessed() -> None:
    with pytest.raises(TypeError, match="numeric"):
        pack_rows({"price": ("numeric", [5])})


def _read(value: Any) -> Any:
    """Without a field to tell, jsonb comes as it was written."""
    return json.loads(value) if isinstance(value, str) else value


def content(rnd: random.Random) -> dict[str, Any]:
    """What is said of a check, by the columns that hold it."""
    at = datetime(2024, 1, 1, tzinfo=timezone(timedelta(hours=rnd.randrange(-9, 9))))
    told: dict[str, Any] = {
        "taken_at": at + timedelta(microseconds=rnd.randrange(10**12)),
        "level": rnd.choice(["module", "cell"]), "condition": "rest",
        "current_a": rnd.choice([0.0, -0.0, 1e-7, 20.0, 1e22]), "pack_id": rnd.randrange(9),
        "voltages": np.array([rnd.randrange(9) for _ in range(rnd.choice([3, 4]))], dtype=np.int32),
    }  # fmt: skip
    beside: dict[str, Any] = {
        "odometer_km": 120_000, "temperatures_c": {"outlet": 20.0, "inlet": 1.5}, "set_name": "a%s",
        "instrument": "meter “5” \"x\"", "soc_pct": 5.5, "done_by_id": 3, "taken": "together",
    }  # fmt: skip
    return told | {name: value for name, value in beside.items() if rnd.random() < 0.5}


@pytest.mark.parametrize("seed", range(5))
def test_digests_by_column_are_those_of_each_alone(seed: int) -> None:
    rnd = random.Random(seed)
    said = [content(rnd) for _ in range(rnd.choice([1, 40]))]
    orders = [rnd.choice(["position", "monitor"]) for _ in said]
    columns = {column: [row.get(column) for row in said] for column in (*SAID.values(), "voltages")}
    alone = [
        digest(
            {name: row.get(column) for name, column in SAID.items()}
            | {"order": order, "voltages": row["voltages"]}
        )
        for row, order in zip(said, orders, strict=True)
    ]
    assert digest_columns(columns, orders) == alone


def test_ids_made_together_are_those_made_alone() -> None:
    rnd = random.Random(1)
    numbers = [0, 1, (1 << 40) - 1, *(rnd.randrange(1 << 40) for _ in range(200))]
    assert encode_all("vc", numbers) == [encode("vc", number) for number in numbers]
    assert encode_all("vc", []) == []
    for wrong in (-1, 1 << 40):
        with pytest.raises(ValueError, match="identities"):
            encode_all("vc", [3, wrong])
