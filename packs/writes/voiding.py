"""Taking a record out of account, with a reason and a name; it stays readable."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import TypeVar

from django.db import transaction

from packs.errors import NotAllowed
from packs.models import (
    Fact,
    HistoryEntry,
    LockOut,
    Matching,
    Reassembly,
    ReEnergising,
    Release,
    Role,
    Swap,
    Warranty,
)
from packs.reads import sites
from packs.reads.history import resource_of
from packs.reads.roles import may
from packs.writes import (
    builds,
    lock_outs,
    placements,
    re_energisings,
    releases,
    reservations,
    warranties,
)
from packs.writes.actors import Actor
from packs.writes.recording import lock, note, take_out

FactT = TypeVar("FactT", bound=Fact)

FOLLOWS: Mapping[type[Fact], Callable[..., None]] = {
    LockOut: lock_outs.must_bear_no_work,
    ReEnergising: re_energisings.must_bear_nothing,
    Matching: reservations.settle,
    Reassembly: builds.settle,
    Release: releases.settle,
    Swap: placements.settle,
    Warranty: warranties.settle,
}
"""What is worked out again, or stands in the way, when a fact of that kind no longer counts:
the same function that its recording ends with. Called with the locked pack and the facts."""


def void(fact: FactT, *, by: Actor, at: datetime, reason: str) -> FactT:
    """Void a fact. The bench voids its own on the day it was recorded, of the kinds that it
    writes; a manager any."""
    if not may(by.roles, resource_of(fact.KIND), write=True):
        raise NotAllowed.at(
            "",
            "not_your_kind",
            "Your role does not write records of this kind; ask somebody whose role does.",
        )
    if Role.MANAGER not in by.roles and not _own_today(fact, by=by, at=at):
        raise NotAllowed.at(
            "",
            "not_own_today",
            "The bench voids what it recorded itself, on the same day; ask a manager.",
        )
    if fact.pack_id is None:
        return _void_alone(fact, by=by, at=at, reason=reason)
    with transaction.atomic():
        pack = lock(fact.pack_id)
        fact.refresh_from_db()
        recorded_at = note(
            pack,
            by=by,
            at=at,
            fact=fact,
            kind=fact.KIND,
            action=HistoryEntry.Action.VOIDED,
            summary=f"{fact.KIND.replace('_', ' ').capitalize()} voided: {reason}",
        )
        take_out(fact, pack=pack, by=by, at=recorded_at, reason=reason)
        if type(fact) in FOLLOWS:
            FOLLOWS[type(fact)](pack, [fact], by=by, at=recorded_at)
    return fact


def _void_alone(fact: FactT, *, by: Actor, at: datetime, reason: str) -> FactT:
    """Void a fact that concerns no pack: no revision is raised and no history told."""
    with transaction.atomic():
        type(fact)._default_manager.select_for_update().get(pk=fact.pk)
        fact.refresh_from_db()
        take_out(fact, pack=None, by=by, at=at, reason=reason)
    return fact


def _own_today(fact: Fact, *, by: Actor, at: datetime) -> bool:
    same_hand = fact.client_id == by.client.pk and (
        by.person is None or fact.recorded_by_id == by.person.pk
    )
    return same_hand and sites.day(fact.recorded_at) == sites.day(at)
