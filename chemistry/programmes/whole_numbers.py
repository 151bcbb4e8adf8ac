"""A small programme in whole numbers, by branching on the relaxed one: fast where the unknowns are few.

The integer solver of the library takes ten milliseconds to get ready, whatever the size; a recipe of three salts needs
some ten relaxed programmes of some tens of microseconds each. What branching does not settle in a bounded number of them
is left to that solver.
"""

from __future__ import annotations

import math

import numpy as np

from tapwright.chemistry.programmes.budget import OutOfWork, current
from tapwright.chemistry.programmes.few_columns import Small, Unsettled
from tapwright.chemistry.programmes.linear_programme import Array, Programme, solve

_MOST_NODES = 1000
# So near to a whole number, an amount is one: steps are far coarser than the solver's own tolerance.
_WHOLE = 1e-6


def solve_whole(programme: Programme, most: float = math.inf) -> Array | None:
    """The minimiser among whole numbers that cost no more than `most`; None where there is none.

    programme: all of its columns are taken as whole; no cost is below 0.  Raises OutOfWork, with the best that was found,
    where the budget of the question ends before that is proven.
    """
    budget = current()
    best: list[float] | None = None
    low, high = programme.row_low.tolist(), programme.row_high.tolist()
    relaxed = Small(programme.cost.tolist(), programme.matrix.tolist(), low, high)
    grain = _grain(programme.cost)
    open_nodes = [([0.0] * len(programme.upper), programme.upper.tolist())]
    try:
        for _ in range(_MOST_NODES):
            if not open_nodes:
                return None if best is None else np.array(best)
            budget.ask()
            floor, ceiling = open_nodes.pop()
            amounts = relaxed.minimiser(floor, ceiling)
            if amounts is None or _at_least(_cost(relaxed, amounts), grain) > most:
                continue
            off = [abs(amount - round(amount)) for amount in amounts]
            column = max(range(len(off)), key=off.__getitem__, default=-1)
            if column >= 0 and off[column] > _WHOLE:
                open_nodes += _branches(floor, ceiling, column, amounts[column])
                continue
            best = [float(round(amount)) for amount in amounts]
            most = _cost(relaxed, best) - grain / 2  # from here on only what is cheaper
    except Unsettled:
        pass
    except OutOfWork:
        raise OutOfWork(None if best is None else np.array(best)) from None
    return _by_library(programme, None if best is None else np.array(best), most)


def _cost(relaxed: Small, amounts: list[float]) -> float:
    return sum(each * amount for each, amount in zip(relaxed.cost, amounts, strict=True))


def _branches(
    floor: list[float], ceiling: list[float], column: int, amount: float
) -> list[tuple[list[float], list[float]]]:
    """At most the whole number below, or at least the one above; the nearer one last, as it is taken first."""
    under, over = ceiling.copy(), floor.copy()
    under[column], over[column] = float(math.floor(amount)), float(math.ceil(amount))
    halves = [(floor, under), (over, ceiling)]
    return halves if amount - math.floor(amount) > 0.5 else halves[::-1]


def _grain(cost: Array) -> float:
    """What costs can differ by at least: the common cost of a step where all have the same, else hardly anything."""
    steps = cost[cost > 0]
    if len(steps) == 0 or np.any(np.abs(steps - steps[0]) > 1e-12 * steps[0]):
        return 1e-9 * float(steps.max(initial=1.0))
    return float(steps[0])


def _at_least(cost: float, grain: float) -> float:
    """The least that whole steps can cost where the relaxed programme costs this much."""
    return grain * math.ceil(cost / grain - 1e-6)


def _by_library(programme: Programme, best: Array | None, most: float) -> Array | None:
    whole = Programme(
        programme.cost, programme.matrix, programme.row_low, programme.row_high, programme.upper, len(programme.upper)
    )

    def better(found: Array | None) -> Array | None:
        return found if found is not None and float(programme.cost @ found) <= most else best

    try:
        return better(solve(whole))
    except OutOfWork as end:
        raise OutOfWork(better(end.best)) from None
