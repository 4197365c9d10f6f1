"""What is covered, until when, and what that means while the car is in the shop."""

from datetime import date

import pytest

from packs.models import Claim, Pack, Site, Warranty
from packs.rules.identity import encode
from packs.writes import claims
from reports.pages.cover import Covered, covered
from reports.reads import pack_page
from tests import world
from tests.reports.pages.full import full_pack

pytestmark = pytest.mark.django_db
KM = Site(distance="km", time_zone="UTC")


def told(pack: Pack, days: float, site: Site = KM) -> Covered:
    at = world.later(days)
    return covered(pack_page.gather(pack, at=at), site, at.date())


def test_until_when_and_what_not() -> None:
    pack = full_pack(1, 6, months=12, excludes="water", labour=True)
    assert told(pack, 10).running == (
        "Covered: modules, until 2 Mar 2025 or 140\u202f000 km, whichever comes first; "
        "not covered: water. Labour is covered.",
    )
    assert "86\u202f992 mi" in told(pack, 10, Site(distance="mi")).running[0]


def test_what_ended_says_when() -> None:
    pack = full_pack(1, 6, months=12)
    after = told(pack, 800)
    assert after.running == ("Not covered: our last warranty ended on 2 Mar 2025.",)
    assert after.others[0].startswith("Module swap: ended; it ran from 2 Mar 2024 until")
    assert after.claim == ""


def test_the_odometer_may_end_it() -> None:
    pack = full_pack(1, 6)
    world.check(pack, taken_at=world.later(20), odometer_km=150_000)
    assert told(pack, 30).running == ("Not covered: our last warranty ended at 140\u202f000 km.",)


def test_a_pack_that_was_never_promised_anything() -> None:
    assert told(world.pack(), 1).running == (
        "Not covered: no warranty of ours runs for this pack.",
    )


def test_in_the_shop_a_running_warranty_is_perhaps_a_claim() -> None:
    pack = full_pack(1, 6)
    page = pack_page.gather(pack, at=world.later(10))
    assert page.stay is not None
    assert told(pack, 10).claim.startswith("It is in the shop and a warranty runs.")
    assert not told(pack, 10).claimed
    entry = {
        "warranty": encode("wa", Warranty.objects.get().pk),
        "visit": encode("vi", page.stay.pk),
        "decision": "refused",
    }
    claims.record_claim(by=world.actor(), at=world.later(10), entry=entry)
    assert Claim.objects.get().visit_id == page.stay.pk
    assert told(pack, 11).claim == "The claim on this visit was refused."
    assert told(pack, 11).claimed


def test_one_that_has_not_begun() -> None:
    pack = full_pack(1, 6, starts_on=date(2024, 5, 1), months=12)
    before = told(pack, 10)
    assert before.running[0].startswith("Not covered: no warranty of ours runs")
    assert before.others[0].startswith("Module swap: has not begun; it runs from 1 May 2024 until")
