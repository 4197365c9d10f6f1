"""Voltage checks: as many voltages as the type has, and derived columns that follow from them."""

from collections.abc import Iterator, Sequence

from packs.models import Pack, VoltageCheck
from packs.reads import types
from packs.reads.verifying.breaches import Breach
from packs.rules import plausible, spread, voltages
from packs.rules.leveling import as_equal

DERIVED = ("spread_v", "median_v", "weakest_position", "weakest_deviation_v")


def checks_hold(packs: Sequence[Pack]) -> Iterator[Breach]:
    """Every check of these packs, worked out again."""
    by_number = {pack.pk: pack for pack in packs}
    rows = VoltageCheck.objects.filter(pack__in=packs).order_by("pk")
    for check in rows.iterator(chunk_size=500):
        pack = by_number[check.pack_id or 0]
        subject = f"check number {check.pk} of pack {pack.serial}"
        cells = types.cells(pack.pack_type, check.level)
        if len(check.voltages) != len(cells):
            found = f"{len(check.voltages)} voltages for {len(cells)} positions"
            yield Breach("a check has the positions of the type", subject, found)
            continue
        volts = voltages.to_volts(check.voltages)
        summary = spread.summarise(as_equal(volts, cells))
        if any(getattr(check, name) != getattr(summary, name) for name in DERIVED):
            yield Breach("what is derived follows from the voltages", subject, "it does not")
        limits = pack.pack_type.chemistry, pack.pack_type.cell_nominal_v
        if plausible.impossible(volts, cells, *limits, check.level):
            yield Breach("a cell shows what a cell can show", subject, "an impossible voltage")
