"""packs/: packs by their serial."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from packs.models import Edit, HistoryEntry, Installation, Pack, Placement
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/packs/"
VIN = "11111111111111111"


def body(**changes: Any) -> dict[str, Any]:
    return {"serial": "TP-0001", "pack_type": "NM-28", **changes}


@pytest.fixture(autouse=True)
def a_type(db: None) -> None:
    world.pack_type()


def test_a_pack_begins_with_a_revision_positions_and_an_estimate_owed(api: Api) -> None:
    begun = timezone.now()
    response = api("bench").post(URL, body(built_on="2019-05-01"))
    assert response.status_code == 201
    assert response["Location"] == URL + "TP-0001/"
    told = response.json()
    assert told["serial"] == "TP-0001"
    assert (told["status"], told["pack_type"], told["built_on"]) == (
        "in_service",
        "NM-28",
        "2019-05-01",
    )
    assert (told["revision"], told["vehicle"], told["last_contact"], told["since"]) == (
        1,
        None,
        None,
        "2019-05-01T00:00:00Z",
    )
    pack = Pack.objects.get()
    assert pack.estimate_due_at == pack.settled_at == pack.recorded_at
    assert pack.recorded_at >= begun
    line = HistoryEntry.objects.get()
    assert (line.revision, line.kind, line.action, line.fact_id) == (1, "pack", "recorded", pack.pk)
    placed = Placement.objects.filter(module=None, fitted_at=None, removed_at=None)
    assert sorted(placed.values_list("position", flat=True)) == list(range(1, 29))


def test_the_same_again_is_known_whatever_the_case(api: Api) -> None:
    desk = api("desk")
    first = desk.post(URL, body()).json()
    for serial in ("TP-0001", "tp-0001"):
        again = desk.post(URL, body(serial=serial, status="in_service", built_on=None))
        assert (again.status_code, again.json()) == (200, first)
    before = world.contents()
    other = desk.post(URL, body(serial="tp-0001", built_on="2020-01-01"))
    assert fault(other) == (409, "/serial", "serial_taken")
    assert world.contents() == before
    assert desk.get(URL + "tP-0001/").json() == first


@pytest.mark.parametrize(
    ("changes", "status", "pointer", "code"),
    [
        ({"serial": "-A"}, 400, "/serial", "bad_serial"),
        ({"serial": "A B"}, 400, "/serial", "bad_serial"),
        ({"serial": "A\n"}, 201, "", ""),
        ({"serial": "Ä1"}, 400, "/serial", "bad_serial"),
        ({"pack_type": "NM-99"}, 422, "/pack_type", "unknown_pack_type"),
        ({"built_on": "2100-01-01"}, 422, "/built_on", "in_the_future"),
        ({"built_on": "2020-02-30"}, 400, "/built_on", "not_a_date"),
        ({"status": "lost"}, 400, "/status", "not_a_choice"),
        ({"revision": 7}, 400, "/revision", "unknown_field"),
    ],
)
def test_what_a_pack_can_not_be_is_refused(
    api: Api, changes: dict[str, Any], status: int, pointer: str, code: str
) -> None:
    desk, before = api("desk"), world.contents()
    response = desk.post(URL, body(**changes))
    if status == 201:
        assert (response.status_code, response.json()["serial"]) == (201, "A")
        return
    assert fault(response) == (status, pointer, code)
    assert world.contents() == before


@pytest.mark.parametrize("serial", ["a" * 41, ""])
def test_a_serial_has_one_to_forty_characters(api: Api, serial: str) -> None:
    response = api("desk").post(URL, body(serial=serial))
    assert response.status_code == 400
    assert {told["pointer"] for told in response.json()["errors"]} == {"/serial"}


def test_a_change_of_status_raises_version_and_revision(api: Api) -> None:
    desk = api("desk")
    etag = '"1"'
    desk.post(URL, body())
    address = URL + "TP-0001/"
    assert desk.get(address)["ETag"] == etag
    assert desk.patch(address, {"status": "sold"}).status_code == 428
    stale = desk.patch(address, {"status": "sold"}, headers={"If-Match": '"9"'})
    assert stale.status_code == 412
    assert Pack.objects.get().revision == 1
    changed = desk.patch(address, {"status": "in_shop"}, headers={"If-Match": etag})
    assert (changed.status_code, changed["ETag"]) == (200, '"2"')
    told = changed.json()
    assert (told["status"], told["revision"]) == ("in_shop", 2)
    line = HistoryEntry.objects.get(revision=2)
    assert (line.action, line.summary) == ("changed", "Status in service → in shop")
    assert Edit.objects.get().changes == {"status": ["in_service", "in_shop"]}
    again = desk.patch(address, {"status": "sold"}, headers={"If-Match": etag})
    assert again.status_code == 412
    wrong = desk.patch(address, {"built_on": None}, headers={"If-Match": '"2"'})
    assert fault(wrong) == (400, "/built_on", "unknown_field")


def test_the_vehicle_is_that_of_the_present_installation(api: Api) -> None:
    desk = api("desk")
    desk.post(URL, body())
    desk.post("/api/v1/vehicles/", {"vin": VIN})
    now = timezone.now()
    body_in = {
        "pack": "TP-0001",
        "vehicle": VIN,
        "installed_at": (now - timedelta(days=9)).isoformat(),
    }
    stored = desk.post("/api/v1/installations/", body_in).json()
    assert desk.get(URL + "TP-0001/").json()["vehicle"] == VIN
    found = desk.get(URL, {"vehicle": VIN.lower()}).json()["results"]
    assert [pack["serial"] for pack in found] == ["TP-0001"]
    out = {**body_in, "removed_at": now.isoformat(), "supersedes": stored["id"]}
    assert desk.post("/api/v1/installations/", out).status_code == 201
    assert Installation.objects.count() == 2
    assert desk.get(URL + "TP-0001/").json()["vehicle"] is None


def test_lists_are_filtered_ordered_and_paged(api: Api) -> None:
    desk = api("desk")
    other = world.pack_type("LI-96", module_count=96, cells_per_module=1, cell_nominal_v=3.7)
    for serial in ("B-2", "B-1", "a-1"):
        desk.post(URL, body(serial=serial))
    world.pack("C-1", other, status="sold")

    def serials(**asked: Any) -> list[str]:
        return [row["serial"] for row in desk.get(URL, asked).json()["results"]]

    assert serials(serial="b-") == ["B-1", "B-2"]
    assert serials(pack_type="LI-96") == ["C-1"]
    assert serials(status="sold", pack_type="NM-28") == []
    assert serials(ordering="-recorded_at", pack_type="NM-28") == ["a-1", "B-1", "B-2"]
    page = desk.get(URL, {"page_size": "2", "ordering": "recorded_at"}).json()
    rest = desk.get(page["next"]).json()
    assert len(page["results"]) == len(rest["results"]) == 2
    assert rest["next"] is None
    assert desk.get(URL, {"colour": "red"}).status_code == 400
    assert desk.get(URL + "none/").status_code == 404


def test_programs_only_read_packs(api: Api) -> None:
    world.pack()
    machine = api("machine")
    before = world.contents()
    assert machine.get(URL + "TP-0001/").status_code == 200
    assert machine.post(URL, body(serial="X")).status_code == 403
    headers = {"If-Match": '"1"'}
    assert machine.patch(URL + "TP-0001/", {"status": "sold"}, headers=headers).status_code == 403
    assert world.contents() == before


def test_what_is_only_written_about_a_pack_is_no_contact(api: Api) -> None:
    world.pack()
    manager = api()
    changed = manager.patch(f"{URL}TP-0001/", {"status": "shelf"}, headers={"If-Match": '"1"'})
    assert changed.status_code == 200
    assert changed.json()["last_contact"] is None
