"""The words on each paper until a shop writes its own."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Words:
    """What a shop may word itself: blank lines part paragraphs, and nothing else is marked up."""

    heading: str
    opening: str = ""
    closing: str = ""


DEFAULTS: Mapping[str, Words] = {
    "intake": Words(
        heading="Intake sheet",
        opening="This sheet says what was brought in, and what the owner told us about it.",
        closing=(
            "The owner asks the workshop to look for the fault described, and agrees that the "
            "traction pack is measured in the car and, where needed, taken out and opened. Work "
            "beyond that is done only after the owner has agreed to an estimate."
        ),
    ),
    "estimate": Words(
        heading="Estimate of cost",
        opening="We expect the work below to cost what this sheet says.",
        closing=(
            "This is an estimate. A pack can show more once it is open: before we do work that is "
            "not listed here, we ask again."
        ),
    ),
    "test_certificate": Words(
        heading="Test certificate",
        opening="What was measured on the pack when it came, what was done, and what was measured "
        "afterwards.",
        closing=(
            "The figures are those of the day and of the conditions beside them. They say how the "
            "pack did then, and promise nothing about how long it will last."
        ),
    ),
    "warranty_certificate": Words(
        heading="Warranty certificate",
        opening="We stand behind the work on the pack named below, for as long and as far as this "
        "sheet says.",
        closing=(
            "If a warning comes on again, or the car pulls weakly: write down the odometer, have "
            "no codes cleared, and call us. Bring the car and this sheet.\n\n"
            "Leave the pack closed and in the car. Whether a return falls under this warranty is "
            "decided after we have measured, and we say why."
        ),
    ),
    "core_receipt": Words(
        heading="Core receipt",
        opening="A pack was given in exchange. The old pack, the core, is owed to us, and a "
        "deposit is held for it until it is back.",
        closing=(
            "Send nothing by post: an old pack is dangerous goods. Bring it, or have us fetch it. "
            "We look at the core when it comes and say whether it is accepted."
        ),
    ),
    "outlook": Words(
        heading="How the pack is doing",
        opening="What the checks of this pack say so far.",
        closing="An outlook is an estimate from what was recorded, and no promise.",
    ),
}
