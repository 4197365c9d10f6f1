"""The pages of teardown and reassembly: the path drawn, what they ask, say and store."""

import base64
import re
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from packs.models import Photo, Reassembly, Teardown, Visit
from packs.pages.job.path import Marks, drawn
from packs.reads import lock_outs, openings
from packs.rules.identity import encode
from tests import pages
from tests.browser.shop import picture
from tests.packs.api.conftest import api as api  # noqa: PLC0414  # fixtures
from tests.packs.api.test_teardowns import locked as locked  # noqa: PLC0414
from tests.packs.api.test_teardowns import visit as visit  # noqa: PLC0414

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench() -> Client:
    return pages.signed_in("bench")


def told(response: Any) -> str:
    return pages.words(response.content.decode())


def address(name: str, key: str, **asked: str) -> str:
    query = "&".join(f"{one}={value}" for one, value in asked.items())
    return f"{reverse(f'job-{name}', args=[key])}{'?' + query if query else ''}"


def sent(minute: int = 0, **said: Any) -> dict[str, Any]:
    at = f"2024-05-02T10:{minute:02}"
    return {"sent_as": str(uuid4()), "done_by": "kim", "at": at, **said}


def take_out(bench: Client, key: str, part: str, places: str = "", **said: Any) -> Any:
    entry = sent(part=part, places=places, **said)
    response = bench.post(address("teardown", key), entry, follow=True)
    assert response.status_code == 200, told(response)
    return response


def put_back(bench: Client, key: str, kind: str, **said: Any) -> Any:
    entry = sent(**{"minute": 30, **said})
    return bench.post(address("reassembly", key, kind=kind), entry, follow=True)


def test_nothing_is_asked_without_a_lock_out(bench: Client, visit: str) -> None:
    for name in ("teardown", "reassembly"):
        page = pages.text(bench, address(name, visit))
        assert "No lock-out stands on this visit" in pages.words(page)
        assert "Note that" not in pages.words(page)
        assert not pages.inline(page)
    refused = bench.post(address("teardown", visit), sent(part="cover"))
    assert refused.status_code == 422
    assert "No lock-out stands on this visit: record one first" in told(refused)
    assert not Teardown.objects.exists()


def test_what_comes_out_is_stored_and_shown_out(bench: Client, locked: str) -> None:
    shown = take_out(bench, locked, "bus_bar", "1-2", count_0="4", as_type="on")
    row = Teardown.objects.get()
    assert (row.places, row.fasteners) == ([1, 2], [{"kind": "nut", "count": 4}])
    assert [one["sense_lead"] for one in row.seen] == ["S1", "S2"]
    assert "The pack side stays live: up to 28.8 V" in told(shown)
    assert "Out now: bus bar after module 1, bus bar after module 2." in told(shown)
    page = shown.content.decode()
    assert 'aria-label="Bus bar after module 1, open"' in page
    assert 'aria-label="Bus bar after module 4, joined"' in page
    assert 'aria-label="Service switch after module 3, open"' in page
    assert not pages.inline(page)


def test_a_tap_without_script_fills_the_form_in(bench: Client, locked: str) -> None:
    page = pages.text(bench, address("teardown", locked))
    link = re.search(r'href="([^"]+)" aria-label="Bus bar after module 4, joined"', page)
    assert link is not None
    opened = pages.text(bench, address("teardown", locked) + link[1].replace("&amp;", "&"))
    assert '<option value="bus_bar" selected>' in opened
    assert re.search(r'name="places" value="4"', opened)
    assert 'class="joint chosen"' in opened


def test_sent_twice_it_is_out_once(bench: Client, locked: str) -> None:
    entry = sent(part="cover")
    for _ in range(2):
        assert bench.post(address("teardown", locked), entry).status_code == 302
    assert Teardown.objects.count() == 1


@pytest.mark.parametrize(
    ("said", "field", "sentence"),
    [
        ({"part": "bus_bar", "places": "9"}, "places", "0 to 6 in a pack of type NM-6"),
        ({"part": "bus_bar", "places": "one"}, "places", "Write positions, such as 3, 4 or 3-6."),
        ({"part": "module", "places": "2"}, "places", "still joined by the bus bar after module"),
        ({"part": "bus_bar", "places": "1", "count_0": "11"}, "count_0", "the type has 10"),
        ({"part": "cover", "odd_position": "8"}, "odd_position", "1 to 6 in a pack of type NM-6"),
        ({"part": ""}, "part", "Choose one."),
    ],
)
def test_what_is_wrong_is_told_at_its_field(
    bench: Client, locked: str, said: dict[str, Any], field: str, sentence: str
) -> None:
    response = bench.post(address("teardown", locked), sent(**said))
    assert response.status_code == 422
    beside = re.search(rf'id="id_{field}-error">([^<]+)<', response.content.decode())
    assert beside is not None, told(response)
    assert sentence in pages.words(beside[1])
    assert not Teardown.objects.exists()


def test_a_photograph_goes_with_the_next_step(bench: Client, locked: str) -> None:
    image = SimpleUploadedFile("p.jpg", base64.b64decode(picture()), "image/jpeg")
    stored = bench.post(
        address("teardown", locked),
        {"photo-sent_as": str(uuid4()), "photo-image": image, "photo-note": "residue"},
    )
    assert stored.status_code == 302
    key = encode(Photo.PREFIX, Photo.objects.get().pk)
    page = pages.text(bench, address("teardown", locked))
    assert f'value="{key}" id="id_photos_0" checked' in page
    take_out(bench, locked, "cover", photos=key)
    assert Teardown.objects.get().photos == [key]
    assert "Photographs with it" not in pages.text(bench, address("teardown", locked))


def test_a_pack_is_put_together_step_by_step(bench: Client, locked: str) -> None:
    take_out(bench, locked, "bus_bar", "1, 2", count_0="4")
    take_out(bench, locked, "module", "2", minute=5)
    page = pages.words(pages.text(bench, address("reassembly", locked)))
    assert "Next: put back what is out" in page
    assert "Module 2 is still out." in page
    assert "nut: 0 of 4 back, 4 left." in page
    put_back(bench, locked, "fitted", part="module", places="2", as_seen="on")
    assert "Next: measure each opened position" in told(bench.get(address("reassembly", locked)))
    turned = put_back(bench, locked, "polarity", minute=31, volt_1="7.9", volt_2="-7.9", volt_3="8")
    assert "Position 2 reads -7.90 V: it stands the wrong way round." in told(turned)
    assert "wrong way round" in turned.content.decode()
    refused = put_back(bench, locked, "fitted", minute=32, part="bus_bar", places="1, 2")
    assert refused.status_code == 422
    assert "Turn it and measure it again" in told(refused)
    put_back(bench, locked, "polarity", minute=33, volt_2="7.91")
    tight = {"count_0": "4", "torque_nm": "6", "tool": "TRQ-1"}
    back = put_back(bench, locked, "fitted", minute=34, part="bus_bar", places="1 2", **tight)
    assert "more than 10 % off the type's 5 N·m" in told(back).replace("&#x27;", "'")
    put_back(bench, locked, "equalised", minute=35, volt_1="7.9", volt_2="7.91")
    half = put_back(bench, locked, "half", minute=36, half="1", half_v="23.8")
    assert "Half 1: 23.80 V, and its modules sum to 23.81 V: they agree." in told(half)
    assert Reassembly.objects.count() == 6


def test_a_swapped_sense_lead_is_told_where_it_was_typed(bench: Client, locked: str) -> None:
    take_out(bench, locked, "sense_harness")
    said = {"part": "sense_harness", "odd_position": "2", "odd_sense_lead": "S3"}
    refused = put_back(bench, locked, "fitted", **said)
    assert refused.status_code == 422
    beside = re.search(r'id="id_odd_sense_lead-error">([^<]+)<', refused.content.decode())
    assert beside is not None
    assert "is 'S3' now and was 'S2'" in beside[1].replace("&#x27;", "'")
    assert not Reassembly.objects.exists()


def test_the_drawing_joins_each_module_to_the_next(locked: str) -> None:
    row = Visit.objects.select_related("pack__pack_type").get()
    assert row.pack is not None
    opening, side = openings.state(row), lock_outs.pieces(row)
    drawing = drawn(row.pack.pack_type, opening, side, Marks(positions=[2], words={5: "weakest"}))
    for sheet in drawing.sheets:
        assert [spot.position for spot in sheet.spots] == [1, 2, 3, 4, 5, 6]
        assert [joint.after for joint in sheet.joints] == [1, 2, 3, 4, 5]
        assert [joint.after for joint in sheet.joints if joint.open] == [3]
        assert all(0 < spot.x < sheet.width and 0 < spot.y < sheet.height for spot in sheet.spots)
        for joint, here, there in zip(sheet.joints, sheet.spots, sheet.spots[1:], strict=False):
            across = {here.x, here.x + 66, here.middle, there.x, there.x + 66, there.middle}
            assert {joint.x1, joint.x2} <= across
    assert [spot.live for spot in drawing.wide.spots if spot.live] == ["≤ 28.8 V", "≤ 28.8 V"]
    assert (drawing.wide.spots[1].chosen, drawing.wide.spots[4].state) == (True, "weakest")
    assert "in 2 pieces; out: nothing" in drawing.said


def test_the_desk_has_no_such_pages(locked: str) -> None:
    desk = pages.signed_in("desk")
    for name in ("teardown", "reassembly"):
        assert desk.get(address(name, locked)).status_code == 403
