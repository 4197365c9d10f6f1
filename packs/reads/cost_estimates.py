"""What estimates of cost come to, and the owner's word on them."""

from collections.abc import Sequence
from typing import Literal

from django.db.models import QuerySet

from packs.models import Consent, CostEstimate, EstimateLine
from packs.rules import costs

Word = Literal["none", "given", "refused"]
WORDS: tuple[Word, ...] = ("none", "given", "refused")


def rows() -> QuerySet[CostEstimate]:
    """Estimates with their lines and what was said to them, voided ones too."""
    return CostEstimate.objects.prefetch_related("lines", "consents")


def lines(estimate: CostEstimate) -> Sequence[EstimateLine]:
    """Its lines, in the order that they were told."""
    return sorted(estimate.lines.all(), key=lambda line: line.pk)


def sums(estimate: CostEstimate) -> costs.Sums:
    told = [(line.quantity, line.unit_price) for line in lines(estimate)]
    return costs.sums(told, estimate.tax_pct)


def latest_word(estimate: CostEstimate) -> Consent | None:
    """What the owner said to it last, among what still stands."""
    standing = [consent for consent in estimate.consents.all() if consent.voided_at is None]
    return max(standing, key=lambda consent: (consent.happened_at, consent.pk), default=None)


def word(estimate: CostEstimate) -> Word:
    latest = latest_word(estimate)
    if latest is None:
        return "none"
    return "given" if latest.given else "refused"
