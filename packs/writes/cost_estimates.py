"""Recording what work on a visit is expected to cost."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from packs.errors import Contradiction, Fault
from packs.models import CostEstimate, EstimateLine
from packs.reads import names, sites
from packs.rules import costs
from packs.writes.actors import Actor
from packs.writes.recording import Outcome, said
from packs.writes.visit_facts import faults_of_time, instant, record_on

LINES_MAX = 100  # of one estimate; common practice, no source


def record_cost_estimate(
    *, by: Actor, at: datetime, entry: Mapping[str, Any]
) -> Outcome[CostEstimate]:
    """Store an estimate with its lines; `entry` holds its fields by their names in the API."""
    visit = names.visit(entry["visit"])
    assert visit is not None
    happened_at = instant(CostEstimate, entry, by=by, at=at)
    lines = [_columns(line) for line in entry["lines"]]
    tax_pct = costs.cents(entry.get("tax_pct") or Decimal(0))
    faults = faults_of_time(visit, happened_at, "/at", at=at)
    faults += [*_line_faults(lines), *_day_faults(entry, happened_at)]
    if faults:
        raise Contradiction(faults)

    def hang(estimate: CostEstimate) -> None:
        EstimateLine.objects.bulk_create(EstimateLine(estimate=estimate, **line) for line in lines)

    return record_on(
        visit,
        CostEstimate,
        by=by,
        at=at,
        happened_at=happened_at,
        content={
            "happened_at": happened_at,
            "valid_until": entry.get("valid_until"),
            "tax_pct": tax_pct,
            "note": entry.get("note") or "",
        },
        said=said(CostEstimate, entry, beside={"lines": lines}),
        summary=_summary(lines, tax_pct),
        in_hand=False,
        then=hang,
    )


def _columns(line: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "kind": str(line["kind"]),
        "what": line["what"],
        "quantity": costs.cents(line["quantity"]),
        "unit_price": costs.cents(line["unit_price"]),
    }


def _line_faults(lines: Sequence[Mapping[str, Any]]) -> list[Fault]:
    if 1 <= len(lines) <= LINES_MAX:
        return []
    sentence = f"An estimate has 1 to {LINES_MAX} lines; this one has {len(lines)}."
    return [Fault("/lines", "wrong_count", sentence)]


def _day_faults(entry: Mapping[str, Any], happened_at: datetime) -> list[Fault]:
    last, day = entry.get("valid_until"), sites.day(happened_at)
    if last is None or last >= day:
        return []
    sentence = f"{last.isoformat()} is before the day of the estimate, {day.isoformat()}."
    return [Fault("/valid_until", "before_the_estimate", sentence)]


def _summary(lines: Sequence[Mapping[str, Any]], tax_pct: Decimal) -> str:
    total = costs.sums([(line["quantity"], line["unit_price"]) for line in lines], tax_pct).total
    noun = "line" if len(lines) == 1 else "lines"
    return f"Cost estimate: {total:.2f} {sites.present().currency}".rstrip() + (
        f", {len(lines)} {noun}"
    )
