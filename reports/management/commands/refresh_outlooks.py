"""manage.py refresh_outlooks [--pack SERIAL] [--as-of T]: work outlooks out anew."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from packs.models import Pack
from reports.management.instants import instant
from reports.writes import outlooks

BATCH = 200


class Command(BaseCommand):
    help = "Works the outlooks out anew, of all packs or of one, as of now or of --as-of."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--pack", metavar="SERIAL", help="this pack only")
        parser.add_argument("--as-of", type=instant, help="an instant with its offset (RFC 3339)")

    def handle(self, *args: Any, **options: Any) -> None:
        packs = Pack.objects.order_by("pk")
        if options["pack"]:
            packs = packs.filter(serial__upper=options["pack"].upper())
            if not packs.exists():
                raise CommandError(f"No pack '{options['pack']}' is recorded.")
        numbers = list(packs.values_list("pk", flat=True))
        done = 0
        for start in range(0, len(numbers), BATCH):
            batch, now = numbers[start : start + BATCH], timezone.now()
            if options["as_of"] is None:
                done += outlooks.work_out(batch, at=now)
            else:
                done += outlooks.refresh_as_of(batch, as_of=options["as_of"], at=now)
            self.stderr.write(f"{min(start + BATCH, len(numbers))} of {len(numbers)} packs")
        self.stdout.write(f"{done} outlooks stored.")
