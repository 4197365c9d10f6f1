"""Two of the rounds that `python -m tests.faults` plays by the dozen, and crossing streams."""

import pytest

from tests.faults import crossing, rounds
from tests.faults.conftest import PACKS
from tests.faults.shop import KINDS, Shop

pytestmark = [pytest.mark.postgres, pytest.mark.broker, pytest.mark.django_db]

ROUNDS = 2
LINES = 1_200


def test_what_was_acknowledged_outlives_every_server(shop: Shop) -> None:
    done = rounds.kill_for_rounds(shop, ROUNDS, seed=1, packs=PACKS, small=True)
    assert done.breaches == []
    assert set(done.kills) == set(KINDS)
    assert done.heard.posts > 4 * ROUNDS  # something was sent again
    assert rounds.close_accounts(shop) == []


def test_streams_that_cross_do_not_lock_each_other_out(shop: Shop) -> None:
    done = crossing.cross(shop, len(crossing.KINDS), seed=1, packs=PACKS, count=LINES)
    assert done.breaches == []
