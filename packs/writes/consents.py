"""Recording the owner's word."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packs.errors import Contradiction, Fault
from packs.models import Consent, CostEstimate, Visit
from packs.reads import names
from packs.writes.actors import Actor
from packs.writes.judging import CLOCK_ERROR
from packs.writes.recording import Outcome, said
from packs.writes.visit_facts import faults_of_time, instant, record_on

ABOUT: Mapping[str, str] = {
    Consent.About.INTAKE: "the work of the visit",
    Consent.About.EXTRA_WORK: "extra work",
}
HOW: Mapping[str, str] = {
    Consent.How.SIGNED: "signed",
    Consent.How.IN_PERSON: "in person",
    Consent.How.TELEPHONE: "by telephone",
    Consent.How.MAIL: "by mail",
}


def record_consent(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Consent]:
    """Store what the owner said; `entry` holds its fields by their names in the API.

    An estimate that was voided since may still be named: the word was given to it.
    """
    visit = names.visit(entry["visit"])
    assert visit is not None
    estimate = names.fact(CostEstimate, entry.get("estimate"), "/estimate")
    happened_at = instant(Consent, entry, by=by, at=at)
    faults = faults_of_time(visit, happened_at, "/at", at=at)
    faults += _estimate_faults(visit, entry, estimate, happened_at)
    if faults:
        raise Contradiction(faults)
    return record_on(
        visit,
        Consent,
        by=by,
        at=at,
        happened_at=happened_at,
        content={
            "about": str(entry["about"]),
            "estimate": estimate,
            "given": entry["given"],
            "how": str(entry["how"]),
            "happened_at": happened_at,
            "wording": entry.get("wording") or "",
            "note": entry.get("note") or "",
        },
        said=said(Consent, entry),
        summary=_summary(entry),
        in_hand=False,
    )


def _estimate_faults(
    visit: Visit, entry: Mapping[str, Any], estimate: CostEstimate | None, happened_at: datetime
) -> list[Fault]:
    if estimate is None:
        if entry["about"] != Consent.About.EXTRA_WORK:
            return []
        sentence = "A word to extra work names the estimate that was put before the owner."
        return [Fault("/estimate", "estimate_needed", sentence)]
    if estimate.visit_id != visit.pk:
        sentence = "That estimate belongs to another visit; name one of this visit."
        return [Fault("/estimate", "other_visit", sentence)]
    if happened_at < estimate.happened_at - CLOCK_ERROR:
        sentence = (
            f"{happened_at.isoformat()} is before the estimate was made "
            f"({estimate.happened_at.isoformat()}); correct the time, or name another estimate."
        )
        return [Fault("/at", "before_the_estimate", sentence)]
    return []


def _summary(entry: Mapping[str, Any]) -> str:
    """What the owner said and how, without whom or the words used."""
    word = "agreed" if entry["given"] else "refused"
    return f"Owner's word to {ABOUT[entry['about']]}: {word}, {HOW[entry['how']]}"
