"""A paper as PDF: tagged, its fonts embedded, made in memory without a browser or a network."""

import json
import re
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

import typst

from packs.pages.papers.blocks import Paper, as_data

TEMPLATE = Path(__file__).with_name("paper.typ")
LONG_WORD = re.compile(r"\S{30,}")  # longer than any name, VIN or id
MAY_BREAK = "\u200b"  # zero width space
SIZES = {"a4": "a4", "letter": "us-letter"}


@cache
def fonts() -> typst.Fonts:
    """The typesetter's own first; those of the machine for letters that it lacks."""
    return typst.Fonts(include_system_fonts=True, include_embedded_fonts=True)


def as_pdf(paper: Paper, *, size: str, region: str, at: datetime) -> bytes:
    """The paper on sheets of that size, its language English as written in that region.

    What people wrote goes in as data, which the typesetter never reads as markup. A compiler
    serves one thread, and costs less than a millisecond to make.
    """
    said = {**_breakable(as_data(paper)), "size": SIZES[size], "region": region}
    compiler = typst.Compiler(str(TEMPLATE), root=str(TEMPLATE.parent), font_paths=fonts())
    made = compiler.compile(
        format="pdf",
        sys_inputs={"paper": json.dumps(said)},
        timestamp=at.astimezone(UTC).replace(microsecond=0),
    )
    assert isinstance(made, bytes)
    return made


def _breakable(said: Any) -> Any:
    """The same, where a word that would leave the sheet may break after every tenth letter."""
    if isinstance(said, str):
        return LONG_WORD.sub(lambda word: MAY_BREAK.join(_tens(word.group())), said)
    if isinstance(said, dict):
        return {name: _breakable(value) for name, value in said.items()}
    if isinstance(said, list):
        return [_breakable(value) for value in said]
    return said


def _tens(word: str) -> list[str]:
    return [word[begin : begin + 10] for begin in range(0, len(word), 10)]
