"""manage.py refresh_outlooks [--pack SERIAL] [--as-of T]: work outlooks out anew."""

from argparse import ArgumentParser
from datetime import datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from packs.models import Pack
from reports.management.carrying import carry_on
from reports.management.instants import instant
from reports.writes import fleet_work, outlooks


class Command(BaseCommand):
    help = "Works outlooks out anew, of all packs or of one; stopped, it goes on."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--pack", metavar="SERIAL", help="this pack only")
        parser.add_argument("--as-of", type=instant, help="an instant with its offset (RFC 3339)")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["pack"]:
            done = self._one(options["pack"], options["as_of"])
        else:
            work = fleet_work.ask_refresh(at=timezone.now(), as_of=options["as_of"])
            done = carry_on(self, work).packs
        self.stdout.write(f"{done} outlooks worked out.")

    def _one(self, serial: str, as_of: datetime | None) -> int:
        pack = Pack.objects.filter(serial__upper=serial.upper()).first()
        if pack is None:
            raise CommandError(f"No pack '{serial}' is recorded.")
        if as_of is None:
            return outlooks.work_out([pack.pk], at=timezone.now(), anew=True)
        return outlooks.refresh_as_of([pack.pk], as_of=as_of, at=timezone.now())
