"""modules/: by their tags, with the stock state that people set and the one that swaps set."""

from typing import Any

import pytest

from packs.models import Edit, Module
from tests import world
from tests.packs.api.conftest import Api
from tests.world import later

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/modules/"


def body(tag: str = "M-1", **changes: Any) -> dict[str, Any]:
    return {"tag": tag, "form": "prismatic", "cells": 6, **changes}


def fit(api: Api, tag: str, serial: str, position: int = 3) -> None:
    answer = api().post(
        "/api/v1/swaps/",
        {
            "pack": serial,
            "done_at": later(days=10).isoformat(),
            "kind": "module",
            "changes": [{"position": position, "fitted": tag}],
        },
    )
    assert answer.status_code == 201


def test_a_module_with_where_it_came_from(api: Api) -> None:
    world.pack("TP-0009")
    api("bench").post("/api/v1/lots/", {"code": "L-7"})
    said = body("A 1", lot="L-7", donor_pack="tp-0009", status="on_test")
    answer = api("bench").post(ADDRESS, said)
    assert answer.status_code == 201
    told = answer.json()
    assert {name: told[name] for name in said} == {**said, "donor_pack": "TP-0009"}
    assert (told["pack"], told["position"], told["version"]) == (None, None, 1)
    found = api("machine").get(answer["Location"])
    assert (found.json(), found["ETag"]) == (told, '"1"')


def test_the_same_tag_again(api: Api) -> None:
    client = api("bench")
    first = client.post(ADDRESS, body())
    again = client.post(ADDRESS, body())
    assert (again.status_code, again.json()) == (200, first.json())
    other = client.post(ADDRESS, body(cells=8))
    assert (other.status_code, other.json()["errors"][0]["pointer"]) == (409, "/tag")
    assert Module.objects.get().cells == 6


@pytest.mark.parametrize(
    ("changes", "status", "pointer"),
    [
        ({"lot": "none"}, 422, "/lot"),
        ({"donor_pack": "none"}, 422, "/donor_pack"),
        ({"form": "round"}, 400, "/form"),
        ({"cells": "6"}, 400, "/cells"),
        ({"status": "lost"}, 400, "/status"),
        ({"tag": "a/b"}, 400, "/tag"),
        ({"pack": "TP-0001"}, 400, "/pack"),
    ],
)
def test_what_is_refused_changes_nothing(
    api: Api, changes: dict[str, Any], status: int, pointer: str
) -> None:
    client = api("bench")
    before = world.contents()
    answer = client.post(ADDRESS, body(**changes))
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer)
    assert world.contents() == before


def test_the_stock_state_changes_version_by_version(api: Api) -> None:
    client = api("bench")
    address = client.post(ADDRESS, body())["Location"]
    assert client.patch(address, {"status": "reserved"}).status_code == 428
    changed = client.patch(address, {"status": "reserved"}, headers={"If-Match": '"1"'})
    assert (changed.status_code, changed.json()["status"], changed["ETag"]) == (
        200,
        "reserved",
        '"2"',
    )
    stale = client.patch(address, {"status": "stock"}, headers={"If-Match": '"1"'})
    assert stale.status_code == 412
    other = client.patch(address, {"cells": 8}, headers={"If-Match": '"2"'})
    assert (other.status_code, other.json()["errors"][0]["pointer"]) == (400, "/cells")
    assert Edit.objects.get(kind="module").changes == {"status": ["stock", "reserved"]}


@pytest.mark.parametrize("status", ["stock", "scrapped"])
def test_a_module_that_sits_in_a_pack_stays_fitted(api: Api, status: str) -> None:
    world.pack()
    world.module("M-1")
    fit(api, "M-1", "TP-0001")
    client = api("bench")
    told = client.get(f"{ADDRESS}M-1/").json()
    assert (told["status"], told["pack"], told["position"]) == ("fitted", "TP-0001", 3)
    before = world.contents()
    answer = client.patch(f"{ADDRESS}M-1/", {"status": status}, headers={"If-Match": '"2"'})
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (409, "module_sits")
    assert world.contents() == before


def test_only_a_swap_fits_a_module(api: Api) -> None:
    world.module("M-1")
    answer = api("bench").patch(f"{ADDRESS}M-1/", {"status": "fitted"}, headers={"If-Match": '"1"'})
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (409, "fitted_by_a_swap")


@pytest.mark.parametrize(
    ("role", "write"), [("desk", 403), ("bench", 201), ("manager", 201), ("machine", 403)]
)
def test_roles(api: Api, role: str, write: int) -> None:
    client = api(role)
    assert client.get(ADDRESS).status_code == 200
    assert client.post(ADDRESS, body()).status_code == write


def test_lists(api: Api) -> None:
    world.pack()
    client = api("bench")
    client.post("/api/v1/lots/", {"code": "L-7"})
    client.post(ADDRESS, body("B", lot="L-7"))
    client.post(ADDRESS, body("A", donor_pack="TP-0001", form="pouch"))
    client.post(ADDRESS, body("C", cells=8, status="scrapped"))
    fit(api, "B", "TP-0001")

    def tags(query: str) -> list[str]:
        answer = client.get(f"{ADDRESS}?{query}")
        assert answer.status_code == 200
        return [row["tag"] for row in answer.json()["results"]]

    assert tags("") == ["A", "B", "C"]
    assert tags("ordering=-tag&page_size=2") == ["C", "B"]
    assert tags("lot=L-7") == ["B"]
    assert tags("donor_pack=tp-0001") == ["A"]
    assert tags("pack=tp-0001") == ["B"]
    assert tags("status=scrapped") == ["C"]
    assert tags("cells=8") == ["C"]
    assert tags("form=pouch") == ["A"]
    assert client.get(f"{ADDRESS}?colour=red").status_code == 400
    assert client.get(f"{ADDRESS}none/").status_code == 404


def patched(api: Api, version: int = 1, tag: str = "M-1", **changes: Any) -> Any:
    return api("bench").patch(f"{ADDRESS}{tag}/", changes, headers={"If-Match": f'"{version}"'})


def visit(api: Api, serial: str = "TP-0001") -> str:
    said = {"pack": serial, "opened_at": later(days=5).isoformat()}
    return str(api("bench").post("/api/v1/visits/", said).json()["id"])


def test_a_module_is_reserved_released_and_set_aside_with_a_reason(api: Api) -> None:
    world.pack()
    world.module()
    kept_for = visit(api)
    told = patched(api, status="reserved", status_reason="promised", reserved_for=kept_for).json()
    assert (told["status"], told["status_reason"]) == ("reserved", "promised")
    assert told["reserved_for"] == kept_for
    found = api("desk").get(ADDRESS, {"reserved_for": kept_for}).json()["results"]
    assert [row["tag"] for row in found] == ["M-1"]
    told = patched(api, 2, status="stock").json()
    assert (told["status_reason"], told["reserved_for"]) == ("", None)
    told = patched(api, 3, status="quarantined", status_reason="it leaks", shelf="Q-2").json()
    assert (told["status"], told["status_reason"], told["shelf"]) == (
        "quarantined",
        "it leaks",
        "Q-2",
    )
    told = patched(api, 4, generation="3", shelf=None).json()
    assert (told["status_reason"], told["generation"], told["shelf"]) == ("it leaks", "3", "")


def test_only_what_is_reserved_is_kept_for_a_visit(api: Api) -> None:
    world.pack()
    world.module()
    kept_for = visit(api)
    answer = patched(api, reserved_for=kept_for)
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (422, "not_reserved")
    answer = patched(api, status="reserved", reserved_for="vi_00000000")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/reserved_for")
    module = Module.objects.get()
    assert (module.version, module.status, module.reserved_for) == (1, "stock", None)


def test_where_a_module_lies_is_sent_with_it(api: Api) -> None:
    said = body(shelf="B-4", generation="2", status="quarantined", status_reason="it leaks")
    told = api("bench").post(ADDRESS, said).json()
    assert {name: told[name] for name in said} == said
    assert api("bench").post(ADDRESS, said).status_code == 200
    found = api("bench").get(ADDRESS, {"shelf": "B-4", "generation": "2"}).json()["results"]
    assert [row["tag"] for row in found] == ["M-1"]
