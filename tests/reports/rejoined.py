"""Steps of a reassembly as the tables hold them, made without the bench's order of work."""

from datetime import datetime, timedelta
from typing import Any

from packs.models import Equipment, LockOut, Pack, Person, Reassembly, Visit
from packs.rules.builds import begun_by_step
from tests import world


def rejoin(pack: Pack, days: float, part: str, *places: int, **changes: Any) -> Reassembly:
    """A part put back, or what `changes` say, recorded when it was done or at the next revision."""
    at = world.later(days=days)
    recorded_at = _next(pack, changes.pop("recorded_at", at))
    lock_out = LockOut.objects.filter(pack=pack).first() or _locked(pack)
    said = {"kind": "fitted", "part": part, "places": list(places), **changes}
    begins = begun_by_step(said["kind"], part, pack.pack_type.chemistry)
    return Reassembly.objects.create(
        pack=pack,
        revision=pack.revision,
        visit=lock_out.visit,
        lock_out=lock_out,
        happened_at=at,
        starts_build=begins,
        **said,
        **world.posted(b"-", recorded_at),
    )


def job(pack: Pack, days: float, bars: int) -> list[Reassembly]:
    """Bus bars 1, 2, … undone and done up again one by one, two minutes each."""
    minute = 1 / (24 * 60)
    return [rejoin(pack, days + 2 * minute * bar, "bus_bar", bar) for bar in range(1, bars + 1)]


def _next(pack: Pack, at: datetime) -> datetime:
    pack.refresh_from_db()
    settled_at = max(at, pack.settled_at + timedelta(microseconds=1))
    Pack.objects.filter(pk=pack.pk).update(revision=pack.revision + 1, settled_at=settled_at)
    pack.refresh_from_db()
    return settled_at


def _locked(pack: Pack) -> LockOut:
    tool = Equipment.objects.filter(code="DMM-1").first() or Equipment.objects.create(
        code="DMM-1", kind="meter", **world.posted(b"-")
    )
    kim = Person.objects.filter(code="kim").first() or world.person()
    visit = Visit.objects.create(pack=pack, opened_at=world.BEGUN, **world.posted(b"-"))
    volts = {"source_before_v": 12.0, "source_after_v": 12.0, "touch_limit_v": 50.0}
    return LockOut.objects.create(
        pack=pack, visit=visit, happened_at=world.BEGUN, meter=tool, gloves=tool,
        switch_kept_by=kim, waited_min=10.0, highest_v=172.8, **volts, **world.posted(b"-"),
    )  # fmt: skip
