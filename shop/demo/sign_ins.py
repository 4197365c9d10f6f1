"""Who may sign in to the demo: open to everybody who reads fixtures/sign_ins.json."""

from datetime import datetime, timedelta

from packs.models import Account, Person, Role
from packs.writes import clients
from shop.demo.books import Books

TOKEN_LASTS = timedelta(days=30)


def make_accounts(books: Books) -> None:
    """An account for each role; one that is there keeps the password it has by now."""
    for row in books.rows("sign_ins"):
        if not Account.objects.filter(username=row["user_name"]).exists():
            person = Person.objects.get(code=row["person"])
            account = Account(username=row["user_name"], person=person)
            account.set_password(row["password"])
            account.save()


def make_machine_token(books: Books, *, at: datetime) -> str:
    """A token for the machine, made anew at each start; it ends by itself."""
    machine = books.read("sign_ins")["machine"]
    return clients.create_token(
        role=Role(machine["role"]), name=machine["client"], at=at, expires_at=at + TOKEN_LASTS
    )
