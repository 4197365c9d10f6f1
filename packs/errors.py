"""What can be wrong with what somebody says: one family, each with a sentence to act on.

`status` is the HTTP number of RFC 9110 that a door answers with; nothing below a door reads it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Self


def pointer_token(name: str) -> str:
    """A name as a token of a JSON pointer (RFC 6901, 3)."""
    return name.replace("~", "~0").replace("/", "~1")


@dataclass(frozen=True)
class Fault:
    """One thing wrong, and where: `pointer` is an RFC 6901 pointer into what was sent."""

    pointer: str
    code: str
    detail: str

    def below(self, prefix: str) -> "Fault":
        return Fault(prefix + self.pointer, self.code, self.detail)


class DomainError(Exception):
    """Something said that cannot be taken; carries at least one fault."""

    status: ClassVar[int] = 400
    title: ClassVar[str] = "This cannot be taken"

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("; ".join(fault.detail for fault in faults))
        self.faults = tuple(faults)

    @classmethod
    def at(cls, pointer: str, code: str, detail: str) -> Self:
        return cls([Fault(pointer, code, detail)])

    def below(self, prefix: str) -> Self:
        return type(self)([fault.below(prefix) for fault in self.faults])


class Malformed(DomainError):
    """A wrong type, a missing or an unknown field."""

    status = 400
    title = "Malformed"


class NotAllowed(DomainError):
    """The role may not do this."""

    status = 403
    title = "Not allowed"


class NotFound(DomainError):
    """What the address names is not there."""

    status = 404
    title = "Not found"


class Conflict(DomainError):
    """It conflicts with what is recorded."""

    status = 409
    title = "Conflict with what is recorded"


class LengthMissing(DomainError):
    """A body whose end the server can not see."""

    status = 411
    title = "Length needed"


class Stale(DomainError):
    """The version given is not the present one."""

    status = 412
    title = "Changed meanwhile"


class TooLarge(DomainError):
    """More than one request may carry."""

    status = 413
    title = "Too large"


class Contradiction(DomainError):
    """Well-formed, but against the physics, the pack type, or naming something unknown."""

    status = 422
    title = "Contradicts the pack or the physics"


class VersionMissing(DomainError):
    """A change without saying which version it changes."""

    status = 428
    title = "If-Match needed"
