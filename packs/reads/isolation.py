"""Isolation checks as they are judged: what was read, against the pack it was read on."""

from packs.models import IsolationCheck, PackType, Visit
from packs.reads import sites, tools
from packs.rules import isolation
from packs.rules.arithmetic import nominal_v
from packs.rules.isolation import Leak, Voltages
from packs.rules.isolation_words import Found, Judgement, judge


def voltages(check: IsolationCheck) -> Voltages | None:
    """What was read by two voltages; None for a tester's figure."""
    if check.method != IsolationCheck.Method.TWO_VOLTAGES:
        return None
    assert check.plus_case_v is not None
    assert check.minus_case_v is not None
    assert check.shunted_v is not None
    assert check.shunt_ohm is not None
    return Voltages(
        check.pack_v, check.plus_case_v, check.minus_case_v, check.shunted_v, check.shunt_ohm
    )


def leak(check: IsolationCheck) -> Leak | None:
    """What the two voltages say of a single leak; None for a tester's figure."""
    read = voltages(check)
    return None if read is None else isolation.by_two_voltages(read)


def working_v(pack_type: PackType, measured_v: float) -> float:
    """The voltage that Ω/V are counted by, V: nominal, or what was measured where that is more."""
    nominal = nominal_v(
        pack_type.module_count, pack_type.cells_per_module, pack_type.cell_nominal_v
    )
    return max(nominal, measured_v)


def judged(check: IsolationCheck) -> Judgement:
    """The verdict on a check of a pack, with its place and what to do next, in words."""
    assert check.pack is not None
    pack_type, read, found = check.pack.pack_type, voltages(check), leak(check)
    place = None
    if found is not None:
        place = isolation.place(found.from_minus, pack_type.module_count)
    return judge(
        Found(
            isolation_ohm=check.isolation_ohm,
            true_ohm=check.isolation_ohm if found is None else found.true_ohm,
            working_v=working_v(pack_type, check.pack_v),
            scope=check.scope,
            wet=check.wet,
            place=place,
            loads=read is not None and isolation.meter_loads(read),
            test_v=check.test_v,
        )
    )


def warnings(check: IsolationCheck) -> list[str]:
    """What is to be said of the meter it was made with."""
    return list(tools.warnings(check.equipment, sites.day(check.happened_at)))


def of_visit(visit: Visit) -> list[IsolationCheck]:
    """Those of a visit that count, the newest first."""
    rows = IsolationCheck.objects.filter(visit=visit, voided_at__isnull=True)
    found = rows.select_related("pack__pack_type", "equipment", "done_by")
    return list(found.order_by("-happened_at", "-pk"))
