"""warranties/: what the shop stands behind, and when it ends."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from packs.models import Pack, Warranty
from packs.reads import sites
from tests import world
from tests.packs.api.conftest import Api
from tests.world import later

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/warranties/"
VIN = "JTDKB20U093500001"


@pytest.fixture
def pack(db: None) -> Pack:
    return world.pack(built_on=world.BEGUN.date())


def body(**changes: Any) -> dict[str, Any]:
    return {
        "pack": "TP-0001",
        "repair_kind": "module_swap",
        "starts_on": "2024-03-31",
        "months": 18,
        "km": 20_000,
        "starts_km": 100_000,
        "covers": "modules",
        "excludes": "water",
        "labour": True,
        **changes,
    }


def visit(api: Api, **changes: Any) -> str:
    said = {"pack": "TP-0001", "opened_at": later(days=40).isoformat(), **changes}
    answer = api().post("/api/v1/visits/", said)
    assert answer.status_code == 201, answer.json()
    return str(answer.json()["id"])


def give(api: Api, **changes: Any) -> dict[str, Any]:
    answer = api("desk").post(ADDRESS, body(**changes))
    assert answer.status_code == 201, answer.json()
    return dict(answer.json())


def now(api: Api, told: dict[str, Any]) -> dict[str, Any]:
    return dict(api("desk").get(f"{ADDRESS}{told['id']}/").json())


def test_a_warranty_with_its_end(api: Api, pack: Pack) -> None:
    answer = api("desk").post(ADDRESS, body())
    assert answer.status_code == 201
    told = answer.json()
    assert {name: told[name] for name in body()} == body()
    assert (told["ends_on"], told["ends_km"]) == ("2025-09-30", 120_000)
    assert (told["state"], told["runs_out"]) == ("ended", None)
    assert api("bench").get(answer["Location"]).json() == told


@pytest.mark.parametrize(
    ("changes", "ends_on", "ends_km"),
    [
        ({"starts_on": "2025-01-31", "months": 1}, "2025-02-28", 120_000),
        ({"starts_on": "2024-01-31", "months": 1, "pack": "TP-0002"}, "2024-02-29", 120_000),
        ({"months": None}, None, 120_000),
        ({"km": None}, "2025-09-30", None),
        ({"starts_km": None}, "2025-09-30", None),
    ],
)
def test_months_are_of_the_calendar(
    api: Api, pack: Pack, changes: dict[str, Any], ends_on: str | None, ends_km: int | None
) -> None:
    world.pack("TP-0002")
    told = give(api, **changes)
    assert (told["ends_on"], told["ends_km"]) == (ends_on, ends_km)


@pytest.mark.parametrize(
    ("starts_in_days", "months", "state"),
    [(-1, 1, "running"), (0, 1, "running"), (2, 1, "not_begun"), (-70, 2, "ended")],
)
def test_states(api: Api, pack: Pack, starts_in_days: int, months: int, state: str) -> None:
    starts_on = sites.day(timezone.now()) + timedelta(days=starts_in_days)
    told = give(api, starts_on=starts_on.isoformat(), months=months, km=None)
    assert told["state"] == state


def test_kilometres_end_it_too(api: Api, pack: Pack) -> None:
    told = give(api, months=None)
    assert told["state"] == "running"
    visit(api, odometer_km=120_000)
    assert now(api, told)["state"] == "running"
    visit(api, odometer_km=120_001, opened_at=later(days=50).isoformat())
    assert now(api, told)["state"] == "ended"


def test_a_reading_from_before_it_began_ends_nothing(api: Api, pack: Pack) -> None:
    visit(api, odometer_km=300_000, opened_at=later(days=5).isoformat())
    assert give(api, months=None)["state"] == "running"


def test_the_kilometres_follow_the_pack_into_another_car(api: Api, pack: Pack) -> None:
    client = api()
    for vin in (VIN, "JTDKB20U293500002"):
        assert client.post("/api/v1/vehicles/", {"vin": vin}).status_code == 201
    told = give(api, months=None)
    first = {
        "pack": "TP-0001",
        "vehicle": VIN,
        "installed_at": later(days=1).isoformat(),
        "removed_at": later(days=60).isoformat(),
        "removed_km": 105_000,
    }
    second = {
        "pack": "TP-0001",
        "vehicle": "JTDKB20U293500002",
        "installed_at": later(days=70).isoformat(),
        "installed_km": 200_000,
    }
    for said in (first, second):
        answer = client.post("/api/v1/installations/", said)
        assert answer.status_code == 201, answer.json()
    assert now(api, told)["ends_km"] == 215_000
    visit(api, odometer_km=210_000, opened_at=later(days=80).isoformat())
    assert now(api, told)["state"] == "running"
    visit(api, odometer_km=215_500, opened_at=later(days=90).isoformat())
    assert now(api, told)["state"] == "ended"


def test_a_replacement_under_claim_runs_out_the_first_term(api: Api, pack: Pack) -> None:
    world.pack("TP-0002")
    first = give(api)
    there = visit(api)
    claim = {"warranty": first["id"], "visit": there, "decision": "accepted"}
    said = {"starts_on": "2024-06-10", "months": 24, "starts_km": 105_000, "visit": there}
    earlier = give(api, pack="TP-0002", repair_kind="replacement", **said)
    assert earlier["ends_on"] == "2026-06-10"
    made = api("desk").post("/api/v1/claims/", claim)
    assert made.status_code == 201
    told = now(api, earlier)
    assert (told["ends_on"], told["ends_km"]) == ("2025-09-30", 120_000)
    assert told["runs_out"] == first["id"]
    assert now(api, first)["ends_on"] == "2025-09-30"
    api().post(f"{made['Location']}void/", {"reason": "wrong"})
    assert now(api, earlier)["ends_on"] == "2026-06-10"


def test_replacements_of_replacements_run_out_the_first_of_all(api: Api, pack: Pack) -> None:
    told = first = give(api)
    for number in (2, 3):
        world.pack(f"TP-000{number}")
        there = visit(api, opened_at=later(days=40 * number).isoformat())
        claim = {"warranty": told["id"], "visit": there, "decision": "accepted"}
        assert api("desk").post("/api/v1/claims/", claim).status_code == 201
        told = give(
            api,
            pack=f"TP-000{number}",
            repair_kind="replacement",
            starts_on=f"2024-0{number + 4}-01",
            months=36,
            visit=there,
        )
    assert told["ends_on"] == first["ends_on"]
    refused = api("desk").post(
        "/api/v1/claims/", {"warranty": first["id"], "decision": "refused", "visit": there}
    )
    assert refused.status_code == 201
    assert now(api, told)["ends_on"] == first["ends_on"]


def test_only_a_replacement_takes_over_a_term(api: Api, pack: Pack) -> None:
    first = give(api)
    there = visit(api)
    claim = {"warranty": first["id"], "visit": there, "decision": "accepted"}
    api("desk").post("/api/v1/claims/", claim)
    told = give(api, repair_kind="rebuild", starts_on="2024-06-10", months=24, visit=there)
    assert (told["ends_on"], told["runs_out"]) == ("2026-06-10", None)


@pytest.mark.parametrize(
    ("changes", "status", "pointer"),
    [
        ({"months": None, "km": None}, 422, "/months"),
        ({"starts_on": "2020-01-01"}, 422, "/starts_on"),
        ({"pack": "none"}, 422, "/pack"),
        ({"visit": "vi_00000000"}, 422, "/visit"),
        ({"labour": "yes"}, 400, "/labour"),
        ({"months": 1.5}, 400, "/months"),
        ({"repair_kind": "wash"}, 400, "/repair_kind"),
        ({"ends_on": "2030-01-01"}, 400, "/ends_on"),
    ],
)
def test_what_is_refused_changes_nothing(
    api: Api, pack: Pack, changes: dict[str, Any], status: int, pointer: str
) -> None:
    client = api("desk")
    before = world.contents()
    answer = client.post(ADDRESS, body(**changes))
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (status, pointer)
    assert world.contents() == before


def test_the_same_again(api: Api, pack: Pack) -> None:
    client = api("desk")
    first = client.post(ADDRESS, body(external_id="w-1"))
    again = client.post(ADDRESS, body(external_id="w-1"))
    assert (again.status_code, again.json()) == (200, first.json())
    assert client.post(ADDRESS, body(external_id="w-1", months=6)).status_code == 409
    assert Warranty.objects.count() == 1


def test_voiding_and_correcting_wait_for_the_claims(api: Api, pack: Pack) -> None:
    manager = api()
    told = give(api)
    claim = manager.post("/api/v1/claims/", {"warranty": told["id"], "decision": "open"})
    before = world.contents()
    for answer in (
        manager.post(f"{ADDRESS}{told['id']}/void/", {"reason": "wrong"}),
        manager.post(ADDRESS, body(supersedes=told["id"], months=6)),
    ):
        assert (answer.status_code, answer.json()["errors"][0]["code"]) == (409, "claims_stand")
    assert world.contents() == before
    manager.post(f"{claim['Location']}void/", {"reason": "wrong"})
    assert manager.post(ADDRESS, body(supersedes=told["id"], months=6)).status_code == 201
    assert now(api, told)["state"] == "voided"


@pytest.mark.parametrize(
    ("role", "read", "write"),
    [("desk", 200, 201), ("bench", 200, 403), ("manager", 200, 201), ("machine", 403, 403)],
)
def test_roles(api: Api, pack: Pack, role: str, read: int, write: int) -> None:
    client = api(role)
    assert client.get(ADDRESS).status_code == read
    assert client.post(ADDRESS, body()).status_code == write


def test_lists(api: Api, pack: Pack) -> None:
    client = api("desk")
    give(api, starts_on="2024-04-01")
    give(api, starts_on="2024-05-01", repair_kind="rebuild")

    def starts(query: str) -> list[str]:
        return [row["starts_on"] for row in client.get(f"{ADDRESS}?{query}").json()["results"]]

    assert starts("") == ["2024-05-01", "2024-04-01"]
    assert starts("pack=tp-0001&ordering=starts_on") == ["2024-04-01", "2024-05-01"]
    assert starts("repair_kind=rebuild") == ["2024-05-01"]
    assert starts("starts_until=2024-04-15") == ["2024-04-01"]


def test_a_page_of_many_asks_no_more_than_one_of_a_few(api: Api, pack: Pack) -> None:
    client = api("desk")

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(ADDRESS).status_code == 200
        return len(queries)

    give(api)
    client.get(ADDRESS)
    few = asked()
    for number in range(2, 8):
        world.pack(f"TP-{number}")
        give(api, pack=f"TP-{number}")
    assert asked() == few


def test_correcting_the_first_moves_no_end(api: Api, pack: Pack) -> None:
    first = give(api, starts_on="2024-03-31")
    there = visit(api)
    claim = {"visit": there, "decision": "accepted"}
    said = {"starts_on": "2024-06-10", "months": 24, "visit": there}
    made = api("desk").post("/api/v1/claims/", {**claim, "warranty": first["id"]})
    second = give(api, repair_kind="replacement", **said)
    assert second["ends_on"] == "2025-09-30"
    voided = api().post(f"{made['Location']}void/", {"reason": "a typo in the warranty"})
    assert voided.status_code == 200
    corrected = give(api, starts_on="2024-03-30", supersedes=first["id"])
    again = api("desk").post("/api/v1/claims/", {**claim, "warranty": corrected["id"]})
    assert again.status_code == 201
    told = now(api, second)
    assert (told["ends_on"], told["runs_out"]) == ("2025-09-30", corrected["id"])


def test_two_replacements_that_were_claimed_together_run_out_in_turn(api: Api, pack: Pack) -> None:
    there = visit(api)
    said = {"repair_kind": "replacement", "visit": there}
    later_one = give(api, starts_on="2024-05-02", months=6, **said)
    sooner = give(api, starts_on="2024-05-01", months=12, **said)
    for row in (later_one, sooner):
        claim = {"warranty": row["id"], "visit": there, "decision": "accepted"}
        assert api("desk").post("/api/v1/claims/", claim).status_code == 201
    assert (now(api, sooner)["runs_out"], now(api, sooner)["ends_on"]) == (None, "2025-05-01")
    assert now(api, later_one)["ends_on"] == "2025-05-01"


def test_the_bench_voids_nothing_that_it_does_not_write(api: Api, pack: Pack) -> None:
    told = api("desk", "counter").post(ADDRESS, body()).json()
    void = f"{ADDRESS}{told['id']}/void/"
    refused = api("bench", "counter").post(void, {"reason": "x"})
    assert (refused.status_code, refused.json()["errors"][0]["code"]) == (403, "not_your_kind")
    assert now(api, told)["state"] == "ended"


def test_a_warranty_that_has_not_begun_is_no_contact_to_come(api: Api, pack: Pack) -> None:
    before = timezone.now()
    give(api, starts_on=(before + timedelta(days=9000)).date().isoformat())
    pack.refresh_from_db()
    assert pack.last_contact is not None
    assert before <= pack.last_contact == pack.settled_at <= timezone.now()
