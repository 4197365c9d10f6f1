"""What came of a lot or a donor pack: tested, passed, fitted, scrapped, and what a good one
cost."""

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from packs.models import Lot, Module, ModuleTest, Placement

CENT = Decimal("0.01")


@dataclass(frozen=True)
class Yield:
    """Counts of modules. `passed`: the newest test of each kind judged, one at least passed and
    none failed; `fitted`: that sit or sat in a pack; `cost` of all that were bought, None unknown.
    """

    modules: int = 0
    tested: int = 0
    passed: int = 0
    failed: int = 0
    fitted: int = 0
    in_stock: int = 0
    quarantined: int = 0
    scrapped: int = 0
    cost: Decimal | None = None

    @property
    def cost_per_good(self) -> Decimal | None:
        """What was paid for each module that passed; None where nothing passed or was priced."""
        if self.cost is None or not self.passed:
            return None
        return (self.cost / self.passed).quantize(CENT)


NOTHING = Yield()


def of_lots(lots: Collection[Lot]) -> Mapping[int, Yield]:
    """By number of the lot; three queries."""
    prices = {lot.pk: lot for lot in lots}
    counted = _counted("lot", prices) if prices else {}
    return {number: _priced(lot, counted.get(number, Counter())) for number, lot in prices.items()}


def of_donors(packs: Collection[int]) -> Mapping[int, Yield]:
    """By number of the donor pack; three queries. What a donor cost is not in the register."""
    counted = _counted("donor_pack", packs) if packs else {}
    return {number: _of(counted.get(number, Counter()), None) for number in packs}


def _priced(lot: Lot, counted: Counter[str]) -> Yield:
    bought = counted["modules"] if lot.count is None else lot.count
    return _of(counted, None if lot.unit_cost is None else lot.unit_cost * bought)


def _of(counted: Counter[str], cost: Decimal | None) -> Yield:
    return replace(Yield(**dict(counted)), cost=cost)  # type: ignore[arg-type]  # its counts alone


def _counted(origin: str, numbers: Collection[int]) -> Mapping[int, Counter[str]]:
    """By origin, how many modules there are in each state of knowledge."""
    mine = {f"{origin}__in": list(numbers)}
    told = Module.objects.filter(**mine).values_list("pk", f"{origin}_id", "status")
    verdicts, sat = _verdicts(origin, numbers), _sat(origin, numbers)
    found: dict[int, Counter[str]] = defaultdict(Counter)
    for module_id, number, status in told:
        words = verdicts.get(module_id)
        found[number or 0].update(
            modules=1,
            tested=words is not None,
            passed=words is not None and "pass" in words and "fail" not in words,
            failed=words is not None and "fail" in words,
            fitted=module_id in sat,
            in_stock=status == Module.Status.STOCK,
            quarantined=status == Module.Status.QUARANTINED,
            scrapped=status == Module.Status.SCRAPPED,
        )
    return found


def _verdicts(origin: str, numbers: Collection[int]) -> Mapping[int, Collection[str]]:
    """By module, the verdict of the newest standing test of each kind."""
    rows = ModuleTest.objects.filter(
        **{f"module__{origin}__in": list(numbers)}, voided_at__isnull=True
    )
    newest: dict[int, dict[str, str]] = defaultdict(dict)
    told = rows.order_by("ended_at", "pk").values_list("module", "kind", "computed__verdict")
    for module_id, kind, word in told:
        newest[module_id][kind] = word or ""
    return {module_id: set(words.values()) for module_id, words in newest.items()}


def _sat(origin: str, numbers: Collection[int]) -> Collection[int | None]:
    rows = Placement.objects.filter(**{f"module__{origin}__in": list(numbers)})
    return set(rows.order_by().values_list("module", flat=True).distinct())
