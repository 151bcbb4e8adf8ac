"""How much one question may search: work that is counted, never timed, so that no machine and no load decides an answer.

Every part that searches counts what it does (pivots, nodes, waters brought to equilibrium) in one unit, about a
microsecond of an ordinary machine; `python tests/benchmarks/hard_cupboards.py` holds the units against the clock.
The budget of the question that is being asked stands in a context variable: it belongs to the question and not to any
one programme of it, and handing it down would put it into some thirty signatures that have no other use for it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

PATIENCE_S = 2.0
LEAST_S, MOST_S = 0.1, 3600.0
_UNITS_PER_S = 1e6
# Of the first attempt: five of them, each twice the last, come to three quarters of the default.
_FIRST_RUNG = 0.75 * PATIENCE_S * _UNITS_PER_S / 31

# One water brought to equilibrium by itself, and an array of them besides each of its waters.
ONE_WATER, ARRAY_OF_WATERS, WATER_IN_ARRAY = 55.0, 2000.0, 4.0


class OutOfWork(Exception):
    """The budget ended in the middle of a search.

    best: the best that was found by then, None where nothing was.  at_least: so many salts are needed, as far as is known.
    """

    def __init__(self, best: Any = None, at_least: int = 0) -> None:
        super().__init__("the budget of the question is used up")
        self.best, self.at_least = best, at_least


class Budget:
    """Units of work there are, and units that are done."""

    def __init__(self, patience_s: float = PATIENCE_S) -> None:
        self.patience_s, self.done = patience_s, 0.0
        self.whole = self.most = patience_s * _UNITS_PER_S

    @property
    def left(self) -> float:
        """Units that may still be done."""
        return max(self.most - self.done, 0.0)

    def take(self, units: float) -> None:
        """Count work that is done."""
        self.done += units

    def ask(self, units: float = 0.0) -> None:
        """Raises OutOfWork where nothing more may be begun, or nothing that takes so many units at least."""
        if self.done >= self.most or self.done + units > self.most:
            raise OutOfWork

    @contextmanager
    def at_most(self, units: float) -> Iterator[None]:
        """Within the block no more than so many units, nor than are left."""
        with self._ending(min(self.most, self.done + units)):
            yield

    @contextmanager
    def apart(self, share: float) -> Iterator[None]:
        """Within the block so much of the whole budget, as far as there is, whatever the attempt around it may take."""
        with self._ending(min(self.whole, self.done + share * self.whole)):
            yield

    @contextmanager
    def one_call(self) -> Iterator[None]:
        """Within the block one small call may be made even where nothing is left: what every answer needs to stand on."""
        with self._ending(max(self.most, self.done + 1)):
            yield

    @contextmanager
    def _ending(self, most: float) -> Iterator[None]:
        around, self.most = self.most, most
        try:
            yield
        finally:
            self.most = around


_OPEN: ContextVar[Budget | None] = ContextVar("_OPEN", default=None)


def current() -> Budget:
    """The budget of the question that is being asked; one without an end where none is."""
    return _OPEN.get() or Budget(math.inf)


@contextmanager
def question(patience_s: float = PATIENCE_S) -> Iterator[Budget]:
    """One question and its budget: all that is asked within shares it, and what is open already goes on."""
    if (already := _OPEN.get()) is not None:
        yield already
        return
    token = _OPEN.set(Budget(patience_s))
    try:
        yield current()
    finally:
        _OPEN.reset(token)


def rungs(units: float) -> Iterator[float]:
    """Budgets of one attempt after the other, each twice the last, that come to no more than so many units.

    An attempt that is given more may draw its rows elsewhere and do worse; but a larger budget makes every attempt of a
    smaller one, and the best of them all counts.
    """
    rung = _FIRST_RUNG
    while rung <= units:
        yield rung
        units, rung = units - rung, 2 * rung
