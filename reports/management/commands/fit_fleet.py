"""manage.py fit_fleet [--as-of T]: fit the model to the fleet."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from reports.management.instants import instant
from reports.writes import fits


class Command(BaseCommand):
    help = "Fits the fleet's model to the facts dated up to now, or up to --as-of."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--as-of", type=instant, help="an instant with its offset (RFC 3339)")

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        made = fits.fit_fleet(
            at=now,
            as_of=options["as_of"],
            progress=lambda packs: self.stderr.write(f"{packs} packs read"),
        )
        if options["as_of"] is None:
            fits.owe_all(at=now)
        self.stdout.write(
            f"Fitted to {made.packs} packs, facts through {made.facts_through.isoformat()}."
        )
