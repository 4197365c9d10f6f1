"""The page of a pack rests on what its outlook is made from, though it is read in other queries."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from packs.models import Pack, Swap, Visit, VoltageCheck, Warranty
from packs.reads import comparing
from packs.reads.warranties import terms, terms_of_pack
from packs.rules.identity import encode
from packs.writes import claims, voiding, warranties
from reports.reads import pack_knowledge, pack_page, pack_records
from reports.reads.knowledge import Known, known, of_one
from reports.reads.vantages import vantages
from tests import world
from tests.reports.pages.full import full_pack

pytestmark = pytest.mark.django_db


@pytest.fixture
def pack() -> Pack:
    made = full_pack(9)
    for model in (VoltageCheck, Swap):
        fact: Any = model.objects.filter(pack=made).order_by("-pk").first()
        voiding.void(fact, by=world.actor(), at=world.later(60), reason="another pack")
    made.refresh_from_db()
    return Pack.objects.select_related("pack_type").get(pk=made.pk)


def plain(found: Known) -> list[Any]:
    """All that is known of one pack, as lists; what is not a number as text."""
    of_checks = [getattr(found.checks, name) for name in found.checks.__dataclass_fields__]
    others = [
        getattr(found, name)
        for name in found.__dataclass_fields__
        if name not in {"views", "checks"}
    ]
    (view,) = found.views
    lists = [np.asarray(column, dtype=np.float64).tolist() for column in (*of_checks, *others)]
    return [repr(lists), view.revision, view.as_of, view.limits]


def test_the_same_is_known_either_way(pack: Pack) -> None:
    page_knows = pack_knowledge.known(pack_records.read(pack))
    assert plain(of_one(page_knows)) == plain(known(vantages([pack])))
    assert len(page_knows.checks) == 8
    assert page_knows.renewals


def test_a_pack_of_which_nothing_is_known() -> None:
    bare = world.pack("TP-BARE")
    page_knows = pack_knowledge.known(pack_records.read(bare))
    assert plain(of_one(page_knows)) == plain(known(vantages([bare])))


def test_the_last_check_is_judged_as_the_api_judges_it(pack: Pack) -> None:
    shown = pack_page.gather(pack, at=world.later(61))
    assert shown.last_check is not None
    row = VoltageCheck.objects.select_related("pack__pack_type").get(pk=shown.last_check.pk)
    derived = comparing.derive([row])[row.pk]
    assert row.condition == "load"
    assert shown.suspicions == derived.findings
    assert shown.not_comparable == derived.why_not


def test_terms_are_the_same_from_rows_that_are_known(pack: Pack) -> None:
    records = pack_records.read(pack)
    promises = [row.warranty for row in records.promises]
    for days in (0, 100, 9000):
        at = world.later(days)
        told = terms_of_pack(
            promises, installations=records.installations, odometer=records.odometer, at=at
        )
        assert told == terms(promises, at=at)
    assert records.odometer == (world.later(1), 120_000)


def test_what_was_voided_is_left_out_but_for_the_history(pack: Pack) -> None:
    records = pack_records.read(pack)
    assert len(records.every_check) == len(records.checks) + 1
    standing = Swap.objects.filter(pack=pack, voided_at=None).count()
    assert len(records.works) == standing
    assert records.works[0].done_at >= records.works[-1].done_at
    assert records.failures[0].failed_on == world.later(1).date()
    assert records.stays[0].opened_at == world.BEGUN + timedelta(days=1)


def test_a_replacement_under_claim_runs_out_the_first_term() -> None:
    pack, by, at = full_pack(1, 6, months=12), world.actor(), world.later(10)
    visit = Visit.objects.get()
    about = {"visit": encode(visit.PREFIX, visit.pk)}
    first = Warranty.objects.get()
    claim = {**about, "warranty": encode(first.PREFIX, first.pk), "decision": "accepted"}
    claims.record_claim(by=by, at=at, entry=claim)
    again = {**about, "pack": pack.serial, "repair_kind": "replacement", "months": 24,
             "starts_on": at.date()}  # fmt: skip
    warranties.record_warranty(by=by, at=at, entry=again)
    covers = pack_page.gather(pack, at=world.later(20)).covers
    assert [row.term.runs_out for row in covers] == [first.pk, None]
    assert covers[0].term.ends_on == covers[1].term.ends_on
    assert covers[1].claims[0].decision == "accepted"
