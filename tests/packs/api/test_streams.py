"""voltage-checks/ as a stream of lines: the good are stored whatever the bad are."""

import io
import json
import tracemalloc
from collections.abc import Iterable, Iterator
from typing import Any

import pytest
from django.db import OperationalError
from rest_framework.test import APIClient

from packs.api import check_streams
from packs.api.parsers import LINE_LIMIT, lines
from packs.models import Pack, VoltageCheck
from packs.writes import checks
from tests import world
from tests.packs.api.conftest import Api

CHECKS = "/api/v1/voltage-checks/"
NDJSON = "application/x-ndjson"


@pytest.fixture
def pack(db: None) -> Pack:
    return world.pack()


@pytest.fixture
def machine(api: Api) -> APIClient:
    return api("machine")


def line(pack: Pack | str = "TP-0001", /, **changes: Any) -> bytes:
    return json.dumps(world.check_body(pack, **changes)).encode()


def sent(
    client: APIClient, said: Iterable[bytes], **headers: str
) -> tuple[list[dict[str, Any]], dict[str, int]]:
    """The answer of each line, and the summary."""
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    body = b"\n".join(said)
    response: Any = client.post(CHECKS, body, content_type=NDJSON, headers=named)
    assert response.status_code == 200
    assert response.headers["Content-Type"] == NDJSON
    *answers, last = map(json.loads, b"".join(response.streaming_content).splitlines())
    return answers, last["summary"]


def statuses(answers: Iterable[dict[str, Any]]) -> dict[int, int]:
    return {answer["line"]: answer["status"] for answer in answers}


def test_each_line_has_its_answer_and_blank_ones_only_count(machine: APIClient, pack: Pack) -> None:
    answers, summary = sent(
        machine,
        [line(), b"", b"{", line("NOBODY"), b"  \r", line(external_id="x"), line(current_a=1) + b"\r",
         line(external_id="x"), line(external_id="x", current_a=1), b"\xff", b"[" * 100_000,
         line(current_a=9), b"[]"],
    )  # fmt: skip
    assert statuses(answers) == {
        1: 201, 3: 400, 4: 422, 6: 201, 7: 201, 8: 200, 9: 409, 10: 400, 11: 400, 12: 422, 13: 400
    }  # fmt: skip
    assert summary == {"stored": 3, "repeated": 1, "refused": 7}
    by_line = {answer["line"]: answer for answer in answers}
    assert by_line[8]["id"] == by_line[6]["id"]
    assert by_line[4]["errors"][0]["pointer"] == "/pack"
    assert by_line[12]["errors"][0]["code"] == "current_against_condition"
    assert all(error["detail"] for answer in answers for error in answer.get("errors", []))
    assert all(("id" in answer) == (answer["status"] < 300) for answer in answers)
    assert VoltageCheck.objects.count() == 3


def test_revisions_follow_the_lines(machine: APIClient, pack: Pack) -> None:
    answers, _ = sent(machine, [line(current_a=i / 10) for i in range(5)])
    ids = [answer["id"] for answer in answers]
    told = [machine.get(f"{CHECKS}{i}/").json() for i in ids]
    assert [check["revision"] for check in told] == [2, 3, 4, 5, 6]
    assert [check["current_a"] for check in told] == [0, 0.1, 0.2, 0.3, 0.4]
    pack.refresh_from_db()
    assert pack.revision == 6


def test_nothing_at_all(machine: APIClient, pack: Pack) -> None:
    before = world.contents()
    assert sent(machine, []) == ([], {"stored": 0, "repeated": 0, "refused": 0})
    assert sent(machine, [b"", b" "]) == ([], {"stored": 0, "repeated": 0, "refused": 0})
    assert world.contents() == before


def many() -> Iterator[bytes]:
    """2,000 lines, every seventh of them bad in one of several ways."""
    bad = (b"{", line("NOBODY"), line(current_a="1"), line(voltages_v=[7.9]), b"[1]")
    for number in range(2000):
        if number % 7 == 3:
            yield bad[number % len(bad)]
        else:
            taken_at = world.later(minutes=number).isoformat()
            yield line(f"TP-000{1 + number % 3}", external_id=f"n{number}", taken_at=taken_at)


def test_2000_lines_with_bad_ones_sent_again_double_nothing(machine: APIClient, pack: Pack) -> None:
    for serial in ("TP-0002", "TP-0003"):
        world.pack(serial)
    first, summary = sent(machine, many())
    assert summary == {"stored": 1714, "repeated": 0, "refused": 286}
    before = world.contents()
    second, again = sent(machine, many())
    assert again == {"stored": 0, "repeated": 1714, "refused": 286}
    assert world.contents() == before
    assert [a.get("id") for a in second] == [a.get("id") for a in first]
    assert VoltageCheck.objects.count() == 1714


def test_without_external_ids_a_key_and_the_number_name_a_line(
    machine: APIClient, pack: Pack
) -> None:
    said = [line(), line(), b"", line(current_a=1), line(external_id="own")]
    first, summary = sent(machine, said, Idempotency_Key="k" * 200)
    assert summary == {"stored": 4, "repeated": 0, "refused": 0}
    before = world.contents()
    second, again = sent(machine, said, Idempotency_Key="k" * 200)
    assert again == {"stored": 0, "repeated": 4, "refused": 0}
    assert [a["id"] for a in second] == [a["id"] for a in first]
    assert world.contents() == before
    changed, _ = sent(machine, [line(current_a=2)], Idempotency_Key="k" * 200)
    assert changed[0]["status"] == 409
    assert "another key" in changed[0]["errors"][0]["detail"]
    assert sent(machine, said, Idempotency_Key="other")[1]["stored"] == 3
    assert machine.get(f"{CHECKS}{first[0]['id']}/").json()["external_id"] is None


def test_a_stream_that_broke_off_is_taken_up_where_it_broke(machine: APIClient, pack: Pack) -> None:
    said = [line(current_a=i / 100) for i in range(60)]
    assert sent(machine, said[:25], Idempotency_Key="k")[1]["stored"] == 25
    assert sent(machine, said, Idempotency_Key="k")[1] == {"stored": 35, "repeated": 25, "refused": 0}  # fmt: skip
    assert VoltageCheck.objects.count() == 60


def test_what_came_before_a_breakdown_is_stored(
    machine: APIClient, pack: Pack, monkeypatch: pytest.MonkeyPatch
) -> None:
    store, batches = checks.take_in, iter([True, True, False])

    def breaks_at_the_third(**given: Any) -> Any:
        if not next(batches):
            raise OperationalError("the database went away")
        return store(**given)

    monkeypatch.setattr(check_streams, "BATCH", 10)
    monkeypatch.setattr(checks, "take_in", breaks_at_the_third)
    body = b"\n".join(line(current_a=i / 100) for i in range(35))
    response = machine.post(CHECKS, body, content_type=NDJSON)
    assert (response.status_code, response.headers["Retry-After"]) == (503, "5")
    assert VoltageCheck.objects.count() == 20


def test_a_line_of_10_mb_is_refused_alone_in_bounded_memory(machine: APIClient, pack: Pack) -> None:
    long = line(instrument="x" * 10_000_000)
    machine.get(CHECKS)
    answers, summary = sent(machine, [line(), long, line(), b"y" * LINE_LIMIT + b"z", line()])
    assert statuses(answers) == {1: 201, 2: 413, 3: 201, 4: 413, 5: 201}
    assert summary == {"stored": 3, "repeated": 0, "refused": 2}


def test_reading_lines_holds_no_more_than_one_and_a_chunk() -> None:
    class Long(io.RawIOBase):
        left = 20 * 1024 * 1024

        def __init__(self) -> None:
            self.last = [b"\n{}"]

        def read(self, size: int = -1) -> bytes:
            if self.left <= 0:
                return self.last.pop() if self.last else b""
            taken = min(size, self.left)
            self.left -= taken
            return b"x" * taken

    tracemalloc.start()
    try:
        assert list(lines(Long())) == [(1, None), (2, b"{}")]
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 2 * 1024 * 1024


@pytest.mark.parametrize("size", [1, 2, 7, 65536])
def test_lines_are_the_same_however_they_come(size: int) -> None:
    class Slow(io.BytesIO):
        def read(self, count: int | None = -1) -> bytes:
            return super().read(size)

    said = Slow(b"\n{1}\r\n\n \n{2}\n" + b"a" * 20 + b"\n{3}")
    assert list(lines(said)) == [(2, b"{1}\r"), (5, b"{2}"), (6, b"a" * 20), (7, b"{3}")]


def test_one_correction_in_vain_spoils_no_other_line(api: Api, pack: Pack) -> None:
    first = api().post(CHECKS, world.check_body(pack)).json()["id"]
    answers, summary = sent(
        api(),
        [line(current_a=1), line(supersedes=first), line(supersedes=first, current_a=2), line(current_a=3)],
    )  # fmt: skip
    assert statuses(answers) == {1: 201, 2: 201, 3: 409, 4: 201}
    assert answers[2]["errors"][0]["pointer"] == "/supersedes"
    assert summary == {"stored": 3, "repeated": 0, "refused": 1}
    revisions = VoltageCheck.objects.order_by("revision").values_list("revision", flat=True)
    assert list(revisions) == [2, 3, 4, 5]
    pack.refresh_from_db()
    assert pack.revision == 5


def test_a_key_that_is_none_is_told_before_a_line_is_read(machine: APIClient, pack: Pack) -> None:
    before = world.contents()
    response = machine.post(
        CHECKS, line(), content_type=NDJSON, headers={"Idempotency-Key": "x" * 201}
    )
    assert response.status_code == 400
    assert world.contents() == before


def test_the_desk_may_not_stream(api: Api, pack: Pack) -> None:
    before = world.contents()
    desk = api("desk")
    response = desk.post(CHECKS, line(), content_type=NDJSON)
    assert response.status_code == 403
    assert not VoltageCheck.objects.exists()
    assert before != world.contents()  # the token alone


def test_a_line_repeated_gets_what_the_first_got(machine: APIClient, pack: Pack) -> None:
    bad = line(external_id="x", voltages_v=[99.0, *world.healthy_v()[1:]])
    good = line(external_id="y")
    answers, summary = sent(machine, [good, bad, bad, good, line(external_id="x")])
    assert statuses(answers) == {1: 201, 2: 422, 3: 422, 4: 200, 5: 201}
    assert answers[2]["errors"] == answers[1]["errors"]
    assert summary == {"stored": 2, "repeated": 1, "refused": 2}


def test_of_two_corrections_of_one_record_the_second_is_refused_each_time(
    api: Api, pack: Pack
) -> None:
    old = api().post(CHECKS, world.check_body(pack)).json()["id"]
    first, second = (
        line(supersedes=old, external_id=name, current_a=current)
        for name, current in (("a", 1), ("b", 2))
    )
    other = line(external_id="b", current_a=3)
    answers, _ = sent(api(), [first, second, second, other])
    assert statuses(answers) == {1: 201, 2: 409, 3: 409, 4: 201}
    codes = [answer["errors"][0]["code"] for answer in answers[1:3]]
    assert codes == ["already_voided", "already_voided"]  # and the name of what was refused is free
    assert VoltageCheck.objects.count() == 3
