"""Which of all the recipes inside every band: a strict order, so that the answer never depends on the cupboard's.

Fewest salts, then cost (or grams), then least sodium, then least deionised water, then the names; `prefer` puts others
in front. Every set of salts of one size is a programme of its own with the same rows; their relaxed forms are solved all
at once, and only those that can still win are weighed in whole steps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from chemistry.dosing.cupboard import Columns
from chemistry.errors import BadInput
from chemistry.programmes.linear_programme import Array, Programme, solve
from chemistry.programmes.many_programmes import Flags, solve_many
from chemistry.programmes.whole_numbers import solve_whole
from chemistry.words import quoted

ORDER = ("salts", "cost", "sodium", "water", "name")
# Costs, and what else is compared, count as the same when they differ by less than this share.
_SAME = 1e-9
_FEW = 4


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
    """Units of every column inside all rows, first by the order; None where there are none."""
    if rows.matrix.size == 0:  # nothing to choose from, or nothing asked
        return solve(Programme(columns.cost, rows.matrix, rows.low, rows.high, columns.most))
    everything = columns.most[np.newaxis, :]
    return _first(_Open(rows, everything), columns, order_of(prefer))


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
    return _first(_Open(open_sets.rows.and_at_most(weights, limit), kept), columns, rest)


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
    rows, water = open_sets.rows, len(columns.most) - columns.count
    weighable = None
    for sizes in _rounds(columns.count):
        chosen = np.vstack([_sets(columns.count, size) for size in sizes])
        ends = np.where(np.pad(chosen, ((0, 0), (0, water)), constant_values=True), columns.most, 0.0)
        fine = solve_many(_weights(rest[0], columns), rows.matrix, rows.low, rows.high, ends)
        for size in sizes:
            taken = fine.feasible & (chosen.sum(axis=1) == size)
            if not taken.any():
                continue
            relaxed = Relaxed(fine.amounts[taken], fine.cost[taken])
            found = _first(_Open(rows, ends[taken], relaxed), columns, rest)
            if found is not None:
                return found
            weighable = _any(rows, columns) if weighable is None else weighable
            if not weighable:
                return None
    return None


def _any(rows: Rows, columns: Columns) -> bool:
    """Whether any whole units at all lie inside all rows: spares the search through ever larger sets."""
    programme = Programme(columns.cost, rows.matrix, rows.low, rows.high, columns.most, len(columns.most))
    return not columns.whole or solve(programme) is not None


def _rounds(count: int) -> list[range]:
    """Sizes that are looked at together: most recipes take three salts or fewer."""
    return [range(min(count, 3) + 1), *(range(size, size + 1) for size in range(4, count + 1))]


def _sets(count: int, size: int) -> Flags:
    """Every set of `size` of `count` columns, as rows of yes and no."""
    picks = np.array([*combinations(range(count), size)], dtype=int)
    chosen = np.zeros((len(picks), count), dtype=bool)
    chosen[np.arange(len(picks))[:, np.newaxis], picks] = True
    return chosen


def _least(open_sets: _Open, columns: Columns, weights: Array) -> tuple[float, Array, Array] | None:
    """The least of the weights, amounts that have it, and the sets that reach it; None where none is inside all rows."""
    rows, relaxed = open_sets.rows, open_sets.relaxed or _relaxed(open_sets, columns, weights)
    inside = np.argsort(relaxed.cost, kind="stable")
    inside = inside[np.isfinite(relaxed.cost[inside])]
    same = _SAME * float(weights.max(initial=0.0))
    best, amounts = np.inf, None
    kept: list[int] = []
    for number in inside:
        if relaxed.cost[number] > best * (1 + _SAME) + same:
            break
        found = _weighed(
            rows, columns, weights, open_sets.most[number], relaxed.amounts[number], best * (1 + _SAME) + same
        )
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
    found = solve_whole(programme, most_cost)
    if found is None:
        return None
    amounts = np.zeros(len(most))
    amounts[used] = found
    return amounts
