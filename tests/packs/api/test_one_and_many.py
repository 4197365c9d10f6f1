"""The same lines one by one and as a stream: the same records, the same refusals.

`python -m tests.faults.sameness` does it with 10,000.
"""

import pytest

from tests.faults import comparing
from tests.faults.lines import Sender
from tests.packs.api.conftest import Api

pytestmark = pytest.mark.django_db
LINES = 500


def test_the_same_lines_give_the_same_records_and_refusals(api: Api) -> None:
    visits, bases = comparing.found()
    said = [*Sender(7, visits=visits, bases=bases).lines(LINES)]
    done = comparing.compare(api("machine"), said)
    assert done.differing[:3] == []
    assert set(done.statuses) >= {200, 201, 400, 409, 422}
    assert len(done.codes) > 20
