"""Of several things wrong, the first of the stated order is told: 401, 403, 404, 405, 415, 413,
428, 412, 400, 409, 422."""

import json
from typing import Any

import pytest
from rest_framework.test import APIClient

from packs.models import Pack, VoltageCheck
from packs.rules.identity import encode
from tests import world
from tests.packs.api.conftest import Api

CHECKS = "/api/v1/voltage-checks/"
NOTHING = f"{CHECKS}vc_00000000/"
JSON, CSV = "application/json", "text/csv"
TOO_MUCH = b" " * (9 * 1024 * 1024)


@pytest.fixture
def pack(db: None) -> Pack:
    return world.pack()


def address(check: VoltageCheck, tail: str = "") -> str:
    return f"{CHECKS}{encode(VoltageCheck.PREFIX, check.pk)}/{tail}"


def status(client: Any, method: str, path: str, body: Any = b"", kind: str = JSON, **more: str) -> int:  # fmt: skip
    data = body if isinstance(body, bytes) else json.dumps(body).encode()
    response = client.generic(method, path, data, content_type=kind, headers=more)
    assert 400 <= response.status_code < 500
    assert response.headers["Content-Type"] == "application/problem+json"
    assert response.json()["status"] == response.status_code
    return int(response.status_code)


@pytest.mark.parametrize("path", [CHECKS, NOTHING, f"{NOTHING}void/", "/api/v1/no-such-thing/"])
@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "PATCH", "DELETE", "OPTIONS"])
def test_without_a_token_there_is_nothing_but_401(pack: Pack, path: str, method: str) -> None:
    nobody: Any = APIClient()
    response = nobody.generic(method, path, TOO_MUCH, content_type=CSV)
    assert response.status_code == 401
    assert response.headers["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.parametrize("said", ["Bearer", "Bearer  ", "Bearer unknown", "Basic YTpi", "bearer é"])
def test_a_bad_token_is_401(pack: Pack, said: str) -> None:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=said)
    assert status(client, "GET", CHECKS) == 401


def test_the_wrong_role_is_told_before_what_is_not_there(api: Api, pack: Pack) -> None:
    assert status(api("desk"), "POST", f"{NOTHING}void/", TOO_MUCH, CSV) == 403
    assert status(api("desk"), "POST", CHECKS, TOO_MUCH, CSV) == 403
    assert status(api("machine"), "POST", f"{NOTHING}void/") == 403


def test_a_role_that_may_nothing_there_learns_nothing_by_another_method(
    api: Api, pack: Pack
) -> None:
    for method in ("HEAD", "PUT", "DELETE", "OPTIONS"):
        response = api("machine").generic(method, "/api/v1/failures/")
        assert response.status_code == 403, method


def test_what_is_not_there_is_told_before_the_method(api: Api, pack: Pack) -> None:
    assert status(api(), "DELETE", NOTHING) == 404
    assert status(api(), "POST", f"{NOTHING}void/", TOO_MUCH, CSV) == 404
    assert status(api(), "GET", f"{CHECKS}%00/") == 404
    assert status(api(), "GET", f"{CHECKS}vc_%F0%9F%94%8B/") == 404


def test_the_method_is_told_before_the_content_type(api: Api, pack: Pack) -> None:
    check = world.check(pack)
    for method in ("PUT", "PATCH", "DELETE", "POST", "OPTIONS"):
        assert status(api(), method, address(check), TOO_MUCH, CSV) == 405
    assert status(api(), "GET", address(check, "void/")) == 405


def test_allow_names_what_the_address_takes(api: Api, pack: Pack) -> None:
    check = world.check(pack)
    assert api().delete(address(check)).headers["Allow"] == "GET, HEAD"
    assert api().get(address(check, "void/")).headers["Allow"] == "POST"


def test_the_content_type_is_told_before_the_size(api: Api, pack: Pack) -> None:
    assert status(api(), "POST", CHECKS, TOO_MUCH, CSV) == 415


def test_the_size_is_told_before_the_shape(api: Api, pack: Pack) -> None:
    assert status(api(), "POST", CHECKS, TOO_MUCH) == 413


def test_the_shape_is_told_before_a_conflict(api: Api, pack: Pack) -> None:
    body = world.check_body(pack, external_id="one")
    assert api("machine").post(CHECKS, body).status_code == 201
    assert status(api("machine"), "POST", CHECKS, {**body, "current_a": "one"}) == 400


def test_the_shape_is_told_before_what_can_not_be(api: Api, pack: Pack) -> None:
    body = world.check_body(pack, current_a=9999, level="row")
    assert status(api(), "POST", CHECKS, body) == 400


def test_a_conflict_is_told_before_what_can_not_be(api: Api, pack: Pack) -> None:
    body = world.check_body(pack, external_id="one")
    assert api("machine").post(CHECKS, body).status_code == 201
    assert status(api("machine"), "POST", CHECKS, {**body, "voltages_v": [7.9]}) == 409


def test_in_a_list_the_kind_told_first_is_told_alone(api: Api, pack: Pack) -> None:
    body = world.check_body(pack, external_id="one")
    assert api("machine").post(CHECKS, body).status_code == 201
    bodies = [world.check_body(pack, voltages_v=[7.9]), {**body, "current_a": 1}]
    response = api("machine").post(CHECKS, bodies)
    assert response.status_code == 409
    assert [error["pointer"] for error in response.json()["errors"]] == ["/1/external_id"]
