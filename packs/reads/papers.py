"""The words of papers, as they stood."""

from datetime import datetime

from packs.models import PaperText, PaperTextVersion
from packs.rules.paper_words import DEFAULTS, Words


def words(paper: str, *, at: datetime | None = None) -> Words:
    """The words of that paper as they stood at an instant, or as they stand now.

    Before the shop wrote its own, those that the register brings.
    """
    versions = PaperTextVersion.objects.filter(text__paper=paper)
    if at is not None:
        versions = versions.filter(recorded_at__lte=at)
    found = versions.order_by("-number").first()
    if found is None:
        return DEFAULTS[paper]
    return Words(found.heading, found.opening, found.closing)


def stored(paper: str) -> PaperText | None:
    """What the shop itself wrote for that paper, if it did."""
    return PaperText.objects.filter(paper=paper).first()
