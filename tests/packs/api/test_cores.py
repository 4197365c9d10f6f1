"""cores/: old packs owed in exchange."""

from datetime import date, timedelta
from typing import Any

import pytest

from packs.models import Core, HistoryEntry, Pack
from packs.reads import cores
from tests import world
from tests.packs.api.conftest import Api

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/cores/"
DUE: dict[str, Any] = {"pack": "TP-0001", "deposit": 350, "due_on": "2024-04-01"}
BACK: dict[str, Any] = {
    **DUE,
    "state": "accepted",
    "returned_on": "2024-03-20",
    "complete": True,
    "opened": False,
    "flooded": False,
}


@pytest.fixture(autouse=True)
def pack() -> Pack:
    return world.pack()


def test_a_core_is_due_until_it_is_told_otherwise(api: Api) -> None:
    client = api("desk")
    answer = client.post(ADDRESS, DUE)
    assert answer.status_code == 201
    told = answer.json()
    assert (told["state"], told["deposit"], told["overdue"]) == ("due", 350.0, True)
    assert client.get(answer["Location"]).json() == told
    assert HistoryEntry.objects.get(kind="core").summary == "Core due by 2024-04-01"
    accepted = client.post(ADDRESS, {**BACK, "supersedes": told["id"]}).json()
    assert (accepted["state"], accepted["overdue"]) == ("accepted", False)
    refunded = {**BACK, "state": "refunded", "refund": 350, "supersedes": accepted["id"]}
    assert client.post(ADDRESS, refunded).json()["refund"] == 350.0
    standing = client.get(f"{ADDRESS}?voided=false").json()["results"]
    assert [row["state"] for row in standing] == ["refunded"]


def test_a_core_that_is_only_owed_is_no_contact_with_the_pack(api: Api, pack: Pack) -> None:
    pack.refresh_from_db()
    before = pack.last_contact
    client = api("desk")
    first = client.post(ADDRESS, DUE).json()
    pack.refresh_from_db()
    assert pack.last_contact == before
    client.post(ADDRESS, {**BACK, "supersedes": first["id"]})
    pack.refresh_from_db()
    assert pack.last_contact is not None
    assert pack.last_contact.date().isoformat() == "2024-03-20"


def test_a_pack_is_owed_once(api: Api) -> None:
    client = api("desk")
    client.post(ADDRESS, DUE)
    again = client.post(ADDRESS, {**DUE, "deposit": 400})
    assert again.status_code == 409
    assert again.json()["errors"][0]["code"] == "core_due_already"
    assert Core.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "status", "pointer"),
    [
        ({"deposit": -1}, 422, "/deposit"),
        ({"deposit": "350"}, 400, "/deposit"),
        ({"state": "lost"}, 400, "/state"),
        ({"returned_on": None}, 422, "/returned_on"),
        ({"returned_on": "2150-01-01"}, 422, "/returned_on"),
        ({"complete": None}, 422, "/complete"),
        ({"opened": True}, 422, "/reason"),
        ({"flooded": True}, 422, "/reason"),
        ({"complete": False}, 422, "/reason"),
        ({"state": "refused"}, 422, "/reason"),
        ({"state": "refunded"}, 422, "/refund"),
        ({"state": "refunded", "refund": 351}, 422, "/refund"),
        ({"refund": 10}, 422, "/refund"),
        ({"state": "due"}, 422, "/returned_on"),
        ({"photos": ["ph_00000000"]}, 422, "/photos/0"),
        ({"pack": "TP-9"}, 422, "/pack"),
        ({"overdue": True}, 400, "/overdue"),
    ],
)
def test_what_is_refused_changes_nothing(
    api: Api, changes: dict[str, Any], status: int, pointer: str
) -> None:
    client = api("desk")
    before = world.contents()
    answer = client.post(ADDRESS, {**BACK, **changes})
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer)
    assert world.contents() == before


def test_an_opened_core_may_be_taken_with_a_reason(api: Api) -> None:
    said = {**BACK, "opened": True, "reason": "opened by us last year"}
    assert api("desk").post(ADDRESS, said).status_code == 201


@pytest.mark.parametrize(
    ("role", "read", "write"),
    [("desk", 200, 201), ("bench", 200, 403), ("manager", 200, 201), ("machine", 403, 403)],
)
def test_roles(api: Api, role: str, read: int, write: int) -> None:
    client = api(role)
    assert client.get(ADDRESS).status_code == read
    assert client.post(ADDRESS, DUE).status_code == write


def test_the_late_ones(api: Api) -> None:
    client = api("desk")
    world.pack("TP-0002")
    world.pack("TP-0003")
    client.post(ADDRESS, DUE)
    client.post(ADDRESS, {**DUE, "pack": "TP-0002", "due_on": "2150-01-01"})
    client.post(ADDRESS, {**BACK, "pack": "TP-0003"})

    def packs(query: str) -> list[str]:
        found = client.get(f"{ADDRESS}?ordering=due_on&{query}").json()["results"]
        return [row["pack"] for row in found]

    assert packs("overdue=true") == ["TP-0001"]
    assert set(packs("overdue=false")) == {"TP-0002", "TP-0003"}
    assert packs("state=due") == ["TP-0001", "TP-0002"]
    assert packs("due_until=2024-04-01&state=due") == ["TP-0001"]


def test_late_begins_the_day_after(api: Api) -> None:
    api("desk").post(ADDRESS, DUE)
    due_on = date(2024, 4, 1)
    assert not cores.overdue(today=due_on).exists()
    assert cores.overdue(today=due_on + timedelta(days=1)).exists()
    core = Core.objects.get()
    assert not cores.is_overdue(core, today=due_on)
    assert cores.is_overdue(core, today=due_on + timedelta(days=1))
