"""A refill of so many units, the rows it must hold, and the units that miss them least."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tapwright.chemistry.dosing.recipe.bands import CONSERVED, Row, amounts_of, rows_of
from tapwright.chemistry.dosing.recipe.choice import Rows
from tapwright.chemistry.dosing.recipe.cupboard import Columns, with_added
from tapwright.chemistry.dosing.recipe.elastic import give
from tapwright.chemistry.dosing.recipe.request import RecipeRequest
from tapwright.chemistry.programmes.budget import OutOfWork, current
from tapwright.chemistry.programmes.linear_programme import Array
from tapwright.chemistry.water.composition import Water

# Concentrations agree to this far [mmol/L, meq/L]: a thousandth of what any kit resolves.
_SLACK = 1e-7
# What a miss counts for where not all bands can be held; the ends of the others are never bought with these.
_GRAVITY = {"hardness_mmol_l": 1000.0, "alkalinity_meq_l": 1000.0, "ph_aerated": 30.0, "ph_at_once": 30.0}
# A miss that is but looked at for a place to draw rows need be no nearer to the least [share of it].
_NEAR_LEAST = 1e-3
# Of the whole budget, for the least miss that is told.
_FOR_MISS = 0.1


def made_of(water: Water, shelf: Columns, amounts: Array, volume_l: float) -> Water:
    """The refill: `water`, by its carbon, with so many units of every column; deionised water thins all the rest."""
    own = max(1 - float(amounts[shelf.count :] @ shelf.unit[shelf.count :]) / volume_l, 0.0)
    thinned = {
        name: getattr(water, name) * own
        for name in ("nitrate_mg_l", "ammonia_mg_n_l", "free_chlorine_mg_l", "total_chlorine_mg_l")
    }
    # Of deionised water alone, what rounding leaves of the rest must not lie below nothing.
    added = np.maximum(shelf.effect @ amounts, -np.maximum(amounts_of(water), 0.0))
    return with_added(replace(water, **thinned), added)


def programme_of(rows: Sequence[Row], water: Water, shelf: Columns) -> Rows:
    """The rows over the units of every column."""
    weights = np.array([row.weights for row in rows]).reshape(len(rows), len(CONSERVED))
    low, high = (np.array([getattr(row, end) for row in rows]) - weights @ amounts_of(water) for end in ("low", "high"))
    return Rows(weights @ shelf.effect, low - _SLACK, high + _SLACK)


def least_miss(water: Water, shelf: Columns, request: RecipeRequest) -> Array:
    """Units of the least weighted miss, each counted against the size of its band; near it where the budget is used up."""
    pivot, rows = None, rows_of(request.target, None, request.times_air)
    try:
        with current().apart(_FOR_MISS):
            for gap in (_NEAR_LEAST, _NEAR_LEAST, 0.0):
                rows = rows_of(request.target, pivot, request.times_air)
                amounts = nearest(rows, water, shelf, gap)
                pivot = made_of(water, shelf, amounts, request.volume_l)
    except OutOfWork:
        return _rounded(rows, water, shelf)
    return amounts


def some_miss(water: Water, shelf: Columns, request: RecipeRequest) -> Array:
    """Units that miss little, for hardly any work."""
    bare = _rounded(rows_of(request.target, None, request.times_air), water, shelf)
    return _rounded(
        rows_of(request.target, made_of(water, shelf, bare, request.volume_l), request.times_air), water, shelf
    )


def nearest(rows: Sequence[Row], water: Water, shelf: Columns, gap: float = _NEAR_LEAST) -> Array:
    """Units that miss the rows least, or so little more; raises OutOfWork where the budget ends before any are found."""
    price = np.array([_GRAVITY.get(row.band, 1.0) / row.size for row in rows])
    try:
        found = give(programme_of(rows, water, shelf), shelf.cost, shelf.most, shelf.whole, price, price, gap)
    except OutOfWork as end:
        if end.best is None:
            raise
        found = end.best
    if found is None:  # cannot be: every row gives
        raise AssertionError("the elastic programme has no solution")
    return found.amounts


def _rounded(rows: Sequence[Row], water: Water, shelf: Columns) -> Array:
    """Units that miss the rows least, measured finely, and the whole ones next to them."""
    with current().one_call():
        fine = nearest(rows, water, shelf.finely())
    return np.minimum(np.round(fine), shelf.most) if shelf.whole else fine
