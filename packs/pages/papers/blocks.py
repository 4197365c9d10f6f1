"""What a paper is made of: one description, which is shown as a page and printed as PDF.

Everything on a paper is text; nothing in it is markup to either.
"""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any, ClassVar

KEPT_INVISIBLE = "\n\u200c\u200d"  # line breaks, and the joiners that some scripts need
UNWANTED = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})  # controls, those of direction among them


@dataclass(frozen=True)
class Heading:
    """What the next blocks are about."""

    NAME: ClassVar[str] = "heading"
    text: str


@dataclass(frozen=True)
class Text:
    """Paragraphs, their line breaks kept."""

    NAME: ClassVar[str] = "text"
    paragraphs: tuple[str, ...]


@dataclass(frozen=True)
class Facts:
    """Names and what each is."""

    NAME: ClassVar[str] = "facts"
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Table:
    """Rows below a head, sums at their foot; the first cell of a row names it.

    `right` are the columns of figures, from 0; one that `stacks` is read line by line where the
    screen is narrow.
    """

    NAME: ClassVar[str] = "table"
    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()
    foot: tuple[tuple[str, ...], ...] = ()
    stacks: bool = False


@dataclass(frozen=True)
class Ticks:
    """Boxes of which one is ticked by hand."""

    NAME: ClassVar[str] = "ticks"
    choices: tuple[str, ...]


@dataclass(frozen=True)
class Signatures:
    """Lines to write on."""

    NAME: ClassVar[str] = "signatures"
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Caution:
    """What protects whoever reads it."""

    NAME: ClassVar[str] = "caution"
    title: str
    text: str


Block = Heading | Text | Facts | Table | Ticks | Signatures | Caution


@dataclass(frozen=True)
class Paper:
    """A paper to hand out, about what has the id `key`; `notice` says why it counts no longer.

    `visit` is the id of the visit that it belongs to, `pack` the serial of its pack, where known.
    """

    kind: str
    key: str
    title: str
    shop: str
    dated: str
    blocks: tuple[Block, ...]
    notice: str = ""
    visit: str = ""
    pack: str = ""


def paragraphs(text: str) -> Text:
    """Plain text parted at its blank lines."""
    parts = re.split(r"\n\s*\n", text.replace("\r\n", "\n"))
    return Text(tuple(part.strip() for part in parts if part.strip()))


def facts(*rows: tuple[str, str]) -> Facts:
    """Those that are known."""
    return Facts(tuple((name, said) for name, said in rows if said))


def as_data(paper: Paper) -> dict[str, Any]:
    """The paper as plain lists and texts, for either rendering."""
    return {
        **{name: plain(getattr(paper, name)) for name in ("kind", "key", "title", "shop", "dated")},
        "notice": plain(paper.notice),
        "blocks": [_block(block) for block in paper.blocks],
    }


def plain(text: str) -> str:
    """The letters of a text, composed, without controls: none may turn a line's direction."""
    unified = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\t", " "))
    return "".join(letter for letter in unified if letter in KEPT_INVISIBLE or _is_shown(letter))


def _is_shown(letter: str) -> bool:
    return unicodedata.category(letter) not in UNWANTED


def _block(block: Block) -> dict[str, Any]:
    said = {field.name: _plain(getattr(block, field.name)) for field in fields(block)}
    if isinstance(block, Table) and block.stacks:
        said["labelled"] = [list(zip(said["head"], row, strict=True)) for row in said["rows"]]
    return {"name": block.NAME, "template": f"packs/papers/_{block.NAME}.html", **said}


def _plain(value: Any) -> Any:
    if isinstance(value, str):
        return plain(value)
    if isinstance(value, Sequence):
        return [_plain(one) for one in value]
    return value
