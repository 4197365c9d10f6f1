"""Facts told on a visit: about its pack, or alone where nobody knows the pack yet."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, TypeVar

from django.db import transaction

from packs.models import Fact, Visit
from packs.writes.actors import Actor
from packs.writes.digests import digest
from packs.writes.recording import Outcome, Said, insert, known_before, record, take_out

FactT = TypeVar("FactT", bound=Fact)


def record_on(
    visit: Visit,
    model: type[FactT],
    *,
    by: Actor,
    at: datetime,
    happened_at: datetime,
    content: Mapping[str, Any],
    said: Said,
    summary: str,
    then: Callable[[FactT], None] | None = None,
) -> Outcome[FactT]:
    """Store a fact of this visit; the same one sent again is found, not stored twice.

    `content` holds the columns of `model` beside the visit; `then` writes the rows that hang on
    the fact. A visit of a car whose pack nobody knows raises no revision and has no history.
    """
    columns = {**content, "visit": visit}
    if visit.pack_id is None:
        return _record_alone(model, columns, said, by=by, at=at, then=then)
    return record(
        model,
        by=by,
        at=at,
        pack_id=visit.pack_id,
        happened_at=happened_at,
        content=columns,
        said=said,
        summary=summary,
        then=None if then is None else lambda fact, _: then(fact),
    )


def _record_alone(
    model: type[FactT],
    content: Mapping[str, Any],
    said: Said,
    *,
    by: Actor,
    at: datetime,
    then: Callable[[FactT], None] | None,
) -> Outcome[FactT]:
    old = said.supersedes
    content_digest = digest({**content, **said.beside, "done_by": said.done_by, "supersedes": old})
    with transaction.atomic():
        stored = known_before(
            model, by=by, external_id=said.external_id, content_digest=content_digest
        )
        if stored is not None:
            return Outcome(stored, created=False)
        if old is not None:
            model._default_manager.select_for_update().get(pk=old.pk)
            take_out(old, pack=None, by=by, at=at, reason="superseded")
        fact = model(
            **content,
            recorded_at=at,
            client=by.client,
            recorded_by=by.person,
            done_by=said.done_by,
            external_id=said.external_id,
            supersedes=old,
            digest=content_digest,
        )
        insert(fact)
        if then is not None:
            then(fact)
    return Outcome(fact, created=True)
