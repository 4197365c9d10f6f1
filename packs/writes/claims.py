"""Recording what was asked of a warranty, and what was decided."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packs.errors import Conflict
from packs.models import Claim, Pack, Warranty
from packs.reads import names
from packs.writes.actors import Actor
from packs.writes.recording import Outcome, record, said

MONEY = ("parts_cost", "labour_cost", "goodwill")


def record_claim(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Claim]:
    """Store a claim on the pack of its warranty, dated by its visit, or now where it has none.

    `entry` holds its fields by their names in the API. Raises Conflict for a voided warranty.
    """
    warranty = names.fact(Warranty, entry["warranty"], "/warranty")
    assert warranty is not None
    assert warranty.pack_id is not None
    visit = names.visit(entry.get("visit"))
    content = {
        "warranty": warranty,
        "visit": visit,
        "decision": entry["decision"],
        "reason": entry.get("reason", ""),
        **{name: entry.get(name) for name in MONEY},
    }

    def judge(claim: Claim, pack: Pack) -> None:
        warranty.refresh_from_db()
        if warranty.voided_at is not None:
            raise Conflict.at(
                "/warranty",
                "warranty_voided",
                "This warranty was voided; claim under the one that took its place.",
            )

    return record(
        Claim,
        by=by,
        at=at,
        pack_id=warranty.pack_id,
        happened_at=at if visit is None else visit.opened_at,
        content=content,
        said=said(Claim, entry),
        summary=f"Claim under warranty: {entry['decision']}",
        then=judge,
    )
