"""manage.py verify_records: look for breaches of what must always hold."""

from itertools import chain
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from packs.reads import verifying as facts
from reports.reads import verifying as judgement


class Command(BaseCommand):
    help = "Walks the whole database for breaches of what must always hold; exit 1 if any."

    def handle(self, *args: Any, **options: Any) -> None:
        found = 0
        walk = chain(
            facts.breaches(progress=lambda packs: self.stderr.write(f"{packs} packs walked")),
            judgement.breaches(at=timezone.now()),
        )
        for breach in walk:
            found += 1
            self.stdout.write(str(breach))
        if found:
            raise CommandError(f"{found} breaches found.", returncode=1)
        self.stdout.write("Everything holds.")
