"""Recording tests of modules: what was measured, and the figures that follow from it."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from packs.errors import Contradiction, Fault
from packs.models import Equipment, Module, ModuleTest, PackType, TestSeries, Visit
from packs.reads import module_tests as reads
from packs.reads import names, sites, tools
from packs.rules import curves, module_figures
from packs.rules.layouts import PassMarks
from packs.rules.module_tests import CAPACITY, Curve, Measured, Refused, Worked, rounded
from packs.rules.module_verdicts import Figures, Verdict, judge
from packs.writes.actors import Actor
from packs.writes.recording import Outcome, said
from packs.writes.visit_facts import future_faults, record_alone

Entry = Mapping[str, Any]

CONDITIONS = ("temperature_c", "cycle", "rest_before_min", "charge_before_ah")
TEXTS = ("method", "channel", "note")
_DAY_S = 86_400.0


@dataclass(frozen=True)
class Tested:
    """A test as it would be stored, with what follows from it."""

    module: Module
    kind: PackType | None
    visit: Visit | None
    equipment: Equipment | None
    started_at: datetime
    ended_at: datetime
    values: Mapping[str, Any]
    findings: Mapping[str, int]
    curve: Curve | None
    worked: Worked
    verdict: Verdict
    warnings: tuple[str, ...]


def record_module_test(*, by: Actor, at: datetime, entry: Entry) -> Outcome[ModuleTest]:
    """Store a test; `entry` holds its fields by their names in the API, its series as arrays."""
    told = work_out(entry, at=at)
    beside = {} if told.curve is None else {"series": _digest(told.curve)}

    def hang(test: ModuleTest) -> None:
        if told.curve is not None:
            packed = curves.pack(told.curve)
            TestSeries.objects.create(test=test, points=told.curve.seconds.size, packed=packed)

    return record_alone(
        ModuleTest,
        {
            "module": told.module,
            "visit": told.visit,
            "kind": str(entry["kind"]),
            "started_at": told.started_at,
            "ended_at": told.ended_at,
            "equipment": told.equipment,
            **{name: entry.get(name) for name in CONDITIONS},
            **{name: entry.get(name) or "" for name in TEXTS},
            "measured": _kept(entry, told),
        },
        said(ModuleTest, entry, beside=beside),
        by=by,
        at=at,
        follows=_follows(told),
        then=hang,
    )


def work_out(entry: Entry, *, at: datetime) -> Tested:
    """What a test would come to, without storing it; raises Contradiction for what can not be."""
    module = names.module(entry["module"], "/module")
    assert module is not None
    visit = names.visit(entry.get("visit"))
    kind = _type(entry, module, visit)
    values = {
        name: value
        for name, value in (entry.get("measured") or {}).items()
        if value is not None and value != []
    }
    curve = _curve(entry)
    started_at = entry["started_at"]
    ended_at = entry.get("ended_at") or _ends(started_at, values, curve)
    said_end = entry.get("ended_at") is not None
    faults = [
        *_time_faults(started_at, ended_at, said_end, at=at),
        *_reading_faults(values, started_at, at),
    ]
    if faults:
        raise Contradiction(faults)
    measured = Measured(
        values=values,
        curve=curve,
        temperature_c=entry.get("temperature_c"),
        hours=_hours(values, started_at, entry.get("rest_before_min") or 0.0),
        days=(ended_at - started_at).total_seconds() / _DAY_S,
        method=entry.get("method") or "",
    )
    worked = _worked(str(entry["kind"]), measured, module, kind)
    worked = _against_cycle_before(worked, entry, module, started_at)
    findings = {name: grade for name, grade in (entry.get("findings") or {}).items() if grade}
    tool = names.equipment(entry.get("equipment"))
    return Tested(
        module=module,
        kind=kind,
        visit=visit,
        equipment=tool,
        started_at=started_at,
        ended_at=ended_at,
        values=values,
        findings=findings,
        curve=curve,
        worked=worked,
        verdict=judge(worked.figures, kind.layout.pass_marks if kind else PassMarks(), findings),
        warnings=tuple(tools.warnings(tool, sites.day(started_at))),
    )


def _type(entry: Entry, module: Module, visit: Visit | None) -> PackType | None:
    """The type by whose marks it is judged: as said, or as the module's life says."""
    if entry.get("pack_type") is None:
        return reads.type_of(module, visit)
    kind = names.pack_type(entry["pack_type"])
    if kind.cells_per_module != module.cells:
        sentence = (
            f"Module {module.tag} has {module.cells} cells, but those of type {kind.code} have "
            f"{kind.cells_per_module}; name another type, or none."
        )
        raise Contradiction.at("/pack_type", "wrong_cells", sentence)
    return kind


def _curve(entry: Entry) -> Curve | None:
    told = entry.get("series")
    return None if told is None else Curve(told["seconds"], told["current_a"], told["voltage_v"])


def _ends(started_at: datetime, values: Mapping[str, Any], curve: Curve | None) -> datetime:
    """When a test ended that nobody said the end of."""
    if curve is not None and curve.seconds.size:
        return started_at + timedelta(seconds=float(curve.seconds.max() - curve.seconds.min()))
    if "readings" in values:
        times: list[datetime] = [reading["at"] for reading in values["readings"]]
        return max([started_at, *times])
    return started_at + timedelta(seconds=values.get("duration_s") or 0.0)


def _time_faults(
    started_at: datetime, ended_at: datetime, said_end: bool, *, at: datetime
) -> list[Fault]:
    if ended_at < started_at:
        sentence = "ended_at is before started_at; correct one of them."
        return [Fault("/ended_at", "ends_before_it_begins", sentence)]
    faults = future_faults(started_at, "/started_at", at=at)
    if faults or not future_faults(ended_at, "/ended_at", at=at):
        return faults
    if said_end:
        return future_faults(ended_at, "/ended_at", at=at)
    sentence = (
        f"Begun then, and as long as it took, it would end at {ended_at.isoformat()}, ahead of the "
        "clock here; correct when it began."
    )
    return [Fault("/started_at", "ends_in_the_future", sentence)]


def _reading_faults(values: Mapping[str, Any], started_at: datetime, at: datetime) -> list[Fault]:
    faults: list[Fault] = []
    for place, reading in enumerate(values.get("readings", ())):
        pointer = f"/measured/readings/{place}/at"
        faults += future_faults(reading["at"], pointer, at=at)
        if reading["at"] < started_at:
            sentence = "This reading is before the stand began; correct it, or started_at."
            faults.append(Fault(pointer, "before_the_start", sentence))
    return faults


def _hours(
    values: Mapping[str, Any], started_at: datetime, rest_before_min: float
) -> tuple[float, ...]:
    """Hours after charge of each reading: the stand begins so many minutes after it."""
    return tuple(
        (reading["at"] - started_at).total_seconds() / 3600 + rest_before_min / 60
        for reading in values.get("readings", ())
    )


def _worked(name: str, measured: Measured, module: Module, kind: PackType | None) -> Worked:
    try:
        return module_figures.work_out(name, measured, reads.basis_of(module, kind))
    except Refused as refused:
        faults = [Fault(one.pointer, one.code, one.detail) for one in refused.wrongs]
        raise Contradiction(faults) from refused


def _against_cycle_before(
    worked: Worked, entry: Entry, module: Module, started_at: datetime
) -> Worked:
    """With the change from the cycle before, where that is a test of its own."""
    if entry["kind"] != CAPACITY or len(worked.cycles_ah) > 1:
        return worked
    before = reads.cycle_before(module, entry.get("cycle"), started_at)
    if before is None or before.capacity_ah is None:
        return worked
    change = module_figures.settled_by(worked.cycles_ah, before.capacity_ah)
    figures = Figures(capacity_ah=worked.figures.capacity_ah, change_pct=change)
    return Worked(figures, worked.how, worked.details, worked.notes, worked.cycles_ah)


def _kept(entry: Entry, told: Tested) -> dict[str, Any]:
    """What was measured, as JSON keeps it; with what was seen, and the type if it was said."""
    kept = {name: value for name, value in told.values.items() if name != "readings"}
    if "readings" in told.values:
        kept["readings"] = [
            {**_given(reading), "at": reading["at"].astimezone(UTC).isoformat()}
            for reading in told.values["readings"]
        ]
    if told.findings:
        kept["findings"] = dict(told.findings)
    if entry.get("pack_type") is not None and told.kind is not None:
        kept["pack_type"] = told.kind.code
    return kept


def _given(said: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in said.items() if value is not None}


def _follows(told: Tested) -> dict[str, Any]:
    """The columns that are worked out."""
    figures = told.worked.figures
    computed = {
        **_given(told.worked.details),
        "how": told.worked.how,
        "change_pct": rounded(figures.change_pct),
        "verdict": told.verdict.word,
        "reasons": list(told.verdict.reasons),
        "notes": list(told.worked.notes),
        "warnings": list(told.warnings),
        "judged_by": told.kind.code if told.kind else None,
    }
    return {
        "capacity_ah": rounded(figures.capacity_ah),
        "resistance_mohm": rounded(figures.resistance_mohm),
        "stand_mv_per_day": rounded(figures.stand_mv_per_day),
        "computed": _given(computed),
    }


def _digest(curve: Curve) -> str:
    """The series boiled down, so that the same one is known again."""
    summed = hashlib.sha256()
    for column in (curve.seconds, curve.current_a, curve.voltage_v):
        summed.update(column.astype("<f8").tobytes() + b"|")
    return summed.hexdigest()
