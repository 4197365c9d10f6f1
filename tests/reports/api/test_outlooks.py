"""packs/{serial}/outlook/ and outlooks/ as programs see them."""

from collections.abc import Callable
from typing import Any
from urllib.parse import quote

import pytest
from rest_framework.test import APIClient

from tests import world
from tests.reports import ageing

pytestmark = pytest.mark.django_db

Api = Callable[..., APIClient]
FIELDS = {
    "pack", "as_of", "known_at", "level", "spread_now_v", "limit_v", "reference_load_a",
    "growth_per_year", "failure_probability", "limit_reached_on", "weakest_position",
    "checks_used", "since", "reasons", "series", "pack_revision", "fit",
}  # fmt: skip


def get(client: APIClient, address: str) -> Any:
    response = client.get(f"/api/v1/{address}")
    return response.status_code, response.json()


def test_it_answers_every_figure_of_an_outlook(api: Api) -> None:
    ageing.drifting_pack("TP-1")
    status, told = get(api("machine"), "packs/tp-1/outlook/")
    assert status == 200
    assert set(told) == FIELDS
    assert (told["pack"], told["weakest_position"], told["pack_revision"]) == ("TP-1", 7, 7)
    assert list(told["failure_probability"]) == ["30", "90", "180", "365"]
    assert set(told["limit_reached_on"]) == {"p10", "p50", "p90"}
    assert set(told["fit"]) == {"id", "fitted_at", "facts_through"}


def test_a_posted_check_is_in_the_next_answer(api: Api) -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    client = api("machine")
    before = get(client, "packs/TP-1/outlook/")[1]
    body = ageing.load_entry(pack, world.later(days=700), 0.9)
    posted = client.post(
        "/api/v1/voltage-checks/",
        {
            **body,
            "taken_at": body["taken_at"].isoformat(),
            "voltages_v": [unit / 10_000 for unit in body["voltages_v"].tolist()],
        },
        format="json",
    )
    after = get(client, "packs/TP-1/outlook/")[1]
    assert posted.status_code == 201
    assert after["pack_revision"] == before["pack_revision"] + 1
    assert after["checks_used"] == before["checks_used"] + 1


def test_both_instants_give_what_was_given_then(api: Api) -> None:
    pack = ageing.drifting_pack("TP-1", checks_taken=3)
    client = api("desk")
    given = get(client, "packs/TP-1/outlook/")[1]
    ageing.record(pack, 500, 0.9)
    assert get(client, "packs/TP-1/outlook/")[1] != given
    then = quote(given["as_of"])
    assert get(client, f"packs/TP-1/outlook/?as_of={then}&known_at={then}")[1] == given


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("as_of=2024-06-01T00:00:00", "not_an_instant"),
        ("known_at=yesterday", "not_an_instant"),
        ("as_of=2124-06-01T00:00:00Z", "as_of_ahead"),
        ("when=2024-06-01T00:00:00Z", "unknown_field"),
    ],
)
def test_a_bad_point_of_view_is_told(api: Api, query: str, code: str) -> None:
    ageing.drifting_pack("TP-1", checks_taken=1)
    status, told = get(api("desk"), f"packs/TP-1/outlook/?{query}")
    assert (status, told["errors"][0]["code"]) == (400, code)


def test_no_such_pack(api: Api) -> None:
    assert get(api("desk"), "packs/NONE/outlook/")[0] == 404


def test_the_worst_come_first_and_pages_stay_with_one_refresh(api: Api) -> None:
    packs = ageing.fleet(5)
    client = api("manager")
    for pack in packs:
        get(client, f"packs/{pack.serial}/outlook/")
    _, first = get(client, "outlooks/?page_size=2")
    ageing.record(packs[0], 1000, 3.0)
    get(client, f"packs/{packs[0].serial}/outlook/")
    rows = first["results"]
    while first["next"]:
        first = client.get(first["next"]).json()
        rows += first["results"]
    chances = [row["failure_probability"]["180"] for row in rows]
    assert sorted(row["pack"] for row in rows) == [pack.serial for pack in packs]
    assert chances == sorted(chances, reverse=True)


def test_outlooks_are_asked_for_by_level_and_probability(api: Api) -> None:
    for pack in ageing.fleet(3):
        get(api("manager"), f"packs/{pack.serial}/outlook/")
    client = api("manager")
    _, everything = get(client, "outlooks/?horizon=365")
    chances = [row["failure_probability"]["365"] for row in everything["results"]]
    _, some = get(client, f"outlooks/?horizon=365&min_probability={chances[1]}")
    assert len(some["results"]) == sum(chance >= chances[1] for chance in chances)
    level = everything["results"][0]["level"]
    _, alike = get(client, f"outlooks/?level={level}")
    assert {row["level"] for row in alike["results"]} == {level}
    assert get(client, "outlooks/?status=scrapped")[1]["results"] == []
    assert get(client, "outlooks/?level=bad")[0] == 400
    assert get(client, "outlooks/?horizon=7")[0] == 400
