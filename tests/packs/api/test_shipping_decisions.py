"""shipping-decisions/: signed by who is qualified, and never a permission."""

from typing import Any

import pytest

from packs.models import HistoryEntry, Site
from packs.writes.digests import digest
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/shipping-decisions/"
LEVEL = "Dangerous goods by road"


@pytest.fixture(autouse=True)
def shop(db: None) -> None:
    kind = world.pack_type(
        "LI-96", chemistry="li_ion", module_count=24, cells_per_module=4, cell_nominal_v=3.6
    )
    world.pack("LI-1", kind)
    world.pack("TP-0001", world.pack_type())
    world.person("ada", qualifications=[{"level": LEVEL, "expires_on": "2024-06-30"}])
    world.person("kim")


def body(**changes: Any) -> dict[str, Any]:
    said = {
        "pack": "LI-1",
        "condition": "damaged_or_defective",
        "un_number": "UN 3480",
        "done_by": "ada",
    }
    more = {"qualification": LEVEL, "reasons": "swollen at 7", "at": "2024-04-01T09:00:00Z"}
    return {**said, **more, **changes}


def inspect(api: Api, day: float, *findings: dict[str, Any]) -> None:
    said = {"pack": "LI-1", "at": world.later(day).isoformat(), "findings": list(findings)}
    assert api("bench").post("/api/v1/inspections/", said).status_code == 201


def test_a_decision_is_signed_and_told(api: Api) -> None:
    response = api("bench").post(URL, body(packing="steel drum with vermiculite"))
    assert response.status_code == 201, response.json()
    told = response.json()
    assert (told["un_number"], told["done_by"], told["qualification"]) == ("UN 3480", "ada", LEVEL)
    assert "no permission" in told["caution"]
    line = HistoryEntry.objects.get(kind="shipping_decision")
    assert line.summary == "Shipping decided: UN 3480, damaged or defective"
    assert api("desk").get(response["Location"]).json() == told


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"done_by": None}, (422, "/done_by", "signature_needed")),
        ({"done_by": "kim"}, (409, "/qualification", "not_qualified")),
        ({"qualification": "first aid"}, (409, "/qualification", "not_qualified")),
        ({"at": "2024-07-02T09:00:00Z"}, (409, "/qualification", "not_qualified")),
        ({"un_number": "UN 3496"}, (422, "/un_number", "number_of_another_chemistry")),
        ({"un_number": "UN 9999"}, (400, "/un_number", "not_a_choice")),
        ({"pack": "TP-0001"}, (422, "/un_number", "number_of_another_chemistry")),
        ({"reasons": ""}, (400, "/reasons", "blank")),
        ({"at": "2100-01-01T00:00:00Z"}, (422, "/at", "in_the_future")),
    ],
)
def test_who_may_not_sign_is_refused(
    api: Api, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, body(**changes))) == refusal
    assert world.contents() == before


def test_metal_hydride_has_its_own_number(api: Api) -> None:
    said = body(pack="TP-0001", un_number="UN 3496", condition="sound")
    assert api("bench").post(URL, said).status_code == 201


def test_a_swollen_pack_is_not_called_sound(api: Api) -> None:
    swollen = {"part": "module", "finding": "swelling", "grade": 2, "position": 7}
    inspect(api, 5, swollen)
    refused = api("bench").post(URL, body(condition="sound"))
    assert fault(refused) == (409, "/condition", "findings_stand")
    assert "swelling of grade 2 (module)" in refused.json()["errors"][0]["detail"]
    assert api("bench").post(URL, body()).status_code == 201
    inspect(api, 6, {"part": "module", "finding": "swelling", "grade": 0})
    assert api("bench").post(URL, body(condition="sound")).status_code == 201


def test_a_site_names_who_signs(api: Api) -> None:
    rules = {"shipping_qualifications": ["class nine"]}
    Site.objects.create(
        code="main", name="Main", time_zone="UTC", rules=rules, **world.posted(digest(rules))
    )
    assert fault(api("bench").post(URL, body())) == (409, "/qualification", "not_qualified")


def test_roles_filters_and_voids(api: Api) -> None:
    for role in ("desk", "machine"):
        assert api(role).post(URL, body()).status_code == 403
    one = api("bench").post(URL, body(external_id="s-1")).json()["id"]
    assert api("bench").post(URL, body(external_id="s-1")).status_code == 200
    two = (
        api("bench")
        .post(URL, body(condition="for_disposal", at="2024-04-02T09:00:00Z"))
        .json()["id"]
    )

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("desk").get(URL, asked).json()["results"]]

    assert found(pack="li-1") == [two, one]
    assert found(condition="for_disposal") == found(since="2024-04-02T00:00:00Z") == [two]
    voided = api("manager").post(f"{URL}{two}/void/", {"reason": "sold instead"})
    assert voided.status_code == 200
    assert found(voided="false") == [one]
