"""The loop beside the web process: woken by a write, and not ended by a fault."""

import threading
from collections.abc import Iterator
from datetime import datetime

import pytest
from django.db import OperationalError

from reports.writes import sweeping
from shop import sweeper, wake

SOON_S = 5.0


class Work:
    """Stands for what is owed: answers in turn, then says that nothing is left."""

    def __init__(self, *answers: int | Exception) -> None:
        self.answers = list(answers)
        self.calls: list[datetime] = []
        self.rested = threading.Semaphore(0)

    def sweep(self, *, at: datetime) -> int:
        self.calls.append(at)
        answer = self.answers.pop(0) if self.answers else 0
        if isinstance(answer, Exception):
            self.rested.release()
            raise answer
        if answer == 0:
            self.rested.release()
        return answer


@pytest.fixture
def running(monkeypatch: pytest.MonkeyPatch) -> Iterator[sweeper.Sweeper]:
    monkeypatch.setattr(sweeper, "LOOK_EVERY_S", 60.0)
    monkeypatch.setattr(sweeper, "PAUSE_AFTER_FAULT_S", 0.05)
    monkeypatch.setattr(sweeper, "close_old_connections", lambda: None)
    wake.wait_for_write(timeout_s=0)
    loop = sweeper.Sweeper()
    yield loop
    loop.stop(within_s=SOON_S)
    wake.wait_for_write(timeout_s=0)


def begin(loop: sweeper.Sweeper, work: Work, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sweeping, "sweep", work.sweep)
    loop.start()
    assert work.rested.acquire(timeout=SOON_S)


def test_it_claims_until_nothing_is_owed(
    running: sweeper.Sweeper, monkeypatch: pytest.MonkeyPatch
) -> None:
    work = Work(3, 2)
    begin(running, work, monkeypatch)
    assert len(work.calls) == 3
    assert all(at.tzinfo is not None for at in work.calls)


def test_a_write_wakes_it_at_once(
    running: sweeper.Sweeper, monkeypatch: pytest.MonkeyPatch
) -> None:
    work = Work()
    begin(running, work, monkeypatch)
    wake.end_wait()
    assert work.rested.acquire(timeout=SOON_S)


def test_a_database_that_is_away_is_waited_for(
    running: sweeper.Sweeper, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    work = Work(OperationalError("the server went away"))
    begin(running, work, monkeypatch)
    wake.end_wait()
    assert work.rested.acquire(timeout=SOON_S)
    assert "it tries again" in caplog.text


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_fault_that_ends_the_loop_is_told_and_the_loop_starts_again(
    running: sweeper.Sweeper, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    work = Work(ZeroDivisionError())
    begin(running, work, monkeypatch)
    assert work.rested.acquire(timeout=SOON_S)
    assert "the sweep broke off" in caplog.text


def test_it_stops_while_it_waits(running: sweeper.Sweeper, monkeypatch: pytest.MonkeyPatch) -> None:
    begin(running, Work(), monkeypatch)
    running.stop(within_s=SOON_S)
    assert not [thread for thread in threading.enumerate() if thread.name == "sweep"]
