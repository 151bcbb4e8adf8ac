"""Very many small linear programmes at once: a bounded dual simplex whose every pivot is taken by all of them together.

It needs no phase one: no cost is below 0, so the start, every amount at 0 and the rows basic, is already dual feasible.
The dual simplex keeps it so and mends one violated row per pivot, until none is left (the optimum) or one cannot be
mended (no solution).  Method: dictionaries with bounded variables (Chvatal, Linear Programming, 1983, chapters 8 and
10; from memory).  A dictionary writes every basic variable and the cost as a value plus coefficients times the nonbasic
variables.  Each variable is counted from the bound it lies at, so that a nonbasic one is 0 and may only grow; one that
leaves the basis at its upper bound is first turned, to count downwards from there.

Every answer is held against its own programme by weak duality.  Row weights w say that no x costs less than the least
of w @ y + (cost - w @ matrix) @ x over the bounds of y and x: where that meets the cost of the amounts they are
optimal, and where it is above 0 for a cost of nothing no amounts exist.  What is not proven so goes to HiGHS.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.programmes.budget import current
from tapwright.chemistry.programmes.linear_programme import Array, Programme, solve

Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

# All for scaled programmes, whose coefficients, costs and demands are about 1.
_INSIDE = 1e-11  # a variable this far outside its bounds counts as inside
_PIVOT = 1e-9  # a coefficient up to this counts as 0: nothing is divided by it
_TIE = 1e-13  # reduced costs this close are equal: the larger coefficient wins, which is the safer divisor
_NOISE = 1e-13  # what rounding may leave of a sum that is 0, as a share of its terms
_HELD = 1e-9  # how far outside its bounds a row of an answer may be, as a share of itself and of the largest demand
_GAP = 1e-10  # relative gap between cost and bound that still proves an optimum
_FAR = 1e300  # where a row without bounds starts: nothing brings it out of them

# Pivots by largest violation, then by Bland's rule, which cannot cycle; what is open after those goes to HiGHS.
_PIVOTS, _BLAND_PIVOTS = 100, 200
# Units of work of a pivot that all take together: by itself, and of every coefficient of every programme.
_BY_ITSELF, _A_COEFFICIENT = 250.0, 0.007
_ROUND = 2048  # programmes searched together: few enough for the processor's cache


@dataclass(frozen=True)
class Answers:
    """One entry per programme: feasible (B,), amounts (B, n) and cost (B,), both nan where infeasible.

    stuck_row (B,): -1 where feasible, else the row of most weight in the proof of infeasibility (a guess if HiGHS's).
    """

    feasible: Flags
    amounts: Array
    cost: Array
    stuck_row: Indices


def solve_many(
    cost: ArrayLike, matrix: ArrayLike, row_low: ArrayLike, row_high: ArrayLike, upper: ArrayLike
) -> Answers:
    """Minimise cost @ x with row_low <= matrix @ x <= row_high and 0 <= x <= upper, for B programmes.

    cost: (n,), 0 or more.  matrix: (m, n).  row_low, row_high: (m,).  upper: (n,), 0 or more; 0 leaves the column out.
    Each may also be given per programme, along a first axis of B.  Bounds may be infinite.  Tolerances are relative to
    what the rows ask for at x = 0: where that may be the rounding of a difference, widen the band.  Raises BadInput for
    shapes that do not fit together, nan, and a cost or an upper bound below 0; OutOfWork, with nothing found, where the
    budget of the question ends first.
    """
    given = _given(cost, matrix, row_low, row_high, upper)
    crossed = (given.row_low > given.row_high) | (given.row_low == np.inf) | (given.row_high == -np.inf)
    hopeless = crossed.any(axis=0)  # the search is not troubled with these
    low, high = np.where(hopeless, -np.inf, given.row_low), np.where(hopeless, np.inf, given.row_high)
    scaled, unit = _scaled(given._replace(row_low=low, row_high=high))
    rounds = [_searched(scaled.part(slice(at, at + _ROUND))) for at in range(0, max(len(hopeless), 1), _ROUND)]
    amounts, weights, feasible, proven = (np.concatenate(each, axis=-1) for each in zip(*rounds, strict=True))
    amounts *= unit
    for lane in np.flatnonzero(~proven):
        found = solve(given.one(int(lane)))
        feasible[lane] = found is not None
        amounts[:, lane] = np.nan if found is None else found
    feasible &= ~hopeless
    amounts[:, ~feasible] = np.nan
    guilt = np.where(hopeless, crossed, np.abs(weights))
    stuck_row = np.vstack([guilt, np.zeros(len(hopeless))]).argmax(axis=0)  # the line of zeros: there may be no rows
    paid = np.where(feasible, (given.cost * amounts).sum(axis=0), np.nan)
    return Answers(feasible, amounts.T.copy(), paid, np.where(feasible, -1, stuck_row))


class _Programmes(NamedTuple):
    """A batch along the last axis, so that numpy's inner loops run along it: cost (n, 1 or B), matrix (m, n, 1 or B: 1
    where all share it), row_low and row_high (m, B), upper (n, B)."""

    cost: Array
    matrix: Array
    row_low: Array
    row_high: Array
    upper: Array

    def part(self, lanes: slice) -> _Programmes:
        """Some programmes of the batch."""
        return _Programmes(*(each if each.shape[-1] == 1 else each[..., lanes] for each in self))

    def one(self, lane: int) -> Programme:
        """One programme of the batch, by itself."""
        return Programme(*_Programmes(*(each[..., lane % each.shape[-1]] for each in self)))


def _given(*arrays: ArrayLike) -> _Programmes:
    """The batch as it was written, or every fault of it at once."""
    read = [np.asarray(array, dtype=float) for array in arrays]
    rows, columns = (0, 0, *read[1].shape)[-2:]
    single = ((columns,), (rows, columns), (rows,), (rows,), (columns,))
    given = list(zip(("cost", "matrix", "row_low", "row_high", "upper"), read, single, strict=True))
    batch = next((array.shape[:1] for _, array, shape in given if array.ndim > len(shape)), (1,))
    faults = []
    for name, array, shape in given:
        if array.shape not in (shape, batch + shape):
            faults.append(Fault(name, f"has the shape {array.shape}.", f"Give {shape} or {batch + shape}."))
        if np.isnan(array).any() or (name in ("cost", "matrix") and np.isinf(array).any()):
            faults.append(Fault(name, "holds what is no number.", "Give numbers; only bounds may be infinite."))
        if name in ("cost", "upper") and np.any(array < 0):
            faults.append(Fault(name, f"goes down to {np.nanmin(array):g}.", "Give 0 or more."))
    if faults:
        raise BadInput(faults)
    cost, matrix, *bounds = (array if array.ndim > len(shape) else array[None] for _, array, shape in given)
    bounds = [np.broadcast_to(bound, batch + bound.shape[1:]) for bound in bounds]
    return _Programmes(*(np.ascontiguousarray(np.moveaxis(each, 0, -1)) for each in (cost, matrix, *bounds)))


def _scaled(given: _Programmes) -> tuple[_Programmes, Array]:
    """The batch with coefficients, costs and demands of about 1, by powers of two; the units (n, B) of its amounts."""
    rows = 1.0 / _power_of_two(np.abs(given.matrix).max(axis=1, initial=0.0))
    columns = 1.0 / _power_of_two(np.abs(given.matrix * rows[:, None]).max(axis=0, initial=0.0))
    cost = given.cost * columns
    cost /= _power_of_two(cost.max(axis=0, initial=0.0))
    low, high = given.row_low * rows, given.row_high * rows
    size = _power_of_two(np.maximum(low, -high).max(axis=0, initial=0.0))  # what the rows ask for at x = 0
    unit = columns * size
    matrix = given.matrix * rows[:, None] * columns
    return _Programmes(cost, matrix, low / size, high / size, given.upper / unit), unit


def _power_of_two(size: Array) -> Array:
    return np.exp2(np.round(np.log2(np.where(size > 0, size, 1.0))))  # the nearest; 1 for 0


def _searched(batch: _Programmes) -> tuple[Array, Array, Flags, Flags]:
    """Amounts (n, B), weights of the rows (m, B), whether there is an answer (B,), and whether that is proven (B,)."""
    rows, columns = batch.matrix.shape[:2]
    ends = _search(batch)
    by_name = np.empty_like(ends)
    np.put_along_axis(by_name, np.abs(ends[:1]).astype(int) - 1, ends, axis=1)
    name, value, weight = by_name
    downwards = name < 0
    amounts = np.where(downwards[:columns], batch.upper - value[:columns], value[:columns]).clip(0.0, batch.upper)
    weights = np.where(downwards, -weight, weight)[columns + 1 :]
    weights[np.abs(weights) <= _NOISE * np.abs(weights).max(axis=0)] = 0.0
    return amounts, weights[:rows], weights[rows] > 0, _proven(batch, amounts, weights[:rows], weights[rows])


def _proven(batch: _Programmes, amounts: Array, weights: Array, of_cost: Array) -> Flags:
    """Whether the bound that the weights set meets the cost or, where the cost has the weight 0, lies above 0."""
    cost = of_cost * batch.cost
    terms = batch.matrix * weights[:, None]
    reduced = cost - terms.sum(axis=0)
    reduced[np.abs(reduced) <= 10 * _NOISE * (cost + np.abs(terms).sum(axis=0))] = 0.0
    by_row = weights * np.where(weights > 0, batch.row_low, np.where(weights < 0, batch.row_high, 0.0))
    least = np.concatenate([by_row, reduced * np.where(reduced < 0, batch.upper, 0.0)])
    bound, noise = least.sum(axis=0), _NOISE * np.abs(least).sum(axis=0)
    reached = (batch.matrix * amounts).sum(axis=1)
    room = _HELD * (1.0 + np.abs(reached))
    inside = ((reached >= batch.row_low - room) & (reached <= batch.row_high + room)).all(axis=0)
    paid = (cost * amounts).sum(axis=0)
    optimal = inside & np.isfinite(bound) & (np.abs(paid - bound) <= _GAP * paid + noise)
    proven: Flags = np.where(of_cost > 0, optimal, bound > noise)
    return proven


class _Step(NamedTuple):
    """The dictionaries and books (`_start`) and the pivot each takes next: row and column (B,).

    inside: no row is violated.  settled: so, or no column mends the row.  turn: -1 where the row's variable lies above
    its bounds, else 1.  coefficients (n + 1, B): of the row, its value last, the variable turned to lie below.
    """

    table: Array
    book: Array
    row: Indices
    column: Indices
    inside: Flags
    settled: Flags
    turn: Array
    coefficients: Array

    def of(self, lanes: Indices) -> _Step:
        """Of some programmes only."""
        return _Step._make(each.take(lanes, axis=-1) for each in self)


def _search(batch: _Programmes) -> Array:
    """Pivot until every programme is settled or has had its pivots; the settled ones leave the batch.

    Returns name, value and weight by place (3, places, B), the places those of the book; weights are 0 where unsettled.
    """
    step = _step(*_start(batch), bland=False)
    ends = np.concatenate([step.book[:1], np.zeros_like(step.book)])
    lanes = np.arange(ends.shape[-1])
    budget = current()
    for pivot in range(_PIVOTS + _BLAND_PIVOTS):
        budget.ask()
        budget.take(_BY_ITSELF + _A_COEFFICIENT * step.table.size)
        if step.settled.any():
            done, left = np.flatnonzero(step.settled), np.flatnonzero(~step.settled)
            ends[..., lanes[done]] = _ends(step.of(done))
            step, lanes = step.of(left), lanes[left]
        if not len(lanes):
            break
        step = _step(*_exchanged(step), bland=pivot >= _PIVOTS)
    return ends


def _start(batch: _Programmes) -> tuple[Array, Array]:
    """The first dictionary (m + 1, n + 1, B), the cost its last row and the values its last column, and its book.

    book (2, n + 1 + m + 1, B): name and span (upper less lower bound) of the variable in each place, columns before
    rows.  A name is a number from 1, negative for a variable that is counted downwards from its upper bound.
    """
    rows, columns, count = *batch.matrix.shape[:2], batch.row_low.shape[-1]
    sign = np.where(np.abs(batch.row_high) < np.abs(batch.row_low), -1.0, 1.0)
    nearest = np.where(sign < 0, batch.row_high, np.maximum(batch.row_low, -_FAR))
    table = np.zeros((rows + 1, columns + 1, count))
    table[:rows, :columns] = batch.matrix * sign[:, None]
    table[:rows, columns] = -sign * nearest
    table[rows, :columns] = batch.cost
    book = np.full((2, rows + columns + 2, count), np.inf)
    book[0] = np.arange(1.0, rows + columns + 3)[:, None]
    book[0, columns + 1 : -1] *= sign
    book[1, :columns] = batch.upper
    book[1, columns + 1 : -1] = batch.row_high - batch.row_low
    return table, book


def _step(table: Array, book: Array, bland: bool) -> _Step:
    """The row that is violated most and, by the dual ratio test, the column that mends it at the least cost.

    The cost itself is never violated, nor the values ever a column: a cost is at least 0, a violated row's value below.
    """
    columns, lanes = table.shape[1], np.arange(table.shape[-1])
    names, span = book
    above = table[:, -1] - span[columns:]
    violation = np.maximum(-table[:, -1], above)
    urgency = np.where(violation > _INSIDE, 1.0 / np.abs(names[columns:]), 0.0) if bland else violation
    row = urgency.argmax(axis=0)
    worst = violation[row, lanes]
    turn = np.where(above[row, lanes] > 0, -1.0, 1.0)
    coefficients = table.reshape(-1).take(_along(table, row)) * turn
    coefficients[-1] = -worst
    usable = (coefficients > _PIVOT) & (span[:columns] > 0)
    ratio = np.full_like(coefficients, np.inf)
    np.divide(np.maximum(table[-1], 0.0) + (0.0 if bland else _TIE), coefficients, out=ratio, where=usable)
    column = ratio.argmin(axis=0)
    least = ratio[column, lanes]
    if bland:
        column = np.where(ratio <= least, np.abs(names[:columns]), np.inf).argmin(axis=0)
    inside = worst <= _INSIDE
    return _Step(table, book, row, column, inside, inside | (least == np.inf), turn, coefficients)


def _along(table: Array, row: Indices) -> Indices:
    """Where one row of each dictionary lies in the flat table (n + 1, B): numpy's quickest way to reach it."""
    columns, count = table.shape[1:]
    places: Indices = (row * columns + np.arange(columns)[:, None]) * count + np.arange(count)
    return places


def _exchanged(step: _Step) -> tuple[Array, Array]:
    """The row's variable leaves the basis at its bound and the column's variable enters it instead; in place."""
    table, book, row, column = step[:4]
    rows, columns, count = table.shape
    flat, lanes = table.reshape(-1), np.arange(count)
    down = (np.arange(rows)[:, None] * columns + column) * count + lanes
    pivot, share = step.coefficients[column, lanes], flat.take(down)
    entering = step.coefficients / -pivot
    table += share[:, None] * entering
    flat[down] = share / pivot
    entering[column, lanes] = 1.0 / pivot
    flat[_along(table, row)] = entering
    leaving = book[:, columns + row, lanes]
    leaving[0] *= step.turn
    book[:, columns + row, lanes] = book[:, column, lanes]
    book[:, column, lanes] = leaving
    return table, book


def _ends(step: _Step) -> Array:
    """Name, value and weight by place (3, places, B): the weights of the cost, or of the row that is stuck."""
    columns, lanes = step.table.shape[1], np.arange(step.table.shape[-1])
    ends = np.concatenate([step.book[:1], np.zeros_like(step.book)])
    ends[1, columns:] = step.table[:, -1]
    ends[2, :columns] = np.where(step.inside, step.table[-1], -step.coefficients)
    ends[2, columns + step.row, lanes] = np.where(step.inside, 0.0, step.turn)
    ends[2, -1] = step.inside
    return ends
