"""What each repair of a pack would do and cost, side by side, from the records as they stand."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from packs.errors import Contradiction, Fault
from packs.models import Matching, Module, Pack, PackType, Visit
from packs.reads import beginnings, prices, sites, stock
from packs.rules import closeness, eligibility, matching
from packs.rules.closeness import FIGURES, Floats
from packs.rules.costs import cents
from packs.rules.matching_bounds import Effort
from reports.models import Outlook
from reports.reads import fits, outlooks
from reports.reads.outlooks import Estimate
from reports.reads.repair_costs import Cost, RepairCosts
from reports.reads.vantages import Vantage, ratings
from reports.trends import repairs
from reports.trends.history import YEAR_DAYS, Bools
from reports.trends.repairs import After

MONTHS = 12  # of warranty, unless asked otherwise; common practice, no source
MONTHS_MAX = 120
BRIEF = Effort(boxes=200, exact=4)  # a first look: the matching itself looks longer
FEW_BUILDS = 20  # below so many, what builds of a type have in common is the fleet's; no source
FEW_CHECKS = 3  # below so many, a position's own trend is mostly that of others; no source
STRONGER_UNITS = 2.0  # of capacity: fitted modules this far above their mates; no source
TIRED_YEARS = 5.0  # of what stays, where nobody measured it; common practice, no source


@dataclass(frozen=True)
class Ask:
    """What is weighed: module positions, the modules for them, a part, months of warranty, and
    what a return costs where somebody says so."""

    positions: tuple[int, ...] = ()
    modules: tuple[str, ...] = ()
    component: str = ""
    months: int = MONTHS
    return_cost: Decimal | None = None


@dataclass(frozen=True)
class Option:
    """One repair: the chances after it, what it costs, and what it costs in the end.

    expected_cost: total and the chance of a return within the warranty times what that costs.
    """

    kind: str
    positions: tuple[int, ...]
    modules: tuple[str, ...]
    after: After
    cost: Cost
    return_cost: Decimal | None
    expected_cost: Decimal | None
    risks: tuple[str, ...]


@dataclass(frozen=True)
class Options:
    """All of them, what they rest on, and where that is thin."""

    outlook: Outlook
    ask: Ask
    options: tuple[Option, ...]
    thin: tuple[str, ...]


@dataclass(frozen=True)
class _Case:
    """What all options of a pack are worked out from."""

    made: Estimate
    ask: Ask
    visit: Visit | None
    seated: stock.Seated
    costs: RepairCosts
    outlook: Outlook

    @property
    def pack(self) -> Pack:
        return self.outlook.pack

    @property
    def level(self) -> str:
        return self.made.history.group.rsplit("/", 1)[1]

    @property
    def condition(self) -> str:
        return self.made.history.group.split("/")[-2]


def gather(outlook: Outlook, ask: Ask, *, visit: Visit | None = None) -> Options:
    """The options for a pack, from the very records and fit that its outlook was made from."""
    pack = outlook.pack
    limits = ratings([pack.pack_type_id], known_at=None)[pack.pack_type_id]
    view = Vantage(pack, outlook.pack_revision, outlook.as_of, limits)
    (made,) = outlooks.estimate([view], outlook.fit)
    _check(ask, pack)
    positions = ask.positions or _weakest(made, pack.pack_type)
    ask = Ask(positions, ask.modules, ask.component, ask.months, ask.return_cost)
    listed = prices.of_type(pack.pack_type, sites.present())
    case = _Case(
        made=made,
        ask=ask,
        visit=visit,
        seated=stock.seated(pack, at=outlook.as_of),
        costs=RepairCosts(listed, pack.pack_type.module_count),
        outlook=outlook,
    )
    return Options(
        outlook=outlook,
        ask=ask,
        options=tuple(_options(case)),
        thin=tuple(_thin(case)),
    )


def _check(ask: Ask, pack: Pack) -> None:
    count = pack.pack_type.module_count
    for position in ask.positions:
        if not 1 <= position <= count:
            sentence = f"There is no position {position}: the pack has 1 to {count}."
            raise Contradiction([Fault("/positions", "no_such_position", sentence)])
    if ask.modules and len(ask.modules) != len(ask.positions):
        sentence = "Name one module for each position, in the same order."
        raise Contradiction([Fault("/modules", "wrong_count", sentence)])


def _weakest(made: Estimate, pack_type: PackType) -> tuple[int, ...]:
    """The modules behind the weakest position of the series, from 1; none where none is told."""
    place = made.figures.weakest_position
    if place is None:
        return ()
    level = made.history.group.rsplit("/", 1)[1]
    return tuple(int(n) + 1 for n in np.flatnonzero(_series_places(pack_type, level) == place - 1))


def _series_places(pack_type: PackType, level: str) -> Floats:
    """For each module the position of the series that it is read at, from 0. (modules,)"""
    if level == "block":
        return np.repeat(np.arange(pack_type.block_count), pack_type.blocks).astype(np.float64)
    return np.arange(pack_type.module_count, dtype=np.float64)


def _renewed(case: _Case, positions: Sequence[int]) -> Bools:
    """Which positions of the series a renewal of these modules touches. (p,)"""
    pack_type, count = case.pack.pack_type, case.made.history.positions
    modules = np.array(positions, dtype=np.intp) - 1
    if case.level == "cell":
        return np.isin(np.arange(count) // pack_type.cells_per_module, modules)
    renewed = np.zeros(count, dtype=np.bool_)
    renewed[_series_places(pack_type, case.level)[modules].astype(np.intp)] = True
    return renewed


def _options(case: _Case) -> Iterator[Option]:
    every = tuple(range(1, case.pack.pack_type.module_count + 1))
    nothing = Cost(Decimal(0), Decimal(0), Decimal(0))
    yield _option(case, "as_it_is", (), (), nothing, ())
    yield _option(
        case, "component", (), (), case.costs.component(case.ask.component), COMPONENT_RISKS
    )
    if case.ask.positions:
        tags = case.ask.modules or _proposed(case)
        risks = tuple(_module_risks(case, tags))
        yield _option(
            case,
            "modules",
            case.ask.positions,
            tags,
            case.costs.modules(len(case.ask.positions)),
            risks,
        )
    yield _option(case, "rebuild", every, (), case.costs.rebuild(), tuple(_rebuild_risks(case)))
    yield _option(case, "replacement", every, (), case.costs.replacement(), ())


COMPONENT_RISKS = (
    "The modules stay as they are, and so does their trend: only what the part itself caused is "
    "gone.",
)


def _option(
    case: _Case,
    kind: str,
    positions: tuple[int, ...],
    tags: tuple[str, ...],
    cost: Cost,
    risks: tuple[str, ...],
) -> Option:
    found = repairs.after(
        case.made.history,
        fits.loaded(case.made.fit),
        renewed=_renewed(case, positions),
        as_of_day=case.made.view.as_of_day,
        warranty_days=case.ask.months * YEAR_DAYS / 12.0,
        start_v=_start_v(case, positions, tags),
    )
    again = case.ask.return_cost
    if again is None:
        again = case.costs.of_a_return(cost)
    expected = None
    if cost.total is not None and again is not None:
        expected = cents(cost.total + again * Decimal(repr(found.within_warranty)))
    return Option(kind, positions, tags, found, cost, again, expected, risks)


def _start_v(case: _Case, positions: Sequence[int], tags: Sequence[str]) -> float | None:
    """The spread at the reference load by the resistances then in the pack, V; None unmeasured."""
    if case.condition != "load" or case.level == "cell" or not tags:
        return None
    ohms = case.seated.values[:, FIGURES.index("resistance_mohm")] / 1000.0
    rows = {row.tag: row.pk for row in Module.objects.filter(tag__in=tags)}
    found = stock.figures(rows.values(), at=case.outlook.as_of)
    for position, tag in zip(positions, tags, strict=True):
        value = found.get(rows.get(tag, 0), stock.NOTHING).values[1]
        ohms[position - 1] = np.nan if value is None else value / 1000.0
    places = _series_places(case.pack.pack_type, case.level).astype(np.intp)
    sums = np.bincount(places, weights=ohms, minlength=case.made.history.positions)
    known = sums[np.isfinite(sums)]
    if known.size < 2:
        return None
    return float(known.max() - known.min()) * case.made.view.limits.reference_load_a


def _proposed(case: _Case) -> tuple[str, ...]:
    """The modules of the newest standing matching of these positions, else a first look."""
    standing = Matching.objects.filter(pack=case.pack, voided_at__isnull=True)
    for row in standing.order_by("-happened_at", "-pk")[:5]:
        held = {place["position"]: place["module"] for place in row.proposed["taken"]}
        if held.keys() >= set(case.ask.positions):
            return tuple(held[position] for position in case.ask.positions)
    return _looked_up(case)


def _looked_up(case: _Case) -> tuple[str, ...]:
    """The modules that a short matching would take; none where the stock has too few."""
    modules = list(stock.loose(case.pack.pack_type, case.visit))
    kind = stock.kind_wanted(modules, case.seated.kinds)
    alike = [module for module in modules if (module.form, module.generation) == kind]
    found = stock.candidates(alike, at=case.outlook.as_of)
    asked = stock.asked_of(case.pack, case.ask.positions, case.seated, found)
    some, _ = eligibility.eligible(asked, keep_unmeasured=False)
    if len(some.tags) < len(case.ask.positions):
        return ()
    return tuple(place.tag for place in matching.match(some, BRIEF).places)


def _module_risks(case: _Case, tags: Sequence[str]) -> Iterator[str]:
    if not tags:
        yield "The stock has no tested modules for these positions; how they differ is not known."
        return
    rows = Module.objects.filter(tag__in=tags).values_list("pk", flat=True)
    told = [one.values[0] for one in stock.figures(rows, at=case.outlook.as_of).values()]
    fitted = [value for value in told if value is not None]
    stays = np.delete(case.seated.values[:, 0], [place - 1 for place in case.ask.positions])
    mates = stays[np.isfinite(stays)]
    if mates.size and fitted:
        yield from _stronger(case, float(np.mean(fitted)), float(np.median(mates)))
    elif not mates.size:
        yield from _tired(case)


def _stronger(case: _Case, fitted_ah: float, mates_ah: float) -> Iterator[str]:
    marks = stock.pass_marks(case.pack.pack_type)
    unit = closeness.units_of(marks, case.seated.values)[0]
    if fitted_ah - mates_ah > STRONGER_UNITS * unit:
        yield (
            f"Strong modules in a tired pack: {fitted_ah:.1f} Ah beside {mates_ah:.1f} Ah. The "
            "weaker mates empty and fill first, and are worked harder from now on."
        )


def _tired(case: _Case) -> Iterator[str]:
    """Nobody measured what stays; its age says something."""
    first = case.made.first_day
    years = 0.0
    if first is not None:
        years = (case.made.view.as_of_day - first) / YEAR_DAYS
    aged = f" The pack has been seen for {years:.0f} years." if years >= TIRED_YEARS else ""
    yield (
        "Nobody measured the modules that stay: fitted ones may be much stronger than their "
        f"mates, and then drift apart from them.{aged}"
    )


def _rebuild_risks(case: _Case) -> Iterator[str]:
    count = case.pack.pack_type.module_count
    held = stock.loose(case.pack.pack_type, case.visit).count()
    if held < count:
        yield f"The stock holds {held} loose modules of its cells; a rebuild takes {count}."


def _thin(case: _Case) -> Iterator[str]:
    """Where the figures rest on little."""
    pack_type = case.pack.pack_type
    if case.made.history.group not in fits.loaded(case.made.fit).groups:
        yield "The fit has seen no pack of this type checked like this; it goes by the fleet."
    builds = beginnings.repairs(pack_type)
    if builds < FEW_BUILDS:
        yield f"Few repairs that begin a build are recorded of this type: {builds}."
    if case.made.figures.level == "too_little_data":
        yield (
            "The pack as it is has fewer than two checks in its build: its figure is the steady "
            "rate of its kind, and not to be held against those of the repairs."
        )
    checks = case.made.figures.checks_used
    if checks < FEW_CHECKS and case.made.figures.level != "too_little_data":
        yield f"The pack's own trend rests on {checks} checks."
