"""Long work on the fleet from the command line: one more hand, that tells how far it has come."""

import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import NoReturn

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from reports import tasks
from reports.models import FleetWork
from reports.writes import fleet_work

STOPPED = 130  # exit code, as shells have it for Ctrl-C
FAILED = 1
LOOK_EVERY_S = 0.5  # while other hands have what is left


def carry_on(command: BaseCommand, work: FleetWork) -> FleetWork:
    """See the work to its end, with the workers where there are any."""
    if work.done:
        _tell(command, work, "Goes on: ")
    try:
        with stopped_by_sigterm():
            tasks.call_workers()
            _until_ended(command, work)
    except KeyboardInterrupt:
        work.refresh_from_db()
        told = f"Stopped; {work.done} of {work.shards} shards are done."
        raise CommandError(
            f"{told} The same command goes on from there.", returncode=STOPPED
        ) from None
    if work.error:
        raise CommandError(f"The work failed: {work.error}", returncode=FAILED)
    return work


def _until_ended(command: BaseCommand, work: FleetWork) -> None:
    told = work.done
    while work.finished_at is None:
        if not fleet_work.advance(at=timezone.now(), work=work):
            time.sleep(LOOK_EVERY_S)
        work.refresh_from_db()
        if work.done != told:
            told = work.done
            _tell(command, work)


def _tell(command: BaseCommand, work: FleetWork, before: str = "") -> None:
    command.stderr.write(f"{before}{work.done} of {work.shards} shards done, {work.packs} packs")


@contextmanager
def stopped_by_sigterm() -> Iterator[None]:
    """SIGTERM stops as Ctrl-C does: claims are given back."""

    def stop(number: int, frame: object) -> NoReturn:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
