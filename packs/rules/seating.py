"""Who sat at one position of a pack, read from the changes that were made there."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise


@dataclass(frozen=True)
class Change:
    """One module out, one in; None where nobody said which. Modules by their number."""

    id: int
    at: datetime
    removed: int | None
    fitted: int | None
    orientation: str


@dataclass(frozen=True)
class Stay:
    """The time between two changes: None where nothing began it, or nothing has ended it yet."""

    begun_by: Change | None
    ended_by: Change | None

    @property
    def said_at_first(self) -> int | None:
        """The module that was said to be fitted."""
        return None if self.begun_by is None else self.begun_by.fitted

    @property
    def said_at_last(self) -> int | None:
        """The module that was said to be taken out again."""
        return None if self.ended_by is None else self.ended_by.removed

    @property
    def module(self) -> int | None:
        """Who sat there: the fitted one, or where that was nameless, the one taken out."""
        return self.said_at_last if self.said_at_first is None else self.said_at_first

    @property
    def contradicted(self) -> bool:
        """Whether another module was taken out than had been fitted."""
        return self.said_at_last is not None and self.said_at_last != self.module


def stays(changes: Sequence[Change]) -> list[Stay]:
    """The stays at one position, in order of time; a single one where nothing was changed."""
    ordered = sorted(changes, key=lambda change: (change.at, change.id))
    return [Stay(begun, ended) for begun, ended in pairwise([None, *ordered, None])]


def simultaneous(changes: Sequence[Change]) -> tuple[Change, Change] | None:
    """Two changes at one instant, which leave no time for a module between them."""
    ordered = sorted(changes, key=lambda change: (change.at, change.id))
    return next(((one, two) for one, two in pairwise(ordered) if one.at == two.at), None)
