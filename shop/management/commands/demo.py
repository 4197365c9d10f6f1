"""`demo`: the made-up shop of fixtures/ in an SQLite file, computed and served."""

from argparse import ArgumentParser
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone

from packs.models import Client, Pack
from shop.demo import loading, showing, sign_ins
from shop.demo.books import Books
from shop.server import run_server


class Command(BaseCommand):
    help = "Sets up the made-up shop in an SQLite file, says what to look at, and serves it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--bind", default="127.0.0.1:8000", help="HOST:PORT (%(default)s)")
        parser.add_argument("--no-serve", action="store_true", help="set up, and end")

    def handle(self, *args: Any, **options: Any) -> None:
        refuse_other_registers()
        self.stdout.write("Preparing the database ...")
        call_command("migrate", interactive=False, verbosity=0)
        books = Books()
        self._set_up(books)
        self._tell(books, f"http://{options['bind']}")
        if not options["no_serve"]:
            self.stdout.write(f"Serving on http://{options['bind']}/ - stop with Ctrl-C.")
            run_server(bind=options["bind"])

    def _set_up(self, books: Books) -> None:
        client = loading.shop_client(at=timezone.now())
        if loading.is_loaded(client):
            day = f"{client.created_at:%d %B %Y}"
            self.stdout.write(f"The made-up shop was set up on {day}; nothing is taken away.")
        else:
            self.stdout.write("Setting up the made-up shop, six years of it ...")
            events = loading.course_of_events(books, client.created_at)
            loading.load_all(client, events, self._progress)
        sign_ins.make_accounts(books)

    def _progress(self, until: str, done: int, total: int) -> None:
        self.stdout.write(f"  {100 * done // max(total, 1):3d} %  up to {until}")

    def _tell(self, books: Books, address: str) -> None:
        token = sign_ins.make_machine_token(books, at=timezone.now())
        lines = ["", "Worth a look:"]
        for sight in showing.sights():
            lines.append(f"  {address}{sight.path}  {sight.why}")
        lines += ["", f"Sign in at {address}/sign-in/ with user name and password:"]
        for row in books.rows("sign_ins"):
            lines.append(f"  {row['role']:<8} {row['user_name']:<8} {row['password']}")
        lines += [f"A token for a machine, for {address}/api/v1/ (30 days):", f"  {token}", ""]
        self.stdout.write("\n".join(lines))


def refuse_other_registers() -> None:
    """The demo goes into an SQLite file of its own, never among the packs of a real shop."""
    if connection.vendor != "sqlite":
        raise CommandError(
            "DATABASE_URL names a PostgreSQL server, and the demo goes into an SQLite file only: "
            "leave DATABASE_URL out, or give sqlite:///PATH of a new file."
        )
    if Pack._meta.db_table not in connection.introspection.table_names():
        return
    if not Client.objects.filter(name=loading.CLIENT).exists() and Pack.objects.exists():
        raise CommandError(
            f"{connection.settings_dict['NAME']} holds packs that the demo did not make: "
            "leave DATABASE_URL out, or give sqlite:///PATH of a new file."
        )
