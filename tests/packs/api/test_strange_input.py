"""What nobody sends by mistake is refused, or taken, and never breaks anything."""

from base64 import urlsafe_b64encode
from typing import Any
from urllib.parse import quote

import pytest

from packs.models import Pack
from tests import world
from tests.packs.api.conftest import Api

V = "/api/v1/"


@pytest.fixture(autouse=True)
def pack(db: None) -> Pack:
    return world.pack()


CURSORS = [
    "[" * 2900,
    '["before","0001-01-01T00:00:00+23:59",1]',
    '["after","9999-12-31T23:59:59-23:59",1]',
    '["after",1e400,1]',
]


@pytest.mark.parametrize("said", CURSORS)
@pytest.mark.parametrize("path", ["packs/TP-0001/history/", "voltage-checks/"])
def test_a_cursor_that_was_never_answered(api: Api, path: str, said: str) -> None:
    cursor = urlsafe_b64encode(said.encode()).decode().rstrip("=")
    refused = api().get(f"{V}{path}?cursor={cursor}")
    assert (refused.status_code, refused.json()["errors"][0]["code"]) == (400, "bad_cursor")


def test_a_page_size_of_many_digits(api: Api) -> None:
    for path in ("packs/TP-0001/history/", "packs/"):
        assert api().get(f"{V}{path}?page_size={'9' * 4400}").status_code == 400


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("vehicles/", {"vin": "1" * 17, "plate": "ß" * 20}),
        ("customers/", {"name": "ß" * 150}),
        ("customers/", {"name": "ﷺ" * 200}),
        ("modules/", {"tag": "電" * 40, "form": "prismatic", "cells": 6}),
        ("modules/", {"tag": "𠀀" * 40, "form": "prismatic", "cells": 6}),
    ],
)
def test_letters_that_grow(api: Api, path: str, said: dict[str, Any]) -> None:
    answers = [api().post(V + path, said, headers={"Idempotency-Key": "k"}) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert api().get(answers[1]["Location"]).json() == answers[0].json()


TYPE = {
    "name": "x", "chemistry": "nimh", "module_count": 28, "cells_per_module": 6,
    "cell_nominal_v": 1.2, "rated_capacity_ah": 6.5, "reference_load_a": 20,
    "load_spread_limit_v": 1.2, "rest_spread_limit_v": 0.3,
}  # fmt: skip


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("equipment/", {"kind": "meter"}),
        ("people/", {"name": "x", "roles": ["bench"]}),
        ("sites/", {"name": "x", "time_zone": "Asia/Tokyo"}),
        ("pack-types/", TYPE),
        ("lots/", {}),
    ],
)
def test_an_address_is_written_in_plain_letters(api: Api, path: str, said: dict[str, Any]) -> None:
    made = api().post(V + path, {"code": "電 1", **said})
    assert made.status_code == 201, made.content
    assert made["Location"] == f"{V}{path}{quote('電 1')}/"
    assert api().get(made["Location"]).json() == made.json()


def test_a_change_of_nothing_is_no_new_version(api: Api) -> None:
    manager = api()
    before = world.contents()
    refused = manager.patch(f"{V}packs/TP-0001/", {}, headers={"If-Match": '"1"'})
    assert (refused.status_code, refused.json()["errors"][0]["code"]) == (400, "nothing_to_change")
    assert world.contents() == before
