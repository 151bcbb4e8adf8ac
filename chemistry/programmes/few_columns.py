"""One small linear programme in plain floats: a bounded dual simplex for a handful of columns, some tens of microseconds.

No cost is below 0, so every column at its lower end is where a dual simplex may begin, as in `many_programmes`; there a
batch pays for numpy, here the numbers are too few for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tapwright.chemistry.programmes.budget import current

# Units of work of a pivot: by itself, of a row, and of a coefficient.
_BY_ITSELF, _A_ROW, _A_COEFFICIENT = 6.0, 2.0, 0.15
_INSIDE = 1e-10  # a row so far outside its ends, measured against them, is inside
_PIVOT = 1e-11  # a coefficient below this is none
_MOST_PIVOTS = 80


class Unsettled(Exception):
    """Too many pivots: ask another solver."""


@dataclass(frozen=True)
class Small:
    """Minimise cost @ x with low <= rows @ x <= high; no cost is below 0."""

    cost: Sequence[float]
    rows: Sequence[Sequence[float]]
    low: Sequence[float]
    high: Sequence[float]

    def minimiser(self, floor: Sequence[float], ceiling: Sequence[float]) -> list[float] | None:
        """The minimiser with floor <= x <= ceiling, None where there is none; raises Unsettled."""
        if any(least > most for least, most in zip(floor, ceiling, strict=True)):
            return None
        return _Table(self, floor, ceiling).solved()


class _Table:
    """Every basic variable as a sum of nonbasic ones, each of which lies at one of its ends.

    Variables are numbered: columns first, then rows, whose value is rows @ x.
    """

    def __init__(self, programme: Small, floor: Sequence[float], ceiling: Sequence[float]) -> None:
        columns, rows = len(programme.cost), len(programme.rows)
        self.columns = columns
        self.table = [list(row) for row in programme.rows]
        self.reduced = list(programme.cost)
        self.low, self.high = [*floor, *programme.low], [*ceiling, *programme.high]
        self.outside, self.basic = list(range(columns)), list(range(columns, columns + rows))
        self.value = [float(least) for least in floor]

    def solved(self) -> list[float] | None:
        """Pivot until no row is violated, or one cannot be mended."""
        work = _BY_ITSELF + len(self.table) * (_A_ROW + _A_COEFFICIENT * self.columns)
        budget = current()
        for _ in range(_MOST_PIVOTS):
            budget.take(work)
            values = [sum(a * v for a, v in zip(row, self.value, strict=True)) for row in self.table]
            leaving, short = self._most_violated(values)
            if leaving < 0:
                return self._columns(values)
            entering = self._entering(self.table[leaving], short)
            if entering < 0:
                return None
            self._pivot(leaving, entering, short)
        raise Unsettled

    def _most_violated(self, values: Sequence[float]) -> tuple[int, bool]:
        """The basic variable furthest outside its ends, -1 for none, and whether it is too low."""
        worst, found, short = 0.0, -1, False
        for place, value in enumerate(values):
            low, high = self.low[self.basic[place]], self.high[self.basic[place]]
            below, above = (low - value) / (1 + abs(low)), (value - high) / (1 + abs(high))
            if below > max(worst, _INSIDE):
                worst, found, short = below, place, True
            if above > max(worst, _INSIDE):
                worst, found, short = above, place, False
        return found, short

    def _entering(self, row: Sequence[float], short: bool) -> int:
        """The nonbasic variable that mends the row and keeps every reduced cost on its side; -1 for none."""
        best, found = 0.0, -1
        for place, coefficient in enumerate(row):
            number = self.outside[place]
            at_high = self.value[place] == self.high[number] and self.low[number] < self.high[number]
            helps = coefficient if short != at_high else -coefficient
            if helps <= _PIVOT or self.low[number] == self.high[number]:
                continue
            ratio = abs(self.reduced[place]) / helps
            if found < 0 or ratio < best or (ratio == best and number < self.outside[found]):
                best, found = ratio, place
        return found

    def _pivot(self, leaving: int, entering: int, short: bool) -> None:
        """The basic variable goes to its violated end; the nonbasic one takes its place."""
        row = self.table[leaving]
        by = 1 / row[entering]
        new = [-coefficient * by for coefficient in row]
        new[entering] = by
        for place, other in enumerate(self.table):
            if place != leaving:
                part = other[entering]
                self.table[place] = [a + part * b for a, b in zip(other, new, strict=True)]
                self.table[place][entering] = part * by
        self.table[leaving] = new
        part = self.reduced[entering]
        self.reduced = [a + part * b for a, b in zip(self.reduced, new, strict=True)]
        self.reduced[entering] = part * by
        out = self.basic[leaving]
        self.basic[leaving], self.outside[entering] = self.outside[entering], out
        self.value[entering] = self.low[out] if short else self.high[out]

    def _columns(self, values: Sequence[float]) -> list[float]:
        """The columns' values, within their ends."""
        found = dict(zip(self.basic, values, strict=True)) | dict(zip(self.outside, self.value, strict=True))
        return [min(max(found[number], self.low[number]), self.high[number]) for number in range(self.columns)]
