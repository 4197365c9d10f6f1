"""The stock page: what is there, how well it is known, what is short; the same as CSV."""

import csv
import io
from datetime import timedelta

import pytest
from django.utils import timezone

from packs.models import Module
from tests import world
from tests.packs import heritage, shelf
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db


def on_the_shelves() -> None:
    """Three tested long ago, one just now, one never; one set aside; a type that wants six."""
    shelf.stock(3)
    fresh = world.module("F-1", generation="2", shelf="B-4", lot=heritage.lot())
    age = (shelf.TESTED - timezone.now()) / timedelta(days=1)
    shelf.record_tests(fresh, days_ago=age + 1, capacity_ah=6.1)
    world.module("N-1")
    world.module("Q-1", status="quarantined", status_reason="it leaks")
    world.pack_type(bench={"stock_minimum": {"module": 6, "fuse": 1}})


def test_what_is_there_and_what_is_short() -> None:
    on_the_shelves()
    html = text(signed_in("bench"), "/stock/")
    told = words(html)
    assert "6 modules on the shelves, 5 free , 1 quarantined." in told
    assert "2 not tested, 3 with old tests." in told
    assert "module NM-28 5 6 1" in told
    assert "fuse NM-28 0 1 1" in told
    assert told.index("fuse NM-28") < told.index("module NM-28")
    assert "1 prismatic, 6 cells , generation 2" in told
    assert "quarantined: it leaks" in told
    assert "the oldest figure 1 day old" in told
    assert not inline(html)


@pytest.mark.parametrize(
    ("asked", "tags"),
    [
        ("", ["F-1", "N-1", "Q-1", "S-001", "S-002", "S-003"]),
        ("tests=none", ["N-1", "Q-1"]),
        ("tests=fresh", ["F-1"]),
        ("tests=old", ["S-001", "S-002", "S-003"]),
        ("status=quarantined", ["Q-1"]),
        ("status=scrapped", []),
        ("generation=2&cells=6&form=prismatic", ["F-1"]),
        ("lot=L-7", ["F-1"]),
        ("shelf=B-4&donor=none", []),
        ("cells=x&tests=none", ["N-1", "Q-1"]),
    ],
)
def test_the_address_asks_and_the_export_answers_the_same(asked: str, tags: list[str]) -> None:
    on_the_shelves()
    bench = signed_in("bench")
    told = words(text(bench, f"/stock/?{asked}"))
    assert f"{len(tags)} module{'' if len(tags) == 1 else 's'} " in told
    answer = bench.get(f"/stock/export.csv?{asked}")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [row["Module"] for row in rows] == tags


def test_the_export_tells_figures_and_no_formula() -> None:
    on_the_shelves()
    Module.objects.filter(tag="N-1").update(status_reason="=1+1")
    answer = signed_in("desk").get("/stock/export.csv")
    rows = {
        row["Module"]: row
        for row in csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig")))
    }
    assert rows["N-1"]["Why"] == "'=1+1"
    assert (rows["F-1"]["Capacity, Ah"], rows["F-1"]["Age of the oldest figure, days"]) == (
        "6.1",
        "1",
    )
    assert (rows["F-1"]["Shelf"], rows["F-1"]["Lot"], rows["N-1"]["Tests"]) == (
        "B-4",
        "L-7",
        "not tested",
    )


def test_pages_go_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("packs.pages.stock.SHOWN", 2)
    on_the_shelves()
    bench = signed_in("bench")
    html = text(bench, "/stock/?status=stock")
    assert 'href="?status=stock&amp;page=2#list"' in html
    assert "S-002" in text(bench, "/stock/?status=stock&page=2")


def test_an_empty_stock_says_how_modules_come_in() -> None:
    told = words(text(signed_in("desk"), "/stock/"))
    assert "No module is on the shelves." in told
    assert "Nothing is below" in told
    assert "recycler" not in told


def test_who_works_with_the_stock_finds_it_on_every_page() -> None:
    for role, there in (("bench", True), ("manager", True), ("desk", False)):
        html = text(signed_in(role), "/stock/")
        for address in ("/stock/", "/tests/", "/equipment/"):
            assert (f'<a href="{address}"' in html) is there, (role, address)
