"""Modules by their tags, and the lots they were bought in."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Conflict, Contradiction
from packs.models import DisposalLine, Lot, Module, Person, Placement
from packs.reads import names
from packs.rules.vehicles import alike_key
from packs.writes.actors import Actor
from packs.writes.keeping import change, keep
from packs.writes.recording import Outcome

LOT_TEXTS = ("supplier", "origin_note", "climate")
LOT_FACTS = ("received_on", "unit_cost", "count")
TEXTS = ("status_reason", "generation", "shelf")


def create_lot(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Lot]:
    """Store a lot; `entry` holds its fields by their names in the API."""
    content = {
        **{name: entry.get(name) or "" for name in LOT_TEXTS},
        **{name: entry.get(name) for name in LOT_FACTS},
    }
    return keep(Lot, by=by, at=at, key={"code": entry["code"]}, content=content)


def create_module(*, by: Actor, at: datetime, entry: Mapping[str, Any]) -> Outcome[Module]:
    """Store a module; `entry` holds its fields by their names in the API."""
    donor = entry.get("donor_pack")
    content = {
        "form": entry["form"],
        "cells": entry["cells"],
        "lot": names.lot(entry.get("lot")),
        "donor_pack": None if donor is None else names.pack(donor, "/donor_pack"),
        "status": entry.get("status") or Module.Status.STOCK.value,
        **{name: entry[name] for name in TEXTS if entry.get(name)},
    }
    key, beside = {"tag": entry["tag"]}, {"tag_alike": alike_key(entry["tag"])}
    with transaction.atomic():
        outcome = keep(Module, by=by, at=at, key=key, content=content, beside=beside)
        if outcome.created and content["status"] == Module.Status.FITTED:
            _must_be_loose(outcome.row, Module.Status.FITTED)
    return outcome


def change_module(
    row: Module, *, by: Actor, at: datetime, version: int, changes: Mapping[str, Any]
) -> Module:
    """Store another stock state and why, another shelf, or the visit that it is kept for.

    Whether a module is fitted is for swaps to say. A reason belongs to its state, and goes with it;
    `done_by` stands beside it by code.
    """
    with transaction.atomic():
        module = Module.objects.select_for_update(no_key=True).get(pk=row.pk)
        columns = _columns(module, changes)
        wanted = columns.get("status", module.status)
        if wanted != module.status:
            _must_be_loose(module, wanted)
            _must_be_here(module, wanted)
        change(module, by=by, at=at, version=version, key=module.tag, changes=columns)
    return module


def _columns(module: Module, changes: Mapping[str, Any]) -> dict[str, Any]:
    columns = {name: value or "" if name in TEXTS else value for name, value in changes.items()}
    person = names.person(columns.pop("done_by", None))
    if columns.get("status_reason"):
        columns["status_reason"] = signed(columns["status_reason"], person)
    if "reserved_for" in columns:
        visit = names.visit(columns.pop("reserved_for"), "/reserved_for")
        columns["reserved_for_id"] = None if visit is None else visit.pk
    wanted = columns.get("status", module.status)
    if wanted != module.status:
        columns.setdefault("status_reason", "")
    if wanted != Module.Status.RESERVED:
        if columns.get("reserved_for_id") is not None:
            raise Contradiction.at(
                "/reserved_for",
                "not_reserved",
                "Only a reserved module is kept for a visit; send status reserved with it.",
            )
        columns["reserved_for_id"] = None
    return columns


def signed(reason: str, person: Person | None) -> str:
    """A reason with the code of who gave it."""
    return reason if person is None else f"{reason} ({person.code})"


def _must_be_here(module: Module, wanted: str) -> None:
    """Raise Conflict for a module that left the shop for good."""
    left = DisposalLine.objects.filter(module=module, disposal__voided_at__isnull=True)
    if wanted != Module.Status.SCRAPPED and left.exists():
        raise Conflict.at(
            "/status",
            "module_left",
            f"Module {module.tag} went to a recycler and is not here any more; void that disposal "
            "first, if it was a mistake.",
        )


def _must_be_loose(module: Module, wanted: str) -> None:
    """Raise Conflict for a module that sits in a pack, or that is to be fitted without a swap."""
    held = Placement.objects.filter(module=module, removed_at__isnull=True).select_related("pack")
    sits = held.first()
    if sits is not None:
        raise Conflict.at(
            "/status",
            "module_sits",
            f"Module {module.tag} sits at position {sits.position} of pack {sits.pack.serial}; "
            "record the swap that takes it out first.",
        )
    if wanted == Module.Status.FITTED:
        raise Conflict.at(
            "/status",
            "fitted_by_a_swap",
            f"Module {module.tag} sits in no pack; record the swap that fits it instead.",
        )
