"""Rows that may give: how far the ends of bands, or of a stock, must move for anything to lie inside them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwright.chemistry.dosing.recipe.choice import Rows
from tapwright.chemistry.programmes.budget import OutOfWork
from tapwright.chemistry.programmes.linear_programme import Array, Programme, solve

# Amounts weigh so little, against what they can do, that they only settle which of equal misses is taken.
_AMOUNTS = 1e-4


@dataclass(frozen=True)
class Given:
    """Amounts, and how far each row's low end went down and its high end went up for them, in the row's own unit."""

    amounts: Array
    below: Array
    above: Array


def give(
    rows: Rows, cost: Array, most: Array, whole: bool, below: Array, above: Array, gap: float = 0.0
) -> Given | None:
    """Amounts of least give; None where even that does not help.

    cost, most: of the columns.  below, above: what it costs to give one unit of a row's end; infinite: it does not give.
    gap: how far above the least, as a share of it, whole amounts may lie.  Raises OutOfWork, with the least give found.
    """
    columns, count = len(most), len(rows.low)
    matrix = np.hstack([rows.matrix, np.eye(count), -np.eye(count)])
    gives = np.concatenate([below, above])
    ends = np.where(np.isfinite(gives), np.inf, 0.0)
    size = max(float(cost.max(initial=0.0)), 1e-12)
    saved = _least(gives) * _least_effect(rows.matrix, cost / size)
    weights = np.concatenate([_AMOUNTS * cost / size, np.where(np.isfinite(gives), gives / saved, 0.0)])
    programme = Programme(weights, matrix, rows.low, rows.high, np.concatenate([most, ends]), columns if whole else 0)

    def given(found: Array | None) -> Given | None:
        if found is None:
            return None
        return Given(found[:columns], found[columns : columns + count], found[columns + count :])

    try:
        return given(solve(programme, gap))
    except OutOfWork as end:
        raise OutOfWork(given(end.best)) from None


def _least_effect(matrix: Array, cost: Array) -> float:
    """How far the least effective column moves a row, for a cost of 1; what hardly moves one is not counted."""
    size = np.abs(matrix)
    effects = np.where(size > 1e-3 * size.max(axis=0, initial=0.0), size, np.inf).min(axis=0, initial=np.inf)
    each = effects[cost > 0] / cost[cost > 0]
    return float(each.min(initial=np.inf)) if np.isfinite(each).any() else 1.0


def _least(gives: Array) -> float:
    finite = gives[np.isfinite(gives) & (gives > 0)]
    return float(finite.min(initial=1.0))
