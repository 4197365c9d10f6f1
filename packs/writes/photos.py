"""Recording photographs of packs."""

import hashlib
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packs.errors import Contradiction
from packs.models import Pack, Photo, PhotoContent
from packs.reads import names, sites
from packs.rules.pictures import NotAPicture, reencode
from packs.writes.actors import Actor
from packs.writes.judging import time_faults
from packs.writes.recording import Outcome, record, said
from packs.writes.visit_facts import instant


def record_photo(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Photo]:
    """Store a photograph; `entry` holds its fields by their names in the API, `image` as bytes."""
    pack = names.pack(entry["pack"])
    taken_at = instant(Photo, entry, by=by, at=at)
    faults = time_faults(pack, taken_at, "/at", at=at, zone=sites.zone())
    if faults:
        raise Contradiction(faults)
    try:
        picture = reencode(entry["image"])
    except NotAPicture as error:
        raise Contradiction.at("/image", "not_a_picture", str(error)) from error

    def hang(photo: Photo, locked: Pack) -> None:
        PhotoContent.objects.create(photo=photo, jpeg=picture.jpeg, small=picture.small)

    note = entry.get("note") or ""
    return record(
        Photo,
        by=by,
        at=at,
        pack_id=pack.pk,
        happened_at=taken_at,
        content={
            "visit": names.visit_of(pack, entry.get("visit")),
            "happened_at": taken_at,
            "note": note,
            "width": picture.width,
            "height": picture.height,
        },
        said=said(Photo, entry, beside={"image": hashlib.sha256(entry["image"]).hexdigest()}),
        summary=f"Photograph{': ' if note else ''}{note}",
        then=hang,
    )
