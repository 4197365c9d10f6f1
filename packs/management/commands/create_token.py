"""manage.py create_token --role ROLE --name NAME: a key to the API."""

from argparse import ArgumentParser, ArgumentTypeError
from datetime import UTC, datetime
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from packs.models import Role
from packs.writes import clients


def expiry(text: str) -> datetime:
    """The beginning of a day, UTC, such as 2027-01-31."""
    try:
        return datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC)
    except ValueError as error:
        raise ArgumentTypeError(f"'{text}' is no date; write one such as 2027-01-31") from error


class Command(BaseCommand):
    help = "Prints a token for the API, alone on its last line; it is not shown again."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--role", required=True, choices=Role.values)
        parser.add_argument("--name", required=True, help="the client that the token belongs to")
        parser.add_argument("--expires", type=expiry, help="the day it ends, such as 2027-01-31")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["name"].strip().casefold() == clients.PAGES:
            raise CommandError(f"'{clients.PAGES}' is the client of the pages; choose another name")
        secret = clients.create_token(
            role=Role(options["role"]),
            name=options["name"],
            at=timezone.now(),
            expires_at=options["expires"],
        )
        self.stdout.write(f"A token of the role {options['role']} for {options['name']}:")
        self.stdout.write(secret)
