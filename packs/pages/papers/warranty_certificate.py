"""The warranty certificate: what the shop stands behind, until when, and what to do then."""

from packs.models import Visit, Warranty
from packs.pages import units
from packs.pages.papers import parties
from packs.pages.papers.asking import Asked, notice_of
from packs.pages.papers.blocks import Block, Heading, Paper, Signatures, Text, facts, paragraphs
from packs.reads import names
from packs.reads.papers import words
from packs.reads.warranties import Term, terms
from packs.rules.identity import encode
from packs.writes.recording import midnight

REPAIR = {
    Warranty.RepairKind.COMPONENT_SWAP: "A part of the pack was changed",
    Warranty.RepairKind.MODULE_SWAP: "Modules of the pack were changed",
    Warranty.RepairKind.REBUILD: "The pack was rebuilt",
    Warranty.RepairKind.REPLACEMENT: "The pack was replaced by this one",
}
STATE = {
    "not_begun": "has not begun",
    "running": "runs",
    "ended": "has ended",
    "voided": "no longer counts",
}


def describe(key: str, asked: Asked) -> Paper:
    """The certificate of the warranty with that id."""
    rows = Warranty.objects.select_related("pack__pack_type", "visit__vehicle")
    row = names.addressed(rows, key)
    assert row.pack is not None
    said = words("warranty_certificate", at=row.recorded_at)
    began = midnight(row.starts_on)
    visited = None if row.visit is None else row.visit.vehicle
    vehicle = visited or parties.car_of(row.pack, on=began)
    owner = parties.of_owner(vehicle, on=max(began, row.recorded_at), asked=asked)
    term = terms([row], at=asked.at)[row.pk]
    blocks: list[Block] = [
        paragraphs(said.opening),
        facts(*owner, *parties.of_car(vehicle), *parties.of_pack(row.pack)),
        Heading("How long"),
        facts(*_duration(row, term, asked)),
        Text(tuple(_standing(term, asked))),
        Heading("What for"),
        facts(
            ("Work", REPAIR[Warranty.RepairKind(row.repair_kind)]),
            ("Labour", "included" if row.labour else "not included"),
        ),
        Text((f"Covers: {row.covers or 'the work named above.'}",)),
        Text((f"Does not cover: {row.excludes or 'nothing is listed.'}",)),
        Heading("What to do at a return"),
        paragraphs(said.closing),
        Signatures(("Place and date", "For the workshop")),
        parties.DANGER,
    ]
    return Paper(
        kind="warranty_certificate",
        key=key,
        title=said.heading,
        shop=asked.site.name,
        dated=units.day(row.starts_on),
        blocks=tuple(blocks),
        notice=notice_of(row),
        visit="" if row.visit is None else encode(Visit.PREFIX, row.visit.pk),
        pack=row.pack.serial,
    )


def _duration(row: Warranty, term: Term, asked: Asked) -> list[tuple[str, str]]:
    months = "" if row.months is None else f"{row.months} months"
    ends_on = "" if term.ends_on is None else units.day(term.ends_on)
    return [
        ("Begins", units.day(row.starts_on)),
        ("Odometer at the beginning", units.distance(row.starts_km, asked.site)),
        ("Months", months),
        ("Distance", units.distance(row.km, asked.site)),
        ("Last day", ends_on),
        ("Ends at the odometer", units.distance(term.ends_km, asked.site)),
    ]


def _standing(term: Term, asked: Asked) -> list[str]:
    told = [f"On {units.day(asked.at)} it {STATE[term.state]}."]
    if term.ends_on is not None and term.ends_km is not None:
        told.insert(0, "It ends with the last day or at that odometer, whichever comes first.")
    if term.runs_out is not None:
        first = encode(Warranty.PREFIX, term.runs_out)
        told.append(f"The pack was given under warranty {first}, whose term it runs out.")
    return told
