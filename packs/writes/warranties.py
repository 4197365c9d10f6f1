"""Recording what the shop stands behind."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from packs.errors import Conflict, Contradiction, Fault
from packs.models import Claim, Pack, Warranty
from packs.reads import names
from packs.writes.actors import Actor
from packs.writes.recording import Outcome, midnight, record, said

TERMS = ("repair_kind", "starts_on", "months", "km", "starts_km", "covers", "excludes", "labour")
LEFT_OUT = {"covers": "", "excludes": "", "labour": False}


def record_warranty(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Warranty]:
    """Store a warranty; `entry` holds its fields by their names in the API."""
    pack = names.pack(entry["pack"])
    faults = [*_faults(pack, entry)]
    if faults:
        raise Contradiction(faults)
    told = said(Warranty, entry)
    content = {name: entry.get(name, LEFT_OUT.get(name)) for name in TERMS}

    def hang(warranty: Warranty, locked: Pack) -> None:
        if isinstance(told.supersedes, Warranty):
            settle(locked, [told.supersedes], by=by, at=warranty.recorded_at)

    return record(
        Warranty,
        by=by,
        at=at,
        pack_id=pack.pk,
        happened_at=midnight(entry["starts_on"]),
        content={**content, "visit": names.visit(entry.get("visit"))},
        said=told,
        summary=_summary(entry),
        then=hang,
    )


def settle(pack: Pack, warranties: Sequence[Warranty], *, by: Actor, at: datetime) -> None:
    """Raise Conflict where claims still stand under a warranty that no longer does."""
    voided = [warranty.pk for warranty in warranties if warranty.voided_at is not None]
    claims = Claim.objects.filter(warranty__in=voided, voided_at__isnull=True).count()
    if claims:
        raise Conflict.at(
            "",
            "claims_stand",
            f"{claims} claim(s) stand under this warranty; void them first, and post them again "
            "under the warranty that takes its place.",
        )


def _faults(pack: Pack, entry: Mapping[str, Any]) -> list[Fault]:
    faults = []
    if entry.get("months") is None and entry.get("km") is None:
        faults.append(
            Fault(
                "/months",
                "never_ends",
                "A warranty ends after months, after kilometres, or both; give one of them.",
            )
        )
    elif entry.get("months") is None and entry.get("starts_km") is None:
        faults.append(
            Fault(
                "/starts_km",
                "never_ends",
                "A warranty by kilometres alone needs starts_km, or nobody can tell when it ends.",
            )
        )
    if pack.built_on is not None and entry["starts_on"] < pack.built_on:
        faults.append(
            Fault(
                "/starts_on",
                "before_built",
                f"{entry['starts_on']} is before pack {pack.serial} was built "
                f"({pack.built_on}); correct the date or the serial.",
            )
        )
    return faults


def _summary(entry: Mapping[str, Any]) -> str:
    terms = [f"{entry[unit]} {unit}" for unit in ("months", "km") if entry.get(unit) is not None]
    return f"Warranty for a {entry['repair_kind'].replace('_', ' ')}: {', '.join(terms)}"
