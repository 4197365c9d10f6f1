"""What is worth opening in the demo, found in the records themselves."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Count, QuerySet
from django.urls import reverse

from packs.models import Call, Claim, Installation, Pack, Visit
from packs.reads import lock_outs
from packs.rules.identity import encode
from reports.models import Outlook


@dataclass(frozen=True)
class Sight:
    """A page and why it is worth a look."""

    path: str
    why: str


def sights() -> list[Sight]:
    """This morning, a car to check in, a job on the bench, and up to two packs, each page once."""
    seen: dict[str, Sight] = {}
    for sight in _candidates():
        seen.setdefault(sight.path, sight)
    return list(seen.values())[:5]


def _candidates() -> Iterator[Sight]:
    cars = _here().count()
    yield Sight(reverse("today"), f"this morning: {cars} cars in the shop, and whom to call")
    yield from _to_check_in()
    yield from _on_bench()
    yield from _over_limit()
    yield from _moved()
    yield from _claimed()


def _here() -> QuerySet[Visit]:
    return Visit.objects.exclude(state=Visit.State.CLOSED)


def _sits() -> QuerySet[Installation]:
    return Installation.objects.filter(voided_at__isnull=True, pack__isnull=False)


def _to_check_in() -> Iterator[Sight]:
    """The car that is expected first for its re-check."""
    booked = Call.objects.filter(
        voided_at__isnull=True, outcome=Call.Outcome.BOOKED, again_on__isnull=False
    ).exclude(pack__in=_here().values("pack"))
    for call in booked.order_by("again_on", "pk"):
        sits = _sits().filter(pack=call.pack_id, removed_at__isnull=True).select_related("pack")
        car = sits.select_related("vehicle", "pack").first()
        if car is not None and car.pack is not None:
            why = f"check in the car {car.vehicle.plate}: its pack is {car.pack.serial}"
            yield Sight(reverse("check-in"), f"{why}, due for its re-check")
            return


def _on_bench() -> Iterator[Sight]:
    """The pack that lies open, locked out and half taken apart."""
    open_jobs = lock_outs.not_ended().filter(visit__in=_here()).select_related("pack")
    found = open_jobs.order_by("-happened_at", "pk").first()
    if found is not None and found.pack is not None:
        path = reverse("job", args=[encode(Visit.PREFIX, found.visit_id)])
        yield Sight(path, f"on the bench: {found.pack.serial} lies open, a module out; as benno")


def _over_limit() -> Iterator[Sight]:
    """The pack on the road, over its limit, that most is known about."""
    present = Outlook.objects.filter(told_until__isnull=True).select_related("pack")
    over = present.filter(level="over_limit", pack__status=Pack.Status.IN_SERVICE)
    away = over.exclude(pack__in=_here().values("pack"))
    found = away.order_by("-checks_used", "pk").first()
    if found is not None:
        yield _pack(found.pack.serial, "over its limit and still on the road: whom to call first")


def _moved() -> Iterator[Sight]:
    """The exchange pack that sat in two cars and has been seen most."""
    moved = _sits().values("pack__serial", "pack__revision")
    moved = moved.annotate(cars=Count("vehicle", distinct=True)).filter(cars__gt=1)
    found = moved.order_by("-pack__revision", "pack__serial").first()
    if found is not None:
        told = "an exchange pack: its history runs through two cars"
        yield _pack(found["pack__serial"], told)


def _claimed() -> Iterator[Sight]:
    """The packs that came back most often under their warranty."""
    claims = Claim.objects.filter(voided_at__isnull=True, pack__status=Pack.Status.IN_SERVICE)
    counted = claims.values("pack__serial").annotate(times=Count("pk"))
    for found in counted.order_by("-times", "pack__serial")[:2]:
        yield _pack(found["pack__serial"], "repaired, and back under its warranty")


def _pack(serial: str, why: str) -> Sight:
    return Sight(reverse("pack", args=[serial]), why)
