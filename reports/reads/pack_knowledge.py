"""What an outlook is made from, out of rows that were read for the page already.

`reports.reads.knowledge` reads the same for many packs and any past; the two are held together by
a test.
"""

from datetime import UTC, date, datetime, time

from packs.models import Swap
from packs.reads.types import limits_of
from reports.reads.knowledge import CheckRow, Knowledge, Renewal
from reports.reads.pack_records import Check, Records, Work
from reports.reads.vantages import DAY_S, Vantage


def known(records: Records) -> Knowledge:
    """Everything that stands, at the present revision."""
    pack = records.pack
    renewals = [_renewal(row) for row in records.works if row.starts_build]
    renewals += [
        Renewal(_dated(row.happened_at, row.recorded_at), row.positions)
        for row in records.rejoinings
    ]
    failed = [_dated(_begin(row.failed_on), row.recorded_at) for row in records.failures]
    contacts = [*failed, *_contacts(records)]
    checks = [_check_row(row) for row in reversed(records.checks)]
    days = [*contacts, *(row.day for row in checks), *(row.day for row in renewals)]
    return Knowledge(
        vantage=Vantage(pack, pack.revision, pack.settled_at, limits_of(pack.pack_type)),
        checks=tuple(sorted(checks, key=lambda check: check.day)),
        renewals=tuple(sorted(renewals, key=lambda renewal: renewal.day)),
        failure_days=tuple(sorted(failed)),
        first_day=min(days, default=None),
        last_day=max(days, default=None),
    )


def _check_row(row: Check) -> CheckRow:
    return CheckRow(
        _dated(row.taken_at, row.recorded_at), row.level, row.condition, row.current_a,
        row.temperature_c, row.set_name, row.voltages,
    )  # fmt: skip


def _renewal(row: Work) -> Renewal:
    places = tuple(one.position for one in row.changes if one.position is not None)
    named = places if row.kind == Swap.Kinds.MODULE else ()
    return Renewal(_dated(row.done_at, row.recorded_at), named)


def _contacts(records: Records) -> list[float]:
    """Days on which the pack was seen other than by a voltage check or for a failure."""
    seen = [(row.done_at, row.recorded_at) for row in records.works]
    seen += [(row.happened_at, row.recorded_at) for row in records.looks]
    seen += [(row.opened_at, row.recorded_at) for row in records.stays]
    for row in records.installations:
        ends = (row.installed_at, row.removed_at)
        seen += [(when, row.recorded_at) for when in ends if when is not None]
    return [_dated(*one) for one in seen]


def _dated(happened_at: datetime, recorded_at: datetime) -> float:
    return min(happened_at, recorded_at).timestamp() / DAY_S


def _begin(day: date) -> datetime:
    return datetime.combine(day, time.min, tzinfo=UTC)
