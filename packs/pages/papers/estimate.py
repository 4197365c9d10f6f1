"""The estimate of cost, with a place for the owner's word."""

from packs.models import CostEstimate, Visit
from packs.pages import units
from packs.pages.papers import parties
from packs.pages.papers.asking import Asked, notice_of
from packs.pages.papers.blocks import (
    Block,
    Heading,
    Paper,
    Signatures,
    Table,
    Text,
    Ticks,
    facts,
    paragraphs,
)
from packs.reads import cost_estimates, names
from packs.reads.papers import words
from packs.rules.identity import encode
from packs.writes.consents import HOW

KINDS = {"part": "Part", "labour": "Labour", "other": "Other"}


def describe(key: str, asked: Asked) -> Paper:
    """The sheet of the estimate with that id."""
    rows = cost_estimates.rows().select_related("visit__vehicle", "visit__pack__pack_type")
    row = names.addressed(rows, key)
    said, visit = words("estimate", at=row.recorded_at), row.visit
    valid = "" if row.valid_until is None else units.day(row.valid_until)
    blocks: list[Block] = [
        paragraphs(said.opening),
        facts(
            ("Made on", units.moment(row.happened_at)),
            ("Valid until", valid),
            *parties.of_owner(visit.vehicle, on=visit.opened_at, asked=asked),
            *parties.of_car(visit.vehicle),
            *parties.of_pack(visit.pack),
        ),
        _lines(row, asked),
        paragraphs(row.note),
        paragraphs(said.closing),
        Heading("The owner's word"),
        *_word(row, asked),
        parties.DANGER,
    ]
    return Paper(
        kind="estimate",
        key=key,
        title=said.heading,
        shop=asked.site.name,
        dated=units.day(row.happened_at),
        blocks=tuple(blocks),
        notice=notice_of(row),
        visit=encode(Visit.PREFIX, visit.pk),
        pack=parties.serial_of(visit.pack),
    )


def wording(row: CostEstimate, asked: Asked) -> str:
    """What is put before the owner, in a sentence that is kept with the answer."""
    total = cost_estimates.sums(row).total
    taxed = ", tax included" if row.tax_pct else ""
    return (
        f"The work listed in the estimate of {units.day(row.happened_at)} "
        f"({encode(CostEstimate.PREFIX, row.pk)}), "
        f"for {units.money(total, asked.site)} in all{taxed}."
    )


def _lines(row: CostEstimate, asked: Asked) -> Table:
    sums = cost_estimates.sums(row)
    rows = tuple(
        (
            line.what,
            KINDS[line.kind],
            f"{line.quantity.normalize():f}",
            units.money(line.unit_price, asked.site),
            units.money(amount, asked.site),
        )
        for line, amount in zip(cost_estimates.lines(row), sums.amounts, strict=True)
    )
    rate = f"Tax, {row.tax_pct.normalize():f} %"
    foot = (("Net", sums.net), (rate, sums.tax), ("Total", sums.total))
    return Table(
        "What it is expected to cost",
        ("What", "Kind", "Quantity", "Each", "Amount"),
        rows,
        right=(2, 3, 4),
        stacks=True,
        foot=tuple((name, "", "", "", units.money(amount, asked.site)) for name, amount in foot),
    )


def _word(row: CostEstimate, asked: Asked) -> list[Block]:
    """What the owner said last, or a place to say it."""
    word = cost_estimates.latest_word(row)
    if word is None:
        return [
            Text((wording(row, asked),)),
            Ticks(("I agree to this work at this price.", "I do not agree.")),
            Signatures(("Place and date", "Owner", "For the workshop")),
        ]
    verb = "agreed" if word.given else "refused"
    sentence = f"The owner {verb}, {HOW[word.how]}, on {units.moment(word.happened_at)}."
    return [Text((sentence, *paragraphs(word.wording).paragraphs))]
