"""Answers kept for requests with an Idempotency-Key (IETF draft-ietf-httpapi-idempotency-key)."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import QuerySet

from packs.errors import Conflict, Contradiction, Malformed
from packs.models import Client, KeptAnswer
from packs.models.facts import EXTERNAL_ID_LENGTH

KEPT_FOR = timedelta(days=30)
TWIN_RUNS_FOR = timedelta(minutes=5)  # longer than any request may take; then it has died


@dataclass(frozen=True)
class Asked:
    """A request: whose, under which key, and a digest of method, address and body."""

    client: Client
    key: str
    digest: bytes


def claim(asked: Asked, *, at: datetime) -> KeptAnswer:
    """The row of this key: with the first answer, or without one and now ours to fill.

    Raises Contradiction where the key came with another request, Conflict while a twin runs.
    """
    check_key(asked.key)
    KeptAnswer.objects.filter(started_at__lt=at - KEPT_FOR).delete()
    try:
        with transaction.atomic():
            return KeptAnswer.objects.create(
                client=asked.client, key=asked.key, request_digest=asked.digest, started_at=at
            )
    except IntegrityError:
        return _second(asked, at=at)


def check_key(key: str) -> None:
    """Raise Malformed for what is no key."""
    if not 0 < len(key) <= EXTERNAL_ID_LENGTH or not key.isprintable():
        raise Malformed.at(
            "",
            "bad_idempotency_key",
            f"Idempotency-Key is a printable text of 1 to {EXTERNAL_ID_LENGTH} characters.",
        )


def _second(asked: Asked, *, at: datetime) -> KeptAnswer:
    kept = KeptAnswer.objects.filter(client=asked.client, key=asked.key).first()
    if kept is not None and bytes(kept.request_digest) != asked.digest:
        raise Contradiction.at(
            "",
            "idempotency_key_reused",
            "This Idempotency-Key came with another request before; use a new key for a new one.",
        )
    if kept is not None and kept.status is not None:
        return kept
    died = KeptAnswer.objects.filter(
        client=asked.client, key=asked.key, status=None, started_at__lt=at - TWIN_RUNS_FOR
    )
    if kept is None or not died.update(started_at=at):
        raise _twin_running()
    kept.started_at = at
    return kept


def keep(kept: KeptAnswer, *, status: int, body: Any, location: str) -> None:
    """Store the answer in the transaction of what it answers.

    Raises Conflict, which undoes that, where a twin took the key over meanwhile.
    """
    if not _own(kept).update(status=status, body=body, location=location):
        raise _twin_running()


def release(kept: KeptAnswer) -> None:
    """Only success is kept: after an error the key is free again."""
    _own(kept).delete()


def _own(kept: KeptAnswer) -> QuerySet[KeptAnswer]:
    """The row, as long as nobody else began the same request again."""
    return KeptAnswer.objects.filter(pk=kept.pk, status=None, started_at=kept.started_at)


def _twin_running() -> Conflict:
    return Conflict.at(
        "", "twin_running", "The same request is still being worked on; ask again shortly."
    )
