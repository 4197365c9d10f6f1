"""Clients and their tokens."""

import secrets
from datetime import datetime, timedelta

from packs.models import Client, Role, Token
from packs.reads.clients import secret_digest

PAGES = "pages"
USE_SEEN_AFTER = timedelta(hours=1)  # how coarse `last_used_at` is, to spare a write a request


def create_token(*, role: Role, name: str, at: datetime, expires_at: datetime | None = None) -> str:
    """Give the client `name` (made if new) a token; the secret is returned and not kept."""
    client, _ = Client.objects.get_or_create(name=name, defaults={"created_at": at})
    secret = secrets.token_urlsafe(32)
    Token.objects.create(
        client=client,
        role=role,
        digest=secret_digest(secret),
        created_at=at,
        expires_at=expires_at,
    )
    return secret


def mark_used(token: Token, *, at: datetime) -> None:
    if token.last_used_at is None or at - token.last_used_at > USE_SEEN_AFTER:
        Token.objects.filter(pk=token.pk).update(last_used_at=at)


def named_client(name: str, *, at: datetime) -> Client:
    """The client of that name, made if new: a command that writes comes through one."""
    return Client.objects.get_or_create(name=name, defaults={"created_at": at})[0]


def pages_client(*, at: datetime) -> Client:
    """The client that whatever is entered in the pages comes through."""
    return named_client(PAGES, at=at)
