"""The intake sheet: what was brought in, and what the owner said to it."""

from packs.models import Consent, TroubleCode, Visit
from packs.pages import units
from packs.pages.papers import parties
from packs.pages.papers.asking import Asked
from packs.pages.papers.blocks import (
    Block,
    Heading,
    Paper,
    Signatures,
    Table,
    Text,
    facts,
    paragraphs,
)
from packs.reads import names
from packs.reads.papers import words
from packs.writes.consents import HOW

SIGNED = Signatures(("Place and date", "Owner", "For the workshop"))


def describe(key: str, asked: Asked) -> Paper:
    """The sheet of the visit with that id."""
    rows = Visit.objects.select_related("vehicle", "pack__pack_type")
    visit = names.addressed(rows, key)
    said = words("intake", at=visit.recorded_at)
    promised = "" if visit.promised_at is None else units.moment(visit.promised_at)
    told = facts(
        *parties.of_visit(visit, asked),
        *parties.of_owner(visit.vehicle, on=visit.opened_at, asked=asked),
        *parties.of_car(visit.vehicle),
        *parties.of_pack(visit.pack),
        ("Promised for", promised),
    )
    blocks: list[Block] = [paragraphs(said.opening), told, Heading("What the owner told us")]
    blocks.append(paragraphs(visit.complaint or "Nothing was written down."))
    blocks += [*_codes(visit), Heading("What is agreed"), *_agreed(visit, said.closing)]
    blocks.append(parties.DANGER)
    return Paper(
        kind="intake",
        key=key,
        title=said.heading,
        shop=asked.site.name,
        dated=units.day(visit.opened_at),
        blocks=tuple(blocks),
        visit=key,
        pack=parties.serial_of(visit.pack),
    )


def _codes(visit: Visit) -> list[Block]:
    codes = TroubleCode.objects.filter(visit=visit, voided_at__isnull=True).order_by("pk")
    rows = tuple(
        (
            f"{row.code}-{row.failure_type}" if row.failure_type else row.code,
            row.control_unit,
            row.status,
        )
        for row in codes
    )
    return [Table("Trouble codes read", ("Code", "Control unit", "Status"), rows)] if rows else []


def _agreed(visit: Visit, closing: str) -> list[Block]:
    """The owner's word with what was put to it, or what is put to it with lines to sign on."""
    standing = visit.consents.filter(about=Consent.About.INTAKE, voided_at__isnull=True)
    word = standing.order_by("-happened_at", "-pk").first()
    if word is None:
        return [paragraphs(closing), SIGNED]
    verb = "agreed" if word.given else "did not agree"
    sentence = f"The owner {verb}, {HOW[word.how]}, on {units.moment(word.happened_at)}."
    lines = [SIGNED] if word.how == Consent.How.SIGNED else []
    return [paragraphs(word.wording or closing), Text((sentence,)), *lines]
