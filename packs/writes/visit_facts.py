"""Facts told on a visit: about its pack, or alone where nobody knows the pack yet."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, TypeVar

from django.db import transaction
from django.db.models import QuerySet

from packs.errors import Contradiction, Fault
from packs.models import Fact, Step, Visit
from packs.reads import sites
from packs.writes.actors import Actor
from packs.writes.digests import digest
from packs.writes.judging import CLOCK_ERROR, time_faults
from packs.writes.recording import Outcome, Said, insert, known_before, record, take_out

FactT = TypeVar("FactT", bound=Fact)


def instant(model: type[Fact], entry: Mapping[str, Any], *, by: Actor, at: datetime) -> datetime:
    """When it happened: as told, else as of the one sent before under its id, else now.

    Without the second, what is sent twice without a time would differ by the clock alone.
    """
    if entry.get("at") is not None:
        told: datetime = entry["at"]
        return told
    name = entry.get("external_id")
    if name is None:
        return at
    rows: QuerySet[Any] = model._default_manager.filter(client=by.client, external_id=name)
    before: datetime | None = rows.values_list("happened_at", flat=True).first()
    return at if before is None else before


def faults_of_time(visit: Visit, when: datetime, pointer: str, *, at: datetime) -> list[Fault]:
    """What is wrong with the time of a fact told on this visit."""
    if visit.pack is not None:
        return time_faults(visit.pack, when, pointer, at=at, zone=sites.zone())
    return future_faults(when, pointer, at=at)


def future_faults(when: datetime, pointer: str, *, at: datetime) -> list[Fault]:
    """What is wrong with the time of a fact that concerns no pack."""
    if when <= at + CLOCK_ERROR:
        return []
    sentence = f"{when.isoformat()} is more than five minutes ahead of the clock here; correct it."
    return [Fault(pointer, "in_the_future", sentence)]


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
    in_hand: bool = True,
    then: Callable[[FactT], None] | None = None,
) -> Outcome[FactT]:
    """Store a fact of this visit; the same one sent again is found, not stored twice.

    `content` holds the columns of `model` beside the visit; `then` writes the rows that hang on
    the fact; `in_hand` as for any record. A visit of a car whose pack nobody knows raises no
    revision and has no history.
    """
    old = said.supersedes
    if isinstance(old, Step) and old.visit_id != visit.pk:
        raise Contradiction.at(
            "/supersedes",
            "other_visit",
            "A correction takes the place of a step of the same visit; void that step instead.",
        )
    columns = {**content, "visit": visit}
    if visit.pack_id is None:
        return record_alone(model, columns, said, by=by, at=at, then=then)
    return record(
        model,
        by=by,
        at=at,
        pack_id=visit.pack_id,
        happened_at=happened_at,
        content=columns,
        said=said,
        summary=summary,
        in_hand=in_hand,
        then=None if then is None else lambda fact, _: then(fact),
    )


def record_alone(
    model: type[FactT],
    content: Mapping[str, Any],
    said: Said,
    *,
    by: Actor,
    at: datetime,
    then: Callable[[FactT], None] | None = None,
    follows: Mapping[str, Any] | None = None,
) -> Outcome[FactT]:
    """Store a fact that concerns no pack; the same one sent again is found, not stored twice.

    `content` holds the columns as they were said, `follows` those that were worked out from them
    and from what stood recorded, which may differ when the same is sent again.
    """
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
            **(follows or {}),
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
