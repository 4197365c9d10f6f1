"""Which client a token belongs to."""

import hashlib
from datetime import datetime

from django.db.models import Q

from packs.models import Token


def secret_digest(secret: str) -> bytes:
    """What is kept of a token: SHA-256 does for a secret of 256 random bits."""
    return hashlib.sha256(secret.encode()).digest()


def token_behind(secret: str, *, at: datetime) -> Token | None:
    """The token, if it is one that may be used at that instant."""
    return (
        Token.objects.select_related("client")
        .filter(Q(expires_at__isnull=True) | Q(expires_at__gt=at))
        .filter(digest=secret_digest(secret), revoked_at__isnull=True)
        .first()
    )
