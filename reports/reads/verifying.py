"""Breaches of what must always hold of judgement: what is owed is owed, what was told is kept."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import groupby, pairwise
from operator import attrgetter

from django.db.models import F, Q

from packs.models import Pack
from packs.reads.verifying import Breach
from reports.models import Outlook, StoredFit
from reports.reads import fits

LONGEST_PUT_OFF = timedelta(hours=1)  # a pack whose figures failed is tried again by then


def breaches(*, at: datetime) -> Iterator[Breach]:
    """Every breach there is, at an instant."""
    yield from _owed(at)
    yield from _told_one_at_a_time()
    yield from _of_what_was()
    yield from _fits_load()


def _owed(at: datetime) -> Iterator[Breach]:
    """A pack with facts newer than its outlook, or without one, is marked as owed."""
    present = Q(outlooks__told_until__isnull=True, outlooks__pack_revision=F("revision"))
    behind = Pack.objects.exclude(pk__in=Pack.objects.filter(present).values("pk"))
    marked = Q(estimate_due_at__lte=at + LONGEST_PUT_OFF)
    for pack in behind.exclude(marked).iterator():
        yield Breach("an estimate that is owed is marked", f"pack {pack.serial}", "it is not")


def _told_one_at_a_time() -> Iterator[Breach]:
    """Of a pack one outlook is told at every instant, none twice."""
    told = Outlook.objects.exclude(told_until=F("known_at")).order_by("pack_id", "known_at", "pk")
    for _, group in groupby(told.select_related("pack").iterator(), attrgetter("pack_id")):
        for one, two in pairwise(group):
            if one.told_until is None or one.told_until > two.known_at:
                subject = f"pack {one.pack.serial}"
                yield Breach("one outlook is told at a time", subject, "two were")


def _of_what_was() -> Iterator[Breach]:
    """An outlook is of a revision that was, by a fit that knew no later facts."""
    ahead = Outlook.objects.filter(pack_revision__gt=F("pack__revision"))
    for outlook in ahead.select_related("pack").iterator():
        subject = f"outlook number {outlook.pk} of pack {outlook.pack.serial}"
        yield Breach("an outlook is of a revision that was", subject, "the pack is behind it")
    knowing = Outlook.objects.filter(fit__facts_through__gt=F("as_of"))
    for outlook in knowing.select_related("pack").iterator():
        subject = f"outlook number {outlook.pk} of pack {outlook.pack.serial}"
        yield Breach("a fit knows no later facts", subject, "it does")


def _fits_load() -> Iterator[Breach]:
    for stored in StoredFit.objects.order_by("pk").iterator():
        try:
            fits.loaded(stored)
        except (LookupError, TypeError, ValueError) as error:
            yield Breach("a fit can be used again", f"fit number {stored.pk}", str(error))
