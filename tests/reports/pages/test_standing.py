"""When the next check is due."""

from dataclasses import replace
from datetime import datetime

import pytest

from packs.models import Pack, Site
from reports.models import Outlook
from reports.pages.standing import Again, see_again
from reports.reads import pack_page
from tests import world
from tests.reports.pages.conftest import Told

pytestmark = pytest.mark.django_db


FAR_V = 5.0  # a limit far above the checks of the pack


def due(pack: Pack, at: datetime, limit_v: float = FAR_V) -> Again | None:
    pack.refresh_from_db()
    page = pack_page.gather(pack, at=at)
    page = replace(page, trail=replace(page.trail, limit_v=limit_v))
    return see_again(Outlook.objects.get(pack=pack), page, Site(distance="km"), at=at)


@pytest.mark.parametrize(
    ("level", "said"),
    [
        ("over_limit", "now, as soon as it can be brought."),
        ("near_limit", "now, as soon as it can be brought."),
        ("drifting", "within three months of the last check, by 8 Sep 2024."),
        ("settled", "at the yearly service, by 9 Jun 2025."),
        ("too_little_data", "within about a month or 1\u202f000 km, by 9 Jul 2024."),
    ],
)
def test_every_level_says_when(told: Told, level: str, said: str) -> None:
    # The last check of the pack is of 9 June 2024.
    again = due(told(level), world.later(110))
    assert again is not None
    assert again.said == said
    assert again.at_once == (level in {"over_limit", "near_limit"})


def test_the_owner_is_asked_back_by_a_day(told: Told) -> None:
    again = due(told("settled"), world.later(110))
    assert again is not None
    assert again.asked == "come back by 9 Jun 2025 for the next check"


def test_a_day_that_has_passed_is_overdue(told: Told) -> None:
    said = due(told("drifting"), world.later(300))
    assert said is not None
    assert said.said.startswith("overdue since 8 Sep 2024; it was due within three months")
    assert said.asked == "the next check of this pack has been due since 8 Sep 2024"


def test_a_pack_on_the_shelf_has_none(told: Told) -> None:
    pack = told("drifting")
    Pack.objects.filter(pk=pack.pk).update(status="shelf")
    assert due(pack, world.later(110)) is None


def test_without_any_check_it_is_now(told: Told) -> None:
    told("too_little_data")
    little = Outlook.objects.get()
    page = pack_page.gather(world.pack("TP-NEW"), at=world.later(5))
    again = see_again(little, page, Site(distance="km"), at=world.later(5))
    assert again is not None
    assert again.said == "now; no check is recorded yet."


def test_one_check_near_the_limit_is_followed_at_once(told: Told) -> None:
    again = due(told("too_little_data"), world.later(110), limit_v=0.5)
    assert again is not None
    assert again.at_once
