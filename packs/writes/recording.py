"""The one way a fact about a pack is written.

The pack is locked first and its revision raised; the fact, its line in the history and the mark
of what is now owed are stored in the same transaction.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Generic, Protocol, TypeVar

from django.db import IntegrityError, transaction
from django.db.models import Model

from packs.errors import Conflict, Contradiction, Fault
from packs.models import Fact, HistoryEntry, Pack, Person, Posted
from packs.reads import names
from packs.writes.actors import Actor
from packs.writes.digests import digest

FactT = TypeVar("FactT", bound=Fact)
PostedT = TypeVar("PostedT", bound=Posted)
RowT = TypeVar("RowT", bound=Model)


@dataclass(frozen=True)
class Outcome(Generic[RowT]):
    """A stored row, and whether this call stored it or found it stored before."""

    row: RowT
    created: bool


@dataclass(frozen=True)
class Said:
    """What every fact may be told along with its content."""

    external_id: str | None = None
    done_by: Person | None = None
    supersedes: Fact | None = None
    beside: Mapping[str, Any] = field(default_factory=dict)  # said in rows of their own


def said(
    model: type[Fact], entry: Mapping[str, Any], *, beside: Mapping[str, Any] | None = None
) -> Said:
    """What every fact may be told along with its content, its names resolved."""
    return Said(
        external_id=entry.get("external_id"),
        done_by=names.person(entry.get("done_by")),
        supersedes=names.fact(model, entry.get("supersedes")),
        beside=beside or {},
    )


def midnight(day: date) -> datetime:
    """A dated fact counts from the beginning of its day, UTC."""
    return datetime.combine(day, time.min, tzinfo=UTC)


def lock(pack_id: int) -> Pack:
    """The pack, held until the transaction ends."""
    return Pack.objects.select_for_update().get(pk=pack_id)


REVISED = ["revision", "settled_at", "last_contact", "estimate_due_at"]


class Revised(Protocol):
    """What a write about a pack changes of it."""

    revision: int
    settled_at: datetime
    last_contact: datetime | None
    estimate_due_at: datetime | None


def revise(pack: Pack, *, at: datetime, happened_at: datetime | None) -> datetime:
    """Raise the revision of a locked pack and mark its estimate as owed.

    `happened_at` is when the pack was in hand, None where it was only written about. Returns the
    instant that the record bears.
    """
    recorded_at = go_forward(pack, at=at, happened_at=happened_at)
    pack.save(update_fields=REVISED)
    return recorded_at


def go_forward(pack: Revised, *, at: datetime, happened_at: datetime | None) -> datetime:
    """The same for who stores the pack: the instant is `at`, or just what is needed to keep
    records of one pack in the order of their revisions where clocks disagree."""
    pack.revision += 1
    pack.settled_at = max(at, pack.settled_at + timedelta.resolution)
    if happened_at is not None:
        seen = min(happened_at, pack.settled_at)
        pack.last_contact = max(seen, pack.last_contact or seen)
    pack.estimate_due_at = min(at, pack.estimate_due_at or at)
    return pack.settled_at


def enter(
    pack: Pack,
    *,
    by: Actor,
    recorded_at: datetime,
    happened_at: datetime,
    fact: Any,
    kind: str,
    summary: str,
    action: str = HistoryEntry.Action.RECORDED,
    done_by: Person | None = None,
) -> None:
    """The line of the history that belongs to the pack's present revision."""
    HistoryEntry.objects.create(
        pack=pack,
        revision=pack.revision,
        recorded_at=recorded_at,
        happened_at=happened_at,
        kind=kind,
        action=action,
        fact_id=fact.pk,
        summary=summary,
        client=by.client,
        recorded_by=by.person,
        done_by=done_by,
    )


def note(
    pack: Pack,
    *,
    by: Actor,
    at: datetime,
    fact: Any,
    kind: str,
    action: str,
    summary: str,
    happened_at: datetime | None = None,
) -> datetime:
    """Raise the revision of a locked pack for what is no new fact, with its line.

    `happened_at` as in `revise`. Returns the instant that the line bears.
    """
    recorded_at = revise(pack, at=at, happened_at=happened_at)
    enter(
        pack,
        by=by,
        recorded_at=recorded_at,
        happened_at=happened_at or recorded_at,
        fact=fact,
        kind=kind,
        action=action,
        summary=summary,
    )
    return recorded_at


def known_before(
    model: type[PostedT], *, by: Actor, external_id: str | None, content_digest: bytes
) -> PostedT | None:
    """The row stored under this external id before, if it says the same."""
    if external_id is None:
        return None
    stored = model._default_manager.filter(client=by.client, external_id=external_id).first()
    if stored is not None and bytes(stored.digest) != content_digest:
        raise sent_otherwise(external_id)
    return stored


def sent_otherwise(external_id: str) -> Conflict:
    """The sentence for an external id that came before with other content."""
    return Conflict.at(
        "/external_id",
        "external_id_taken",
        f"'{external_id}' was sent before with other content; "
        "send the same content again, or another external_id.",
    )


def record(
    model: type[FactT],
    *,
    by: Actor,
    at: datetime,
    pack_id: int,
    happened_at: datetime,
    content: Mapping[str, Any],
    said: Said,
    summary: str,
    in_hand: bool = True,
    then: Callable[[FactT, Pack], None] | None = None,
) -> Outcome[FactT]:
    """Store one fact about a pack; the same one sent again is found, not stored twice.

    `content` holds the columns of `model`; `then` writes what hangs on the fact; `in_hand` is
    false for what was said while nobody saw the pack, which is no contact with it. Raises
    Conflict for an external id with other content and for whatever the database refuses.
    """
    content_digest = digest(
        {
            **content,
            **said.beside,
            "pack": pack_id,
            "done_by": said.done_by,
            "supersedes": said.supersedes,
        }
    )
    with transaction.atomic():
        pack = lock(pack_id)
        stored = known_before(
            model, by=by, external_id=said.external_id, content_digest=content_digest
        )
        if stored is not None:
            return Outcome(stored, created=False)
        if said.supersedes is not None:
            must_stand(said.supersedes, pack=pack, pointer="/supersedes")
        recorded_at = revise(pack, at=at, happened_at=happened_at if in_hand else None)
        if said.supersedes is not None:
            take_out(said.supersedes, pack=pack, by=by, at=recorded_at, reason="superseded")
        fact = model(
            **content,
            pack=pack,
            revision=pack.revision,
            recorded_at=recorded_at,
            client=by.client,
            recorded_by=by.person,
            done_by=said.done_by,
            external_id=said.external_id,
            supersedes=said.supersedes,
            digest=content_digest,
        )
        insert(fact)
        if then is not None:
            then(fact, pack)
        enter(
            pack,
            by=by,
            recorded_at=recorded_at,
            happened_at=happened_at,
            fact=fact,
            kind=model.KIND,
            summary=summary,
            done_by=said.done_by,
        )
    return Outcome(fact, created=True)


def insert(fact: Fact) -> None:
    """Insert, with what the database refuses told as a conflict."""
    try:
        with transaction.atomic():
            fact.save(force_insert=True)
    except IntegrityError as refusal:
        raise conflict_of(refusal) from refusal


def conflict_of(refusal: IntegrityError) -> Conflict:
    """The sentence for what the database refused."""
    for name, (pointer, code, detail) in REFUSALS.items():
        if name in str(refusal):
            return Conflict([Fault(pointer, code, detail)])
    raise refusal


REFUSALS: Mapping[str, tuple[str, str, str]] = {
    "_once_per_client": (
        "/external_id",
        "external_id_taken",
        "This external_id was just used by another request; send it again to see the answer.",
    ),
    "external_id": (
        "/external_id",
        "external_id_taken",
        "This external_id was just used by another request; send it again to see the answer.",
    ),
    "placement_module_one_place": (
        "/changes",
        "module_elsewhere",
        "That module sits somewhere else at that time; record its removal there first.",
    ),
    "placement_position_one_module": (
        "/changes",
        "position_taken",
        "That position holds another module at that time; record its removal first.",
    ),
    "core_due_once": (
        "/pack",
        "core_due_already",
        "This pack is owed as a core already; tell how that core goes on, by a record that "
        "supersedes it.",
    ),
    "packs_core.pack_id": (
        "/pack",
        "core_due_already",
        "This pack is owed as a core already; tell how that core goes on, by a record that "
        "supersedes it.",
    ),
    "installation_pack_one_vehicle": (
        "/pack",
        "pack_in_another_vehicle",
        "The pack sat in another vehicle at that time; correct that installation first, "
        "with removed_at, by a new record that supersedes it.",
    ),
}


class Numbered(Protocol):
    """A pack, however it was read."""

    @property
    def pk(self) -> int: ...
    @property
    def revision(self) -> int: ...


def must_stand(fact: Fact, *, pack: Numbered | None, pointer: str = "") -> None:
    """Raise, if a fact can't be taken out of account of this locked pack."""
    if fact.pack_id != (None if pack is None else pack.pk):
        raise Contradiction.at(
            pointer, "other_pack", "A correction takes the place of a record of the same pack."
        )
    fact.refresh_from_db(fields=["voided_at"])
    if fact.voided_at is not None:
        raise Conflict.at(
            pointer,
            "already_voided",
            "That record was voided before; read what took its place, and correct that.",
        )


def take_out(fact: Fact, *, pack: Numbered | None, by: Actor, at: datetime, reason: str) -> None:
    """Take a fact of a locked pack, or of none, out of account; it stays readable."""
    must_stand(fact, pack=pack)
    fact.voided_at = at
    fact.voided_revision = None if pack is None else pack.revision
    fact.void_reason = reason
    fact.void_client = by.client
    fact.voided_by = by.person
    fact.save(
        update_fields=["voided_at", "voided_revision", "void_reason", "void_client", "voided_by"]
    )
