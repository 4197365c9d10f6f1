"""Cores that are owed, and which of them are late."""

from datetime import date

from django.db.models import QuerySet

from packs.models import Core


def standing() -> QuerySet[Core]:
    """The cores as they stand, none that was told anew."""
    return Core.objects.filter(voided_at__isnull=True).select_related("pack", "visit__vehicle")


def due() -> QuerySet[Core]:
    """Those not back yet, the longest due first."""
    return standing().filter(state=Core.State.DUE).order_by("due_on", "pk")


def overdue(*, today: date) -> QuerySet[Core]:
    """Those that should have been back before today."""
    return due().filter(due_on__lt=today)


def is_overdue(core: Core, *, today: date) -> bool:
    return core.voided_at is None and core.state == Core.State.DUE and core.due_on < today


def settled() -> QuerySet[Core]:
    """Those that came back, the newest first."""
    back = standing().exclude(state=Core.State.DUE)
    return back.order_by("-returned_on", "-pk")
