"""Who is asking: the bearer of a token, or a person signed in to the pages."""

from dataclasses import dataclass
from typing import Any

from django.utils import timezone
from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from packs.models import Account
from packs.reads import clients
from packs.writes import clients as client_writes
from packs.writes.actors import Actor


@dataclass(frozen=True)
class TokenUser:
    """Stands where Django expects a user: a program, not a person."""

    username: str
    is_authenticated: bool = True
    is_active: bool = True
    pk: None = None


class BearerToken(BaseAuthentication):
    """`Authorization: Bearer <token>` (RFC 6750)."""

    def authenticate(self, request: Request) -> tuple[TokenUser, Actor] | None:
        scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
        if not scheme:
            return None
        if scheme.lower() != "bearer" or not secret:
            raise AuthenticationFailed("Send 'Authorization: Bearer <token>'.", code="no_token")
        now = timezone.now()
        token = clients.token_behind(secret.strip(), at=now)
        if token is None:
            raise AuthenticationFailed(
                "This token is unknown, revoked or expired; ask the manager for another.",
                code="bad_token",
            )
        client_writes.mark_used(token, at=now)
        actor = Actor(client=token.client, roles=frozenset({token.role}))
        return TokenUser(token.client.name), actor

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="register"'


class PageSession(SessionAuthentication):
    """The session of the pages; its requests carry Django's CSRF token."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        found = super().authenticate(request)
        if found is None:
            return None
        return found[0], session_actor(found[0])


def session_actor(account: Account) -> Actor:
    """The actor behind a signed-in account."""
    return Actor(
        client=client_writes.pages_client(at=timezone.now()),
        roles=account.roles,
        person=account.person,
    )
