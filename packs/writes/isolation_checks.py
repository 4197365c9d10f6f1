"""Recording isolation checks: by two voltages, or as a tester read it."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from packs.errors import Contradiction, Fault
from packs.models import IsolationCheck, Pack
from packs.reads import isolation as reads
from packs.reads import names
from packs.rules import isolation
from packs.rules.isolation import Voltages
from packs.rules.isolation_words import SCOPES, kilohm
from packs.rules.plausible import CELL_LIMITS_V
from packs.writes import gates
from packs.writes.actors import Actor
from packs.writes.recording import Outcome, lock, said
from packs.writes.visit_facts import faults_of_time, instant, record_on

READ = ("pack_v", "plus_case_v", "minus_case_v", "shunted_v", "shunt_ohm")
OF_A_TESTER = ("isolation_ohm", "test_v")
NEEDED: Mapping[str, tuple[str, ...]] = {
    IsolationCheck.Method.TWO_VOLTAGES: READ[1:],
    IsolationCheck.Method.TESTER: ("isolation_ohm",),
}
OTHERS: Mapping[str, tuple[str, ...]] = {
    IsolationCheck.Method.TWO_VOLTAGES: OF_A_TESTER,
    IsolationCheck.Method.TESTER: READ[1:],
}

Entry = Mapping[str, Any]


def record_isolation_check(*, by: Actor, at: datetime, entry: Entry) -> Outcome[IsolationCheck]:
    """Store an isolation check; `entry` holds its fields by their names in the API.

    By two voltages the resistance is worked out here; a tester's is taken as it was read.
    """
    visit = gates.visit_with_pack(entry["visit"])
    assert visit.pack is not None
    happened_at = instant(IsolationCheck, entry, by=by, at=at)
    faults = faults_of_time(visit, happened_at, "/at", at=at)
    faults += gates.measuring_faults(names.equipment(entry.get("equipment")))
    faults += _method_faults(entry) or _voltage_faults(entry, visit.pack)
    if faults:
        raise Contradiction(faults)
    content = _columns(entry, happened_at)
    with transaction.atomic():
        lock(visit.pack.pk)
        if gates.sent_before(IsolationCheck, entry, by=by) is None:
            gates.refuse(gates.elsewhere_faults(visit), ())
        return record_on(
            visit,
            IsolationCheck,
            by=by,
            at=at,
            happened_at=happened_at,
            content=content,
            said=said(IsolationCheck, entry),
            summary=_summary(content, visit.pack),
        )


def _method_faults(entry: Entry) -> list[Fault]:
    """What the method needs and was not told, and what belongs to the other."""
    method = str(entry["method"])
    words = {
        IsolationCheck.Method.TWO_VOLTAGES: "By two voltages",
        IsolationCheck.Method.TESTER: "With a tester",
    }[IsolationCheck.Method(method)]
    faults = [
        Fault(f"/{name}", "needed_by_method", f"{words}, {name} is needed; measure it.")
        for name in NEEDED[method]
        if entry.get(name) is None
    ]
    return faults + [
        Fault(
            f"/{name}",
            "not_of_method",
            f"{words}, {name} is not given"
            + (" but worked out" if name == "isolation_ohm" else "")
            + "; leave it out, or name the other method.",
        )
        for name in OTHERS[method]
        if entry.get(name) is not None
    ]


def _voltage_faults(entry: Entry, pack: Pack) -> list[Fault]:
    """What contradicts the physics: a voltage that the pack cannot have, or a sum off it."""
    kind = pack.pack_type
    most = CELL_LIMITS_V[kind.chemistry][1] * kind.module_count * kind.cells_per_module
    if entry["pack_v"] > most:
        sentence = (
            f"{entry['pack_v']:g} V cannot be: a pack of type {kind.code} shows at most "
            f"{most:g} V; read it again."
        )
        return [Fault("/pack_v", "out_of_range", sentence)]
    if entry["method"] != IsolationCheck.Method.TWO_VOLTAGES:
        return []
    problem = isolation.doubt(_voltages(entry))
    if problem is None:
        return []
    field, code, sentence = problem
    return [Fault(f"/{field}", code, sentence)]


def _voltages(entry: Entry) -> Voltages:
    return Voltages(**{name: entry[name] for name in READ})


def _columns(entry: Entry, happened_at: datetime) -> dict[str, Any]:
    if entry["method"] == IsolationCheck.Method.TWO_VOLTAGES:
        ohms = isolation.by_two_voltages(_voltages(entry)).isolation_ohm
    else:
        ohms = entry["isolation_ohm"]
    return {
        "happened_at": happened_at,
        "scope": str(entry["scope"]),
        "method": str(entry["method"]),
        "wet": bool(entry.get("wet")),
        "pack_v": entry["pack_v"],
        **{name: entry.get(name) for name in (*READ[1:], "test_v")},
        "isolation_ohm": ohms,
        "equipment": names.equipment(entry.get("equipment")),
        "note": entry.get("note") or "",
    }


def _summary(content: Mapping[str, Any], pack: Pack) -> str:
    ohms = content["isolation_ohm"]
    per_volt = ohms / reads.working_v(pack.pack_type, content["pack_v"])
    wet = ", wet" if content["wet"] else ""
    return f"Isolation check, {SCOPES[content['scope']]}{wet}: {kilohm(ohms)}, {per_volt:,.0f} Ω/V"
