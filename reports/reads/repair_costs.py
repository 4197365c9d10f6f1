"""What a repair costs by the shop's own list."""

from dataclasses import dataclass, replace
from decimal import Decimal

from packs.models import PriceItem
from packs.reads.prices import PriceList
from packs.rules.costs import cents


@dataclass(frozen=True)
class Cost:
    """Parts and work by the shop's list; `missing` says what the list does not."""

    parts: Decimal | None = None
    hours: Decimal | None = None
    labour: Decimal | None = None
    missing: str = ""

    @property
    def total(self) -> Decimal | None:
        if self.parts is None or self.labour is None:
            return None
        return self.parts + self.labour


@dataclass(frozen=True)
class RepairCosts:
    """The list for a pack type of so many modules."""

    listed: PriceList
    module_count: int

    def component(self, kind: str) -> Cost:
        if not kind:
            return Cost(missing="Name the part to see its price.")
        return self._line(self.listed.component(kind))

    def modules(self, count: int) -> Cost:
        return self._line(self.listed.module, times=count)

    def rebuild(self) -> Cost:
        """The list's own line, else as many modules as the pack has."""
        if self.listed.rebuild is not None:
            return self._line(self.listed.rebuild)
        cost = self.modules(self.module_count)
        told = f"The price list has no rebuild: reckoned as {self.module_count} modules."
        return cost if cost.missing else replace(cost, missing=told)

    def replacement(self) -> Cost:
        return self._line(self.listed.replacement)

    def of_a_return(self, cost: Cost) -> Decimal | None:
        """A return is put right by a rebuild, else by another pack, else by the same work again."""
        ways = (self.rebuild(), self.replacement(), cost)
        return next((one.total for one in ways if one.total is not None), None)

    def _line(self, row: PriceItem | None, times: int = 1) -> Cost:
        """A line so many times, its hours once: they are those of the whole piece of work."""
        if row is None:
            return Cost(missing="The price list has no line for it.")
        hour = self.listed.an_hour
        if hour is None and row.hours:
            return Cost(row.price * times, row.hours, None, "The price list has no hour of work.")
        return Cost(row.price * times, row.hours, cents(row.hours * (hour or Decimal(0))))
