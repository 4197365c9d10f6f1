"""How a pack may travel: cautions, the cells, a signature by who may."""

import pytest

from packs.models import Pack, ShippingDecision
from tests import world
from tests.packs.pages.test_cores import sent
from tests.pages import inline, signed_in, text, words

pytestmark = pytest.mark.django_db
LEVEL = "Dangerous goods by road"
ADDRESS = "/packs/LI-1/shipping/"


@pytest.fixture(autouse=True)
def pack() -> Pack:
    kind = world.pack_type(
        "LI-96", chemistry="li_ion", module_count=24, cells_per_module=4, cell_nominal_v=3.6
    )
    world.person("ada", qualifications=[{"level": LEVEL, "expires_on": None}])
    return world.pack("LI-1", kind)


SAID = {
    "condition": "damaged_or_defective", "un_number": "UN 3480", "reasons": "swollen",
    "done_by": "ada", "qualification": LEVEL,
}  # fmt: skip


def test_the_page_says_that_it_does_not_leave_undecided() -> None:
    html = text(signed_in("desk"), ADDRESS)
    told = words(html)
    assert "Until somebody qualified has decided, it does not leave." in told
    assert "a record is no permission" in told
    assert "special provision 376" in told
    assert "special provision 377" in told
    assert "nobody knows whether it may be charged" in told
    assert "/decide/" not in html
    assert not inline(html)


def test_a_low_cell_forbids_a_charge(pack: Pack) -> None:
    volts = [14.4] * 24
    volts[6] = 9.6
    world.check(pack, volts, taken_at=world.later(days=2))
    told = words(text(signed_in("bench"), ADDRESS))
    assert "lowest 2.40 V at module 7" in told
    assert "Do not charge it." in told
    assert "below 2.5 V: a lithium-ion cell that low is not charged again" in told
    assert "fire-safe place" in told


def test_a_healthy_one_is_not_forbidden(pack: Pack) -> None:
    world.check(pack, [14.4] * 24, taken_at=world.later(days=2))
    told = words(text(signed_in("bench"), ADDRESS))
    assert "No cell read below 2.5 V" in told
    assert "Do not charge it." not in told


def test_a_decision_is_signed_by_who_may() -> None:
    bench = signed_in("bench")
    answer = sent(bench, f"{ADDRESS}decide/", **SAID)
    assert answer.status_code == 302, words(answer.content.decode())
    row = ShippingDecision.objects.get()
    assert (row.done_by and row.done_by.code, row.un_number) == ("ada", "UN 3480")
    told = words(text(bench, ADDRESS))
    assert "damaged or defective, UN 3480, signed by ada" in told
    assert "Quarantine." in told


def test_only_those_who_may_are_offered() -> None:
    bench = signed_in("bench")
    html = text(bench, f"{ADDRESS}decide/")
    assert 'value="ada"' in html
    assert 'value="bench"' not in html
    answer = sent(bench, f"{ADDRESS}decide/", **{**SAID, "done_by": "bench"})
    assert answer.status_code == 200
    assert not ShippingDecision.objects.exists()
    assert signed_in("desk").get(f"{ADDRESS}decide/").status_code == 403


def test_an_expired_qualification_is_not_offered() -> None:
    world.person("kim", qualifications=[{"level": LEVEL, "expires_on": "2020-01-01"}])
    html = text(signed_in("manager"), f"{ADDRESS}decide/")
    assert 'value="kim"' not in html
