"""The pages of a job that the bench fills in by hand: what they ask, refuse, store once, and show."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from packs.models import Fact, Inspection, Placement, Release, Swap, TroubleCode, VoltageCheck
from packs.rules.identity import encode
from tests import pages, world
from tests.packs.api.conftest import api as api  # noqa: PLC0414  # fixtures
from tests.packs.api.test_lock_outs import ended
from tests.packs.api.test_teardowns import RE_ENERGISINGS
from tests.packs.api.test_teardowns import locked as locked  # noqa: PLC0414
from tests.packs.api.test_teardowns import visit as visit  # noqa: PLC0414

pytestmark = pytest.mark.django_db
REST = {f"voltages_v__{at}": "7,9" for at in range(6)}
CHECK = {"current_a": "0", "temperature_c": "23", **REST, "at": "2024-05-02T08:30"}
CODE = {"code": "p0a80", "frame": "current: 61 A\r\nspeed: 40"}
LOOK = {"blocked_filter_grade": "2", "corrosion_grade": "1", "corrosion_position": "3"}
SWAP = {"changes__0__position": "2", "changes__0__fitted": "M-2", "reason": "low"}
ROAD = {"road_test__distance_km": "12", "road_test__highest_current_a": "95"}
RELEASE = {**ROAD, "codes_clear": "on", "at": "2024-05-02T16:00"}


@dataclass(frozen=True)
class Step:
    """A page of the job, what is sent from it, and the model that it fills."""

    name: str
    model: type[Fact]
    said: dict[str, str]


STEPS = (
    Step("checks", VoltageCheck, CHECK),
    Step("after", VoltageCheck, CHECK),
    Step("codes", TroubleCode, CODE),
    Step("inspection", Inspection, LOOK),
    Step("swap", Swap, SWAP),
)


@pytest.fixture
def bench() -> Client:
    world.module("M-2")
    return pages.signed_in("bench")


def address(name: str, key: str) -> str:
    return reverse(f"job-{name}" if name else "job", args=[key])


def sent(said: dict[str, str], **changes: str) -> dict[str, str]:
    entry = {"sent_as": str(uuid4()), "done_by": "kim", **said, **changes}
    return {name: value for name, value in entry.items() if value != ""}


def told(response: Any) -> str:
    return pages.words(response.content.decode())


def beside(response: Any, field: str) -> str:
    """What stands at that field."""
    found = re.search(rf'id="id_{field}-error">([^<]+)<', response.content.decode())
    assert found is not None, told(response)
    return pages.words(found[1])


@pytest.mark.parametrize("step", STEPS, ids=lambda step: str(step.name))
def test_sent_twice_it_is_stored_once_and_by_whom(bench: Client, visit: str, step: Step) -> None:
    entry = sent(step.said)
    for _ in range(2):
        response = bench.post(address(step.name, visit), entry)
        assert response.status_code == 302, told(response)
    row = step.model._default_manager.get()
    assert row.done_by is not None
    assert (row.done_by.code, row.client.name) == ("kim", "pages")


@pytest.mark.parametrize("step", STEPS, ids=lambda step: str(step.name))
def test_who_did_it_is_asked(bench: Client, visit: str, step: Step) -> None:
    for nobody in ("", "stranger", "bench-not-here"):
        response = bench.post(address(step.name, visit), sent(step.said, done_by=nobody))
        assert response.status_code == 422
        assert beside(response, "done_by")
    assert not step.model._default_manager.exists()


@pytest.mark.parametrize(
    ("name", "said", "field", "sentence"),
    [
        ("checks", {**CHECK, "current_a": ""}, "current_a", "Fill this in."),
        ("checks", {**CHECK, "voltages_v__2": "79"}, "voltages_v__2", "79"),
        ("checks", {**CHECK, "voltages_v__2": "7.9.1"}, "voltages_v__2", "such as 15.42"),
        ("checks", {**CHECK, "at": "2099-01-01T08:00"}, "at", "ahead of the clock"),
        ("codes", {**CODE, "code": "lamp"}, "code", ""),
        ("codes", {**CODE, "frame": "61 A"}, "frame", "a name, a colon and a value"),
        ("inspection", {**LOOK, "corrosion_position": "7"}, "corrosion_position", "6"),
        ("swap", {**SWAP, "changes__0__position": "7"}, "changes__0__position", "6"),
        ("swap", {**SWAP, "changes__0__position": ""}, "changes__0__position", "Name the position"),
        ("swap", {**SWAP, "changes__1__fitted": "M-2"}, "changes__1__position", "Which position?"),
        ("swap", {**SWAP, "changes__0__fitted": "M-9"}, "changes__0__fitted", "M-9"),
        ("swap", {**SWAP, "reason": ""}, "reason", "Fill this in."),
    ],
)
def test_what_is_wrong_is_told_at_its_field(
    bench: Client, visit: str, name: str, said: dict[str, str], field: str, sentence: str
) -> None:
    response = bench.post(address(name, visit), sent(said))
    assert response.status_code == 422
    assert sentence in beside(response, field)
    assert 'id="wrong"' in response.content.decode()
    assert not any(step.model._default_manager.exists() for step in STEPS)


def test_nothing_graded_is_no_inspection(bench: Client, visit: str) -> None:
    response = bench.post(address("inspection", visit), sent({"action": "wiped"}))
    assert response.status_code == 422
    assert "Grade at least one thing" in told(response)
    assert not Inspection.objects.exists()


def test_a_module_goes_in_as_the_type_asks(bench: Client, visit: str) -> None:
    assert bench.post(address("swap", visit), sent(SWAP)).status_code == 302
    sits = Placement.objects.get(module__tag="M-2", removed_at__isnull=True)
    assert (sits.position, sits.orientation) == (2, "reversed")
    assert "position 2, nameless out, M-2 in" in told(bench.get(address("swap", visit)))


def test_codes_are_cleared_all_at_once(bench: Client, visit: str) -> None:
    for code in ("P0A80", "P0A7F"):
        assert bench.post(address("codes", visit), sent({"code": code})).status_code == 302
    assert "2 still to be cleared" in told(bench.get(address("codes", visit)))
    nobody = bench.post(address("codes", visit), sent({"clear": "1"}, done_by=""))
    assert nobody.status_code == 422
    entry = sent({"clear": "1"})
    for _ in range(2):
        assert bench.post(address("codes", visit), entry).status_code == 302
    assert "All are cleared." in told(bench.get(address("codes", visit)))
    standing = TroubleCode.objects.filter(voided_at__isnull=True)
    assert sorted(row.code for row in standing if row.cleared_at) == ["P0A7F", "P0A80"]


def test_a_check_before_the_work_is_none_after_it(api: Any, bench: Client, locked: str) -> None:
    """Taken as found, before the lock-out: the road test is still open, and so is the release."""
    for condition, amperes in (("rest", "0"), ("load", "20")):
        where = f"{address('checks', locked)}?condition={condition}&level=block"
        response = bench.post(where, sent({**CHECK, "current_a": amperes}))
        assert response.status_code == 302, told(response)
    page = told(bench.get(address("", locked)))
    assert "As found : done" in page
    assert "Road test : still open" in page
    assert api("bench").post(RE_ENERGISINGS, ended(locked)).status_code == 201
    wants = told(bench.get(address("release", locked)))
    assert "No check at rest after the work; take one." in wants
    assert "No check under load after the work; take one." in wants


def test_a_release_says_what_is_missing_and_is_made_once(bench: Client, visit: str) -> None:
    early = bench.post(address("release", visit), sent(RELEASE))
    assert early.status_code == 422
    assert "No check at rest after the work; take one." in told(early)
    for condition, amperes in (("rest", "0"), ("load", "20")):
        where = f"{address('checks', visit)}?condition={condition}&level=block"
        assert bench.post(where, sent({**CHECK, "current_a": amperes})).status_code == 302
    for missing in ("codes_clear", "road_test__distance_km", "done_by"):
        refused = bench.post(address("release", visit), sent(RELEASE, **{missing: ""}))
        assert refused.status_code == 422
        assert beside(refused, missing)
    entry = sent(RELEASE)
    for _ in range(2):
        assert bench.post(address("release", visit), entry).status_code == 302
    assert Release.objects.count() == 1
    shown = told(bench.get(address("release", visit)))
    assert "signed by Kim" in shown
    assert "Released" in told(bench.get(address("", visit)))


def test_the_job_says_what_is_next_and_what_is_not_possible(bench: Client, visit: str) -> None:
    page = pages.text(bench, address("", visit))
    words = pages.words(page)
    assert "Next: as found" in words
    assert "Not before a lock-out stands." in words
    assert "a record is no permission" in words
    assert address("lock-out", visit) in page
    assert not pages.inline(page)


def test_the_desk_looks_at_the_job_and_does_no_work_on_it(visit: str) -> None:
    desk = pages.signed_in("desk")
    page = pages.text(desk, address("", visit))
    assert "Next: as found" in pages.words(page)
    for name in ("checks", "lock-out", "teardown", "release", "hours", "parts"):
        assert f'href="{address(name, visit)}"' not in page
    assert desk.get(reverse("job-state", args=[visit])).status_code == 200
    for step in STEPS:
        assert desk.get(address(step.name, visit)).status_code == 403
        assert desk.post(address(step.name, visit), sent(step.said)).status_code == 403
        assert not step.model._default_manager.exists()


def test_a_visit_without_a_pack_has_no_job(bench: Client, api: Callable[..., Any]) -> None:
    desk = api("desk")
    assert desk.post("/api/v1/vehicles/", {"vin": "TST12345678900009"}).status_code == 201
    here = {"vehicle": "TST12345678900009", "opened_at": "2024-05-01T08:00:00Z"}
    key = desk.post("/api/v1/visits/", here).json()["id"]
    assert bench.get(address("", key)).status_code == 404
    assert bench.get(address("", encode("vi", 999))).status_code == 404
