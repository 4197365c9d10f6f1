"""A breach of what must always hold, as it is told."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Breach:
    """Which rule, of what, and what was found instead."""

    rule: str
    subject: str
    found: str

    def __str__(self) -> str:
        return f"{self.rule}: {self.subject}: {self.found}"
