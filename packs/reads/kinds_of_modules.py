"""Of what kind a module is, as far as anything recorded tells, and what a pack takes."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from django.db.models import Count, Q, QuerySet
from django.db.models.fields.json import KT

from packs.errors import Fault
from packs.models import Module, ModuleTest, Pack, PackType, Placement

NEWEST = 200  # modules of other packs that tell the form of a type; common practice, no source
CHEMISTRIES = {"nimh": "nickel-metal hydride", "li_ion": "lithium ion"}
STANDS = Q(fitted_by__isnull=True) | Q(fitted_by__swap__voided_at__isnull=True)


@dataclass(frozen=True)
class Trace:
    """What tells the chemistry of a module, and in words where it is recorded."""

    chemistry: str
    where: str
    pack_id: int | None = None  # of the pack that it sat in


def traces(modules: QuerySet[Module]) -> Mapping[int, list[Trace]]:
    """By module, its donor pack, the packs it sat in, the types it was judged by; four queries."""
    found: dict[int, list[Trace]] = defaultdict(list)
    asked = modules.order_by()
    donors = asked.filter(donor_pack__isnull=False)
    told = ("donor_pack__pack_type__chemistry", "donor_pack__serial")
    for key, chemistry, serial in donors.values_list("pk", *told):
        found[key].append(Trace(chemistry, f"it came out of pack {serial}"))
    sat = Placement.objects.filter(STANDS, module__in=asked.values("pk"))
    columns = ("module_id", "pack__pack_type__chemistry", "pack__serial", "pack_id")
    for key, chemistry, serial, pack_id in sat.values_list(*columns).distinct():
        found[key].append(Trace(chemistry, f"it is recorded in pack {serial}", pack_id))
    for key, code, chemistry in _judged(asked):
        found[key].append(Trace(chemistry, f"its test was judged as one for {code}"))
    return found


def _judged(modules: QuerySet[Module]) -> Iterator[tuple[int, str, str]]:
    """Module, and the type that a test of it named, with the chemistry of that type."""
    chemistries = dict(PackType.objects.values_list("code", "chemistry"))
    tests = ModuleTest.objects.filter(
        module__in=modules.values("pk"), voided_at__isnull=True, measured__has_key="pack_type"
    )
    said = tests.annotate(code=KT("measured__pack_type")).order_by()
    for key, code in said.values_list("module_id", "code").distinct():
        if code in chemistries:
            yield key, code, chemistries[code]


def of_other_chemistry(modules: QuerySet[Module], chemistry: str) -> set[int]:
    """Those of which something recorded tells another chemistry."""
    found = traces(modules)
    return {key for key, told in found.items() if any(one.chemistry != chemistry for one in told)}


def forms_by_type() -> Mapping[int, str]:
    """By type, the form of most modules that sit in packs of it; one query."""
    seated = Placement.objects.filter(removed_at__isnull=True, module__isnull=False).order_by()
    counted: dict[int, Counter[str]] = defaultdict(Counter)
    columns = ("pack__pack_type_id", "module__form")
    for key, form, count in (
        seated.values(*columns).annotate(n=Count("pk")).values_list(*columns, "n")
    ):
        counted[key][form] = count
    common = {key: _common(forms) for key, forms in counted.items()}
    return {key: form for key, form in common.items() if form is not None}


def form_of_type(pack_type: PackType) -> str | None:
    """The form of most modules that sit in packs of the type, by the newest of them."""
    seated = _seated(Q(pack__pack_type=pack_type)).order_by("-pk")
    return _common(Counter(seated.values_list("module__form", flat=True)[:NEWEST]))


def faults(pack: Pack, fitted: Mapping[str, Module]) -> list[Fault]:
    """What speaks against those modules in that pack, by where the request names them.

    A module of which nothing is known may sit anywhere.
    """
    if not fitted:
        return []
    form, where = _form_wanted(pack)
    rows = Module.objects.filter(pk__in={module.pk for module in fitted.values()})
    known = traces(rows)
    found = []
    for pointer, module in fitted.items():
        if form is not None and module.form != form:
            found.append(Fault(pointer, "other_form", _of_form(module, form, where)))
        others = [one for one in known.get(module.pk, ()) if _speaks_against(one, pack)]
        if others:
            found.append(Fault(pointer, "other_chemistry", _of_chemistry(module, others[0], pack)))
    return found


def _speaks_against(one: Trace, pack: Pack) -> bool:
    return one.pack_id != pack.pk and one.chemistry != pack.pack_type.chemistry


def _form_wanted(pack: Pack) -> tuple[str | None, str]:
    own = _common(Counter(_seated(Q(pack=pack)).values_list("module__form", flat=True)))
    if own is not None:
        return own, "The modules recorded in this pack"
    return form_of_type(pack.pack_type), f"The modules recorded in packs of {pack.pack_type.code}"


def _seated(where: Q) -> QuerySet[Placement]:
    return Placement.objects.filter(where, STANDS, removed_at__isnull=True, module__isnull=False)


def _common(forms: Counter[str]) -> str | None:
    """The most frequent; None without any, or where two are as frequent."""
    first = forms.most_common(2)
    if not first or (len(first) == 2 and first[0][1] == first[1][1]):
        return None
    return first[0][0]


def _of_form(module: Module, form: str, where: str) -> str:
    return (
        f"{where} are {form}, but {module.tag} is recorded as {module.form}; choose another "
        "module, or correct the form of this one where it is recorded wrongly."
    )


def _of_chemistry(module: Module, told: Trace, pack: Pack) -> str:
    kind = pack.pack_type
    return (
        f"Packs of {kind.code} are {CHEMISTRIES[kind.chemistry]}, but {module.tag} is "
        f"{CHEMISTRIES[told.chemistry]}: {told.where}. Choose another module, or correct that "
        "record where it is wrong."
    )
