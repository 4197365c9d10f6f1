"""Recording a look at a pack, with what was found."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packs.errors import Contradiction, Fault
from packs.models import Finding, Inspection, Pack, PackType, Photo
from packs.reads import names, sites
from packs.rules.identity import decode
from packs.writes.actors import Actor
from packs.writes.judging import time_faults
from packs.writes.recording import Outcome, record, said

FOUND = ("part", "finding", "grade", "position", "photo")


def record_inspection(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Inspection]:
    """Store an inspection with its findings; `entry` holds its fields by their API names."""
    pack = names.pack(entry["pack"])
    faults = time_faults(pack, entry["at"], "/at", at=at, zone=sites.zone())
    faults += _position_faults(entry, pack.pack_type) + _photo_faults(entry, pack)
    if faults:
        raise Contradiction(faults)
    findings = [
        {**{name: found.get(name) for name in FOUND}, "note": found.get("note") or ""}
        for found in entry["findings"]
    ]

    def hang(inspection: Inspection, locked: Pack) -> None:
        rows = (Finding(inspection=inspection, **columns) for columns in findings)
        Finding.objects.bulk_create(rows)

    return record(
        Inspection,
        by=by,
        at=at,
        pack_id=pack.pk,
        happened_at=entry["at"],
        content={
            "happened_at": entry["at"],
            "visit": names.visit_of(pack, entry.get("visit")),
            "action": entry.get("action") or "",
        },
        said=said(Inspection, entry, beside={"findings": findings}),
        summary=_summary(entry),
        then=hang,
    )


def _position_faults(entry: Mapping[str, Any], pack_type: PackType) -> list[Fault]:
    return [
        Fault(
            f"/findings/{index}/position",
            "no_such_position",
            f"A pack of type {pack_type.code} has positions 1 to {pack_type.module_count}; "
            "name one of them, or leave it out.",
        )
        for index, found in enumerate(entry["findings"])
        if found.get("position") is not None
        and not 1 <= found["position"] <= pack_type.module_count
    ]


def _photo_faults(entry: Mapping[str, Any], pack: Pack) -> list[Fault]:
    """Findings whose photograph is none that is stored of this pack."""
    numbers = [decode(Photo.PREFIX, found.get("photo") or "") for found in entry["findings"]]
    own = set(
        Photo.objects.filter(pack=pack, pk__in=[n for n in numbers if n is not None]).values_list(
            "pk", flat=True
        )
    )
    return [
        Fault(
            f"/findings/{index}/photo",
            "unknown_photo",
            f"No photograph of pack {pack.serial} has the id '{found['photo']}'; post it to "
            "photos/ first and give the id as it was answered, or leave it out.",
        )
        for index, (found, number) in enumerate(zip(entry["findings"], numbers, strict=True))
        if found.get("photo") is not None and number not in own
    ]


def _summary(entry: Mapping[str, Any]) -> str:
    """The kinds found, worst first, without what people wrote."""
    worst = sorted(entry["findings"], key=lambda found: -int(found["grade"]))
    told = [
        f"{found['finding'].replace('_', ' ')} (grade {found['grade']}"
        + (f", position {found['position']})" if found.get("position") is not None else ")")
        for found in worst
    ]
    return f"Inspection: {', '.join(told) or 'nothing found'}"
