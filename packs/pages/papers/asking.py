"""Who asks for a paper, when, and how the site writes."""

from dataclasses import dataclass
from datetime import datetime

from packs.models import Fact, Site
from packs.reads.roles import may


@dataclass(frozen=True)
class Asked:
    """All that a paper depends on beside its facts."""

    site: Site
    roles: frozenset[str]
    at: datetime

    @property
    def sees_owner(self) -> bool:
        return may(self.roles, "customers", write=False)


def notice_of(fact: Fact) -> str:
    """Why a paper of this record counts no longer; nothing while it does."""
    if fact.voided_at is None:
        return ""
    if fact.void_reason == "superseded":
        return "Replaced: a later record took the place of this one."
    return f"Void: {fact.void_reason}"
