"""The page that weighs repairs."""

from collections.abc import Mapping
from decimal import Decimal

import pytest

from packs.models import Pack, Visit
from packs.rules.identity import encode
from packs.writes import prices, visits
from tests import world
from tests.packs import shelf
from tests.pages import inline, signed_in, text, words
from tests.reports import ageing
from tests.reports.api.test_repair_options import LIST, MARKS

pytestmark = pytest.mark.django_db


@pytest.fixture
def pack() -> Pack:
    return ageing.drifting_pack("TP-0001", world.pack_type(bench={"pass_marks": MARKS}))


@pytest.fixture
def address(pack: Pack) -> str:
    entry = {"pack": pack.serial, "opened_at": world.later(910)}
    visit = visits.open_visit(by=world.actor(), at=world.later(910), entry=entry).row
    return f"/visits/{encode(Visit.PREFIX, visit.pk)}/job/decision/"


def price_it() -> None:
    for line in LIST:
        prices.create_price(by=world.actor(), at=world.BEGUN, entry=decimals(line))


def decimals(line: Mapping[str, object]) -> dict[str, object]:
    amounts = {name: Decimal(str(line[name])) for name in ("price", "hours") if name in line}
    return {**line, **amounts}


def test_the_repairs_stand_side_by_side(address: str) -> None:
    price_it()
    shelf.stock(12)
    html = text(signed_in("bench"), f"{address}?positions=13,14&component=fuse&months=24")
    told = words(html)
    for name in ("Nothing", "The part alone", "These modules", "Rebuild it", "Another pack"):
        assert name in told
    assert "Least in the end, of those that can be reckoned: these modules" in told
    assert "fail within 24 months" in told
    assert "positions 13, 14: S-" in told
    assert "116.00" in told
    assert "Where this rests on little" in told
    assert "a record is no permission" in told
    assert not inline(html)


def test_without_a_list_it_says_so(address: str) -> None:
    told = words(text(signed_in("desk"), address))
    assert "The price list says too little to tell what a repair costs in the end." in told


def test_a_position_that_is_none_is_said_at_its_field(address: str) -> None:
    told = words(text(signed_in("bench"), f"{address}?positions=99"))
    assert "There is no position 99: the pack has 1 to 28." in told
    assert "positions 13, 14" in told
