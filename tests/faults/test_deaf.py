"""Senders that do not listen, and those that break off, against a real server."""

import pytest

from tests.faults import deaf as senders
from tests.faults.conftest import PACKS
from tests.faults.deaf import Deaf

pytestmark = pytest.mark.django_db

LINES = 9_000


def test_who_reads_nothing_until_all_is_sent_is_answered_all(deaf: Deaf) -> None:
    for chunked in (True, False):
        length = None if chunked else senders.size(senders.shapeless())
        heard = deaf.post(senders.shapeless(), length)
        count = sum(1 for _ in senders.shapeless())
        assert heard.summary == {"stored": 0, "repeated": 0, "refused": count}
        assert heard.statuses == {400: count}
        assert heard.size > senders.buffer("tcp_wmem", senders.SEND_BUFFER)


def test_a_stream_that_broke_off_is_not_summed_up_and_can_be_sent_again(deaf: Deaf) -> None:
    assert senders.break_and_repeat(deaf, LINES, name="broken", packs=PACKS) == []
