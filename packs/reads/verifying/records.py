"""Records by revision: none missing, none doubled, in the order in which they were learnt."""

from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise
from operator import itemgetter

from django.db.models import Count, Exists, F, OuterRef

from packs.models import (
    RATINGS,
    Call,
    Claim,
    Consent,
    Core,
    CostEstimate,
    Disposal,
    Fact,
    Failure,
    HistoryEntry,
    Incident,
    Inspection,
    Installation,
    IsolationCheck,
    LockOut,
    Matching,
    ModuleTest,
    Pack,
    PackType,
    PartTest,
    Photo,
    PlannedTest,
    Reassembly,
    ReEnergising,
    Release,
    ShippingDecision,
    Swap,
    Teardown,
    TroubleCode,
    VoltageCheck,
    Warranty,
    WorkTime,
)
from packs.reads.verifying.breaches import Breach

FACTS: Sequence[type[Fact]] = (
    VoltageCheck, Inspection, Swap, Failure, Warranty, Claim, TroubleCode, Installation,
    Photo, CostEstimate, Consent, Call, Core,
    LockOut, ReEnergising, Teardown, Reassembly, IsolationCheck, Release, WorkTime, Incident,
    ModuleTest, PlannedTest, PartTest, Matching, Disposal, ShippingDecision,
)  # fmt: skip


def revisions_whole(packs: Sequence[Pack]) -> Iterator[Breach]:
    """Each revision of a pack is one line, and a later one was never learnt earlier."""
    lines = [
        *VoltageCheck.objects.filter(pack__in=packs).values_list(
            "pack_id", "revision", "recorded_at"
        ),
        *HistoryEntry.objects.filter(pack__in=packs).values_list(
            "pack_id", "revision", "recorded_at"
        ),
    ]
    lines.sort(key=lambda line: (line[0] or 0, line[1] or 0))
    by_pack = {key: list(group) for key, group in groupby(lines, itemgetter(0))}
    for pack in packs:
        mine = by_pack.get(pack.pk, [])
        numbers = [number for _, number, _ in mine]
        if numbers != list(range(1, pack.revision + 1)):
            found = f"{len(numbers)} lines for {pack.revision} revisions"
            yield Breach("each revision is one line", f"pack {pack.serial}", found)
        if any(one >= two for (_, _, one), (_, _, two) in pairwise(mine)):
            found = "an earlier revision was recorded later"
            yield Breach("records are in order", f"pack {pack.serial}", found)
        if mine and mine[-1][2] > pack.settled_at:
            yield Breach("records are in order", f"pack {pack.serial}", "newer than settled_at")


def facts_are_lines() -> Iterator[Breach]:
    """Every fact about a pack but a voltage check has its line in the history."""
    for model in FACTS:
        if model is VoltageCheck:
            continue
        line = HistoryEntry.objects.filter(
            kind=model.KIND,
            fact_id=OuterRef("pk"),
            pack=OuterRef("pack"),
            revision=OuterRef("revision"),
            action=HistoryEntry.Action.RECORDED,
        )
        without = model._default_manager.filter(pack__isnull=False).exclude(Exists(line))
        for fact in without.iterator():
            yield Breach("a fact has its line in the history", _name(fact), "it has none")


def voids_say_why() -> Iterator[Breach]:
    """What is void says since which revision and why; a correction is of the same pack."""
    for model in FACTS:
        facts = model._default_manager
        void = facts.filter(voided_at__isnull=False)
        silent = void.filter(void_reason="") | void.filter(void_client=None)
        for fact in silent.iterator():
            yield Breach("a void says who and why", _name(fact), "it does not")
        untold = void.filter(pack__isnull=False, voided_revision=None)
        for fact in untold.iterator():
            yield Breach("a void is a revision", _name(fact), "it is none")
        ahead = facts.filter(voided_revision__gt=F("pack__revision"))
        for fact in (ahead | facts.filter(revision__gt=F("pack__revision"))).iterator():
            yield Breach("a fact is of a revision that was", _name(fact), "the pack is behind it")
        for fact in facts.filter(supersedes__isnull=False).exclude(supersedes__pack=F("pack")):
            yield Breach("a correction is of the same pack", _name(fact), "it is of another")


def told_once() -> Iterator[Breach]:
    """An external id names one fact of its client and kind."""
    for model in FACTS:
        doubled = (
            model._default_manager.filter(external_id__isnull=False)
            .values("client__name", "external_id")
            .annotate(times=Count("pk"))
            .filter(times__gt=1)
        )
        for row in doubled.iterator():
            subject = f"{model.KIND} '{row['external_id']}' of {row['client__name']}"
            yield Breach("an external id is stored once", subject, f"{row['times']} times")


def types_hold() -> Iterator[Breach]:
    """A type has its parts, and its ratings are those of its last version."""
    for pack_type in PackType.objects.prefetch_related("versions"):
        subject = f"pack type {pack_type.code}"
        blocks = pack_type.blocks
        if sum(blocks) != pack_type.module_count or len(blocks) != pack_type.block_count:
            yield Breach("modules divide into blocks", subject, f"{blocks}")
        versions = sorted(pack_type.versions.all(), key=lambda version: version.number)
        if [version.number for version in versions] != list(range(1, pack_type.version + 1)):
            yield Breach("each version of a type is kept", subject, "one is missing")
        elif any(getattr(versions[-1], n) != getattr(pack_type, n) for n in RATINGS):
            yield Breach("the present ratings are the last version's", subject, "they differ")


def _name(fact: Fact) -> str:
    return f"{fact.KIND.replace('_', ' ')} number {fact.pk}"
