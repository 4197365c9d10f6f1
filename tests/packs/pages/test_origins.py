"""The pages of a lot and a donor pack, setting them aside, a module's state, and what left."""

from html import unescape
from typing import Any

import pytest

from packs.models import Disposal, Module, Visit
from packs.rules.identity import encode
from packs.writes import components
from tests import world
from tests.packs import heritage
from tests.packs.api.conftest import Api
from tests.packs.api.conftest import api as api  # noqa: PLC0414  # a fixture
from tests.packs.pages.test_cores import sent
from tests.packs.pages.test_prices import sent as sent_with_version
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db


def test_a_lot_tells_what_came_of_it_and_whom_to_call() -> None:
    _, first, _ = heritage.spread()
    heritage.car(first)
    html = text(signed_in("desk"), "/lots/L-7/")
    told = words(html)
    assert "5 modules recorded: 4 tested, 2 passed , 1 failed; 2 fitted so far, 1 scrapped." in told
    assert "Each that passed cost 150.00" in told
    assert "1 pack carries a part of it." in told
    assert f"{heritage.OWNER} , {heritage.PHONE}" in told
    assert "A at 3, from 11 Mar 2024" in told
    assert "Quarantine it" not in told
    assert not inline(html)


def test_the_bench_sees_the_car_and_not_its_owner() -> None:
    _, first, _ = heritage.spread()
    heritage.car(first)
    told = words(text(signed_in("bench"), "/lots/L-7/"))
    assert "W-77 X" in told
    assert heritage.OWNER not in told
    assert heritage.PHONE not in told


def test_a_lot_is_set_aside_with_a_reason() -> None:
    heritage.spread()
    bench = signed_in("bench")
    address = "/lots/L-7/quarantine/"
    assert "3 modules of it are loose and will be set aside" in words(text(bench, address))
    refused = sent(bench, address, done_by="bench")
    assert refused.status_code == 422
    assert "Fill this in." in words(refused.content.decode())
    answer = sent(bench, address, done_by="bench", reason="vents leak")
    assert (answer.status_code, answer["Location"]) == (302, "/lots/L-7/#now")
    assert "3 modules set aside." in words(text(bench, "/lots/L-7/"))
    row = Module.objects.get(tag="C")
    assert (row.status, row.status_reason) == ("quarantined", "vents leak (bench)")
    again = sent(bench, address, done_by="bench", reason="vents leak")
    assert again.status_code == 302
    assert "Nothing of it was loose" in words(text(bench, "/lots/L-7/"))


def test_a_donor_pack_likewise() -> None:
    donor, taker = world.pack("DN-1"), world.pack("TP-0001")
    world.module("X", donor_pack=donor), world.module("Y", donor_pack=donor)
    heritage.fit(taker, 5, fitted="X")
    manager = signed_in("manager")
    told = words(text(manager, "/donors/dn-1/"))
    assert "Donor pack DN-1" in told
    assert "1 pack carries a part of it." in told
    assert (
        sent(manager, "/donors/DN-1/quarantine/", done_by="manager", reason="wet").status_code
        == 302
    )
    assert Module.objects.get(tag="Y").status == "quarantined"
    assert manager.get("/donors/none/").status_code == 404
    assert manager.get("/lots/none/").status_code == 404


def test_nothing_came_of_it_yet() -> None:
    heritage.lot("L-9")
    told = words(text(signed_in("bench"), "/lots/L-9/"))
    assert "No module that came from it is recorded." in told
    assert "Quarantine it" not in told


def test_the_desk_sets_nothing_aside() -> None:
    heritage.spread()
    desk = signed_in("desk")
    for address in ("/lots/L-7/quarantine/", "/modules/C/state/", "/disposals/new/"):
        assert desk.get(address).status_code == 403


def test_a_module_is_reserved_for_a_visit_and_released(api: Api) -> None:
    world.pack()
    world.module("M-1")
    said = {"pack": "TP-0001", "opened_at": world.later(days=1).isoformat()}
    assert api().post("/api/v1/visits/", said).status_code == 201
    key = encode("vi", Visit.objects.get().pk)
    bench = signed_in("bench")
    address = "/modules/M-1/state/"
    told: dict[str, Any] = {"done_by": "bench", "shelf": "B-4", "generation": ""}
    kept = {"status": "reserved", "reserved_for": key, "status_reason": "promised"}
    assert sent_with_version(bench, address, **told, **kept).status_code == 302
    row = Module.objects.get()
    assert (row.status, row.status_reason, row.shelf) == ("reserved", "promised (bench)", "B-4")
    assert row.reserved_for == Visit.objects.get()
    html = text(bench, "/modules/M-1/")
    assert "It is reserved. promised (bench)" in words(html)
    assert 'href="/labels/?modules=M-1&amp;sheet=single"' in html
    free = {"status": "stock", "status_reason": "not needed after all"}
    wrong = sent_with_version(bench, address, **told, **free, reserved_for=key)
    assert "Only a reserved module is kept for a visit" in words(wrong.content.decode())
    assert sent_with_version(bench, address, **told, **free).status_code == 302
    freed = Module.objects.get()
    assert (freed.status, freed.reserved_for) == ("stock", None)
    stale = bench.post(
        address, {**told, **free, "version": "1", "sent_as": "9b2f0c1e-5a0c-4a53-9d38-3a3f9a7f7d11"}
    )
    assert "It was changed meanwhile" in words(stale.content.decode())


def test_a_module_that_sits_in_a_pack_changes_its_place_alone() -> None:
    heritage.spread()
    bench = signed_in("bench")
    html = text(bench, "/modules/A/state/")
    assert "a swap that takes it out comes before another state" in words(html)
    assert 'name="status"' not in html
    assert (
        sent_with_version(bench, "/modules/A/state/", shelf="", generation="2").status_code == 302
    )
    row = Module.objects.get(tag="A")
    assert (row.status, row.generation) == ("fitted", "2")


def test_what_left_is_noted_by_scanning() -> None:
    heritage.spread()
    bench = signed_in("bench")
    said = {"recycler": "Lowfield Metals", "weight_kg": "12,5", "done_by": "bench"}
    wrong = sent(bench, "/disposals/new/", **said, modules="B\nnone\nA")
    told = unescape(words(wrong.content.decode()))
    assert wrong.status_code == 422
    assert "No module 'none' is recorded" in told
    wrong = sent(bench, "/disposals/new/", **said, modules="B\nA")
    told = unescape(words(wrong.content.decode()))
    assert "'A' sits in a pack; record the swap that takes it out first." in told
    part = {"tag": "F-1", "kind": "fuse"}
    components.create_component(by=world.actor(), at=world.BEGUN, entry=part)
    scanned = {"modules": "B\r\nC\r\n", "components": "F-1"}
    assert sent(bench, "/disposals/new/", **said, **scanned).status_code == 302
    row = Disposal.objects.get()
    assert (row.weight_kg, row.lines.count()) == (12.5, 3)
    html = text(bench, "/disposals/new/")
    assert "12.5 kg to Lowfield Metals: B, C, F-1" in words(html)
    assert "a record is no permission" in words(html)
    assert not inline(html)
