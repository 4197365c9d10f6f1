"""part-tests/: what was measured of a part, and what it says against plate, slot and pack."""

from typing import Any

import pytest

from packs.models import HistoryEntry, PartTest
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_components import SWAPS, part, swap
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/part-tests/"
BENCH: dict[str, Any] = {
    "slots": [
        {"slot": "main_contactor:plus", "kind": "main_contactor", "ratings": {"coil_ohm": 30, "contact_mohm": 0.5}},
        {"slot": "fuse:1", "kind": "fuse", "ratings": {"rated_a": 100}},
    ],
    "bus": {"capacitance_uf": 1000, "pack_resistance_mohm": 268.8},
}  # fmt: skip


@pytest.fixture(autouse=True)
def pack(db: None) -> None:
    world.pack_type(max_cell_v=1.6, **BENCH)
    world.pack()


def body(**changes: Any) -> dict[str, Any]:
    said = {"at": "2024-03-15T09:00:00Z", "measured": {"coil_ohm": 31, "contact_mohm": 0.7}}
    return {**said, **changes}


def by_slot(**changes: Any) -> dict[str, Any]:
    return body(pack="TP-0001", slot="main_contactor:plus", **changes)


def test_a_test_by_slot_is_judged_by_the_type(api: Api) -> None:
    response = api("bench").post(URL, by_slot())
    assert response.status_code == 201, response.json()
    told = response.json()
    assert (told["kind"], told["component"], told["verdict"]) == ("main_contactor", None, "fails")
    assert [(row["figure"], row["passes"]) for row in told["verdicts"]] == [
        ("contact_mohm", False), ("coil_ohm", True),
    ]  # fmt: skip
    line = HistoryEntry.objects.get(kind="part_test")
    assert line.summary == "Part tested: main contactor in main contactor:plus"
    assert api("desk").get(response["Location"]).json() == told


def test_a_part_by_its_tag_is_of_the_pack_that_it_sat_in(api: Api) -> None:
    part(api, "F-1", "fuse", ratings={"rated_a": 100, "rated_v": 450, "breaking_a": 900})
    loose = api("bench").post(URL, body(component="F-1", measured={"resistance_mohm": 0.8}))
    assert (loose.json()["pack"], loose.json()["revision"]) == (None, None)
    assert loose.json()["verdict"] == "not_judged"
    api("bench").post(SWAPS, swap("fuse:1", fitted="F-1"))
    told = api("bench").post(URL, body(component="F-1", measured={"resistance_mohm": 0.8})).json()
    assert told["pack"] == "TP-0001"
    said = {row["figure"]: row["said"] for row in told["verdicts"]}
    assert said["rated_v"] == "Rated 450 V d.c., the pack reaches 268.8 V: enough."
    assert "a dead short drives 1,000 A" in said["breaking_a"]
    assert (told["verdict"], told["verdicts"][0]["figure"]) == ("fails", "breaking_a")


def test_sent_again_it_is_known_wherever_the_part_went(api: Api) -> None:
    part(api, "F-1", "fuse")
    said = body(component="F-1", measured={"resistance_mohm": 0.8}, external_id="p-1")
    first = api("bench").post(URL, said)
    api("bench").post(SWAPS, swap("fuse:1", fitted="F-1"))
    again = api("bench").post(URL, said)
    assert (first.status_code, again.status_code) == (201, 200)
    assert PartTest.objects.count() == 1


def test_a_later_version_of_the_type_does_not_judge_an_earlier_test(api: Api) -> None:
    told = api("bench").post(URL, by_slot()).json()
    slot = {"slot": "main_contactor:plus", "kind": "main_contactor", "ratings": {"contact_mohm": 5}}
    changed = api("manager").patch(
        "/api/v1/pack-types/NM-28/", {"slots": [slot]}, headers={"If-Match": '"1"'}
    )
    assert changed.status_code == 200
    assert api("bench").get(f"{URL}{told['id']}/").json()["verdict"] == "fails"
    assert api("bench").post(URL, by_slot()).json()["verdict"] == "passes"


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"slot": None}, (422, "/component", "nothing_named")),
        ({"pack": None}, (422, "/pack", "pack_needed")),
        ({"slot": "wheel:1"}, (422, "/slot", "no_such_slot")),
        ({"kind": "fuse"}, (422, "/kind", "wrong_kind")),
        ({"component": "none"}, (422, "/component", "unknown_component")),
        ({"measured": {}}, (422, "/measured", "nothing_measured")),
        ({"measured": {"offset_a": 1}}, (422, "/measured/offset_a", "not_of_kind")),
        ({"measured": {"coil_ohm": -1}}, (422, "/measured/coil_ohm", "out_of_range")),
        ({"measured": {"coil_ohm": "30"}}, (400, "/measured/coil_ohm", "not_a_number")),
        ({"measured": {"welded": 1}}, (400, "/measured/welded", "not_a_boolean")),
        ({"measured": {"weight": 1}}, (400, "/measured/weight", "unknown_field")),
        ({"at": "2100-01-01T00:00:00Z"}, (422, "/at", "in_the_future")),
        ({"equipment": "none"}, (422, "/equipment", "unknown_equipment")),
    ],
)
def test_what_does_not_fit_is_refused(
    api: Api, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, {**by_slot(), **changes})) == refusal
    assert world.contents() == before


def test_tag_and_slot_agree(api: Api) -> None:
    part(api, "F-1", "fuse")
    answer = api("bench").post(URL, by_slot(component="F-1"))
    assert fault(answer) == (422, "/slot", "wrong_kind")


def test_the_visit_names_the_pack(api: Api) -> None:
    said = {"pack": "TP-0001", "opened_at": world.later(1).isoformat()}
    visit = api("desk").post("/api/v1/visits/", said).json()["id"]
    told = api("bench").post(URL, body(visit=visit, slot="main_contactor:plus")).json()
    assert (told["pack"], told["visit"]) == ("TP-0001", visit)
    world.pack("TP-0002")
    other = api("bench").post(URL, by_slot(visit=visit) | {"pack": "TP-0002"})
    assert fault(other) == (422, "/visit", "visit_of_another_pack")


def test_roles_filters_and_voids(api: Api) -> None:
    part(api, "F-1", "fuse")
    for role in ("desk", "machine"):
        assert api(role).post(URL, by_slot()).status_code == 403
    one = api("bench").post(URL, by_slot()).json()["id"]
    said = body(component="F-1", measured={"rated_a": 80}, at="2024-03-16T09:00:00Z")
    two = api("bench").post(URL, said).json()["id"]

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("desk").get(URL, asked).json()["results"]]

    assert found() == [two, one]
    assert found(slot="main_contactor:plus") == found(pack="TP-0001") == [one]
    assert found(component="F-1") == found(kind="fuse") == [two]
    voided = api("manager").post(f"{URL}{two}/void/", {"reason": "misread"})
    assert voided.status_code == 200
    assert found(voided="false") == [one]
