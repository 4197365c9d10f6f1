"""manage.py fit_fleet [--as-of T]: fit the model to the fleet."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from reports.management.carrying import carry_on
from reports.management.instants import instant
from reports.writes import fleet_work


class Command(BaseCommand):
    help = "Fits the fleet's model to the facts dated up to now, or --as-of; stopped, it goes on."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--as-of", type=instant, help="an instant with its offset (RFC 3339)")

    def handle(self, *args: Any, **options: Any) -> None:
        work = fleet_work.ask_fit(at=timezone.now(), as_of=options["as_of"])
        made = carry_on(self, work).fit
        assert made is not None
        self.stdout.write(
            f"Fitted to {made.packs} packs, facts through {made.facts_through.isoformat()}."
        )
