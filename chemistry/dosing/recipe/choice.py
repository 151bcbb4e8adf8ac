"""Which of all the recipes inside every band: a strict order, so that the answer never depends on the cupboard's.

Fewest salts, then cost (or grams), then least sodium, then least deionised water, then the names; `prefer` puts others
in front. Every set of salts of one size is a programme of its own with the same rows; the relaxed forms of those that
bring what every row lacks are solved all at once, and only those that can still win are weighed in whole steps.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, combinations, islice

import numpy as np

from tapwright.chemistry.dosing.recipe.cupboard import Columns
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.programmes.budget import OutOfWork, current
from tapwright.chemistry.programmes.linear_programme import Array, Programme, solve
from tapwright.chemistry.programmes.many_programmes import Flags, solve_many
from tapwright.chemistry.programmes.whole_numbers import solve_whole
from tapwright.chemistry.words import quoted

ORDER = ("salts", "cost", "sodium", "water", "name")
# Costs, and what else is compared, count as the same when they differ by less than this share.
_SAME = 1e-9
_FEW = 4
_AT_ONCE = 3  # sets of up to so many salts are looked at together
# Sets that are drawn up together, and the units of work one takes (`chemistry.programmes.budget`).
_TOGETHER, _A_SET = 4096, 1.0
_PLENTY = 1e12  # units that stand for a stock without an end
# Of what is left, so much goes into the choice; the rest finds any recipe at all where the choice finds none.
_FOR_CHOICE = 0.8


@dataclass(frozen=True)
class Rows:
    """low <= matrix @ units <= high."""

    matrix: Array
    low: Array
    high: Array

    def and_at_most(self, weights: Array, limit: float) -> Rows:
        """With one row more: weights @ units <= limit."""
        return Rows(np.vstack([self.matrix, weights]), np.append(self.low, -np.inf), np.append(self.high, limit))


@dataclass(frozen=True)
class _Open:
    """Sets of salts still in the running, as ends of the columns (0: left out), and the rows they must hold.

    relaxed: each set at its least by the next criterion, measured finely; None where that is not known yet.
    """

    rows: Rows
    most: Array
    relaxed: Relaxed | None = None


@dataclass(frozen=True)
class Relaxed:
    """Amounts measured finely, sets x columns, and what they cost by the criterion."""

    amounts: Array
    cost: Array


def order_of(prefer: Sequence[str] = ()) -> tuple[str, ...]:
    """The whole order, with these in front. Raises BadInput for what is not in it or stands twice."""
    for word in prefer:
        if word not in ORDER or list(prefer).count(word) > 1:
            raise BadInput.of(
                "prefer", f"{quoted(word)} is read; each of {', '.join(ORDER)} once is allowed.", "Write cost,salts."
            )
    return (*prefer, *(word for word in ORDER if word not in prefer))


def choose(rows: Rows, columns: Columns, prefer: Sequence[str] = ()) -> Array | None:
    """Units of every column inside all rows, first by the order; None where there are none.

    Raises OutOfWork, with the best that was found, where the budget of the question ends before that is proven.
    """
    order, budget = order_of(prefer), current()
    if rows.matrix.size == 0:  # nothing to choose from, or nothing asked
        return solve(Programme(columns.cost, rows.matrix, rows.low, rows.high, columns.most))
    everything = columns.most[np.newaxis, :]
    try:
        with budget.at_most(_FOR_CHOICE * budget.left):
            return _first(_Open(rows, everything), columns, order)
    except OutOfWork as end:
        if end.best is not None:
            raise
        unproven = end
    some = _some(rows, columns)
    if some is None:
        return None
    raise OutOfWork(some, unproven.at_least)


def _some(rows: Rows, columns: Columns) -> Array | None:
    """Any units inside all rows, cheap ones rather; None where there are none. Raises OutOfWork where that is not known."""
    whole = len(columns.most) if columns.whole else 0
    programme = Programme(columns.cost, rows.matrix, rows.low, rows.high, columns.most, whole)
    try:
        return solve(programme)
    except OutOfWork as end:
        if end.best is None:
            raise
        return end.best  # type: ignore[no-any-return]


def _first(open_sets: _Open, columns: Columns, order: Sequence[str]) -> Array | None:
    criterion, *rest = order
    if criterion == "salts":
        return _fewest(open_sets, columns, rest or ["name"])
    weights = _weights(criterion, columns)
    if rest and not np.any(weights[open_sets.most.max(axis=0) > 0] > 0):  # all alike
        return _first(replace(open_sets, relaxed=None), columns, rest)
    found = _least(open_sets, columns, weights)
    if found is None:
        return None
    best, amounts, kept = found
    if not rest:
        return amounts
    limit = best + _SAME * max(abs(best), float(weights.max(initial=0.0)))
    try:
        return _first(_Open(open_sets.rows.and_at_most(weights, limit), kept), columns, rest)
    except OutOfWork as end:
        raise OutOfWork(amounts if end.best is None else end.best, end.at_least) from None


def _weights(criterion: str, columns: Columns) -> Array:
    """What one unit of each column counts; names count by their place in the alphabet."""
    water = len(columns.cost) - columns.count
    if criterion == "cost":
        return columns.cost
    if criterion == "sodium":
        return columns.sodium
    if criterion == "water":
        return np.concatenate([np.zeros(columns.count), columns.unit[columns.count :]])
    place: Array = np.concatenate([np.arange(1.0, columns.count + 1), np.zeros(water)])
    return columns.unit * place


def _fewest(open_sets: _Open, columns: Columns, rest: Sequence[str]) -> Array | None:
    """The rest of the order among sets of as few salts as will do."""
    rows, at_least = open_sets.rows, 0
    weighable = None
    try:
        for sizes in _rounds(columns.count):
            at_least = sizes.start
            if at_least > _AT_ONCE and not _finely_at_all(rows, columns):
                return None
            ends, fine = _feasible(rows, columns, _weights(rest[0], columns), sizes)
            many = (ends[:, : columns.count] > 0).sum(axis=1)
            for at_least in sizes:
                taken = many == at_least
                if not taken.any():
                    continue
                relaxed = Relaxed(fine.amounts[taken], fine.cost[taken])
                found = _first(_Open(rows, ends[taken], relaxed), columns, rest)
                if found is not None:
                    return found
                weighable = _any(rows, columns) if weighable is None else weighable
                if not weighable:
                    return None
    except OutOfWork as end:
        raise OutOfWork(end.best, at_least) from None
    return None


def _finely_at_all(rows: Rows, columns: Columns) -> bool:
    """Whether all salts together hold the rows, measured finely: where they do not, no set of them does."""
    return bool(solve_many(columns.cost, rows.matrix, rows.low, rows.high, columns.most).feasible.all())


def _any(rows: Rows, columns: Columns) -> bool:
    """Whether any whole units at all lie inside all rows: spares the search through ever larger sets."""
    return not columns.whole or _some(rows, columns) is not None


def _rounds(count: int) -> list[range]:
    """Sizes that are looked at together: most recipes take three salts or fewer."""
    return [
        range(min(count, _AT_ONCE) + 1),
        *(range(size, size + 1) for size in range(_AT_ONCE + 1, count + 1)),
    ]


def _feasible(rows: Rows, columns: Columns, weights: Array, sizes: range) -> tuple[Array, Relaxed]:
    """Ends of the columns (0: left out) for every set of these sizes that holds the rows, and its least, measured finely."""
    found = [(np.empty((0, len(columns.most))), np.empty((0, len(columns.most))), np.empty(0))]
    for chosen in _sets(columns, sizes):
        ends = np.where(chosen, columns.most, 0.0)
        ends = ends[_enough(rows, ends)]
        fine = solve_many(weights, rows.matrix, rows.low, rows.high, ends)
        found.append((ends[fine.feasible], fine.amounts[fine.feasible], fine.cost[fine.feasible]))
    ends, amounts, cost = (np.concatenate(each) for each in zip(*found, strict=True))
    return ends, Relaxed(amounts, cost)


def _sets(columns: Columns, sizes: range) -> Iterator[Flags]:
    """Every set of so many salts, as rows of yes and no, a few thousand at a time; deionised water is in all of them."""
    picks = chain.from_iterable(combinations(range(columns.count), size) for size in sizes)
    budget = current()
    while some := [*islice(picks, _TOGETHER)]:
        budget.ask()
        budget.take(_A_SET * len(some))
        chosen = np.zeros((len(some), len(columns.most)), dtype=bool)
        chosen[:, columns.count :] = True
        chosen[np.repeat(np.arange(len(some)), [*map(len, some)]), np.fromiter(chain.from_iterable(some), int)] = True
        yield chosen


def _enough(rows: Rows, ends: Array) -> Flags:
    """Sets that can bring every row as far as it lacks, each row by itself: no other can hold them all."""
    able = np.ones(len(ends), dtype=bool)
    many = np.minimum(ends, _PLENTY)
    for sign, lacks in ((1.0, rows.low), (-1.0, -rows.high)):
        wants = lacks > 0
        brought = many @ np.maximum(sign * rows.matrix[wants], 0.0).T
        able &= (brought >= lacks[wants] * (1 - _SAME)).all(axis=1)
    return able


def _least(open_sets: _Open, columns: Columns, weights: Array) -> tuple[float, Array, Array] | None:
    """The least of the weights, amounts that have it, and the sets that reach it; None where none is inside all rows.

    Raises OutOfWork with the best amounts so far.
    """
    rows, relaxed = open_sets.rows, open_sets.relaxed or _relaxed(open_sets, columns, weights)
    inside = np.argsort(relaxed.cost, kind="stable")
    inside = inside[np.isfinite(relaxed.cost[inside])]
    same = _SAME * float(weights.max(initial=0.0))
    best, amounts = np.inf, None
    kept: list[int] = []
    for number in inside:
        if relaxed.cost[number] > best * (1 + _SAME) + same:
            break
        limit = best * (1 + _SAME) + same
        try:
            found = _weighed(rows, columns, weights, open_sets.most[number], relaxed.amounts[number], limit)
        except OutOfWork as end:
            better = end.best is not None and float(weights @ end.best) < best
            raise OutOfWork(end.best if better else amounts) from None
        if found is None:
            continue
        cost = float(weights @ found)
        if cost < best * (1 - _SAME) - same:
            best, amounts, kept = cost, found, []
        kept.append(int(number))
    return None if amounts is None else (best, amounts, open_sets.most[sorted(kept)])


def _relaxed(open_sets: _Open, columns: Columns, weights: Array) -> Relaxed:
    """Every set measured finely. A few sets of whole steps are not worth it: no cost is below 0, and each is searched."""
    if columns.whole and len(open_sets.most) <= _FEW:
        return Relaxed(np.zeros_like(open_sets.most), np.zeros(len(open_sets.most)))
    rows = open_sets.rows
    found = solve_many(weights, rows.matrix, rows.low, rows.high, open_sets.most)
    return Relaxed(found.amounts, np.where(found.feasible, found.cost, np.inf))


def _weighed(
    rows: Rows, columns: Columns, weights: Array, most: Array, relaxed: Array, most_cost: float
) -> Array | None:
    """The least of one set in whole units, where that costs no more than a limit; or as it is, measured finely."""
    if not columns.whole:
        return relaxed
    used = np.flatnonzero(most > 0)
    programme = Programme(weights[used], rows.matrix[:, used], rows.low, rows.high, most[used])

    def of_all(found: Array | None) -> Array | None:
        if found is None:
            return None
        amounts = np.zeros(len(most))
        amounts[used] = found
        return amounts

    try:
        return of_all(solve_whole(programme, most_cost))
    except OutOfWork as end:
        raise OutOfWork(of_all(end.best)) from None
