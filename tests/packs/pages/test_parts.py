"""Parts on a job: the slots of the type, a test, a change by scanning a tag."""

import pytest
from django.test import Client

from packs.models import Component, PartTest, Swap, Visit
from packs.rules.identity import encode
from packs.writes import components, visits
from tests import world
from tests.packs.api.test_part_tests import BENCH
from tests.packs.pages.test_cores import sent
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db
SLOT = "?slot=main_contactor:plus"


@pytest.fixture
def address() -> str:
    world.pack_type(max_cell_v=1.6, **BENCH)
    world.pack()
    entry = {"pack": "TP-0001", "opened_at": world.later(1)}
    row = visits.open_visit(by=world.actor(), at=world.later(1), entry=entry).row
    return f"/visits/{encode(Visit.PREFIX, row.pk)}/job/parts/"


@pytest.fixture
def client() -> Client:
    return signed_in("bench")


def part(tag: str, kind: str = "main_contactor") -> Component:
    entry = {"tag": tag, "kind": kind, "ratings": {"rated_v": 450}}
    return components.create_component(by=world.actor(), at=world.BEGUN, entry=entry).row


def test_the_slots_of_the_type_stand_there_untested(client: Client, address: str) -> None:
    html = text(client, address)
    told = words(html)
    assert "Main contactor plus" in told
    assert "Fuse 1" in told
    assert told.count("No test is recorded of it.") == 2
    assert not inline(html)


def test_a_change_by_scanning_a_tag_and_its_test(client: Client, address: str) -> None:
    part("C-1")
    answer = sent(client, f"{address}swap/{SLOT}", done_by="bench", fitted="C-1", reason="welded")
    assert answer.status_code == 302, words(answer.content.decode())
    assert Component.objects.get().status == "fitted"
    measured = {
        "measured__coil_ohm": "40",
        "measured__contact_mohm": "0,3",
        "measured__welded": "no",
    }
    answer = sent(client, f"{address}test/{SLOT}", done_by="bench", **measured)
    assert answer.status_code == 302, words(answer.content.decode())
    row = PartTest.objects.get()
    assert row.measured == {"coil_ohm": 40.0, "contact_mohm": 0.3, "welded": False}
    assert (row.component and row.component.tag, row.slot) == ("C-1", "main_contactor:plus")
    told = words(text(client, address))
    assert "1 part failed its last test." in told
    assert "Coil 40 Ω, rated 30 Ω: +33.3 %, outside ±10 %." in told
    assert "Rated 450 V d.c., the pack reaches 268.8 V: enough." in told


def test_the_tag_recorded_there_comes_out_by_itself(client: Client, address: str) -> None:
    part("C-1"), part("C-2")
    for tag in ("C-1", "C-2"):
        sent(client, f"{address}swap/{SLOT}", done_by="bench", fitted=tag, reason="worn")
    assert Component.objects.get(tag="C-1").status == "stock"
    newest = Swap.objects.order_by("-pk")[0].changes.get()
    assert (newest.removed_part, newest.fitted_part) == ("C-1", "C-2")


def test_a_part_of_another_kind_is_refused_in_words(client: Client, address: str) -> None:
    part("F-1", "fuse")
    answer = sent(client, f"{address}swap/{SLOT}", done_by="bench", fitted="F-1", reason="worn")
    assert "Part F-1 is a fuse, but slot main_contactor:plus takes a main contactor" in words(
        answer.content.decode()
    )
    assert not Swap.objects.exists()


def test_an_empty_test_is_refused(client: Client, address: str) -> None:
    answer = sent(client, f"{address}test/{SLOT}", done_by="bench")
    assert "Nothing was measured" in words(answer.content.decode())
    assert not PartTest.objects.exists()


def test_no_such_slot(client: Client, address: str) -> None:
    assert client.get(f"{address}test/?slot=wheel:1").status_code == 404
    assert client.get(f"{address}test/").status_code == 404
