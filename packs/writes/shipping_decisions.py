"""Recording how a pack may travel, signed by who is qualified for it."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packs.errors import Conflict, Contradiction, Fault
from packs.models import Inspection, Pack, Person, ShippingDecision
from packs.models.types import Chemistry
from packs.reads import names, sites
from packs.reads import shipping as reads
from packs.rules import shipping
from packs.writes.actors import Actor
from packs.writes.judging import time_faults
from packs.writes.recording import Outcome, record, said
from packs.writes.visit_facts import instant

CONDITIONS: Mapping[str, str] = {
    ShippingDecision.Condition.SOUND: "sound",
    ShippingDecision.Condition.DAMAGED_OR_DEFECTIVE: "damaged or defective",
    ShippingDecision.Condition.FOR_DISPOSAL: "for disposal",
}

Entry = Mapping[str, Any]


def record_shipping_decision(*, by: Actor, at: datetime, entry: Entry) -> Outcome[ShippingDecision]:
    """Store a decision; `entry` holds its fields by their names in the API.

    It is signed by `done_by`, whose qualification must stand on that day. A lithium-ion pack whose
    newest inspection found what alarms is not called sound.
    """
    pack = names.pack(entry["pack"])
    happened_at = instant(ShippingDecision, entry, by=by, at=at)
    told = said(ShippingDecision, entry)
    faults = time_faults(pack, happened_at, "/at", at=at, zone=sites.zone())
    faults += _number_faults(entry, pack) + _signature_faults(told.done_by)
    if faults:
        raise Contradiction(faults)
    assert told.done_by is not None
    _must_be_qualified(told.done_by, entry, happened_at)
    _must_look_sound(pack, entry, happened_at)
    return record(
        ShippingDecision,
        by=by,
        at=at,
        pack_id=pack.pk,
        happened_at=happened_at,
        content={
            "visit": names.visit_of(pack, entry.get("visit")),
            "happened_at": happened_at,
            "condition": str(entry["condition"]),
            "un_number": str(entry["un_number"]),
            "qualification": entry["qualification"],
            "reasons": entry["reasons"],
            "packing": entry.get("packing") or "",
        },
        said=told,
        summary=f"Shipping decided: {entry['un_number']}, {CONDITIONS[entry['condition']]}",
        in_hand=False,
    )


def _number_faults(entry: Entry, pack: Pack) -> list[Fault]:
    kind = pack.pack_type
    fitting = shipping.UN_NUMBERS[kind.chemistry]
    if entry["un_number"] in fitting:
        return []
    sentence = (
        f"Pack {pack.serial} is {Chemistry(kind.chemistry).label.lower()}: its number is "
        f"{' or '.join(fitting)}, not {entry['un_number']}."
    )
    return [Fault("/un_number", "number_of_another_chemistry", sentence)]


def _signature_faults(signer: Person | None) -> list[Fault]:
    if signer is not None:
        return []
    sentence = "A decision is signed: name in done_by who is qualified and takes it."
    return [Fault("/done_by", "signature_needed", sentence)]


def _must_be_qualified(signer: Person, entry: Entry, when: datetime) -> None:
    site = sites.present()
    problem = shipping.signing(
        signer.qualifications,
        entry["qualification"],
        sites.day(when, site),
        signers=reads.signers(site),
    )
    if problem is not None:
        raise Conflict.at("/qualification", "not_qualified", problem)


def _must_look_sound(pack: Pack, entry: Entry, when: datetime) -> None:
    """Raise Conflict for a lithium-ion pack called sound against its newest inspection."""
    sound = entry["condition"] == ShippingDecision.Condition.SOUND
    if not sound or pack.pack_type.chemistry != Chemistry.LI_ION:
        return
    found = alarming(pack, when)
    if found:
        raise Conflict.at(
            "/condition",
            "findings_stand",
            f"The newest inspection found {found}: decide damaged or defective, or record an "
            "inspection that finds it no more.",
        )


def alarming(pack: Pack, when: datetime) -> str:
    """What the newest inspection found that a sound pack does not have, in words."""
    rows = Inspection.objects.filter(pack=pack, voided_at__isnull=True, happened_at__lte=when)
    newest = rows.order_by("-happened_at", "-pk").first()
    if newest is None:
        return ""
    return ", ".join(
        f"{row.get_finding_display().lower()} of grade {row.grade} ({row.part})"
        for row in newest.findings.order_by("pk")
        if row.finding in shipping.ALARMING and row.grade >= shipping.ALARMING_GRADE
    )
