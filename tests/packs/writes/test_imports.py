"""Importing files: tried, stored in batches, carried on, and judged as the API judges."""

import json
import threading
from datetime import timedelta
from typing import Any

import pytest
from django.db import OperationalError, connections, transaction
from django.utils import timezone
from rest_framework.test import APIClient

from packs.api.voltage_checks import CheckEntry
from packs.errors import Conflict, Contradiction, DomainError, Malformed
from packs.models import ImportFile, ImportSource, Pack, VoltageCheck
from packs.reads import imports as files
from packs.rules import check_entry
from packs.writes import checks, import_sources, imports, voiding
from packs.writes.imports import REFUSED, REPEATED, STORED, Verdict
from tests import world
from tests.packs.testers import CHECKS, COUNT, TESTERS, MadeFile, table

pytestmark = pytest.mark.django_db
AT = world.later(days=60)
HEAD = ["pack", "time", "condition", "A", *(f"V{n}" for n in range(1, COUNT + 1))]
COLUMNS = {
    "pack": "pack", "taken_at": "time", "condition": "condition", "current_a": "A",
    "voltages_v": "V#",
}  # fmt: skip


@pytest.fixture(autouse=True)
def packs() -> None:
    world.pack("TP-0001")
    world.pack("TP-0002")


def source(columns: Any = None, code: str = "tester", **settings: Any) -> ImportSource:
    entry = {
        "code": code,
        "columns": columns or COLUMNS,
        "settings": settings or {"level": "block"},
    }
    return import_sources.keep_source(by=world.actor(), at=AT, entry=entry).row


def handed(content: bytes, of: ImportSource | None = None, name: str = "a.csv") -> ImportFile:
    row = of or source()
    return imports.hand_in(by=world.actor(), at=AT, source=row, name=name, content=content).row


def stored(file: ImportFile, *, batches: int | None = None) -> list[Verdict]:
    told = []
    for number, verdicts in enumerate(imports.carry_on(file, at=lambda: AT), 1):
        told += verdicts
        if number == batches:
            break
    return told


def tried(file: ImportFile) -> list[Verdict]:
    reading = imports.reading_of(file)
    by = imports.sender_of(file)
    return [one for batch in imports.try_out(reading, by=by, at=AT) for one in batch]


def row(minute: int, serial: str = "TP-0001", **changes: Any) -> list[Any]:
    """A line of a good check at that minute."""
    when = world.later(days=2, minutes=minute).isoformat()
    volts = [15.8 + 0.01 * (place % 3) for place in range(COUNT)]
    line = {"pack": serial, "time": when, "condition": "rest", "A": 0.0}
    return [*{**line, **changes}.values(), *volts]


def lines(count: int, first: int = 0) -> bytes:
    return table([HEAD, *(row(minute) for minute in range(first, first + count))]).encode()


def words(verdicts: list[Verdict]) -> list[str]:
    return [verdict.word for verdict in verdicts]


@pytest.mark.parametrize("tester", TESTERS, ids=lambda tester: tester.name)
def test_every_form_of_file_is_tried_and_stored_alike(tester: MadeFile) -> None:
    file = handed(tester.content, source(tester.columns, **tester.settings))
    before = world.contents()
    assert words(tried(file)) == [STORED] * len(CHECKS)
    assert world.contents() == before
    assert words(stored(file)) == [STORED] * len(CHECKS)
    found = VoltageCheck.objects.order_by("pk").values_list("pack__serial", "taken_at", "level")
    assert list(found) == [(serial, when, "block") for serial, when, _, _ in CHECKS]


def test_the_levels_and_surplus_columns_follow_the_type() -> None:
    world.pack("TP-0034", world.pack_type("NM-34", module_count=34, modules_per_block=1))
    head = ["pack", "time", "A", *(f"V{n}" for n in range(1, 35))]
    when = world.later(days=2).isoformat()
    rows = [
        ["TP-0001", when, 0, *[15.8] * 14, *[""] * 20],
        ["TP-0001", when, 0, *[7.9] * 28, *[""] * 6],
        ["TP-0034", when, 0, *[7.9] * 34],
        ["TP-0001", when, 0, *[7.9] * 30, *[""] * 4],
    ]
    columns = {"pack": "pack", "taken_at": "time", "current_a": "A", "voltages_v": "V#"}
    file = handed(
        table([head, *rows]).encode(), source(columns, level="by_count", condition="rest")
    )
    told = stored(file)
    assert words(told) == [STORED, STORED, STORED, REFUSED]
    levels = VoltageCheck.objects.order_by("pk").values_list("level", flat=True)
    assert list(levels) == ["block", "module", "module"]
    assert told[3].refusals[0].header == "V1 to V34"


def test_a_killed_import_goes_on_and_stores_nothing_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(imports, "BATCH", 10)
    file = handed(lines(25))
    stored(file, batches=1)

    def dies(*_: Any, **__: Any) -> None:
        raise SystemExit

    with monkeypatch.context() as killed:
        killed.setattr(ImportFile, "save", dies)
        with pytest.raises(SystemExit):
            stored(ImportFile.objects.get(pk=file.pk))
    assert VoltageCheck.objects.count() == 10
    again = ImportFile.objects.get(pk=file.pk)
    assert (again.lines_done, again.finished_at) == (11, None)
    assert words(stored(again)) == [STORED] * 15
    done = ImportFile.objects.get(pk=file.pk)
    assert (done.stored, done.repeated, done.refused, done.lines_done) == (25, 0, 0, 26)
    assert done.finished_at == AT
    assert VoltageCheck.objects.count() == 25
    assert stored(done) == []


def test_rows_of_positions_are_carried_on_between_checks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(imports, "BATCH", 1)
    tall = next(tester for tester in TESTERS if tester.name == "tall")
    file = handed(tall.content, source(tall.columns, **tall.settings))
    (first,) = stored(file, batches=1)
    assert (first.number, first.last, file.lines_done) == (2, 15, 15)
    again = ImportFile.objects.get(pk=file.pk)
    reading = imports.reading_of(again)
    rest = imports.try_out(reading, by=imports.sender_of(again), at=AT, after=first.last)
    assert [len(batch) for batch in rest] == [1, 1, 1]
    assert words(stored(again)) == [STORED] * 3


def test_two_who_carry_on_at_once_store_it_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(imports, "BATCH", 10)
    file = handed(lines(25))
    other = ImportFile.objects.get(pk=file.pk)
    one = imports.carry_on(file, at=lambda: AT)
    next(one)
    assert list(imports.carry_on(other, at=lambda: AT)) == []
    assert words([verdict for batch in one for verdict in batch]) == [STORED] * 15
    assert VoltageCheck.objects.count() == 25


def test_a_check_bears_the_place_it_had_in_the_file() -> None:
    file = handed(lines(1))
    stored(file)
    check = VoltageCheck.objects.get()
    assert check.external_id == f"import:{bytes(file.digest).hex()[:12]}:2"
    assert check.client == file.client
    assert files.stored_packs(file) == [("TP-0001", 1)]


def test_the_same_file_is_the_file_of_before() -> None:
    file = handed(lines(3))
    stored(file)
    again = imports.hand_in(
        by=world.actor(name="other"), at=AT, source=file.source, name="b.csv", content=lines(3)
    )
    assert (again.created, again.row.pk, again.row.stored) == (False, file.pk, 3)
    assert files.handed_in_before(lines(3)) == file


def test_a_log_that_grew_brings_only_what_is_new() -> None:
    stored(handed(lines(3)))
    longer = handed(lines(5), ImportSource.objects.get())
    assert words(tried(longer)) == [REPEATED] * 3 + [STORED] * 2
    assert words(stored(longer)) == [REPEATED] * 3 + [STORED] * 2


def test_a_reading_that_came_through_the_api_is_known_and_one_voided_is_not() -> None:
    pack = Pack.objects.select_related("pack_type").get(serial="TP-0001")
    volts = [15.8 + 0.01 * (place % 3) for place in range(COUNT)]
    at = world.later(days=2)
    check = world.check(pack, volts, taken_at=at, level="block", by=world.actor(name="logger"))
    file = handed(lines(2))
    assert words(tried(file)) == [REPEATED, STORED]
    voiding.void(check, by=world.actor(), at=AT, reason="wrong pack")
    assert words(stored(file)) == [STORED, STORED]


def test_like_lines_are_stored_once_in_and_across_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(imports, "BATCH", 2)
    wrong = row(9, condition="load")
    twice = [row(0), row(0), row(1), row(0), wrong, wrong, row(1)]
    file = handed(table([HEAD, *twice]).encode())
    expected = [STORED, REPEATED, STORED, REPEATED, REFUSED, REFUSED, REPEATED]
    assert words(tried(file)) == expected
    assert words(stored(file)) == expected


def test_what_was_refused_may_be_taken_when_gone_over_again() -> None:
    file = handed(table([HEAD, row(0), row(1, "TP-0009")]).encode())
    told = stored(file)
    assert [verdict.unknown_pack for verdict in told] == [False, True]
    world.pack("TP-0009")
    imports.begin_again(file)
    file.refresh_from_db()
    assert words(stored(file)) == [REPEATED, STORED]
    assert (file.stored, file.repeated, file.refused) == (1, 1, 0)


def test_a_line_read_in_another_way_is_not_stored_twice() -> None:
    file = handed(lines(1))
    stored(file)
    changes = {
        "settings": {"level": "block", "instrument": "x", "current_sign": "in", "unit": "mv"}
    }
    by = world.actor()
    import_sources.change_source(file.source, by=by, at=AT, version=1, changes=changes)
    imports.begin_again(file)
    told = tried(ImportFile.objects.get(pk=file.pk))
    assert words(told) == [REFUSED]
    settings = {"level": "block", "time_zone": "UTC", "current_a": 1, "decimal": "point"}
    other = {"columns": {**COLUMNS, "current_a": "V1"}, "settings": settings}
    import_sources.change_source(file.source, by=by, at=AT, version=2, changes=other)
    told = stored(ImportFile.objects.get(pk=file.pk))
    assert words(told) == [REFUSED]


def test_a_half_stored_file_keeps_its_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(imports, "BATCH", 2)
    file = handed(lines(5))
    stored(file, batches=1)
    by, changes = world.actor(), {"settings": {"level": "module"}}
    with pytest.raises(Conflict, match="stored up to line 3"):
        import_sources.change_source(file.source, by=by, at=AT, version=1, changes=changes)
    stored(file)
    changed = import_sources.change_source(file.source, by=by, at=AT, version=1, changes=changes)
    assert changed.version == 2


def test_columns_changed_at_the_last_moment_stop_the_storing() -> None:
    file = handed(lines(2))
    stale = ImportFile.objects.select_related("source").get(pk=file.pk)
    changes = {"settings": {"level": "module"}}
    import_sources.change_source(file.source, by=world.actor(), at=AT, version=1, changes=changes)
    assert stale.source.version == 1
    with pytest.raises(Conflict, match="changed"):
        next(imports.carry_on(stale, at=lambda: AT))
    assert VoltageCheck.objects.count() == 0


@pytest.mark.parametrize(
    ("entry", "error", "pointer"),
    [
        ({"columns": {"colour": "x"}}, Malformed, "/columns/colour"),
        ({"columns": {}, "settings": {"dates": "odd"}}, Malformed, "/settings/dates"),
    ],
)
def test_wrong_sources_are_refused(
    entry: dict[str, Any], error: type[DomainError], pointer: str
) -> None:
    with pytest.raises(error) as refused:
        import_sources.keep_source(by=world.actor(), at=AT, entry={"code": "x", **entry})
    assert refused.value.faults[0].pointer == pointer


def test_a_file_without_a_needed_column_says_what_would_do() -> None:
    file = handed(lines(1), source({**COLUMNS, "pack": "nowhere"}, level="block"))
    with pytest.raises(Contradiction, match="no column 'nowhere'"):
        tried(file)
    silent = {name: header for name, header in COLUMNS.items() if name != "pack"}
    with pytest.raises(Contradiction, match="setting pack"):
        tried(handed(lines(1), source(silent, "silent", level="block")))
    named = handed(lines(1), source(silent, "named", level="block", pack="tp-0002"))
    stored(named)
    assert files.stored_packs(named) == [("TP-0002", 1)]


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "empty"),
        (b"\x00\x01\x02\x03", "not_text"),
        (lines(2).replace(b"TP", b'"T', 1), "bad_quoting"),
        (b"x" * (files.FILE_MAX + 1), "file_too_large"),
        (lines(1) + b",".join([b"1"] * 10_000), "too_many_columns"),
    ],
)
def test_hostile_files_are_not_kept(content: bytes, code: str) -> None:
    with pytest.raises(DomainError) as refused:
        handed(content)
    assert refused.value.faults[0].code in (code, "no_headers")
    assert not ImportFile.objects.exists()


def test_only_headers_is_a_file_without_checks() -> None:
    file = handed(table([HEAD]).encode())
    assert tried(file) == []
    assert stored(file) == []
    assert (file.finished_at, file.stored) == (AT, 0)


def test_the_name_is_kept_without_its_path() -> None:
    assert handed(lines(1), name="C:\\logs\\../a\x07b.csv").name == "ab.csv"


# The same verdict, whichever way an entry comes.

BAD: list[dict[str, Any]] = [
    {"pack": "TP-9999"}, {"pack": "X" * 41}, {"pack": None}, {"level": "tray"}, {"level": None},
    {"condition": "load"}, {"condition": None}, {"condition": "charge", "current_a": 5.0},
    {"current_a": 2500.0, "condition": "load"}, {"current_a": 9.0}, {"current_a": None},
    {"temperature_c": 215.0}, {"temperature_c": -41.5}, {"odometer_km": 3_000_001},
    {"soc_pct": 130.0}, {"condition_s": -1.0}, {"rested_min": -0.5}, {"instrument": "i" * 101},
    {"equipment": "none"}, {"done_by": "nobody"}, {"set": "s" * 101}, {"taken": "twice"},
    {"taken_at": "2099-01-01T00:00:00+00:00"}, {"taken_at": "1850-01-01T00:00:00+00:00"},
    {"current_min_a": 3.0, "current_max_a": 2.0}, {"volt": 45.0}, {"volt": 2e5}, {"factor": 1000},
    {"count": 13}, {"count": 2}, {"unread": 12}, {"soc_source": "guessed"},
]  # fmt: skip
FIELDS = [
    "pack", "taken_at", "level", "condition", "current_a", "temperature_c", "odometer_km",
    "soc_pct", "condition_s", "rested_min", "instrument", "equipment", "done_by", "set", "taken",
    "current_min_a", "current_max_a", "soc_source",
]  # fmt: skip


def made(number: int) -> dict[str, Any]:
    """An entry of the API: two good ones, and then one with something wrong."""
    volts: list[float | None] = [15.8 + 0.01 * ((place + number) % 4) for place in range(COUNT)]
    wrong = dict(BAD[number // 3 % len(BAD)]) if number % 3 == 2 else {}
    entry: dict[str, Any] = {
        "pack": f"TP-000{1 + number % 2}",
        "taken_at": world.later(days=3, minutes=number).isoformat(),
        "level": "block",
        "condition": "rest",
        "current_a": 0.5,
        "temperature_c": 21.5,
    }
    volts = volts[: wrong.pop("count", COUNT)]
    volts[3 % len(volts)] = wrong.pop("volt", volts[3 % len(volts)])
    factor = wrong.pop("factor", 1)
    volts = [round(volt * factor, 4) if volt is not None else None for volt in volts]
    wrong.pop("unread", None)
    entry["voltages_v"] = volts
    return {name: one for name, one in {**entry, **wrong}.items() if one is not None}


def made_all() -> list[dict[str, Any]]:
    entries = [made(number) for number in range(300)]
    for number, entry in enumerate(entries):
        if number % 3 == 2 and "unread" in BAD[number // 3 % len(BAD)]:
            entry["voltages_v"][:12] = [None] * 12
    return entries


def as_file(entries: list[dict[str, Any]]) -> bytes:
    """The same entries as cells: positions that were not sent are columns that are not used."""
    rows = []
    for entry in entries:
        volts = ["-" if volt is None else volt for volt in entry["voltages_v"]]
        cells = [entry.get(name, "") for name in FIELDS]
        rows.append([*cells, '"' + ";".join(map(str, volts)) + '"'])
    return table([[*FIELDS, "voltages"], *rows]).encode()


def told_by_api(entries: list[dict[str, Any]]) -> list[tuple[str, list[tuple[str, str]]]]:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {world.token('machine')}")
    body = "\n".join(json.dumps(entry) for entry in entries)
    answer = client.post("/api/v1/voltage-checks/", body, content_type="application/x-ndjson")
    *each, _ = [json.loads(line) for line in b"".join(answer.streaming_content).splitlines()]  # type: ignore[attr-defined]
    word = {201: STORED, 200: REPEATED}
    return [
        (
            word.get(one["status"], REFUSED),
            sorted((error["code"], said(error)) for error in one.get("errors", [])),
        )
        for one in each
    ]


def said(error: dict[str, str]) -> str:
    """The sentence; where it tells the clock, the code alone counts."""
    return "" if error["code"] == "in_the_future" else error["detail"]


def told_by(verdicts: list[Verdict]) -> list[tuple[str, list[tuple[str, str]]]]:
    return [
        (
            verdict.word,
            sorted(
                (one.code, said({"code": one.code, "detail": one.detail}))
                for one in verdict.refusals
            ),
        )
        for verdict in verdicts
    ]


def test_300_lines_get_the_same_verdict_tried_stored_and_through_the_api() -> None:
    entries = made_all()
    columns = {name: name for name in FIELDS} | {"voltages_v": "voltages"}
    file = handed(as_file(entries), source(columns, decimal="point", separator="semicolon"))
    trial = told_by(tried(file))
    with transaction.atomic():
        real = told_by(stored(file))
        transaction.set_rollback(True)
    assert trial == real
    now = timezone.now()
    assert now - AT > timedelta(days=1)
    by_api = told_by_api(entries)
    assert [word for word, _ in by_api].count(STORED) >= 200
    assert [word for word, _ in by_api].count(REFUSED) >= 90
    for number, (ours, theirs) in enumerate(zip(trial, by_api, strict=True)):
        assert ours == theirs, entries[number]


def test_the_shape_of_an_entry_is_the_apis() -> None:
    """Each bound of the pure shape check is the one that the API's field has."""
    fields: dict[str, Any] = dict(CheckEntry().fields)
    for name, (low, high) in check_entry.NUMBERS.items():
        assert (fields[name].min_value, fields[name].max_value) == (low, high), name
    for name, words_of_it in check_entry.CHOICES.items():
        assert tuple(fields[name].choices) == words_of_it, name
    for name, longest in check_entry.TEXTS.items():
        assert getattr(fields[name], "max_length", None) == longest, name
    known = {*check_entry.NUMBERS, *check_entry.CHOICES, *check_entry.TEXTS, "taken_at"}
    known |= {"voltages_v", "temperatures_c", "external_id", "supersedes"}
    assert set(fields) == known
    assert set(check_entry.REQUIRED) == {name for name, one in fields.items() if one.required}
    assert checks.LINE_MARK not in files.beginning(b"x" * 32)


@pytest.mark.parametrize("figure", [float("nan"), float("inf"), float("-inf")])
def test_a_setting_that_is_no_finite_number_is_refused(figure: float) -> None:
    with pytest.raises(Malformed) as caught:
        source(level="block", current_a=figure)
    assert [fault.code for fault in caught.value.faults] == ["not_a_number"]
    assert caught.value.faults[0].pointer == "/settings/current_a"


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_the_columns_stay_while_a_batch_is_stored(monkeypatch: pytest.MonkeyPatch) -> None:
    file = handed(lines(3))
    judged, refused = imports._verdicts, []

    def change_meanwhile() -> None:
        try:
            with transaction.atomic():
                ImportSource.objects.select_for_update(nowait=True).get(pk=file.source_id)
        except OperationalError:
            refused.append(True)
        connections.close_all()

    def slowly(*args: Any) -> list[Verdict]:
        other = threading.Thread(target=change_meanwhile)
        other.start()
        other.join()
        return judged(*args)

    monkeypatch.setattr(imports, "_verdicts", slowly)
    assert words(stored(file)) == [STORED] * 3
    assert refused == [True]
