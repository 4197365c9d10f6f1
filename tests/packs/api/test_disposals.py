"""disposals/: what went to a recycler leaves once, and is scrapped with it."""

from typing import Any

import pytest

from packs.models import Component, Disposal, DisposalLine, Module
from tests import world
from tests.packs import heritage
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

pytestmark = pytest.mark.django_db
URL = "/api/v1/disposals/"


def body(**changes: Any) -> dict[str, Any]:
    said = {"recycler": "Lowfield Metals", "reference": "N-17", "weight_kg": 41.5}
    return {**said, "at": "2024-05-02T11:00:00Z", "modules": ["M-1"], **changes}


@pytest.fixture(autouse=True)
def shelf() -> None:
    world.module("M-1"), world.module("M-2", status="quarantined")


def part(api: Api, tag: str = "F-1") -> None:
    assert api("bench").post("/api/v1/components/", {"tag": tag, "kind": "fuse"}).status_code == 201


def test_modules_and_parts_leave_and_are_scrapped(api: Api) -> None:
    part(api)
    world.person("kim")
    said = body(modules=["M-1", "M-2"], components=["F-1"], done_by="kim", note="two crates")
    answer = api("bench").post(URL, said)
    assert answer.status_code == 201, answer.content
    told = answer.json()
    assert {name: told[name] for name in said} == said
    rows: list[Any] = [*Module.objects.all(), Component.objects.get()]
    for row in rows:
        assert (row.status, row.status_reason, row.version) == (
            "scrapped",
            "to Lowfield Metals N-17",
            2,
        )
    assert api("desk").get(answer["Location"]).json() == told


def test_sent_again_it_is_found(api: Api) -> None:
    said = body(external_id="d-1")
    del said["at"]
    first, again = (api("bench").post(URL, said) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    other = api("bench").post(URL, {**said, "modules": ["M-2"]})
    assert fault(other) == (409, "/external_id", "external_id_taken")
    assert DisposalLine.objects.count() == 1


def test_each_leaves_once_and_comes_back_only_by_a_void(api: Api) -> None:
    bench = api("bench")
    first = bench.post(URL, body()).json()["id"]
    assert fault(bench.post(URL, body(modules=["M-2", "M-1"]))) == (
        409,
        "/modules/1",
        "module_left",
    )
    address = "/api/v1/modules/M-1/"
    back = {"status": "stock"}
    refused = bench.patch(address, back, headers={"If-Match": '"2"'})
    assert fault(refused) == (409, "/status", "module_left")
    void = api("manager").post(f"{URL}{first}/void/", {"reason": "still here"})
    assert void.status_code == 200
    assert bench.patch(address, back, headers={"If-Match": '"2"'}).status_code == 200
    assert bench.post(URL, body()).status_code == 201


def test_a_correction_takes_its_place(api: Api) -> None:
    first = api("bench").post(URL, body()).json()["id"]
    again = api("bench").post(URL, body(weight_kg=43.0, supersedes=first))
    assert again.status_code == 201, again.content
    assert Disposal.objects.get(voided_at=None).weight_kg == 43.0


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"modules": []}, (422, "/modules", "nothing_leaves")),
        ({"modules": ["M-1", "M-1"]}, (422, "/modules/1", "named_twice")),
        ({"modules": ["none"]}, (422, "/modules/0", "unknown_module")),
        ({"components": ["none"]}, (422, "/components/0", "unknown_component")),
        ({"modules": ["M-9"]}, (409, "/modules/0", "module_fitted")),
        ({"modules": ["M-8"]}, (409, "/modules/0", "module_reserved")),
        ({"weight_kg": 0}, (422, "/weight_kg", "min_value")),
        ({"recycler": ""}, (400, "/recycler", "blank")),
        ({"at": "2100-01-01T00:00:00Z"}, (422, "/at", "in_the_future")),
    ],
)
def test_what_can_not_leave_is_refused(
    api: Api, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    world.module("M-8", status="reserved"), world.module("M-9")
    heritage.fit(world.pack(), 3, fitted="M-9")
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, body(**changes))) == refusal
    assert world.contents() == before


def test_roles_and_filters(api: Api) -> None:
    part(api)
    assert api("desk").post(URL, body()).status_code == 403
    assert api("machine").get(URL).status_code == 403
    one = api("bench").post(URL, body()).json()["id"]
    later = {"at": "2024-05-03T11:00:00Z", "modules": [], "components": ["F-1"]}
    two = api("bench").post(URL, body(recycler="Other", **later)).json()["id"]

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("desk").get(URL, asked).json()["results"]]

    assert found() == [two, one]
    assert found(module="M-1") == found(recycler="Lowfield Metals") == [one]
    assert found(component="F-1") == found(since="2024-05-03T00:00:00Z") == [two]
