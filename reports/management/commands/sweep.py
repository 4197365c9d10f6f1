"""manage.py sweep [--once]: work out what is owed."""

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from reports.writes import sweeping

PAUSE_S = 5.0


class Command(BaseCommand):
    help = "Works out what is owed, and goes on until stopped; with --once until nothing is owed."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--once", action="store_true", help="stop when nothing is owed")

    def handle(self, *args: Any, **options: Any) -> None:
        done = 0
        while True:
            batch = sweeping.sweep(at=timezone.now())
            done += batch
            if batch:
                self.stderr.write(f"{done} worked out")
            elif options["once"]:
                break
            else:
                time.sleep(PAUSE_S)
        self.stdout.write(f"Nothing is owed; {done} worked out.")
