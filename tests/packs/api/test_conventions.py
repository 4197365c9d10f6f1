"""Every bad input gets its error, which says where and what would do, and changes nothing."""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.http import HttpResponse

from packs.api.parsers import BODY_LIMIT, DIGITS_MAX
from packs.models import Pack, VoltageCheck
from tests import world
from tests.packs.api.conftest import Api

CHECKS = "/api/v1/voltage-checks/"
JSON = "application/json"


@pytest.fixture
def pack(db: None) -> Pack:
    return world.pack()


def problem(response: HttpResponse, status: int, code: str, pointer: str) -> str:
    """The sentence of the fault with that code and pointer."""
    told = json.loads(response.content)
    assert response.headers["Content-Type"] == "application/problem+json"
    assert (response.status_code, told["status"]) == (status, status), told
    assert set(told) == {"type", "title", "status", "detail", "errors"}
    found = [e["detail"] for e in told["errors"] if (e["code"], e["pointer"]) == (code, pointer)]
    assert found, told["errors"]
    return str(found[0])


def ahead(minutes: float) -> str:
    return (datetime.now(UTC) + timedelta(minutes=minutes)).isoformat()


def at_position(place: int, value: Any) -> dict[str, Any]:
    volts: list[Any] = [*world.healthy_v()]
    volts[place] = value
    return {"voltages_v": volts}


REFUSED: list[tuple[str, dict[str, Any], int, str, str, str]] = [
    # what, what is changed in a good check, status, code, pointer, a word of the remedy
    ("count", {"voltages_v": [7.9] * 27}, 422, "wrong_count", "/voltages_v", "28 at module"),
    ("empty", {"voltages_v": []}, 422, "wrong_count", "/voltages_v", "voltages"),
    ("too high", at_position(8, 11.0), 422, "out_of_range", "/voltages_v/8", "Read it again"),
    ("too low", at_position(0, -9.7), 422, "out_of_range", "/voltages_v/0", "null"),
    ("kilovolts", at_position(3, 2e5), 422, "out_of_range", "/voltages_v/3", "send volts"),
    ("unread", {"voltages_v": [7.9, 7.9, *[None] * 26]}, 422, "too_few_readable", "/voltages_v", "leads"),
    ("millivolts", {"voltages_v": [7900 + i for i in range(28)]}, 422, "factor_1000", "/voltages_v", "divide"),
    ("cell", {"voltages_v": [1.31] * 28}, 422, "cell_for_block", "/voltages_v", "level cell"),
    ("pack", {"pack": "NOBODY"}, 422, "unknown_pack", "/pack", "packs/"),
    ("person", {"done_by": "nobody"}, 422, "unknown_person", "/done_by", "people/"),
    ("tool", {"equipment": "none"}, 422, "unknown_equipment", "/equipment", "equipment/"),
    ("visit", {"visit": "vi_00000000"}, 422, "unknown_visit", "/visit", "as it was answered"),
    ("visit kind", {"visit": "pk_00000000"}, 422, "unknown_visit", "/visit", "as it was answered"),
    ("unknown", {"volts": 1, "a/b~c": 2}, 400, "unknown_field", "/a~1b~0c", "leave it out"),
    ("missing", {"pack": None}, 400, "null", "/pack", "null"),
    ("ahead", {"taken_at": ahead(24 * 60)}, 422, "in_the_future", "/taken_at", "clock"),
    ("naive", {"taken_at": "2024-03-02T09:00:00"}, 400, "not_an_instant", "/taken_at", "offset"),
    ("no day", {"taken_at": "2024-02-30T09:00:00Z"}, 400, "no_such_instant", "/taken_at", "correct"),
    ("no number", {"taken_at": 1709370000}, 400, "not_an_instant", "/taken_at", "offset"),
    ("true", {"current_a": True}, 400, "not_a_number", "/current_a", "JSON number"),
    ("text", {"current_a": "0.0"}, 400, "not_a_number", "/current_a", "without quotes"),
    ("true volts", at_position(5, True), 400, "not_a_number", "/voltages_v/5", "null"),
    ("text volts", at_position(5, "7.9"), 400, "not_a_number", "/voltages_v/5", "without quotes"),
    ("list volts", {"voltages_v": 7.9}, 400, "not_a_list", "/voltages_v", "each position"),
    ("level", {"level": "row"}, 400, "not_a_choice", "/level", "block, module, cell"),
    ("rest", {"current_a": 5.1}, 422, "current_against_condition", "/current_a", "load"),
    ("load", {"condition": "load"}, 422, "current_against_condition", "/current_a", "positive"),
    ("charge", {"condition": "charge", "current_a": 3}, 422, "current_against_condition", "/current_a", "negative"),
    ("current", {"condition": "load", "current_a": 2000.5}, 422, "max_value", "/current_a", "2000"),
    ("heat", {"temperature_c": 91}, 422, "max_value", "/temperature_c", "90"),
    ("cold", {"temperatures_c": {"inlet": -41}}, 422, "min_value", "/temperatures_c/inlet", "-40"),
    ("roof", {"temperatures_c": {"roof": 20}}, 400, "unknown_field", "/temperatures_c/roof", "name"),
    ("far", {"odometer_km": 3_000_001}, 422, "max_value", "/odometer_km", "3000000"),
    ("fraction", {"odometer_km": 1.5}, 400, "not_whole", "/odometer_km", "fraction"),
    ("huge", {"odometer_km": 10**40}, 422, "max_value", "/odometer_km", "3000000"),
    ("monitor", {"order": "monitor"}, 422, "no_monitor_order", "/order", "monitor_order"),
    ("blank id", {"external_id": ""}, 400, "blank", "/external_id", "blank"),
    ("long id", {"external_id": "x" * 201}, 400, "max_length", "/external_id", "200"),
    ("control", {"instrument": "a\x1fb"}, 400, "bad_text", "/instrument", "remove"),
    ("correction", {"supersedes": "vc_00000000"}, 422, "unknown_voltage_check", "/supersedes", "answered"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "status", "code", "pointer", "remedy"),
    [case[1:] for case in REFUSED],
    ids=[case[0] for case in REFUSED],
)
def test_a_bad_check_is_refused_and_changes_nothing(
    api: Api, pack: Pack, changes: Any, status: int, code: str, pointer: str, remedy: str
) -> None:
    machine, before = api("machine"), world.contents()
    response = machine.post(CHECKS, world.check_body(pack, **changes))
    assert remedy in problem(response, status, code, pointer)
    assert world.contents() == before


@pytest.mark.parametrize(
    ("changes", "status", "code", "pointer", "remedy"),
    [case[1:] for case in REFUSED],
    ids=[case[0] for case in REFUSED],
)
def test_in_a_list_it_refuses_the_whole_list(
    api: Api, pack: Pack, changes: Any, status: int, code: str, pointer: str, remedy: str
) -> None:
    machine, before = api("machine"), world.contents()
    bodies = [world.check_body(pack), world.check_body(pack, **changes)]
    response = machine.post(CHECKS, bodies)
    assert remedy in problem(response, status, code, f"/1{pointer}")
    assert world.contents() == before


def raw(**changes: Any) -> bytes:
    return json.dumps(world.check_body("TP-0001", **changes)).encode()


RAW: list[tuple[str, Callable[[], bytes], int, str, str]] = [
    ("NaN", lambda: raw(current_a=0.5).replace(b"0.5", b"NaN"), 400, "not_a_number", "/current_a"),
    ("infinite", lambda: raw(current_a=0.5).replace(b"0.5", b"Infinity"), 400, "not_a_number", "/current_a"),
    ("1e999", lambda: raw(current_a=0.5).replace(b"0.5", b"1e999"), 400, "not_a_number", "/current_a"),
    ("digits", lambda: raw(odometer_km=None).replace(b"null", b"7" * 5000), 400, "not_json", ""),
    ("brackets", lambda: b"[" * 100_000, 400, "too_deep", ""),
    ("deep", lambda: b"[" * 40 + b"]" * 40, 400, "too_deep", ""),
    ("deep objects", lambda: b'{"a":' * 40 + b"1" + b"}" * 40, 400, "too_deep", ""),
    ("cut", lambda: raw()[:-1], 400, "not_json", ""),
    ("twice", lambda: raw() + raw(), 400, "not_json", ""),
    ("nothing", lambda: b" ", 400, "not_json", ""),
    ("latin-1", lambda: raw(instrument="Gerät").replace(b"\\u00e4", b"\xe4"), 400, "not_utf8", ""),
    ("NUL", lambda: raw(instrument="a\x00b"), 400, "bad_text", "/instrument"),
    ("half a character", lambda: raw(instrument="\ud800"), 400, "bad_text", "/instrument"),
    ("NUL in a name", lambda: raw(**{"a\x00": 1}), 400, "bad_text", ""),
    ("a number", lambda: b"7", 400, "not_an_object", ""),
    ("9 MB", lambda: raw(instrument="x" * 9_000_000), 413, "body_too_large", ""),
]  # fmt: skip


@pytest.mark.parametrize(
    ("body", "status", "code", "pointer"), [case[1:] for case in RAW], ids=[case[0] for case in RAW]
)
def test_what_is_no_good_json_changes_nothing(
    api: Api, pack: Pack, body: Callable[[], bytes], status: int, code: str, pointer: str
) -> None:
    machine, before = api("machine"), world.contents()
    response = machine.post(CHECKS, body(), content_type=JSON)
    assert problem(response, status, code, pointer)
    assert len(response.content) < 2000
    assert world.contents() == before


def test_a_whole_number_may_have_so_many_digits_and_no_more(api: Api, pack: Pack) -> None:
    machine = api("machine")
    for count, code, pointer in (
        (DIGITS_MAX, "max_value", "/soc_pct"),
        (DIGITS_MAX + 1, "not_json", ""),
    ):
        body = raw(soc_pct=None).replace(b'"soc_pct": null', b'"soc_pct": ' + b"9" * count)
        status = 422 if pointer else 400
        assert problem(machine.post(CHECKS, body, content_type=JSON), status, code, pointer)


def test_a_body_just_within_the_limit_is_read(api: Api, pack: Pack) -> None:
    body = raw() + b" " * (BODY_LIMIT - len(raw()))
    assert api("machine").post(CHECKS, body, content_type=JSON).status_code == 201


@pytest.mark.parametrize("kind", ["text/csv", "application/x-www-form-urlencoded", "", "json"])
def test_another_content_type_is_415(api: Api, pack: Pack, kind: str) -> None:
    machine: Any = api("machine")
    before = world.contents()
    response = machine.generic("POST", CHECKS, raw(), content_type=kind)
    assert problem(response, 415, "unsupported_media_type", "")
    assert world.contents() == before


def test_more_than_a_list_may_hold_is_413(api: Api, pack: Pack) -> None:
    machine, before = api("machine"), world.contents()
    response = machine.post(CHECKS, [{}] * 5001)
    assert "stream" in problem(response, 413, "too_many", "")
    assert world.contents() == before


def test_an_external_id_with_other_content_is_409(api: Api, pack: Pack) -> None:
    machine = api("machine")
    body = world.check_body(pack, external_id="logger-7/1")
    assert machine.post(CHECKS, body).status_code == 201
    before = world.contents()
    other = machine.post(CHECKS, {**body, "current_a": 0.1})
    assert "another external_id" in problem(other, 409, "external_id_taken", "/external_id")
    assert world.contents() == before


def test_one_external_id_for_two_things_in_a_list_is_409(api: Api, pack: Pack) -> None:
    machine, before = api("machine"), world.contents()
    body = world.check_body(pack, external_id="logger-7/1")
    response = machine.post(CHECKS, [body, {**body, "current_a": 0.1}])
    assert problem(response, 409, "external_id_taken", "/1/external_id")
    assert world.contents() == before


def test_the_same_thing_twice_in_a_list_is_there_once(api: Api, pack: Pack) -> None:
    body = world.check_body(pack, external_id="logger-7/1")
    response = api("machine").post(CHECKS, [body, body])
    assert response.status_code == 201
    assert len({check["id"] for check in response.json()}) == 1
    assert VoltageCheck.objects.count() == 1


def test_before_the_pack_was_built_is_422(api: Api, db: None) -> None:
    pack = world.pack("TP-0002", at=world.later(days=3), built_on=world.later(days=3).date())
    machine, before = api("machine"), world.contents()
    response = machine.post(CHECKS, world.check_body(pack))
    assert "correct the time" in problem(response, 422, "before_built", "/taken_at")
    assert world.contents() == before
    on_the_day = world.check_body(pack, taken_at=world.later(days=3).isoformat())
    assert machine.post(CHECKS, on_the_day).status_code == 201


def test_five_minutes_of_clock_error_are_forgiven(api: Api, pack: Pack) -> None:
    body = world.check_body(pack, taken_at=ahead(4.9))
    assert api("machine").post(CHECKS, body).status_code == 201


def test_who_has_thousands_of_faults_is_told_the_first(api: Api, pack: Pack) -> None:
    response = api("machine").post(CHECKS, {f"field{i}": 1 for i in range(5000)})
    assert response.status_code == 400
    assert len(response.json()["errors"]) == 100


@pytest.mark.parametrize("query", [{"cursor": "rubbish"}, {"ordering": "pack"}, {"colour": "red"}, {"level": "row"}, {"taken_since": "yesterday"}, {"voided": "perhaps"}, {"cursor": "cD0lMDA="}])  # fmt: skip
def test_a_bad_query_is_400(api: Api, pack: Pack, query: dict[str, str]) -> None:
    world.check(pack)
    response = api("desk").get(CHECKS, query)
    assert response.status_code == 400
    assert response.json()["errors"][0]["detail"]
