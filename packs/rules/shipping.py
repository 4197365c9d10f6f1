"""How packs and modules may travel, as far as a record goes: numbers, references, who may sign.

The numbers and provisions are those of the UN Recommendations on the Transport of Dangerous Goods,
Model Regulations, of ADR and of 49 CFR, named from memory: read the edition in force before
anything is packed. Nothing here permits a shipment.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

UN_NUMBERS: Mapping[str, tuple[str, ...]] = {
    "li_ion": ("UN 3480", "UN 3481"),
    "nimh": ("UN 3496",),
}
"""By chemistry: lithium-ion batteries alone, or packed with or in equipment; batteries,
nickel-metal hydride."""

NAMES: Mapping[str, str] = {
    "UN 3480": "lithium-ion batteries",
    "UN 3481": "lithium-ion batteries contained in, or packed with, equipment",
    "UN 3496": "batteries, nickel-metal hydride",
}

SIGNERS = ("dangerous goods", "hazardous materials")
"""What a qualification is called that may sign: the trade's word for training under ADR 1.3 and
49 CFR 172.704. A site may name its own."""

ALARMING = frozenset({"swelling", "venting", "heat_marks", "water"})
"""Findings after which a lithium-ion pack is not called sound. Common practice, no source."""

ALARMING_GRADE = 2
"""From which grade, of 0 to 3. Common practice, no source."""


@dataclass(frozen=True)
class Reference:
    """A provision and what it is about, from memory."""

    place: str
    about: str


@dataclass(frozen=True)
class Advice:
    """What a condition means for a chemistry, and where to read on."""

    said: str
    references: tuple[Reference, ...]


_LITHIUM = {
    "sound": Advice(
        "Of a type that has passed the tests for transport, and neither damaged nor defective. "
        "Secured against short circuit and movement, in a strong outer packaging.",
        (
            Reference("UN Manual of Tests and Criteria, 38.3", "tests that the type has passed"),
            Reference("Packing instruction P903 or LP903", "packaging of lithium batteries"),
            Reference("49 CFR 173.185", "lithium cells and batteries, packaging and marks"),
        ),
    ),
    "damaged_or_defective": Advice(
        "May no longer be what was tested: swollen, leaking, vented, hot, dropped, flooded, or not "
        "to be diagnosed before transport. Where it may react dangerously, an authority's "
        "approval may be needed; never by air.",
        (
            Reference("UN Model Regulations, ADR: special provision 376", "damaged or defective"),
            Reference("Packing instruction P908 or LP904", "damaged, not liable to react at once"),
            Reference("Packing instruction P911 or LP906", "liable to react dangerously"),
            Reference("49 CFR 173.185(f)", "damaged, defective or recalled"),
        ),
    ),
    "for_disposal": Advice(
        "On its way to be recycled or disposed of, and not damaged; a damaged one travels as "
        "damaged.",
        (
            Reference("UN Model Regulations, ADR: special provision 377", "for disposal"),
            Reference("Packing instruction P909", "for disposal or recycling"),
            Reference("49 CFR 173.185(d)", "for disposal or recycling"),
        ),
    ),
}
_METAL_HYDRIDE = Advice(
    "Secured against short circuit and movement. By sea a consignment may be dangerous goods; by "
    "road it mostly is not.",
    (
        Reference("IMDG Code, UN 3496 and its special provisions", "nickel-metal hydride by sea"),
        Reference("49 CFR 172.102, special provision 130, and 173.159a and following", "dry "
                  "batteries against short circuit"),
    ),
)  # fmt: skip


def advice(chemistry: str, condition: str) -> Advice:
    """What a condition means for that chemistry. KeyError: unknown condition of lithium-ion."""
    return _LITHIUM[condition] if chemistry == "li_ion" else _METAL_HYDRIDE


def signing(
    held: Iterable[Mapping[str, Any]], named: str, day: date, *, signers: Iterable[str] = SIGNERS
) -> str | None:
    """Why a person may not sign with the qualification `named` on that day; None: they may.

    `held` are the person's qualifications, each with level and expires_on, an ISO date or None.
    """
    words = [word.casefold() for word in signers]
    if not any(word in named.casefold() for word in words):
        return (
            f"'{named}' does not cover the transport of dangerous goods; name one that does "
            f"({', '.join(signers)})."
        )
    mine = [one for one in held if one["level"].casefold() == named.casefold()]
    if not mine:
        return f"Nobody recorded the qualification '{named}' of this person; ask who holds it."
    ends = [one.get("expires_on") for one in mine]
    if all(end is not None and date.fromisoformat(end) < day for end in ends):
        return f"The qualification '{named}' expired on {max(filter(None, ends))}; renew it first."
    return None
