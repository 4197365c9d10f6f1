"""The kinds of paper: who may read each, and what describes it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from packs.errors import NotFound
from packs.models import PaperText
from packs.pages.papers import (
    core_receipt,
    estimate,
    intake,
    parties,
    test_certificate,
    warranty_certificate,
)
from packs.pages.papers.asking import Asked
from packs.pages.papers.blocks import Facts, Heading, Paper, paragraphs
from packs.reads.papers import words


@dataclass(frozen=True)
class Kind:
    """A paper about one thing of a resource."""

    resource: str
    describe: Callable[[str, Asked], Paper]


KINDS: Mapping[str, Kind] = {
    "intake": Kind("visits", intake.describe),
    "estimate": Kind("cost-estimates", estimate.describe),
    "test_certificate": Kind("voltage-checks", test_certificate.describe),
    "warranty_certificate": Kind("warranties", warranty_certificate.describe),
    "core_receipt": Kind("cores", core_receipt.describe),
}
LABELS: Mapping[str, str] = {
    "intake": "Intake sheet",
    "estimate": "Estimate of cost",
    "test_certificate": "Test certificate",
    "warranty_certificate": "Warranty certificate",
    "core_receipt": "Core receipt",
    "outlook": "Outlook for the owner",
}


def kind(name: str) -> Kind:
    """The kind of that name; NotFound where there is none."""
    if name not in KINDS:
        raise NotFound.at("", "not_found", f"There is no paper named '{name}'.")
    return KINDS[name]


def text_of(name: str) -> str:
    """The name of a paper that has words; NotFound where there is none."""
    if name not in PaperText.Papers.values:
        raise NotFound.at("", "not_found", f"There is no paper named '{name}'.")
    return name


def preview(name: str, asked: Asked) -> Paper:
    """A paper with its words as they stand now, and a place where its facts will be."""
    said = words(name)
    stand_in = Facts((("Here", "stand the facts of the visit, the pack and the car."),))
    blocks = (
        paragraphs(said.opening),
        Heading("Facts"),
        stand_in,
        paragraphs(said.closing),
        parties.DANGER,
    )
    return Paper(
        kind=name,
        key="preview",
        title=said.heading,
        shop=asked.site.name,
        dated="",
        blocks=blocks,
        notice="Preview: nothing is told of anybody here.",
    )
