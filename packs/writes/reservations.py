"""Modules kept for a visit by the matchings that stand."""

from collections.abc import Sequence
from datetime import datetime

from packs.errors import Conflict
from packs.models import Matching, Module, Pack
from packs.writes.actors import Actor
from packs.writes.keeping import change

RESERVED = "reserved by a matching"


def settle(pack: Pack, rows: Sequence[Matching], *, by: Actor, at: datetime) -> None:
    """Reserve what a matching that stands asks for; give back what no standing one asks for.

    `rows` are those just recorded, superseded or voided, of a pack that is locked.
    """
    for row in rows:
        row.refresh_from_db(fields=["voided_at"])
    visits = {row.visit_id for row in rows if row.visit_id is not None and row.asked["reserve"]}
    for visit_id in visits:
        _settle_visit(visit_id, rows, by=by, at=at)


def _settle_visit(visit_id: int, rows: Sequence[Matching], *, by: Actor, at: datetime) -> None:
    standing = Matching.objects.filter(visit_id=visit_id, voided_at__isnull=True)
    wanted = {tag for row in standing if row.asked["reserve"] for tag in _tags(row)}
    touched = {tag for row in rows if row.visit_id == visit_id for tag in _tags(row)}
    modules = Module.objects.select_for_update(no_key=True).filter(tag__in=touched).order_by("pk")
    for module in modules:
        held = module.status == Module.Status.RESERVED and module.reserved_for_id == visit_id
        if module.tag in wanted and not held:
            _reserve(module, visit_id, by=by, at=at)
        elif module.tag not in wanted and held:
            _put(module, Module.Status.STOCK, None, by=by, at=at)


def _tags(row: Matching) -> list[str]:
    return [place["module"] for place in row.proposed["taken"]]


def _reserve(module: Module, visit_id: int, *, by: Actor, at: datetime) -> None:
    if module.status != Module.Status.STOCK:
        raise Conflict.at(
            "/reserve",
            "taken_meanwhile",
            f"Module {module.tag} was taken by somebody else meanwhile; match again.",
        )
    _put(module, Module.Status.RESERVED, visit_id, by=by, at=at)


def _put(
    module: Module, status: Module.Status, visit_id: int | None, *, by: Actor, at: datetime
) -> None:
    reason = RESERVED if visit_id is not None else ""
    changes = {"status": status.value, "status_reason": reason, "reserved_for_id": visit_id}
    change(module, by=by, at=at, version=module.version, key=module.tag, changes=changes)
