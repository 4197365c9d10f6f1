"""The same thing sent twice is there once: by external id, and by Idempotency-Key."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from packs.api.voltage_checks import VoltageChecks
from packs.models import Client, KeptAnswer, Pack, VoltageCheck
from packs.writes import answers
from tests import world
from tests.packs.api.conftest import Api

CHECKS = "/api/v1/voltage-checks/"


@pytest.fixture
def pack(db: None) -> Pack:
    return world.pack()


@pytest.fixture
def machine(api: Api) -> APIClient:
    return api("machine")


def post(client: APIClient, body: Any, key: str | None = None) -> Any:
    headers = {} if key is None else {"Idempotency-Key": key}
    return client.post(CHECKS, body, headers=headers)


def test_equal_content_again_is_200_with_the_stored_record(machine: APIClient, pack: Pack) -> None:
    body = world.check_body(pack, external_id="7", voltages_v=[7.9, None, *[7.95] * 26])
    first = machine.post(CHECKS, body)
    before = world.contents()
    again = {**dict(reversed(body.items())), "odometer_km": None}
    again["taken_at"] = world.later(days=1).isoformat().replace("09:00:00+00:00", "10:00:00+01:00")
    second = machine.post(CHECKS, again)
    assert (first.status_code, second.status_code) == (201, 200)
    assert second.json() == first.json()
    assert second.headers["Location"] == first.headers["Location"]
    assert world.contents() == before


def test_a_voided_record_still_has_its_external_id(
    api: Api, machine: APIClient, pack: Pack
) -> None:
    body = world.check_body(pack, external_id="7")
    first = machine.post(CHECKS, body).json()
    assert api().post(f"{CHECKS}{first['id']}/void/", {"reason": "wrong car"}).status_code == 200
    again = machine.post(CHECKS, body)
    assert (again.status_code, again.json()["id"]) == (200, first["id"])
    assert again.json()["void_reason"] == "wrong car"
    assert post(machine, {**body, "current_a": 1.0}).status_code == 409


def test_an_external_id_is_a_clients_own(api: Api, pack: Pack) -> None:
    body = world.check_body(pack, external_id="7")
    ids = {api("machine", name).post(CHECKS, body).json()["id"] for name in ("left", "right")}
    assert len(ids) == 2


def test_a_client_survives_a_new_token(api: Api, pack: Pack) -> None:
    body = world.check_body(pack, external_id="7")
    assert api("machine", "logger").post(CHECKS, body).status_code == 201
    assert api("machine", "logger").post(CHECKS, body).status_code == 200


def test_a_list_sent_again_is_200(machine: APIClient, pack: Pack) -> None:
    bodies = [world.check_body(pack, external_id=str(i)) for i in range(3)]
    first = machine.post(CHECKS, bodies)
    before = world.contents()
    second = machine.post(CHECKS, bodies)
    assert (first.status_code, second.status_code) == (201, 200)
    assert [c["id"] for c in second.json()] == [c["id"] for c in first.json()]
    assert world.contents() == before


def test_a_key_answers_the_first_answer(machine: APIClient, pack: Pack) -> None:
    body = world.check_body(pack)
    first = post(machine, body, "k1")
    before = world.contents()
    second = post(machine, dict(reversed(body.items())), "k1")
    assert (first.status_code, second.status_code) == (201, 201)
    assert second.json() == first.json()
    assert second.headers["Location"] == first.headers["Location"]
    assert world.contents() == before
    assert post(machine, body, "k2").json()["id"] != first.json()["id"]


def test_a_key_is_a_clients_own(api: Api, pack: Pack) -> None:
    body = world.check_body(pack)
    ids = {post(api("machine", name), body, "k1").json()["id"] for name in ("left", "right")}
    assert len(ids) == 2


def test_a_key_with_another_body_is_422(machine: APIClient, pack: Pack) -> None:
    assert post(machine, world.check_body(pack), "k1").status_code == 201
    before = world.contents()
    other = post(machine, world.check_body(pack, current_a=1.0), "k1")
    assert other.status_code == 422
    assert other.json()["errors"][0]["code"] == "idempotency_key_reused"
    assert world.contents() == before


def test_a_key_at_another_address_is_422(api: Api, pack: Pack) -> None:
    manager = api()
    stored = post(manager, world.check_body(pack), "k1").json()
    voided = manager.post(
        f"{CHECKS}{stored['id']}/void/", {"reason": "x"}, headers={"Idempotency-Key": "k1"}
    )
    assert voided.status_code == 422


def test_a_voiding_sent_twice_with_a_key_is_done_once(api: Api, pack: Pack) -> None:
    manager = api()
    path = f"{CHECKS}{post(manager, world.check_body(pack)).json()['id']}/void/"
    first, second = (
        manager.post(path, {"reason": "wrong car"}, headers={"Idempotency-Key": "v1"})
        for _ in range(2)
    )
    assert (first.status_code, second.status_code) == (200, 200)
    assert first.json() == second.json()
    assert manager.post(path, {"reason": "wrong car"}).status_code == 409


def claimed(machine: APIClient, body: Any, started: timedelta) -> None:
    """Leave the key as a twin leaves it that began so long ago and has not answered."""
    post(machine, body, "k1")
    KeptAnswer.objects.update(
        status=None, body=None, location="", started_at=timezone.now() - started
    )


def test_while_a_twin_runs_it_is_409(machine: APIClient, pack: Pack) -> None:
    body = world.check_body(pack)
    claimed(machine, body, timedelta(seconds=10))
    before = world.contents()
    twin = post(machine, body, "k1")
    assert (twin.status_code, twin.json()["errors"][0]["code"]) == (409, "twin_running")
    assert world.contents() == before


def test_a_twin_that_came_while_the_first_was_at_work(
    api: Api, pack: Pack, monkeypatch: pytest.MonkeyPatch
) -> None:
    body, told = world.check_body(pack), []
    store: Callable[..., Any] = VoltageChecks.write

    def asks_again_meanwhile(door: VoltageChecks, *given: Any) -> Any:
        monkeypatch.setattr(VoltageChecks, "write", store)
        told.append(post(api("machine"), body, "k1").status_code)
        return store(door, *given)

    monkeypatch.setattr(VoltageChecks, "write", asks_again_meanwhile)
    assert post(api("machine"), body, "k1").status_code == 201
    assert told == [409]
    assert VoltageCheck.objects.count() == 1


def test_a_twin_that_died_leaves_the_key_to_the_next(machine: APIClient, pack: Pack) -> None:
    body = world.check_body(pack, external_id="7")
    claimed(machine, body, answers.TWIN_RUNS_FOR + timedelta(seconds=1))
    again = post(machine, body, "k1")
    assert again.status_code == 200
    assert post(machine, body, "k1").json() == again.json()


def test_an_error_is_not_kept(machine: APIClient, pack: Pack) -> None:
    body = world.check_body(pack)
    assert post(machine, {**body, "pack": "NOBODY"}, "k1").status_code == 422
    assert not KeptAnswer.objects.exists()
    assert post(machine, body, "k1").status_code == 201


def test_a_breakdown_is_not_kept(api: Api, pack: Pack, monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(*_: Any) -> Any:
        raise ZeroDivisionError

    with monkeypatch.context() as broken:
        broken.setattr(VoltageChecks, "write", breaks)
        assert post(api("machine"), world.check_body(pack), "k1").status_code == 500
    assert post(api("machine"), world.check_body(pack), "k1").status_code == 201


def test_an_answer_is_kept_for_30_days(machine: APIClient, pack: Pack) -> None:
    body = world.check_body(pack)
    first = post(machine, body, "k1").json()
    post(machine, body, "k2")
    almost = timezone.now() - timedelta(days=29, hours=23)
    KeptAnswer.objects.update(started_at=almost)
    assert post(machine, body, "k1").json()["id"] == first["id"]
    KeptAnswer.objects.update(started_at=almost - timedelta(hours=2))
    assert post(machine, body, "k1").json()["id"] != first["id"]
    assert list(KeptAnswer.objects.values_list("key", flat=True)) == ["k1"]


@pytest.mark.parametrize("key", ["", "x" * 201, "a\x7fb"])
def test_what_is_no_key_is_400(machine: APIClient, pack: Pack, key: str) -> None:
    before = world.contents()
    response = post(machine, world.check_body(pack), key)
    assert response.status_code == 400
    assert response.json()["errors"][0]["code"] == "bad_idempotency_key"
    assert world.contents() == before


def test_a_list_with_a_key_is_stored_once(machine: APIClient, pack: Pack) -> None:
    bodies = [world.check_body(pack), world.check_body(pack)]
    first, second = post(machine, bodies, "k1"), post(machine, bodies, "k1")
    assert first.json() == second.json()
    assert VoltageCheck.objects.count() == 2
    assert Client.objects.filter(name="a machine").count() == 1


def test_who_lost_the_key_to_a_twin_stores_nothing(
    machine: APIClient, pack: Pack, monkeypatch: pytest.MonkeyPatch
) -> None:
    store: Callable[..., Any] = VoltageChecks.write

    def takes_too_long(door: VoltageChecks, *given: Any) -> Any:
        KeptAnswer.objects.update(started_at=timezone.now() + timedelta(seconds=1))
        return store(door, *given)

    monkeypatch.setattr(VoltageChecks, "write", takes_too_long)
    late = post(machine, world.check_body(pack), "k1")
    assert (late.status_code, late.json()["errors"][0]["code"]) == (409, "twin_running")
    assert not VoltageCheck.objects.exists()


def test_who_did_it_is_part_of_what_was_said(api: Api, pack: Pack) -> None:
    world.person("kim"), world.person("lee")
    bench = api("bench")
    opened = {"vehicle": "1" * 17, "opened_at": world.later(days=1).isoformat()}
    assert api("desk").post("/api/v1/vehicles/", {"vin": "1" * 17}).status_code == 201
    packless = api("desk").post("/api/v1/visits/", opened).json()["id"]
    about = {"pack": pack.serial, "at": world.later(days=1).isoformat(), "findings": []}
    for path, said in (
        ("inspections/", about),
        ("trouble-codes/", {"visit": packless, "code": "P0A80"}),
    ):
        body = {**said, "external_id": "7"}
        told = [
            bench.post(f"/api/v1/{path}", {**body, "done_by": name}).status_code
            for name in ("kim", "kim", "lee")
        ]
        assert told == [201, 200, 409]
