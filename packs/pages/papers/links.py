"""Which papers there are to hand out, of a visit or of a pack."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Q, QuerySet
from django.urls import reverse

from packs.models import Core, CostEstimate, Pack, Visit, Warranty
from packs.pages import units
from packs.pages.papers.kinds import LABELS
from packs.reads import cost_estimates, sites, visit_work
from packs.reads.roles import may
from packs.rules.identity import encode

VISITS_TOLD = 6  # of a pack, the newest; older ones are found from their own pages

WORDS = {"none": "the owner's word is awaited", "given": "agreed", "refused": "refused"}


@dataclass(frozen=True)
class PaperLink:
    """A paper: its page, its PDF, what sets it apart from its like, and what comes next."""

    label: str
    about: str
    address: str
    pdf: str
    next_label: str = ""
    next_address: str = ""


@dataclass(frozen=True)
class VisitPapers:
    """The papers of a visit, and where to make an estimate, for who may."""

    links: tuple[PaperLink, ...]
    new_estimate: str


def of_visit(visit: Visit, *, roles: frozenset[str] = frozenset()) -> VisitPapers:
    """The papers that make sense of a visit now, with the steps that these roles may take."""
    key = encode(Visit.PREFIX, visit.pk)
    writes = may(roles, "cost-estimates", write=True)
    found = [_link("intake", key), *_estimates(visit, writes=writes)]
    if visit_work.has_something(visit):
        found.append(_link("test_certificate", key))
    found += _warranties(Warranty.objects.filter(visit=visit))
    found += _cores(Core.objects.filter(visit=visit))
    return VisitPapers(tuple(found), reverse("estimate-new", args=[key]) if writes else "")


def of_pack(pack: Pack) -> tuple[PaperLink, ...]:
    """The papers that go with a pack: of its last visits, its warranties, and as a core."""
    return (
        *_warranties(Warranty.objects.filter(pack=pack)),
        *_certificates(pack),
        *_cores(Core.objects.filter(pack=pack)),
    )


_standing = Q(voided_at__isnull=True)


def _link(kind: str, key: str, about: str = "", **more: str) -> PaperLink:
    address, pdf = reverse("paper", args=[kind, key]), reverse("paper-pdf", args=[kind, key])
    return PaperLink(LABELS[kind], about, address, pdf, **more)


def _estimates(visit: Visit, *, writes: bool) -> Iterator[PaperLink]:
    site = sites.present()
    for row in cost_estimates.rows().filter(_standing, visit=visit).order_by("happened_at", "pk"):
        key, word = encode(CostEstimate.PREFIX, row.pk), cost_estimates.word(row)
        total = units.money(cost_estimates.sums(row).total, site)
        about = f"{units.day(row.happened_at)}, {total}, {WORDS[word]}"
        if not writes:
            yield _link("estimate", key, about)
            continue
        label = "Note the owner's word" if word == "none" else "Note another word"
        address = reverse("estimate-word", args=[key])
        yield _link("estimate", key, about, next_label=label, next_address=address)


def _certificates(pack: Pack) -> Iterator[PaperLink]:
    told = Visit.objects.filter(pack=pack).order_by("-opened_at", "-pk")[:VISITS_TOLD]
    for visit in told:
        if visit_work.has_something(visit):
            key = encode(Visit.PREFIX, visit.pk)
            yield _link("test_certificate", key, f"visit of {units.day(visit.opened_at)}")


def _warranties(rows: QuerySet[Warranty]) -> Iterator[PaperLink]:
    for row in rows.filter(_standing).order_by("-starts_on", "-pk"):
        key = encode(Warranty.PREFIX, row.pk)
        yield _link("warranty_certificate", key, f"from {units.day(row.starts_on)}")


def _cores(rows: QuerySet[Core]) -> Iterator[PaperLink]:
    for row in rows.filter(_standing).order_by("-recorded_at", "-pk"):
        about = f"due by {units.day(row.due_on)}, {row.get_state_display().lower()}"
        yield _link("core_receipt", encode(Core.PREFIX, row.pk), about)
