"""trouble-codes/: what the control units of a car said on a visit."""

import threading
import time
from typing import Any

import pytest
from django.db import connections
from rest_framework.test import APIClient

from packs.models import HistoryEntry, Pack, TroubleCode
from packs.writes.recording import take_out
from tests import world
from tests.packs.api.conftest import Api
from tests.packs.api.test_pack_types import fault

URL = "/api/v1/trouble-codes/"
VIN = "1" * 17
OVERLAP_S = 0.3  # long enough for another thread to come in between


@pytest.fixture
def visit(api: Api) -> str:
    """A visit of the pack TP-0001."""
    world.pack()
    said = {"pack": "TP-0001", "opened_at": "2024-05-01T08:00:00Z"}
    told: str = api("desk").post("/api/v1/visits/", said).json()["id"]
    return told


@pytest.fixture
def packless(api: Api) -> str:
    """A visit of a car whose pack nobody knows."""
    desk = api("desk")
    desk.post("/api/v1/vehicles/", {"vin": VIN})
    told: str = desk.post("/api/v1/visits/", {"vehicle": VIN}).json()["id"]
    return told


def test_a_code_is_a_fact_of_the_visit_and_its_pack(api: Api, visit: str) -> None:
    said = {
        "visit": visit,
        "code": "p0a80-1f",
        "control_unit": "battery monitor",
        "status": "confirmed",
        "freeze_frame": {"soc_pct": 44.5, "blocks": [15.1, 14.2]},
    }
    response = api("machine").post(URL, said)
    assert response.status_code == 201
    told = response.json()
    assert response["Location"] == f"{URL}{told['id']}/"
    assert (told["code"], told["failure_type"], told["pack"]) == ("P0A80", "1F", "TP-0001")
    assert told["freeze_frame"] == said["freeze_frame"]
    assert told["revision"] == Pack.objects.get().revision == 3
    line = HistoryEntry.objects.get(revision=3)
    assert line.summary == "Trouble code P0A80-1F from battery monitor"
    assert line.happened_at.isoformat() == "2024-05-01T08:00:00+00:00"
    assert api("desk").get(f"{URL}{told['id']}/").json() == told


def test_the_same_again_is_known_and_other_content_is_a_conflict(
    api: Api, visit: str, packless: str
) -> None:
    bench = api("bench")
    for number, name in enumerate((visit, packless)):
        said = {"visit": name, "code": "P0A80", "external_id": f"t-{number}"}
        first = bench.post(URL, said).json()
        again = bench.post(URL, {**said, "code": "p0a 80", "status": ""})
        assert (again.status_code, again.json()) == (200, first)
        before = world.contents()
        other = bench.post(URL, {**said, "code": "P0A7F"})
        assert fault(other) == (409, "/external_id", "external_id_taken")
        assert world.contents() == before


@pytest.mark.parametrize(
    ("changes", "refusal"),
    [
        ({"code": "PXA80"}, (422, "/code", "not_a_trouble_code")),
        ({"code": "P0A80-1"}, (422, "/code", "not_a_trouble_code")),
        ({"failure_type": "XX"}, (422, "/failure_type", "not_a_failure_type")),
        (
            {"code": "P0A80-1F", "failure_type": "16"},
            (422, "/failure_type", "failure_types_disagree"),
        ),
        ({"visit": "vi_00000000"}, (422, "/visit", "unknown_visit")),
        ({"freeze_frame": [1]}, (400, "/freeze_frame", "not_an_object")),
        ({"freeze_frame": {"text": "x" * 20_000}}, (422, "/freeze_frame", "out_of_range")),
        ({"cleared_at": "2024-04-30T08:00:00Z"}, (422, "/cleared_at", "before_the_visit")),
        ({"cleared_at": "2100-01-01T00:00:00Z"}, (422, "/cleared_at", "in_the_future")),
        ({"words": "bad pack"}, (400, "/words", "unknown_field")),
        ({"done_by": "nobody"}, (422, "/done_by", "unknown_person")),
    ],
)
def test_what_is_no_code_is_refused(
    api: Api, visit: str, changes: dict[str, Any], refusal: tuple[int, str, str]
) -> None:
    bench, before = api("bench"), world.contents()
    assert fault(bench.post(URL, {"visit": visit, "code": "P0A80", **changes})) == refusal
    assert world.contents() == before


def test_a_code_of_a_car_without_a_known_pack_is_kept(api: Api, packless: str) -> None:
    manager = api("manager")
    first = manager.post(URL, {"visit": packless, "code": "U0100"})
    assert first.status_code == 201
    assert (first.json()["pack"], first.json()["revision"]) == (None, None)
    corrected = {"visit": packless, "code": "U0101", "supersedes": first.json()["id"]}
    second = manager.post(URL, corrected).json()
    assert TroubleCode.objects.get(code="U0100").void_reason == "superseded"
    address = f"{URL}{second['id']}/void/"
    voided = manager.post(address, {"reason": "other car"})
    assert (voided.status_code, voided.json()["void_reason"]) == (200, "other car")
    assert manager.post(address, {"reason": "again"}).status_code == 409
    assert not HistoryEntry.objects.exists()


def test_the_bench_voids_its_own_code_the_same_day(api: Api, visit: str) -> None:
    own = api("bench").post(URL, {"visit": visit, "code": "P0A80"}).json()
    others = api("manager").post(URL, {"visit": visit, "code": "P0A7F"}).json()
    void = {"reason": "misread"}
    assert api("bench").post(f"{URL}{own['id']}/void/", void).status_code == 200
    assert api("bench").post(f"{URL}{others['id']}/void/", void).status_code == 403
    assert HistoryEntry.objects.filter(action="voided").count() == 1


def test_the_desk_only_reads(api: Api, visit: str) -> None:
    desk = api("desk")
    before = world.contents()
    assert desk.get(URL).status_code == 200
    assert desk.post(URL, {"visit": visit, "code": "P0A80"}).status_code == 403
    assert world.contents() == before


def test_lists_are_filtered(api: Api, visit: str, packless: str) -> None:
    bench = api("bench")
    bench.post(URL, {"visit": visit, "code": "P0A80", "control_unit": "A"})
    bench.post(URL, {"visit": packless, "code": "U0100"})

    def codes(**asked: Any) -> list[str]:
        return [row["code"] for row in bench.get(URL, asked).json()["results"]]

    assert codes() == ["U0100", "P0A80"]
    assert codes(visit=visit) == codes(pack="TP-0001") == codes(code="p0a80") == ["P0A80"]
    assert codes(control_unit="A", voided="false") == ["P0A80"]
    assert codes(voided="true") == []


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_of_two_corrections_at_once_one_is_told_what_stands(
    api: Api, packless: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = api("bench").post(URL, {"visit": packless, "code": "P0A80"}).json()["id"]
    said = {"visit": packless, "supersedes": old}
    posts = [(api("bench"), {**said, "code": code}) for code in ("P0A7F", "P0A7D")]
    gate, statuses = threading.Barrier(2), []

    def slowly(*given: Any, **more: Any) -> None:
        take_out(*given, **more)
        time.sleep(OVERLAP_S)

    def post(client: APIClient, body: dict[str, Any]) -> None:
        gate.wait()
        statuses.append(client.post(URL, body).status_code)
        connections.close_all()

    monkeypatch.setattr("packs.writes.visit_facts.take_out", slowly)
    threads = [threading.Thread(target=post, args=given) for given in posts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(statuses) == [201, 409]
    assert TroubleCode.objects.filter(voided_at__isnull=True).count() == 1
