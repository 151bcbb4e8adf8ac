"""One number of changes: what goes into each, so that every limit and band is kept by the engine itself."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tapwright.chemistry.dosing.recipe.bands import Standing, standings
from tapwright.chemistry.dosing.recipe.choice import Rows
from tapwright.chemistry.dosing.recipe.elastic import give
from tapwright.chemistry.dosing.transition.multistage import Multistage, Pivots, Way
from tapwright.chemistry.programmes.linear_programme import Array, Programme, solve

_ROUNDS = 6
# A limit is kept when pH and conductivity are so near to it: far below what a pen can see.
_PH, _CONDUCTIVITY, _INDEX = 0.005, 0.002, 0.002


@dataclass(frozen=True)
class Found:
    """Stages that keep every limit, the amounts that go into it, and what the engine makes of its waters."""

    stages: Multistage
    amounts: Array
    pivots: Pivots

    @property
    def cost(self) -> float:
        """Of all that goes in."""
        return float(np.tile(self.stages.way.shelf.cost, self.stages.changes) @ self.amounts)


def solved(way: Way, count: int) -> Found | None:
    """So many changes of least cost, measured finely; None where there are none."""
    first = _straight(way, count)
    if first is None:
        return None
    pivots = Multistage.of(way, count).pivots(first)
    tries = (
        under(Multistage.of(replace(way, cap=cap), count), pivots, 0)
        for cap in way.cap.tries(way.source.calcium_mmol_l)
    )
    return next((found for found in tries if found is not None), None)


def _straight(way: Way, count: int) -> Array | None:
    """Amounts that hold all limits and bands but those on pH, conductivity and clouding; None where there are none."""
    stages = Multistage.of(way, count)
    return amounts_inside(stages, stages.rows(None), 0)


def under(stages: Multistage, pivots: Pivots, whole: int) -> Found | None:
    """The same near these pivots, with rows drawn anew at each answer until they hold."""
    lost = False
    for _ in range(_ROUNDS):
        rows = stages.rows(pivots)
        amounts = amounts_inside(stages, rows, whole)
        if amounts is None:
            # Rows drawn far from any answer may leave none: the nearest to them is a better place to draw them, once.
            if lost or whole or (amounts := _nearest(stages, rows)) is None:
                return None
            lost = True
        pivots = stages.pivots(amounts)
        if kept(stages, pivots):
            return Found(stages, amounts, pivots)
    return None


def _nearest(stages: Multistage, rows: Rows) -> Array | None:
    """Amounts that break the rows least, within the stock."""
    price = np.append(np.ones(len(rows.low)), np.full(len(stages.stock().low), np.inf))
    cost = np.tile(stages.way.shelf.cost, stages.changes)
    found = give(_with_stock(stages, rows), cost, stages.most(), False, price, price)
    return None if found is None else found.amounts


def _with_stock(stages: Multistage, rows: Rows) -> Rows:
    stock = stages.stock()
    return Rows(
        np.vstack([rows.matrix, stock.matrix]), np.append(rows.low, stock.low), np.append(rows.high, stock.high)
    )


def amounts_inside(stages: Multistage, rows: Rows, whole: int) -> Array | None:
    """Amounts inside all rows, the first `whole` of them whole numbers."""
    inside = _with_stock(stages, rows)
    cost = np.tile(stages.way.shelf.cost, stages.changes)
    return solve(Programme(cost, inside.matrix, inside.low, inside.high, stages.most(), whole))


def kept(stages: Multistage, pivots: Pivots) -> bool:
    """Whether pH, conductivity and clouding keep their limits by the engine itself, not only by the rows."""
    way, (before, after) = stages.way, pivots.conductivity_us_cm
    kept = (
        np.all(np.abs(pivots.ph[1] - pivots.ph[0]) <= way.limits.ph + _PH)
        and np.all(np.abs(after / before - 1) <= way.limits.conductivity + _CONDUCTIVITY)
        and np.all(pivots.si_calcite <= way.cap.index + _INDEX)
    )
    if not kept or not all(at.held for at in reached(stages, pivots)):
        return False
    return not [*way.refill.bands()] or all(
        at.held
        for done, refill in enumerate(pivots.refill.T)
        for at in standings(stages.refill(refill, done), way.refill, way.room_times_air)
    )


def reached(stages: Multistage, pivots: Pivots) -> tuple[Standing, ...]:
    """Where the last tank stands in the bands of the target."""
    return standings(stages.tank(pivots.after[:, -1], stages.changes), stages.way.target, stages.way.times_air)
