"""The one way a thing without a key of its own is stored: the sender's external id names it."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, TypeVar

from django.db import IntegrityError, transaction

from packs.models import Keyed
from packs.writes.actors import Actor
from packs.writes.digests import digest
from packs.writes.recording import Outcome, conflict_of, known_before

KeyedT = TypeVar("KeyedT", bound=Keyed)


def post(
    model: type[KeyedT],
    *,
    by: Actor,
    at: datetime,
    external_id: str | None,
    content: Mapping[str, Any],
    beside: Mapping[str, Any] | None = None,
) -> Outcome[KeyedT]:
    """Store a thing; under an external id sent before, the same one is found, not stored twice.

    `content` holds the columns as they were said, `beside` those that follow from them. Raises
    Conflict for an external id that came with other content.
    """
    content_digest = digest(content)
    stored = known_before(model, by=by, external_id=external_id, content_digest=content_digest)
    if stored is not None:
        return Outcome(stored, created=False)
    row = model(
        **{**content, **(beside or {})},
        external_id=external_id,
        recorded_at=at,
        client=by.client,
        recorded_by=by.person,
        digest=content_digest,
    )
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError as refusal:
        raise conflict_of(refusal) from refusal
    return Outcome(row, created=True)
