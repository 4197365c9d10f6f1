"""`serve`: a real small shop in one command."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand

from shop.server import run_server


class Command(BaseCommand):
    help = "Migrates, then serves pages and API and works out what is owed, until stopped."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--bind", default="127.0.0.1:8000", help="HOST:PORT (%(default)s)")

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", interactive=False, verbosity=options["verbosity"])
        if settings.REDIS_URL is not None:
            self.stdout.write("REDIS_URL is set: Celery's workers sweep, not this process.")
        self.stdout.write(f"Serving on http://{options['bind']}/ - stop with Ctrl-C.")
        run_server(bind=options["bind"])
