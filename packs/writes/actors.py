"""Who writes: a client, and the person signed in to it where there is one."""

from dataclasses import dataclass

from packs.models import Client, Person


@dataclass(frozen=True)
class Actor:
    """A client with the roles that it acts under."""

    client: Client
    roles: frozenset[str]
    person: Person | None = None
