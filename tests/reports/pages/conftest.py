"""A pack whose outlook is given, so that each level can be looked at."""

from collections.abc import Callable
from datetime import timedelta

import pytest

from packs.models import Pack
from reports.models import Outlook
from reports.writes.fits import prior
from tests import world

Told = Callable[..., Pack]


@pytest.fixture
def told(db: None) -> Told:
    """`told(level)` makes a pack with a few checks and that outlook, owed nothing."""

    def make(level: str, serial: str = "TP-0001") -> Pack:
        pack = world.pack(serial)
        volts = [*world.healthy_v(27), 7.5]
        for day in (10, 100):
            world.check(pack, volts, taken_at=world.later(day))
        pack.refresh_from_db()
        Pack.objects.filter(pk=pack.pk).update(estimate_due_at=None)
        little = level == "too_little_data"
        Outlook.objects.filter(pack=pack).delete()
        Outlook.objects.create(
            pack=pack,
            pack_revision=pack.revision,
            fit=prior(),
            as_of=pack.settled_at,
            known_at=pack.settled_at + timedelta(seconds=1),
            level=level,
            spread_now_v=0.42,
            limit_v=0.3,
            reference_load_a=20.0,
            growth_per_year=None if little else 0.35,
            p30=0.05,
            p90=0.15,
            p180=0.31,
            p365=0.52,
            limit_reached_on=None,
            weakest_position=28,
            checks_used=1 if little else 2,
            series="rest/module",
            reasons=["Said by the trend."],
        )
        return pack

    return make
