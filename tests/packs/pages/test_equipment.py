"""The pages of equipment: what is due first, what a piece touched, marking it bad."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from packs.models import Equipment
from packs.reads import sites
from packs.writes.digests import digest
from tests import world
from tests.packs.pages.test_cores import sent
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db


def tool(code: str, days: int | None = 200, kind: str = "meter", **more: Any) -> Equipment:
    today = sites.day(timezone.now())
    due_on = None if days is None else today + timedelta(days=days)
    return Equipment.objects.create(
        code=code, kind=kind, due_on=due_on, **more, **world.posted(digest(more))
    )


def test_what_is_bad_overdue_and_due_stands_first_in_words() -> None:
    today = sites.day(timezone.now())
    tool("A-good"), tool("B-soon", 10), tool("C-late", -2), tool("D-bad", 100, bad_since=today)
    tool("E-none", None)
    tool("F-gloves", 300, "gloves", rating="class 0", checked_on=today - timedelta(days=400))
    html = text(signed_in("bench"), "/equipment/")
    told = words(html)
    order = [
        told.index(code) for code in ("D-bad", "F-gloves", "C-late", "B-soon", "A-good", "E-none")
    ]
    assert order == sorted(order)
    assert "1 bad , 2 overdue , 1 due within 30 days" in told
    assert "Overdue by 2 days" in told
    assert "Nobody recorded when its next test is due." in told
    assert not inline(html)


def test_nothing_recorded_says_what_to_do() -> None:
    assert "posted to equipment/ of the API" in words(text(signed_in("desk"), "/equipment/"))


def test_a_piece_tells_what_it_touched_and_is_marked_bad() -> None:
    tool("DMM-1")
    pack = world.pack()
    for day in (1, 2):
        world.check(pack, taken_at=world.later(days=day), equipment="DMM-1")
    bench = signed_in("bench")
    told = words(text(bench, "/equipment/DMM-1/"))
    assert told.count("voltage check") == 2
    answer = sent(bench, "/equipment/DMM-1/bad/", bad_since="2024-03-02", version="1")
    assert answer.status_code == 302, words(answer.content.decode())
    assert str(Equipment.objects.get().bad_since) == "2024-03-02"
    assert "Bad: put it aside" in words(text(bench, "/equipment/DMM-1/"))
    again = sent(bench, "/equipment/DMM-1/bad/", bad_since="2024-03-01", version="1")
    assert "It was changed meanwhile" in words(again.content.decode())
    ahead = sent(bench, "/equipment/DMM-1/bad/", bad_since="2100-01-01", version="2")
    assert "lies in the future" in words(ahead.content.decode())
    assert sent(bench, "/equipment/DMM-1/bad/", version="2").status_code == 302
    assert Equipment.objects.get().bad_since is None


def test_older_records_are_a_page_away(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("packs.pages.equipment.SHOWN", 2)
    tool("DMM-1")
    pack = world.pack()
    for day in (1, 2, 3):
        world.check(pack, taken_at=world.later(days=day), equipment="DMM-1")
    desk = signed_in("desk")
    html = text(desk, "/equipment/DMM-1/")
    assert "It is bad" not in words(html)
    older = html.split('href="?after=')[1].split('"')[0]
    told = words(text(desk, f"/equipment/DMM-1/?after={older}"))
    assert (told.count("voltage check"), "The newest" in told) == (1, True)
    assert desk.get("/equipment/DMM-1/?after=x").status_code == 404
    assert desk.get("/equipment/none/").status_code == 404
    assert desk.get("/equipment/DMM-1/bad/").status_code == 403
