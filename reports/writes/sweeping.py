"""The sweep: what is owed is claimed, worked out and stored, whoever calls it, however often."""

import logging
from datetime import datetime, timedelta

import numpy as np
from django.db import DataError, IntegrityError, connection, transaction

from packs.models import Pack
from reports.writes import fits, outlooks

BATCH = 200  # packs claimed at a time: a second or two of work, lost at most if a worker dies
CLAIM = timedelta(minutes=1)  # many times what a batch takes; then another sweep may have it
PUT_OFF = timedelta(hours=1)  # until a pack whose figures fail is tried again
# What figures nobody foresaw can raise; an error of the connection is none of these.
FAILING = (
    ArithmeticError,
    LookupError,
    ValueError,
    np.linalg.LinAlgError,
    IntegrityError,
    DataError,
)
log = logging.getLogger(__name__)

# One conditional update, the same on both databases. The choice is materialized, since a planner
# may otherwise run it again for each row and claim more than a batch; the condition stands outside
# as well, so that a second sweep that waited for a row sees that it was taken.
CLAIM_OWED = """
WITH owed AS MATERIALIZED (
    SELECT id FROM packs_pack
    WHERE estimate_due_at <= %(at)s
      AND (estimate_claimed_until IS NULL OR estimate_claimed_until < %(at)s)
    ORDER BY estimate_due_at, id LIMIT %(batch)s {skip})
UPDATE packs_pack SET estimate_claimed_until = %(until)s
WHERE id IN (SELECT id FROM owed)
  AND estimate_due_at <= %(at)s
  AND (estimate_claimed_until IS NULL OR estimate_claimed_until < %(at)s)
RETURNING id"""


def claim(*, at: datetime, batch: int = BATCH) -> list[int]:
    """Claim packs whose outlook is owed, those owed longest first; their numbers."""
    postgresql = connection.vendor == "postgresql"
    adapt = connection.ops.adapt_datetimefield_value
    said = {"until": adapt(at + CLAIM), "at": adapt(at), "batch": batch}
    skip = "FOR UPDATE SKIP LOCKED" if postgresql else ""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(CLAIM_OWED.format(skip=skip), said)
        return [row[0] for row in cursor.fetchall()]


def sweep(*, at: datetime) -> int:
    """Do one batch of what is owed; how much was taken on, nought when nothing is owed any more.

    The fleet is fitted again when its packs are done, so that a fit that fails holds up no pack.
    """
    claimed = claim(at=at)
    if not claimed:
        return int(fits.refit_if_due(at=at) is not None)
    try:
        outlooks.work_out(claimed, at=at)
    except FAILING:
        log.exception("a batch could not be worked out; its packs are tried one by one")
        for pack_id in claimed:
            _alone(pack_id, at=at)
    return len(claimed)


def _alone(pack_id: int, *, at: datetime) -> None:
    """One pack by itself; one that cannot be worked out is put off, and holds up no other."""
    try:
        outlooks.work_out([pack_id], at=at)
    except FAILING:
        log.exception("pack number %s could not be worked out", pack_id)
        Pack.objects.filter(pk=pack_id).update(
            estimate_due_at=at + PUT_OFF, estimate_claimed_until=None
        )
