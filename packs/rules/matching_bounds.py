"""What no matching can be better than, so that the gap of one that was found can be told.

For a given middle c the sum is linear in who sits where, but for the blocks' own middles. Of the
placings whose middle lies in a box round c, with half-widths r, none is better than

    least over all placings of [Σ |z − c|² + blocks + extra]  −  modules · |r|²,

since Σ |z − mean|² = Σ |z − c|² − modules · |mean − c|². Boxes are halved, the most promising one
first, until none may hold anything better than what was found: branch and bound over the middle,
which has three figures however many modules there are. Inside, a module's share of its block is
first taken as that beside its nearest fellow (an assignment, solved exactly); boxes that this does
not decide are solved with the pairs themselves (integer programming, solved exactly as well).
"""

from dataclasses import dataclass
from functools import cached_property
from heapq import heappop, heappush

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linear_sum_assignment, milp
from scipy.sparse import coo_array, csr_array

from packs.rules import closeness
from packs.rules.closeness import BLOCK_WEIGHT, Floats, Indices, Seats, Stock

PAIR = 2  # modules of a block for which pairs are solved exactly


@dataclass(frozen=True, eq=False)
class Question:
    """Candidates and seats, with what is worked out of them once."""

    stock: Stock
    seats: Seats

    @cached_property
    def modules(self) -> int:
        """How many modules the middle is that of."""
        return self.seats.count + len(self.seats.stay)

    @cached_property
    def squares(self) -> Floats:
        """|a − b|² of candidates, a module and itself being infinitely apart. (n, n)"""
        found = closeness.apart(self.stock.points, self.stock.points)
        np.fill_diagonal(found, np.inf)
        return found

    @cached_property
    def free(self) -> Indices:
        """How many seats each block has. (b,)"""
        return np.bincount(self.seats.block, minlength=self.seats.sizes.size).astype(np.intp)

    @cached_property
    def paired(self) -> Indices:
        """Seats of blocks of two that are both wanted. (k,) True or False"""
        both = (self.seats.sizes == PAIR) & (self.free == PAIR)
        told: Indices = both[self.seats.block]
        return told

    @cached_property
    def has_pairs_only(self) -> bool:
        """Whether the pairs tell all about the blocks: none of three or more has two seats."""
        return bool((self.paired | (self.free[self.seats.block] == 1)).all())

    @cached_property
    def shares(self) -> Floats:
        """Least share of its block's scatter that each candidate has at each seat. (k, n)"""
        found = np.zeros((self.seats.count, len(self.stock.points)))
        for seat, block in enumerate(self.seats.block):
            size, stays = int(self.seats.sizes[block]), self.seats.stay_block == block
            if self.free[block] == size:
                found[seat] = self._among_fellows(size)
            elif self.free[block] == 1:
                found[seat] = self._beside(self.seats.stay[stays])
        return BLOCK_WEIGHT * found

    def _among_fellows(self, size: int) -> Floats:
        """Half of each pair's part belongs to each of the two; the nearest fellows at the best."""
        nearest = np.sort(np.partition(self.squares, size - 2, axis=1)[:, : size - 1], axis=1)
        return nearest.sum(axis=1) / (2.0 * size) if size > 1 else np.zeros(len(self.squares))

    def _beside(self, stay: Floats) -> Floats:
        """Exactly: the scatter of the block with each candidate in it. (n,)"""
        points = np.concatenate(
            [
                self.stock.points[:, None, :],
                np.broadcast_to(stay, (len(self.stock.points), *stay.shape)),
            ],
            axis=1,
        )
        count = np.maximum(np.isfinite(points).sum(axis=1), 1)
        filled = np.nan_to_num(points)
        scatter = (filled**2).sum(axis=1) - filled.sum(axis=1) ** 2 / count
        told: Floats = np.maximum(scatter, 0.0).sum(axis=1)
        return told

    @cached_property
    def constant(self) -> float:
        """Scatter of the blocks in which nothing is wanted."""
        found = 0.0
        for block in np.flatnonzero(self.free == 0):
            stay = self.seats.stay[self.seats.stay_block == block]
            count = np.maximum(np.isfinite(stay).sum(axis=0), 1)
            filled = np.nan_to_num(stay)
            found += float(((filled**2).sum(axis=0) - filled.sum(axis=0) ** 2 / count).sum())
        return BLOCK_WEIGHT * found

    def alone(self, middle: Floats) -> tuple[Floats, float]:
        """Each candidate's own cost about a middle (n,), and that of what stays."""
        off = np.nan_to_num(self.stock.points - middle)
        stay = np.nan_to_num(self.seats.stay - middle)
        return (off**2).sum(axis=1) + self.stock.extra, float((stay**2).sum()) + self.constant

    @cached_property
    def alike(self) -> bool:
        """Whether all seats cost the same, so that choosing needs no assignment."""
        return bool((self.shares == self.shares[:1]).all())

    def relaxed(self, middle: Floats) -> tuple[float, Indices]:
        """The least that a placing about this middle can cost, and who takes part in it. (k,)"""
        costs, constant = self.alone(middle)
        if self.alike:
            costs = costs + self.shares[0]
            chosen = np.argpartition(costs, self.seats.count - 1)[: self.seats.count]
            return float(costs[chosen].sum()) + constant, chosen
        matrix = costs[None, :] + self.shares
        seat, chosen = linear_sum_assignment(matrix)
        return float(matrix[seat, chosen].sum()) + constant, chosen

    def with_pairs(self, middle: Floats, within: float) -> tuple[float, Indices] | None:
        """The same with the pairs themselves; None where nothing is below `within`.

        Candidates and pairs that can not take part in anything so good are left out first.
        """
        return _Pairing(self, middle, within).solved()


class _Pairing:
    """One integer programme: pairs for the blocks of two, and a candidate for each other seat."""

    def __init__(self, question: Question, middle: Floats, within: float) -> None:
        self.question, self.within = question, within
        costs, self.constant = question.alone(middle)
        least, _ = question.relaxed(middle)
        self.slack = within - least
        self.costs = costs
        self.pair_seats = np.flatnonzero(question.paired)
        self.other_seats = np.flatnonzero(~question.paired)
        self._gather()

    def _gather(self) -> None:
        """Pairs (i, j) and single choices (seat, i) that may still be in a good enough placing."""
        first = second = np.zeros(0, dtype=np.intp)
        if self.pair_seats.size:
            shares = self.question.shares[self.pair_seats[0]]
            over = self._over(self.costs + shares)
            near = np.flatnonzero(over <= self.slack)
            row, column = np.triu_indices(near.size, 1)
            first, second = near[row], near[column]
            part = BLOCK_WEIGHT * self.question.squares[first, second] / 2.0
            more = part - shares[first] - shares[second]
            keep = over[first] + over[second] + more <= self.slack
            first, second, part = first[keep], second[keep], part[keep]
            self.pair_costs = self.costs[first] + self.costs[second] + part
        else:
            self.pair_costs = np.zeros(0)
        self.first, self.second = first, second
        matrix = self.costs[None, :] + self.question.shares[self.other_seats]
        self.seat, self.single = np.nonzero(np.isfinite(matrix))
        self.single_costs = matrix[self.seat, self.single]

    def _over(self, costs: Floats) -> Floats:
        """How much a placing costs at the least beyond the best with this candidate in it. (n,)"""
        if self.other_seats.size:
            return np.zeros(costs.size)
        last = np.partition(costs, self.question.seats.count - 1)[self.question.seats.count - 1]
        over: Floats = np.maximum(costs - last, 0.0)
        return over

    def solved(self) -> tuple[float, Indices] | None:
        wanted = self.pair_seats.size // PAIR
        if self.slack < 0 or self.first.size < wanted:
            return None
        found = milp(
            np.concatenate([self.pair_costs, self.single_costs]),
            integrality=np.ones(self.first.size + self.single.size, dtype=np.int64),
            bounds=Bounds(0, 1),
            constraints=self._constraints(wanted),
        )
        if found.x is None:
            return None
        cost = float(found.mip_dual_bound) + self.constant
        return (cost, self._placed(np.rint(found.x))) if cost <= self.within else None

    def _constraints(self, wanted: int) -> LinearConstraint:
        """Each candidate at most once, so many pairs, one candidate for each other seat."""
        count, pairs = len(self.costs), self.first.size
        variables = pairs + self.single.size
        rows = np.concatenate([self.first, self.second, self.single])
        columns = np.concatenate(
            [np.arange(pairs), np.arange(pairs), pairs + np.arange(self.single.size)]
        )
        once = coo_array((np.ones(rows.size), (rows, columns)), shape=(count, variables))
        seats = self.other_seats.size
        rows = np.concatenate([np.zeros(pairs, dtype=np.intp), 1 + self.seat])
        full = coo_array(
            (np.ones(variables), (rows, np.arange(variables))), shape=(1 + seats, variables)
        )
        used = np.unique(np.concatenate([self.first, self.second, self.single]))
        told = np.concatenate([[wanted], np.ones(seats)])
        matrix = csr_array(np.vstack([once.toarray()[used], full.toarray()]))
        low = np.concatenate([np.zeros(used.size), told])
        return LinearConstraint(matrix, low, np.concatenate([np.ones(used.size), told]))

    def _placed(self, taken: Floats) -> Indices:
        chosen = np.zeros(self.question.seats.count, dtype=np.intp)
        pairs = np.flatnonzero(taken[: self.first.size])
        chosen[self.pair_seats[0::PAIR]] = self.first[pairs]
        chosen[self.pair_seats[1::PAIR]] = self.second[pairs]
        singles = np.flatnonzero(taken[self.first.size :])
        chosen[self.other_seats[self.seat[singles]]] = self.single[singles]
        return chosen


@dataclass(frozen=True, eq=False)
class Searched:
    """The best placing found (k,), its sum, and what no placing is better than."""

    chosen: Indices
    total: float
    bound: float


@dataclass(frozen=True)
class Effort:
    """How long to look, counted and not timed, so that the same question has the same answer."""

    boxes: int = 3_000
    exact: int = 100
    exact_share: float = 0.02  # of the sum: a box that blurs it by less is solved with its pairs
    enough: float = 1e-4  # of the sum: a gap below this is not worth more looking


def search(question: Question, best: Indices, effort: Effort) -> Searched:
    """Halve boxes round the middle until `best` (k,) or something better is proven, or effort
    ends."""
    return _Search(question, best, effort).run()


class _Search:
    def __init__(self, question: Question, best: Indices, effort: Effort) -> None:
        self.question, self.effort = question, effort
        self.best = improved(question, best)
        self.total = closeness.total(question.stock, question.seats, self.best)
        stays = np.isfinite(question.seats.stay).sum(axis=0)
        self.weights = (question.seats.count + stays).astype(np.float64)
        self.heap: list[tuple[float, int, Floats, Floats, bool]] = []
        self.seen = self.solved = 0

    def run(self) -> Searched:
        points = np.concatenate([self.question.stock.points, self.question.seats.stay])
        known = np.where(np.isfinite(points).any(axis=0), points, 0.0)
        low, high = np.nanmin(known, axis=0), np.nanmax(known, axis=0)
        self._look((low + high) / 2.0, (high - low) / 2.0, -np.inf)
        while self.heap and self.seen < self.effort.boxes and self.heap[0][0] < self._aim():
            bound, _, centre, half, solved = heappop(self.heap)
            if solved or not self._worth_solving(half):
                self._halve(centre, half, bound)
            else:
                bound = max(bound, self._exactly(centre, half))
                self._keep(bound, centre, half, solved=True)
        left = self.heap[0][0] if self.heap else np.inf
        return Searched(self.best, self.total, float(min(self.total, left)))

    def _keep(self, bound: float, centre: Floats, half: Floats, *, solved: bool) -> None:
        if bound < self._aim():
            self.seen += 1
            heappush(self.heap, (bound, self.seen, centre, half, solved))

    def _blur(self, half: Floats) -> float:
        return float((self.weights * half**2).sum())

    def _aim(self) -> float:
        """A box whose bound is not below this holds nothing better worth the name."""
        return self.total * (1.0 - self.effort.enough)

    def _halve(self, centre: Floats, half: Floats, bound: float) -> None:
        axis = int(np.argmax(half * np.sqrt(self.weights)))
        step = np.zeros(centre.size)
        step[axis] = half[axis] / 2.0
        smaller = half - step
        for middle in (centre - step, centre + step):
            self._look(middle, smaller, bound)

    def _look(self, centre: Floats, half: Floats, known: float) -> None:
        """Bound one box, and keep it if it may hold something better."""
        blur = self._blur(half)
        least, chosen = self.question.relaxed(centre)
        if blur < self.effort.exact_share * self.total:
            self._take(chosen)
        self._keep(max(known, least - blur), centre, half, solved=False)

    def _worth_solving(self, half: Floats) -> bool:
        some = bool(self.question.paired.any()) and self.solved < self.effort.exact
        return some and self._blur(half) < self.effort.exact_share * self.total

    def _exactly(self, centre: Floats, half: Floats) -> float:
        self.solved += 1
        blur = self._blur(half)
        within = self.total + blur
        found = self.question.with_pairs(centre, within)
        if found is None:
            return within - blur
        self._take(found[1])
        return found[0] - blur

    def _take(self, chosen: Indices) -> None:
        """Keep a placing that is better."""
        total = closeness.total(self.question.stock, self.question.seats, chosen)
        if total < self.total * (1.0 + 0.02):
            better = improved(self.question, chosen)
            total = closeness.total(self.question.stock, self.question.seats, better)
            if total < self.total:
                self.best, self.total = better, total


def improved(question: Question, chosen: Indices) -> Indices:
    """Replace and exchange one module at a time, the best step first, until none helps."""
    stock, seats, best = question.stock, question.seats, chosen.copy()
    while True:
        swaps = closeness.exchanging(stock, seats, best)
        others = closeness.replacing(stock, seats, best)
        p, q = np.unravel_index(np.argmin(swaps), swaps.shape)
        seat, other = np.unravel_index(np.argmin(others), others.shape)
        if min(swaps[p, q], others[seat, other]) > -STEP:
            return best
        if swaps[p, q] < others[seat, other]:
            best[[p, q]] = best[[q, p]]
        else:
            best[seat] = other


STEP = 1e-10  # units²: a step that gains less is rounding
