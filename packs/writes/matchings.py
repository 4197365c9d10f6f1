"""Modules proposed for positions of a pack, what was taken otherwise, and what is reserved."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from packs.errors import Conflict, Contradiction, Fault
from packs.models import Matching, Module, Pack, Visit
from packs.reads import names, sites, stock
from packs.rules import eligibility, matching
from packs.rules.closeness import FIGURES
from packs.rules.matching import Asked, LeftOut, Matched
from packs.writes.actors import Actor
from packs.writes.judging import time_faults
from packs.writes.recording import Outcome, record, said, sent_otherwise
from packs.writes.reservations import settle
from packs.writes.visit_facts import instant

DIGITS = 6  # significant digits that are kept of a figure
LEFT_OUT_TOLD = 40  # of those that no test or no mark lets in

Entry = Mapping[str, Any]


@dataclass(frozen=True)
class _Job:
    """What is matched: the pack, its visit, the positions, and the modules in question."""

    pack: Pack
    visit: Visit | None
    positions: tuple[int, ...]
    kind: stock.Kind | None
    seated: stock.Seated
    found: stock.Candidates


def record_matching(*, by: Actor, at: datetime, entry: Entry) -> Outcome[Matching]:
    """Store a matching; `entry` holds its fields by their names in the API.

    Raises Conflict where the stock does not hold enough modules that may be matched.
    """
    pack = names.pack(entry["pack"])
    visit = names.visit_of(pack, entry.get("visit"))
    positions = _positions(entry, pack)
    stored = _stored(by, entry, _asked_json(entry, positions))
    if stored is not None:
        return Outcome(stored, created=False)
    happened_at = instant(Matching, entry, by=by, at=at)
    faults = time_faults(pack, happened_at, "/at", at=at, zone=sites.zone())
    if entry.get("reserve") and visit is None:
        sentence = "Name the visit that the modules are to be reserved for."
        faults.append(Fault("/visit", "visit_needed", sentence))
    if faults:
        raise Contradiction(faults)
    job = _job(entry, pack, visit, positions, happened_at)
    proposed, taken, overruled = _matched(job, entry)
    told = said(Matching, entry)

    def hang(row: Matching, locked: Pack) -> None:
        old = [told.supersedes] if isinstance(told.supersedes, Matching) else []
        settle(locked, [*old, row], by=by, at=row.recorded_at)

    return record(
        Matching,
        by=by,
        at=at,
        pack_id=pack.pk,
        happened_at=happened_at,
        content={
            "visit": visit,
            "happened_at": happened_at,
            "asked": _asked_json(entry, positions),
            "proposed": {**proposed, "kind": job.kind, "taken": taken},
            "overruled": overruled,
            "note": entry.get("note") or "",
        },
        said=told,
        summary=_summary(taken, overruled, bool(entry.get("reserve"))),
        in_hand=False,
        then=hang,
    )


def _asked_json(entry: Entry, positions: Sequence[int]) -> dict[str, Any]:
    """What was asked for, in one form for equal questions."""
    return {
        "positions": list(positions),
        "candidates": entry.get("candidates"),
        "form": entry.get("form"),
        "generation": entry.get("generation"),
        "keep_unmeasured": bool(entry.get("keep_unmeasured")),
        "reserve": bool(entry.get("reserve")),
        "overruled": [dict(row) for row in entry.get("overruled") or ()],
    }


def _stored(by: Actor, entry: Entry, asked: Mapping[str, Any]) -> Matching | None:
    """The matching sent before under the same name: the stock has moved on, the answer has not."""
    name = entry.get("external_id")
    if name is None:
        return None
    row = Matching.objects.filter(client=by.client, external_id=name).first()
    if row is None:
        return None
    serial = "" if row.pack is None else row.pack.serial
    if row.asked != asked or serial.upper() != entry["pack"].upper():
        raise sent_otherwise(name)
    return row


def _positions(entry: Entry, pack: Pack) -> tuple[int, ...]:
    count = pack.pack_type.module_count
    given = entry.get("positions")
    wanted = list(range(1, count + 1)) if given is None else list(given)
    faults = [
        Fault(
            f"/positions/{place}",
            "no_such_position",
            f"There is no position {position}: the pack has 1 to {count}.",
        )
        for place, position in enumerate(wanted)
        if not 1 <= position <= count
    ]
    if len(set(wanted)) < len(wanted):
        faults.append(Fault("/positions", "named_twice", "A position is named twice."))
    if not wanted:
        faults.append(Fault("/positions", "no_position", "Name at least one position."))
    if faults:
        raise Contradiction(faults)
    return tuple(sorted(wanted))


def _job(
    entry: Entry, pack: Pack, visit: Visit | None, positions: tuple[int, ...], at: datetime
) -> _Job:
    seated = stock.seated(pack, at=at)
    modules = list(stock.loose(pack.pack_type, visit))
    named = entry.get("candidates")
    if named is not None:
        modules = _named(modules, named)
    kind = _kind(entry, modules, seated)
    alike = [module for module in modules if (module.form, module.generation) == kind]
    if named is not None and len(alike) < len(modules):
        raise _unlike(named, modules, kind)
    return _Job(pack, visit, positions, kind, seated, stock.candidates(alike, at=at))


def _kind(entry: Entry, modules: Sequence[Module], seated: stock.Seated) -> stock.Kind | None:
    """Form and generation: as said, else as what sits in the pack, else what there is most of."""
    form, generation = entry.get("form"), entry.get("generation")
    fitting = [
        module
        for module in modules
        if form in (None, module.form) and generation in (None, module.generation)
    ]
    kinds = seated.kinds if form is None and generation is None else {}
    return stock.kind_wanted(fitting, kinds)


def _named(modules: Sequence[Module], tags: Sequence[str]) -> list[Module]:
    """The modules of these tags, each loose and of the right cells."""
    by_tag = {module.tag: module for module in modules}
    faults = []
    for place, tag in enumerate(tags):
        if tag not in by_tag:
            row = names.module(tag, f"/candidates/{place}")
            assert row is not None
            faults.append(Fault(f"/candidates/{place}", "not_in_stock", _not_loose(row)))
    if faults:
        raise Conflict(faults)
    return [by_tag[tag] for tag in dict.fromkeys(tags)]


def _not_loose(row: Module) -> str:
    if row.status in (Module.Status.STOCK, Module.Status.RESERVED):
        state = "reserved for another visit" if row.status == Module.Status.RESERVED else (
            f"of {row.cells} cells, which the pack type is not"
        )  # fmt: skip
    else:
        state = row.get_status_display().lower()
    return f"Module {row.tag} is {state}; leave it out, or change its stock state first."


def _unlike(
    tags: Sequence[str], modules: Sequence[Module], kind: stock.Kind | None
) -> Contradiction:
    form, generation = kind or ("", "")
    wanted = f"{form}, generation {generation or 'not noted'}"
    other = {m.tag for m in modules if (m.form, m.generation) != kind}
    return Contradiction(
        [
            Fault(
                f"/candidates/{place}",
                "other_kind",
                f"Module {tag} is of another form or generation than the pack's ({wanted}); "
                "modules of two kinds are not matched with each other.",
            )
            for place, tag in enumerate(tags)
            if tag in other
        ]
    )


def _matched(
    job: _Job, entry: Entry
) -> tuple[dict[str, Any], list[dict[str, Any]], list[dict[str, Any]]]:
    """The proposal, what is taken after it was overruled, and by what."""
    asked, refused = eligibility.eligible(
        _asked(job), keep_unmeasured=bool(entry.get("keep_unmeasured"))
    )
    try:
        found = matching.match(asked)
    except matching.TooFewError as error:
        raise _too_few(error, refused, job) from error
    overruled = _overruled(entry, found, _asked(job))
    if not overruled:
        return _json(found, refused, len(asked.tags)), _taken(found), []
    tags = _after(found, overruled)
    rated = matching.rated(_asked(job), [tags[position] for position in job.positions])
    proposed = {**_json(found, refused, len(asked.tags)), "total_taken": _kept(rated.total)}
    return proposed, _taken(rated), overruled


def _asked(job: _Job) -> Asked:
    return stock.asked_of(job.pack, job.positions, job.seated, job.found)


def _too_few(error: matching.TooFewError, refused: Sequence[LeftOut], job: _Job) -> Conflict:
    form = "" if job.kind is None else f" {job.kind[0]}"
    left = f" {len(refused)} more have no test of a kind or miss a pass mark." if refused else ""
    return Conflict.at(
        "/positions",
        "too_few_candidates",
        f"{error.wanted} positions are wanted, and {error.found}{form} modules of "
        f"{job.pack.pack_type.cells_per_module} cells may be matched.{left} Test more modules, "
        "name fewer positions, or keep those without a test of a kind.",
    )


def _overruled(entry: Entry, found: Matched, asked: Asked) -> list[dict[str, Any]]:
    """What somebody places otherwise, each with its reason; Contradiction where it can't be."""
    proposed = {place.position: place.tag for place in found.places}
    faults, told = [], []
    seen: set[Any] = set()
    for place, row in enumerate(entry.get("overruled") or ()):
        where = f"/overruled/{place}"
        if row["position"] not in proposed:
            sentence = f"Position {row['position']} is not among those that are matched."
            faults.append(Fault(f"{where}/position", "not_matched", sentence))
        elif row["module"] not in asked.tags:
            sentence = f"Module {row['module']} is no loose module of this form and generation."
            faults.append(Fault(f"{where}/module", "no_candidate", sentence))
        elif {row["module"], row["position"]} & seen:
            sentence = "A module or a position is overruled twice; keep one of them."
            faults.append(Fault(where, "overruled_twice", sentence))
        else:
            told.append({**row, "instead_of": proposed[row["position"]]})
        seen |= {row["module"], row["position"]}
    if faults:
        raise Contradiction(faults)
    return told


def _after(found: Matched, overruled: Sequence[Mapping[str, Any]]) -> dict[int, str]:
    """Tags by position; a module that was to sit elsewhere changes places with the other."""
    tags = {place.position: place.tag for place in found.places}
    for row in overruled:
        position, tag = row["position"], row["module"]
        elsewhere = next((place for place, held in tags.items() if held == tag), None)
        if elsewhere is not None:
            tags[elsewhere] = tags[position]
        tags[position] = tag
    return tags


def _kept(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.{DIGITS}g}")


def _taken(found: Matched) -> list[dict[str, Any]]:
    return [
        {
            "position": place.position,
            "block": place.block,
            "module": place.tag,
            **{name: _kept(v) for name, v in zip(FIGURES, place.figures, strict=True)},
            "off": {name: _kept(v) for name, v in zip(FIGURES, place.off, strict=True)},
            "apart": _kept(place.apart),
            "age_days": _kept(place.age_days),
            "why": place.why,
        }
        for place in found.places
    ]


def _json(found: Matched, refused: Sequence[LeftOut], considered: int) -> dict[str, Any]:
    """The proposal as it is kept and answered."""
    left_out = [*found.left_out, *refused[:LEFT_OUT_TOLD]]
    return {
        "places": [{"position": place.position, "module": place.tag} for place in found.places],
        "left_out": [
            {"module": one.tag, "more": _kept(one.more), "why": one.why} for one in left_out
        ],
        "not_eligible": len(refused),
        "considered": considered,
        "middle": {name: _kept(v) for name, v in zip(FIGURES, found.middle, strict=True)},
        "unit": {name: _kept(v) for name, v in zip(FIGURES, found.unit, strict=True)},
        "total": _kept(found.total),
        "bound": _kept(found.bound),
        "gap": _kept(found.gap),
        "total_taken": _kept(found.total),
    }


def _summary(
    taken: Sequence[Mapping[str, Any]], overruled: Sequence[Mapping[str, Any]], reserve: bool
) -> str:
    parts = [f"Matching: {len(taken)} module{'' if len(taken) == 1 else 's'} chosen from stock"]
    if overruled:
        parts.append(f"{len(overruled)} placed otherwise")
    if reserve:
        parts.append("reserved")
    return ", ".join(parts)
