"""cost-estimates/: what work on a visit is expected to cost."""

from typing import Any

import pytest

from packs.models import CostEstimate, HistoryEntry, Pack
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/cost-estimates/"
VIN = "1" * 17
LINES = [
    {"kind": "part", "what": "Module, tested", "quantity": 3, "unit_price": 84.5},
    {"kind": "labour", "what": "Hours at the bench", "quantity": 5.5, "unit_price": 92},
]


@pytest.fixture
def visit(api: Api) -> str:
    """A visit of the pack TP-0001."""
    world.pack()
    return opened(api, pack="TP-0001", opened_at="2024-05-01T08:00:00Z")


def opened(api: Api, **said: Any) -> str:
    told: str = api("desk").post("/api/v1/visits/", said).json()["id"]
    return told


def body(visit: str, /, **changes: Any) -> dict[str, Any]:
    return {"visit": visit, "at": "2024-05-02T10:00:00Z", "lines": LINES, **changes}


def test_an_estimate_tells_its_sums(api: Api, visit: str) -> None:
    said = body(visit, tax_pct=20, valid_until="2024-06-01", note="Used modules, tested")
    response = api("desk").post(URL, said)
    assert response.status_code == 201
    told = response.json()
    assert response["Location"] == f"{URL}{told['id']}/"
    assert [line["amount"] for line in told["lines"]] == [253.5, 506.0]
    assert (told["net"], told["tax"], told["total"]) == (759.5, 151.9, 911.4)
    assert (told["word"], told["pack"], told["at"]) == ("none", "TP-0001", "2024-05-02T10:00:00Z")
    assert [line["what"] for line in told["lines"]] == ["Module, tested", "Hours at the bench"]
    assert told["revision"] == Pack.objects.get().revision == 3
    assert HistoryEntry.objects.get(revision=3).summary == "Cost estimate: 911.40, 2 lines"
    assert api("bench").get(f"{URL}{told['id']}/").json() == told


def test_each_line_is_rounded_and_the_tax_once(api: Api, visit: str) -> None:
    """Half a cent goes up: 0.15 of 0.10 is 0.015, so 0.02; a tenth of 0.05 is 0.005, so 0.01."""
    lines = [
        {"kind": "other", "what": "a", "quantity": 0.15, "unit_price": 0.1},
        {"kind": "other", "what": "b", "quantity": 0.3, "unit_price": 0.1},
    ]
    told = api("desk").post(URL, body(visit, lines=lines, tax_pct=10)).json()
    assert [line["amount"] for line in told["lines"]] == [0.02, 0.03]
    assert (told["net"], told["tax"], told["total"]) == (0.05, 0.01, 0.06)


def test_without_a_tax_or_a_time(api: Api, visit: str) -> None:
    desk = api("desk")
    said = {"visit": visit, "lines": LINES, "external_id": "e-1", "tax_pct": None}
    first = desk.post(URL, said)
    assert (first.json()["tax"], first.json()["total"]) == (0.0, 759.5)
    again = desk.post(URL, {**said, "tax_pct": 0.0})
    assert (again.status_code, again.json()) == (200, first.json())


def test_the_same_again_is_known_and_other_content_is_a_conflict(api: Api, visit: str) -> None:
    desk = api("desk")
    desk.post("/api/v1/vehicles/", {"vin": VIN})
    for number, name in enumerate(
        (visit, opened(api, vehicle=VIN, opened_at="2024-05-01T08:00:00Z"))
    ):
        said = body(name, external_id=f"e-{number}")
        first = desk.post(URL, said).json()
        lines = [{**LINES[0], "quantity": 3.0}, LINES[1]]
        again = desk.post(URL, {**said, "lines": lines, "note": ""})
        assert (again.status_code, again.json()) == (200, first)
        before = world.contents()
        other = desk.post(URL, {**said, "lines": LINES[:1]})
        assert fault(other) == (409, "/external_id", "external_id_taken")
        assert world.contents() == before


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"visit": "vi_00000000"}, (422, "/visit", "unknown_visit")),
        ({"lines": []}, (422, "/lines", "wrong_count")),
        ({"lines": [{**LINES[0], "quantity": 0}]}, (422, "/lines/0/quantity", "min_value")),
        ({"lines": [{**LINES[0], "unit_price": -1}]}, (422, "/lines/0/unit_price", "min_value")),
        (
            {"lines": [{**LINES[0], "unit_price": True}]},
            (400, "/lines/0/unit_price", "not_a_number"),
        ),
        ({"lines": [{**LINES[0], "kind": "gift"}]}, (400, "/lines/0/kind", "not_a_choice")),
        ({"lines": [{**LINES[0], "what": ""}]}, (400, "/lines/0/what", "blank")),
        ({"lines": [{**LINES[0], "amount": 1}]}, (400, "/lines/0/amount", "unknown_field")),
        ({"tax_pct": 101}, (422, "/tax_pct", "max_value")),
        ({"at": "2100-01-01T00:00:00Z"}, (422, "/at", "in_the_future")),
        ({"valid_until": "2024-05-01"}, (422, "/valid_until", "before_the_estimate")),
        ({"total": 3}, (400, "/total", "unknown_field")),
    ],
)
def test_what_is_no_estimate_is_refused(
    api: Api, visit: str, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    desk, before = api("desk"), world.contents()
    assert fault(desk.post(URL, body(visit, **changes))) == refusal
    assert world.contents() == before


def test_more_than_a_hundred_lines_are_refused(api: Api, visit: str) -> None:
    assert api("desk").post(URL, body(visit, lines=LINES[:1] * 100)).status_code == 201
    assert api("desk").post(URL, body(visit, lines=LINES[:1] * 101)).status_code == 400


def test_a_correction_takes_its_place_and_a_manager_voids(api: Api, visit: str) -> None:
    first = api("desk").post(URL, body(visit)).json()
    second = api("desk").post(URL, body(visit, lines=LINES[:1], supersedes=first["id"])).json()
    assert second["supersedes"] == first["id"]
    assert CostEstimate.objects.filter(voided_at__isnull=False).count() == 1
    void = f"{URL}{second['id']}/void/"
    assert api("desk").post(void, {"reason": "other car"}).status_code == 403
    assert api("bench").post(void, {"reason": "other car"}).status_code == 403
    assert api("manager").post(void, {"reason": "other car"}).json()["void_reason"] == "other car"


def test_roles_and_filters(api: Api, visit: str) -> None:
    for role in ("bench", "machine"):
        assert api(role).post(URL, body(visit)).status_code == 403
    assert api("machine").get(URL).status_code == 403
    told = api("manager").post(URL, body(visit)).json()

    def found(**asked: Any) -> list[str]:
        return [row["id"] for row in api("desk").get(URL, asked).json()["results"]]

    assert found() == found(visit=visit) == found(pack="TP-0001") == [told["id"]]
    assert found(until="2024-05-01T00:00:00Z") == found(voided="true") == []
