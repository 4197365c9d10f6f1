"""The core receipt: the deposit, the old pack that is owed for it, and how it is taken back."""

from packs.models import Core, Visit
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
    facts,
    paragraphs,
)
from packs.reads import names
from packs.reads.papers import words
from packs.rules.identity import encode

STATE = {
    Core.State.DUE: "owed to us",
    Core.State.ACCEPTED: "accepted; the deposit is still to be given back",
    Core.State.REFUSED: "refused",
    Core.State.REFUNDED: "accepted, and the deposit given back",
}


def describe(key: str, asked: Asked) -> Paper:
    """The receipt of the core with that id."""
    row = names.addressed(Core.objects.select_related("pack__pack_type", "visit__vehicle"), key)
    said = words("core_receipt", at=row.recorded_at)
    vehicle = None if row.visit is None else row.visit.vehicle
    due = row.state == Core.State.DUE
    visit = "" if row.visit_id is None else encode(Visit.PREFIX, row.visit_id)
    given = None if row.visit is None else row.visit.opened_at
    owner = parties.of_owner(vehicle, on=given or row.recorded_at, asked=asked)
    blocks: list[Block] = [
        paragraphs(said.opening) if due else Text((_outcome(row, asked),)),
        facts(("Recorded on", units.day(row.recorded_at)), *owner, *parties.of_car(vehicle)),
        Heading("The old pack"),
        facts(*parties.of_pack(row.pack)),
        Heading("The deposit"),
        facts(*_deposit(row, asked)),
        paragraphs(row.reason),
        Heading("How the old pack is taken back" if due else "How the old pack was found"),
        _conditions(row),
        *(_to_come(said.closing) if due else ()),
        Signatures(("Place and date", "Owner", "For the workshop")),
        parties.DANGER,
    ]
    return Paper(
        kind="core_receipt",
        key=key,
        title=said.heading,
        shop=asked.site.name,
        dated=units.day(row.recorded_at),
        blocks=tuple(blocks),
        notice=notice_of(row),
        visit=visit,
        pack=parties.serial_of(row.pack),
    )


def _outcome(row: Core, asked: Asked) -> str:
    """What became of an old pack that came back, and of the deposit."""
    assert row.returned_on is not None
    deposit = units.money(row.deposit, asked.site)
    refund = "" if not row.refund else units.money(row.refund, asked.site)
    refused = row.state == Core.State.REFUSED
    told = f"The old pack came back on {units.day(row.returned_on)} and was "
    told += "refused." if refused else "accepted."
    if refund:
        return f"{told} Of the deposit of {deposit}, {refund} was given back."
    if row.state == Core.State.ACCEPTED:
        return f"{told} The deposit of {deposit} is still to be given back."
    return f"{told} The deposit of {deposit} was not given back."


def _to_come(closing: str) -> tuple[Block, ...]:
    """What is said of an old pack that is still owed."""
    return Text(("A core that fails one of these can be refused.",)), paragraphs(closing)


def _deposit(row: Core, asked: Asked) -> list[tuple[str, str]]:
    refund = "" if row.refund is None else units.money(row.refund, asked.site)
    back = "" if row.returned_on is None else units.day(row.returned_on)
    return [
        ("Deposit", units.money(row.deposit, asked.site)),
        ("The old pack is due by", units.day(row.due_on)),
        ("State", STATE[Core.State(row.state)]),
        ("Came back on", back),
        ("Given back", refund),
    ]


def _conditions(row: Core) -> Table:
    unseen = "not looked at yet" if row.returned_on is None else "not noted"
    opened = None if row.opened is None else not row.opened
    flooded = None if row.flooded is None else not row.flooded
    rows = (
        (
            "Complete: case, modules, junction board and service switch",
            _found(row.complete, "incomplete", unseen),
        ),
        ("Not opened", _found(opened, "opened", unseen)),
        ("Not flooded", _found(flooded, "flooded", unseen)),
    )
    return Table("Conditions", ("It is to be", "Found"), rows)


def _found(holds: bool | None, against: str, unseen: str) -> str:
    if holds is None:
        return unseen
    return "yes" if holds else f"no, {against}"
