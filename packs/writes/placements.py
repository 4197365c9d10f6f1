"""Where each module sat: worked out again from the changes of a position, never written by hand."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction

from packs.errors import Conflict
from packs.models import Module, Pack, Placement, Swap, SwapChange
from packs.reads import kinds_of_modules
from packs.rules.seating import Change, Stay, simultaneous, stays
from packs.writes import builds, component_places
from packs.writes.actors import Actor
from packs.writes.keeping import change
from packs.writes.recording import conflict_of

BARRED = {Module.Status.SCRAPPED, Module.Status.QUARANTINED}
SITS = {Module.Status.FITTED}
OFF_THE_SHELF = {"reserved_for_id": None, "status_reason": "", "shelf": ""}


@dataclass(frozen=True)
class _Seat:
    """A stay, and the row that tells it."""

    stay: Stay
    row: Placement


@dataclass(frozen=True)
class _Plan:
    """Modules by number, locked, and where in the request each change was said."""

    pack: Pack
    modules: Mapping[int, Module]
    pointers: Mapping[int, str]
    visit_id: int | None  # on which what the request says was done

    def tag(self, module_id: int | None) -> str:
        return "a module nobody named" if module_id is None else self.modules[module_id].tag

    def pointer(self, stay: Stay) -> str | None:
        """Where the request names the module of this stay; None where it does not."""
        if (
            stay.ended_by is not None
            and stay.ended_by.id in self.pointers
            and (stay.said_at_last is not None)
        ):
            return self.pointers[stay.ended_by.id] + "/removed"
        if stay.begun_by is not None and stay.begun_by.id in self.pointers:
            return self.pointers[stay.begun_by.id] + "/fitted"
        return None


def settle(pack: Pack, swaps: Sequence[Swap], *, by: Actor, at: datetime) -> None:
    """Bring placements, the states of modules and parts and the start of the build in line.

    `swaps` are those just recorded or voided, of a pack that is locked. Raises Conflict where
    the swaps that stand contradict each other.
    """
    touched = list(SwapChange.objects.filter(swap__in=swaps).order_by("pk"))
    positions = {told.position for told in touched if told.position is not None}
    standing = {swap.pk for swap in swaps if swap.voided_at is None}
    own = [told.pk for told in touched if told.swap_id in standing]
    pointers = {pk: f"/changes/{place}" for place, pk in enumerate(own)}
    if positions:
        visit_id = next((swap.visit_id for swap in swaps if swap.pk in standing), None)
        _seat(pack, positions, pointers, visit_id, by=by, at=at)
    component_places.settle(pack, touched, pointers, by=by, at=at)
    builds.settle(pack, swaps, by=by, at=at)


def _seat(
    pack: Pack,
    positions: Collection[int],
    pointers: Mapping[int, str],
    visit_id: int | None,
    *,
    by: Actor,
    at: datetime,
) -> None:
    changes = _changes(pack, positions)
    before = {
        (row.position, row.fitted_by_id): row
        for row in Placement.objects.filter(pack=pack, position__in=positions)
    }
    plan = _Plan(pack, _locked(changes.values(), before.values()), pointers, visit_id)
    seats = [seat for position in sorted(positions) for seat in _seats(plan, position, changes)]
    for seat in seats:
        _judge(plan, seat)
    _must_suit(plan, changes)
    _replace(plan, before, seats)
    _mark(plan.modules, by=by, at=at)


def _must_suit(plan: _Plan, changes: Mapping[int, Sequence[Change]]) -> None:
    """Raise Conflict where the request fits a module of another kind than the pack has."""
    fitted = {
        f"{plan.pointers[change.id]}/fitted": plan.modules[change.fitted]
        for group in changes.values()
        for change in group
        if change.id in plan.pointers and change.fitted is not None
    }
    faults = kinds_of_modules.faults(plan.pack, fitted)
    if faults:
        raise Conflict(faults)


def _changes(pack: Pack, positions: Collection[int]) -> Mapping[int, list[Change]]:
    """The changes that stand, by position."""
    found: dict[int, list[Change]] = {position: [] for position in positions}
    rows = SwapChange.objects.filter(
        swap__pack=pack, swap__voided_at__isnull=True, position__in=positions
    )
    for row in rows.select_related("swap"):
        assert row.position is not None
        found[row.position].append(
            Change(row.pk, row.swap.done_at, row.removed_id, row.fitted_id, row.orientation)
        )
    return found


def _locked(changes: Iterable[Sequence[Change]], rows: Iterable[Placement]) -> Mapping[int, Module]:
    """Every module named, held in one order until the transaction ends.

    The weaker lock lets another swap name a module while it waits; the full one would let two
    swaps that have both named it wait for each other.
    """
    told = [change for group in changes for change in group]
    named = {change.removed for change in told} | {change.fitted for change in told}
    named |= {row.module_id for row in rows}
    held = Module.objects.select_for_update(no_key=True)
    numbers = [number for number in named if number is not None]
    return {row.pk: row for row in held.filter(pk__in=numbers).order_by("pk")}


def _seats(plan: _Plan, position: int, changes: Mapping[int, Sequence[Change]]) -> Iterable[_Seat]:
    twice = simultaneous(changes[position])
    if twice is not None:
        said = next((plan.pointers[c.id] for c in twice if c.id in plan.pointers), "")
        raise Conflict.at(
            said + "/position" if said else "",
            "changed_at_that_instant",
            f"Position {position} was changed at {twice[0].at.isoformat()} by another swap; "
            "give the instant of this one, or void the other.",
        )
    for stay in stays(changes[position]):
        yield _Seat(stay, _row(plan.pack, position, stay))


def _row(pack: Pack, position: int, stay: Stay) -> Placement:
    begun, ended = stay.begun_by, stay.ended_by
    return Placement(
        pack=pack,
        position=position,
        module_id=stay.module,
        orientation=Placement.Orientation.NORMAL if begun is None else begun.orientation,
        fitted_at=None if begun is None else begun.at,
        fitted_by_id=None if begun is None else begun.id,
        removed_at=None if ended is None else ended.at,
    )


def _judge(plan: _Plan, seat: _Seat) -> None:
    """Raise Conflict for a stay that cannot have been."""
    stay, pointer = seat.stay, plan.pointer(seat.stay) or ""
    if stay.contradicted:
        assert stay.begun_by is not None
        assert stay.ended_by is not None
        raise Conflict.at(
            pointer,
            "another_module_there",
            f"The register says that {plan.tag(stay.said_at_first)} sat at position "
            f"{seat.row.position} from {stay.begun_by.at.isoformat()}, but "
            f"{plan.tag(stay.said_at_last)} is said to have been taken out at "
            f"{stay.ended_by.at.isoformat()}; correct the tag, or void the swap that is wrong.",
        )
    module = plan.modules.get(stay.module or 0)
    if module is not None and _leaves_unnamed(plan, stay):
        raise Conflict.at(
            f"{_said_by(plan, stay.ended_by)}/removed",
            "removed_not_named",
            f"Module {module.tag} is recorded at position {seat.row.position}: name it as removed. "
            "Where another came out, correct the swap that fitted it first.",
        )
    if module is None or stay.ended_by is not None:
        return
    if module.status in BARRED:
        raise Conflict.at(
            pointer,
            f"module_{module.status}",
            f"Module {module.tag} is {module.status} and cannot sit in a pack; "
            "change its status first, or choose another.",
        )
    if _kept_for_another(plan, stay, module):
        raise Conflict.at(
            pointer,
            "module_reserved",
            f"Module {module.tag} is reserved for another visit; name that visit in the swap, "
            "release the module first, or choose another.",
        )


def _said_by(plan: _Plan, told: Change | None) -> str | None:
    """Where the request says that change; None where it does not."""
    return None if told is None else plan.pointers.get(told.id)


def _leaves_unnamed(plan: _Plan, stay: Stay) -> bool:
    """Whether the request puts a named module in and does not say which came out.

    With both left open it says that the position was renewed.
    """
    if stay.ended_by is None or _said_by(plan, stay.ended_by) is None:
        return False
    return stay.ended_by.removed is None and stay.ended_by.fitted is not None


def _kept_for_another(plan: _Plan, stay: Stay, module: Module) -> bool:
    """Whether the request fits a module that is kept for another visit, of another pack."""
    if stay.begun_by is None or stay.begun_by.id not in plan.pointers:
        return False
    visit = module.reserved_for if module.status == Module.Status.RESERVED else None
    return visit is not None and visit.pk != plan.visit_id and visit.pack_id != plan.pack.pk


SAME = ("module_id", "orientation", "fitted_at", "removed_at")


def _replace(
    plan: _Plan, before: Mapping[tuple[int, int | None], Placement], seats: Sequence[_Seat]
) -> None:
    """Take away the rows that no longer hold, put in those that now do, under the old numbers."""
    kept, fresh = set(), []
    for seat in seats:
        old = before.get((seat.row.position, seat.row.fitted_by_id))
        if old is not None and all(getattr(old, n) == getattr(seat.row, n) for n in SAME):
            kept.add(old.pk)
            continue
        seat.row.pk = None if old is None else old.pk
        fresh.append(seat)
    Placement.objects.filter(pk__in={row.pk for row in before.values()} - kept).delete()
    numbers = [seat.row.pk for seat in fresh]
    try:
        with transaction.atomic():
            Placement.objects.bulk_create([seat.row for seat in fresh])
    except IntegrityError as refusal:
        for seat, number in zip(fresh, numbers, strict=True):
            seat.row.pk = number
        raise _clash(plan, seats) or conflict_of(refusal) from refusal


def _clash(plan: _Plan, seats: Sequence[_Seat]) -> Conflict | None:
    """Which module would be in two places, told where the request names it."""
    modules = {seat.row.module_id for seat in seats} - {None}
    positions = {seat.row.position for seat in seats}
    elsewhere = Placement.objects.filter(module__in=modules).select_related("pack")
    others = [
        row for row in elsewhere if row.pack_id != plan.pack.pk or row.position not in positions
    ]
    others += [seat.row for seat in seats]
    clashes = [
        (plan.pointer(seat.stay), seat.row, other)
        for seat in seats
        for other in others
        if seat.row is not other and _in_two_places(seat.row, other)
    ]
    if not clashes:
        return None
    pointer, row, other = next((clash for clash in clashes if clash[0] is not None), clashes[0])
    return Conflict.at(
        pointer or "",
        "module_elsewhere",
        f"Module {plan.tag(row.module_id)} sits at position {other.position} of pack "
        f"{other.pack.serial} {_span(other)}; record its removal there first, "
        "or correct the tag or the time.",
    )


def _in_two_places(one: Placement, two: Placement) -> bool:
    return (
        one.module_id is not None
        and one.module_id == two.module_id
        and _begins_before_end(one, two)
        and _begins_before_end(two, one)
    )


def _begins_before_end(one: Placement, two: Placement) -> bool:
    return one.fitted_at is None or two.removed_at is None or one.fitted_at < two.removed_at


def _span(row: Placement) -> str:
    begun = "from the beginning" if row.fitted_at is None else f"from {row.fitted_at.isoformat()}"
    return begun if row.removed_at is None else f"{begun} until {row.removed_at.isoformat()}"


def _mark(modules: Mapping[int, Module], *, by: Actor, at: datetime) -> None:
    """What sits in a pack is fitted; what was fitted and sits nowhere is stock."""
    present = Placement.objects.filter(module__in=modules, removed_at__isnull=True)
    sitting = set(present.values_list("module_id", flat=True))
    for module in modules.values():
        status = _status(module, sits=module.pk in sitting)
        if status != module.status:
            changes = {"status": status, **(OFF_THE_SHELF if status in SITS else {})}
            version = module.version
            change(module, by=by, at=at, version=version, key=module.tag, changes=changes)


def _status(module: Module, *, sits: bool) -> str:
    if sits:
        return Module.Status.FITTED
    if module.status == Module.Status.FITTED:
        return Module.Status.STOCK
    return module.status
