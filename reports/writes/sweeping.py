"""The sweep: what is owed is claimed, worked out and stored, whoever calls it, however often."""

from datetime import datetime, timedelta

from django.db import connection, transaction

from reports.writes import fleet_work, outlooks

BATCH = outlooks.BATCH  # packs claimed at a time, lost at most if a worker dies
CLAIM = timedelta(minutes=1)  # many times what a batch takes; then another sweep may have it

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

    The fleet's work goes on when its packs are done, so that what fails there holds up no pack.
    """
    claimed = claim(at=at)
    if claimed:
        outlooks.work_out_each(claimed, at=at)
        return len(claimed)
    return int(fleet_work.advance(at=at) or fleet_work.ask_if_due(at=at))
