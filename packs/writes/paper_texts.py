"""The shop's own words on its papers, version by version."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.models import PaperText, PaperTextVersion
from packs.writes.actors import Actor
from packs.writes.keeping import change, keep
from packs.writes.recording import Outcome

WORDS = ("heading", "opening", "closing")


def create_paper_text(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[PaperText]:
    """Store the words of a paper and their first version; `entry` by the names of the API."""
    content = {name: entry.get(name) or "" for name in WORDS}
    with transaction.atomic():
        outcome = keep(PaperText, by=by, at=at, key={"paper": str(entry["paper"])}, content=content)
        if outcome.created:
            _append_version(outcome.row, at=at)
    return outcome


def change_paper_text(
    row: PaperText, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> PaperText:
    """Store other words as a new version; papers of facts recorded before keep theirs."""
    content = {name: value or "" for name, value in changes.items()}
    with transaction.atomic():
        changed = change(row, by=by, at=at, version=version, key=row.paper, changes=content)
        _append_version(changed, at=at)
    return changed


def _append_version(row: PaperText, *, at: datetime) -> None:
    words = {name: getattr(row, name) for name in WORDS}
    PaperTextVersion.objects.create(text=row, number=row.version, recorded_at=at, **words)
