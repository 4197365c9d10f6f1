"""What is worth opening in the demo, found in the records themselves."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Count

from packs.models import Claim, Installation, Pack
from reports.models import Outlook


@dataclass(frozen=True)
class Sight:
    """A pack and why it is worth a look."""

    serial: str
    why: str


def sights() -> list[Sight]:
    """Up to three packs, each once."""
    seen: dict[str, Sight] = {}
    for sight in _candidates():
        seen.setdefault(sight.serial, sight)
    return list(seen.values())[:3]


def _candidates() -> Iterator[Sight]:
    yield from _over_limit()
    yield from _moved()
    yield from _claimed()


def _over_limit() -> Iterator[Sight]:
    """The pack on the road, over its limit, that most is known about."""
    present = Outlook.objects.filter(told_until__isnull=True).select_related("pack")
    over = present.filter(level="over_limit", pack__status=Pack.Status.IN_SERVICE)
    found = over.order_by("-checks_used", "pk").first()
    if found is not None:
        yield Sight(found.pack.serial, "over its limit and still on the road: whom to call first")


def _moved() -> Iterator[Sight]:
    """An exchange pack that sat in two cars."""
    standing = Installation.objects.filter(voided_at__isnull=True, pack__isnull=False)
    moved = standing.values("pack__serial").annotate(cars=Count("vehicle", distinct=True))
    found = moved.filter(cars__gt=1).order_by("pack__serial").first()
    if found is not None:
        yield Sight(found["pack__serial"], "an exchange pack: its history runs through two cars")


def _claimed() -> Iterator[Sight]:
    """The pack that came back most often under its warranty."""
    claims = Claim.objects.filter(voided_at__isnull=True, pack__status=Pack.Status.IN_SERVICE)
    counted = claims.values("pack__serial").annotate(times=Count("pk"))
    for found in counted.order_by("-times", "pack__serial")[:2]:
        yield Sight(found["pack__serial"], "repaired, and back under its warranty")
