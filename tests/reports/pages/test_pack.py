"""The page of a pack: the answer first, then everything else, for every role and level."""

import re
from datetime import UTC, date, datetime

import pytest

from packs.models import (
    Finding,
    Inspection,
    Installation,
    Pack,
    Placement,
    Swap,
    SwapChange,
    Vehicle,
)
from packs.rules.identity import encode
from packs.writes import customers, vehicles, warranties
from reports.models import Outlook
from reports.pages import figures, work
from reports.pages import words as said
from reports.reads import pack_records
from tests import world
from tests.pages import inline, signed_in, text, words
from tests.reports.pages.conftest import Told

pytestmark = pytest.mark.django_db
VIN = "TST12345678900001"


@pytest.mark.parametrize("level", Outlook.Level.values)
def test_the_answer_comes_first_at_every_level(told: Told, level: str) -> None:
    pack = told(level)
    page = text(signed_in("desk"), f"/packs/{pack.serial}/")
    read = words(page)
    assert f'class="shape {said.LEVELS[level].shape}"' in page
    first = [said.LEVELS[level].word, "For the owner", "For the technician", "Not covered",
             "Chance of a failure"]  # fmt: skip
    places = [read.index(part) for part in first]
    assert places == sorted(places)
    heads = re.findall(r'<h2 id="(\w+)"', page)
    assert heads == [
        "answer",
        "trend",
        "positions",
        "found",
        "history",
        "where",
        "unknown",
        "next",
        "caution",
    ]
    assert "See it next:" in read
    assert "about 3 in 10" in read.lower()
    assert f"31{figures.NBSP}%" in page
    assert "a record is no permission" in read


@pytest.mark.parametrize("role", ["desk", "bench", "manager"])
def test_nothing_inline_stands_in_the_page_or_its_charts(told: Told, role: str) -> None:
    page = text(signed_in(role), f"/packs/{told('drifting').serial}/")
    assert page.count('<svg xmlns="http://www.w3.org/2000/svg"') == 4
    assert inline(page) == []


def test_a_serial_is_found_whatever_the_case(told: Told) -> None:
    told("settled")
    assert "Settled" in text(signed_in("bench"), "/packs/tp-0001/")


def test_every_chart_is_also_a_sentence_and_a_table(told: Told) -> None:
    page = text(signed_in("bench"), f"/packs/{told('drifting').serial}/")
    read = words(page)
    assert "Spread at rest, 2 checks: from 0.42 V on 11 Mar 2024" in read
    assert "module 28 is weakest, 0.41 V below the middle of 28" in read
    assert len(re.findall(r"<figure>.*?<figcaption>.*?<table>", page, re.DOTALL)) == 2
    assert 'aria-hidden="true"><div class="wide"><svg' in page


def test_a_pack_without_a_check_says_what_to_do_first() -> None:
    world.pack("TP-NEW")
    read = words(text(signed_in("bench"), "/packs/TP-NEW/"))
    assert "Too little data" in read
    assert "No check of this pack is recorded. The first, in the car" in read
    assert "Two checks some weeks apart would let us say more" in read
    assert "no trend to draw" in read


def test_what_could_not_be_read_and_what_is_turned_is_told() -> None:
    pack = world.pack()
    Placement.objects.filter(pack=pack, position=3).update(orientation="reversed")
    world.check(pack, [None, *world.healthy_v(27)])
    read = words(text(signed_in("bench"), "/packs/TP-0001/"))
    assert "Nothing was read at module 1 in the last check." in read
    assert "module turned the other way round" in read
    assert "could not be read" in read


def test_the_owner_is_for_the_office(told: Told) -> None:
    pack, by, at = told("settled"), world.actor(), world.later()
    owner = {"name": "Rosalind Marsh", "phone": "0660 123", "email": None}
    customer = customers.create_customer(by=by, at=at, entry=owner).row
    car = {"vin": VIN, "plate": "W-1 X", "customer": encode(customer.PREFIX, customer.pk)}
    vehicle = vehicles.create_vehicle(by=by, at=at, entry=car).row
    Installation.objects.create(
        pack=pack, vehicle=vehicle, installed_at=at, **world.posted(b"", at)
    )
    desk, bench = signed_in("desk"), signed_in("bench")
    for address in (f"/packs/{pack.serial}/", f"/vehicles/{VIN}/"):
        assert "Marsh" in text(desk, address)
        page = text(bench, address)
        assert "W-1 X" in page
        assert VIN in words(page)
        assert "Marsh" not in page
        assert "0660" not in page


def test_cover_tells_until_when() -> None:
    world.pack()
    entry = {
        "pack": "TP-0001",
        "repair_kind": "module_swap",
        "starts_on": datetime.now(tz=UTC).date(),
        "months": 24,
        "covers": "modules",
    }
    warranties.record_warranty(by=world.actor(), at=datetime.now(tz=UTC), entry=entry)
    read = words(text(signed_in("desk"), "/packs/TP-0001/"))
    assert re.search(r"Covered: modules, until \d+ \w+ \d{4}\. Parts only, not labour\.", read)


def test_findings_are_graded_and_placed(told: Told) -> None:
    pack = told("settled")
    seen = Inspection.objects.create(
        pack=pack, happened_at=world.later(5), action="Filter cleaned.", **world.posted(b"")
    )
    Finding.objects.create(
        inspection=seen, part="bus bar", finding="corrosion", grade=2, position=4
    )
    read = words(text(signed_in("bench"), f"/packs/{pack.serial}/"))
    assert "corrosion at bus bar, position 4, grade 2 of 3" in read


def test_an_inspection_without_a_grade_found_nothing(told: Told) -> None:
    pack = told("settled")
    seen = Inspection.objects.create(pack=pack, happened_at=world.later(5), **world.posted(b""))
    Finding.objects.create(inspection=seen, part="whole pack", finding="other", grade=0)
    read = words(text(signed_in("bench"), f"/packs/{pack.serial}/"))
    assert "Inspected on 6 Mar 2024: nothing found" in read


@pytest.mark.parametrize(
    ("status", "leads", "advised"),
    [
        ("scrapped", "Scrapped.", False),
        ("dismantled", "Dismantled for its parts.", False),
        ("shelf", "On the shelf, in no car.", True),
    ],
)
def test_a_pack_out_of_service_says_so_first(
    told: Told, status: str, leads: str, *, advised: bool
) -> None:
    pack = told("near_limit")
    Pack.objects.filter(pk=pack.pk).update(status=status)
    page = text(signed_in("desk"), f"/packs/{pack.serial}/")
    read = words(page)
    assert read.index(leads) < read.index("at the last check")
    leads_to = re.findall(r'href="#(\w+)"', page)
    assert [place for place in leads_to if f'id="{place}"' not in page] == []
    assert ("Sheet for the owner" in read) == advised
    assert ("For the owner" in read) == advised
    assert ("Chance of a failure" in read) == advised
    assert "See it next" not in read


def test_what_was_done_and_the_cars_it_was_in_are_told_in_words(told: Told) -> None:
    pack, by, at = told("settled"), world.actor(), world.later(200)
    vehicles.create_vehicle(by=by, at=at, entry={"vin": VIN, "plate": "W-1 X"})
    Installation.objects.create(
        pack=pack, vehicle=Vehicle.objects.get(vin=VIN), installed_at=world.later(1),
        removed_at=world.later(50), installed_km=100000, removed_km=123400, **world.posted(b""),
    )  # fmt: skip
    said_of = swap_of(pack, {"position": 20}, {"position": 5})
    assert said_of == "Modules 5 and 20 replaced (tags not recorded)."
    read = words(text(signed_in("bench"), f"/packs/{pack.serial}/"))
    assert said_of in read
    assert "W-1 X 2 Mar 2024 20 Apr 2024 100 000 km to 123 400 km" in read


def swap_of(pack: Pack, *changes: dict[str, object], kind: str = "module", day: int = 120) -> str:
    """A swap with these changes, as the page would tell it."""
    at = world.later(day)
    swap = Swap.objects.create(
        pack=pack, done_at=at, kind=kind, starts_build=kind == "module",
        **world.posted(str(day).encode(), at),
    )  # fmt: skip
    for change in changes:
        SwapChange.objects.create(swap=swap, **change)
    return work.done(pack_records.read(pack).works)[0].said


def test_tags_and_slots_are_said_in_words() -> None:
    pack, tagged = world.pack(), world.module("M-9")
    said_of = swap_of(pack, {"position": 3, "fitted": tagged}, {"position": 8})
    assert said_of == "Module 3 replaced: M-9 in; module 8 replaced (tags not recorded)."
    slots: list[dict[str, object]] = [
        {"slot": "temperature_sensor:2"},
        {"slot": "main_contactor:plus"},
    ]
    assert swap_of(pack, *slots, kind="component", day=130) == (
        "Temperature sensor 2 replaced; main contactor on the plus side replaced."
    )


def test_the_estimate_is_no_promise_outside_what_folds_away(told: Told) -> None:
    page = text(signed_in("bench"), f"/packs/{told('drifting').serial}/")
    assert page.index("An estimate, not a promise.") < page.index("<summary>Why")
    assert "Printed " in page


def test_history_is_newest_first_and_pages() -> None:
    pack = world.pack()
    for day in range(1, 31):
        world.check(pack, taken_at=world.later(day))
    client = signed_in("bench")
    page = text(client, "/packs/TP-0001/")
    days = re.findall(r'<time datetime="(\d{4}-\d\d-\d\d)', page)
    assert days == sorted(days, reverse=True)
    assert days[0] == date(2024, 3, 31).isoformat()
    (older,) = re.findall(r'href="(\?[^"#]+)#history">Older', page)
    beyond = text(client, "/packs/TP-0001/" + older.replace("&amp;", "&"))
    assert max(re.findall(r'<time datetime="(\d{4}-\d\d-\d\d)', beyond)) < days[-1]
    assert ">Newer<" in beyond
    assert ">Older<" not in beyond


@pytest.mark.parametrize("place", ["yesterday~1", "2024-01-01T00:00:00~1", "2024-01-01~x", "~"])
def test_a_page_of_history_that_is_not_there_is_404(told: Told, place: str) -> None:
    pack = told("settled")
    text(signed_in("bench"), f"/packs/{pack.serial}/?before={place}", 404)
