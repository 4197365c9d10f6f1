"""Papers on the screen: where they lead, how they are headed, and what became of a core."""

import re
from decimal import Decimal
from typing import Any

import pytest

from packs.pages.papers.kinds import KINDS
from packs.rules.identity import encode
from packs.writes import cores
from tests import paperwork, world
from tests.pages import signed_in, text, words
from tests.paperwork import Paperwork

pytestmark = pytest.mark.django_db
SPACE = "\u00a0"


@pytest.fixture
def done() -> Paperwork:
    paperwork.site()
    return paperwork.done()


@pytest.mark.parametrize("kind", list(KINDS))
def test_a_paper_leads_back_and_names_its_record_at_its_foot_alone(
    done: Paperwork, kind: str
) -> None:
    page = text(signed_in("desk"), f"/papers/{kind}/{done.keys[kind]}/")
    assert f'href="/visits/{done.visit}/"' in page
    assert f'href="/visits/{done.visit}/papers/"' in page
    assert re.search(r'href="/packs/[\w-]+/">Pack ', page)
    sheet = words(page[page.index("<article") : page.index("</article>")])
    assert sheet.endswith(f"reference {done.keys[kind]}")
    assert "Visit" not in sheet


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"state": "accepted"}, "was accepted. The deposit of 1 250.00 EUR is still to be given"),
        ({"state": "refused", "reason": "It was flooded."}, "was refused. The deposit of 1 250.00 EUR was not given back."),
        ({"state": "refunded", "refund": Decimal(1200)}, "was accepted. Of the deposit of 1 250.00 EUR, 1 200.00 EUR was given back."),
    ],
)  # fmt: skip
def test_the_receipt_of_a_judged_core_says_what_became_of_it(
    done: Paperwork, changes: dict[str, Any], said: str
) -> None:
    entry = {
        "pack": "OLD-77", "visit": done.visit, "deposit": Decimal(1250), "supersedes": done.core,
        "due_on": world.later(42).date(), "returned_on": world.later(13).date(),
        "complete": True, "opened": False, "flooded": False, **changes,
    }  # fmt: skip
    row = cores.record_core(by=world.actor(), at=world.later(14), entry=entry).row
    address = f"/papers/core_receipt/{encode(row.PREFIX, row.pk)}/"
    page = words(text(signed_in("desk"), address)).replace("\u202f", " ").replace(SPACE, " ")
    assert f"The old pack came back on 14 Mar 2024 and {said}" in page
    assert "is owed to us" not in page
    assert "can be refused" not in page


def test_one_check_alone_is_headed_by_its_day() -> None:
    paperwork.site()
    paperwork.car(pack := world.pack())
    visit = paperwork.opened()
    at = world.later(10.1)
    world.check(pack, paperwork.weak(8, 0.9), at=at, taken_at=at, visit=visit, **paperwork.LOAD)
    page = words(text(signed_in("desk"), f"/papers/test_certificate/{visit}/"))
    assert "Measured on 11 Mar 2024" in page
    assert "First" not in page


def test_the_lines_of_an_estimate_can_be_read_one_by_one(done: Paperwork) -> None:
    desk = signed_in("desk")
    page = text(desk, f"/papers/estimate/{done.estimate}/")
    assert '<table class="stacks">' in page
    assert page.count('data-label="Amount"') == 2
    certificate = text(desk, f"/papers/test_certificate/{done.visit}/")
    assert "data-label" not in certificate
