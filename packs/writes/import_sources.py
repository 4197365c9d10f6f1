"""Sources of files: how a tester names its columns, said once."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Conflict
from packs.models import ImportSource
from packs.reads import imports
from packs.writes.actors import Actor
from packs.writes.keeping import change, keep
from packs.writes.recording import Outcome


def keep_source(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[ImportSource]:
    """Store a source; `entry` holds its fields by their names in the API."""
    columns, settings = dict(entry["columns"]), dict(entry.get("settings") or {})
    imports.refuse_wrong(columns, settings)
    content = {"name": entry.get("name") or "", "columns": columns, "settings": settings}
    return keep(ImportSource, by=by, at=at, key={"code": entry["code"]}, content=content)


def change_source(
    row: ImportSource, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> ImportSource:
    """Store other columns or settings; not while a file is half stored by the present ones."""
    said = {**changes}
    if "name" in said:
        said["name"] = said["name"] or ""
    if "settings" in said:
        said["settings"] = dict(said["settings"] or {})
    imports.refuse_wrong(said.get("columns", row.columns), said.get("settings", row.settings))
    with transaction.atomic():
        ImportSource.objects.select_for_update().get(pk=row.pk)
        if {"columns", "settings"} & set(said):
            _refuse_half_stored(row)
        return change(row, by=by, at=at, version=version, key=row.code, changes=said)


def _refuse_half_stored(row: ImportSource) -> None:
    half = imports.files().filter(source=row, finished_at=None, lines_done__gt=0).first()
    if half is not None:
        raise Conflict.at(
            "",
            "half_stored",
            f"'{half.name}' of this source is stored up to line {half.lines_done}; carry that on "
            "to its end first, so that all of it is read alike.",
        )
