"""The one way a thing with a key of its own is stored, and changed version by version."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, TypeVar

from django.db import IntegrityError, transaction
from django.db.models import F

from packs.errors import Conflict, Stale
from packs.models import Edit, Keyed
from packs.writes.actors import Actor
from packs.writes.digests import digest
from packs.writes.recording import Outcome

KeyedT = TypeVar("KeyedT", bound=Keyed)


def keep(
    model: type[KeyedT],
    *,
    by: Actor,
    at: datetime,
    key: Mapping[str, Any],
    content: Mapping[str, Any],
    beside: Mapping[str, Any] | None = None,
) -> Outcome[KeyedT]:
    """Store a thing under its key; the same one sent again is found, not stored twice.

    `key` names the column and value that people know it by, `content` the other columns as they
    were said, `beside` columns that follow from them. Raises Conflict for a key that is known
    with other content.
    """
    content_digest = digest({**key, **content})
    try:
        with transaction.atomic():
            row = model._default_manager.create(
                **key,
                **content,
                **(beside or {}),
                recorded_at=at,
                client=by.client,
                recorded_by=by.person,
                digest=content_digest,
            )
    except IntegrityError:
        stored = model._default_manager.filter(**key).first()
        if stored is None:
            raise
        return Outcome(_same(stored, key, content_digest), created=False)
    return Outcome(row, created=True)


def _same(stored: KeyedT, key: Mapping[str, Any], content_digest: bytes) -> KeyedT:
    """The row stored under the key before, where it says the same."""
    if bytes(stored.digest) == content_digest:
        return stored
    name, value = next(iter(key.items()))
    raise Conflict.at(
        f"/{name}",
        f"{name}_taken",
        f"'{value}' is recorded with other content; read it and change it, or use another {name}.",
    )


def change(
    row: KeyedT,
    *,
    by: Actor,
    at: datetime,
    version: int,
    key: str,
    changes: Mapping[str, Any],
    personal: frozenset[str] = frozenset(),
) -> KeyedT:
    """Store a new version of a row, if it is still at `version`; raises Stale where it is not.

    Of the columns in `personal` the log keeps only that they changed.
    """
    before = {name: getattr(row, name) for name in changes}
    differing = {name: value for name, value in changes.items() if before[name] != value}
    with transaction.atomic():
        updated = type(row)._default_manager.filter(pk=row.pk, version=version)
        if not updated.update(**differing, version=F("version") + 1):
            raise Stale.at(
                "", "stale_version", "It was changed meanwhile; read it again, then change it."
            )
        Edit.objects.create(
            kind=row.KIND,
            key=key,
            version=version + 1,
            recorded_at=at,
            changes={
                name: None if name in personal else [_plain(before[name]), _plain(value)]
                for name, value in differing.items()
            },
            client=by.client,
            recorded_by=by.person,
        )
    row.refresh_from_db()
    return row


def change_all(
    rows: Sequence[KeyedT], *, by: Actor, at: datetime, key: str, changes: Mapping[str, Any]
) -> None:
    """Store the same change of rows that are locked; two queries, however many they are.

    `key` names the column that people know them by.
    """
    if not rows:
        return
    with transaction.atomic():
        held = type(rows[0])._default_manager.filter(pk__in=[row.pk for row in rows])
        held.update(**changes, version=F("version") + 1)
        Edit.objects.bulk_create(
            Edit(
                kind=row.KIND,
                key=getattr(row, key),
                version=row.version + 1,
                recorded_at=at,
                changes={
                    name: [_plain(getattr(row, name)), _plain(value)]
                    for name, value in changes.items()
                    if getattr(row, name) != value
                },
                client=by.client,
                recorded_by=by.person,
            )
            for row in rows
        )


def _plain(value: Any) -> Any:
    """A value as JSON keeps it; a row by its number."""
    if value is None or isinstance(value, bool | int | float | str | list | dict):
        return value
    return getattr(value, "pk", None) or str(value)
