"""Whole steps of the scale for every stage, so that each keeps every limit and the rest can still follow."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from itertools import product
from typing import Any

import numpy as np

from tapwright.chemistry.dosing.transition.multistage import Limits, Multistage, Way, with_tracked
from tapwright.chemistry.dosing.transition.request import ANYTHING
from tapwright.chemistry.dosing.transition.stages import amounts_inside, kept, solved, under
from tapwright.chemistry.programmes.linear_programme import Array
from tapwright.chemistry.water.target import Band

# Parts of the limits kept back for later roundings, tried one after another.
_KEPT_BACK = (0.05, 0.0, 0.15)
_MOST_ROUNDINGS = 4
# More whole numbers than this are not looked for all at once (it would take minutes), and a part more of every limit is
# allowed at first where they are.
_MOST_AT_ONCE = 16
_LOOSENED = 0.05


def exact(way: Way, count: int) -> Array | None:
    """Amounts for all changes, measured finely; None where there are none."""
    found = solved(way, count)
    return None if found is None else found.amounts


def weighed(way: Way, count: int) -> Array | None:
    """Whole steps for all changes; a little of every limit and band is kept back for roundings yet to come, where it takes
    that.
    """
    tries = (_one_by_one(way, count, kept_back) for kept_back in _KEPT_BACK)
    found = next((found for found in tries if found is not None), None)
    return _all_at_once(way, count) if found is None else found


def _all_at_once(way: Way, count: int) -> Array | None:
    """Whole steps for all changes as one integer programme, where it is small: finds what no rounding one by one does."""
    fine, whole = solved(way, count), count * len(way.shelf.unit)
    if fine is None or count * np.count_nonzero(way.shelf.most) > _MOST_AT_ONCE:
        return None
    for cap in way.cap.tries(way.source.calcium_mmol_l):
        stages = Multistage.of(replace(way, cap=cap), count)
        # Whole steps may lie far from the fine amounts: what all but keeps the limits is a better place to draw rows.
        loose = Multistage.of(_narrowed(stages.way, -_LOOSENED), count)
        near = amounts_inside(loose, loose.rows(fine.pivots), whole)
        for pivots in (fine.pivots, *([] if near is None else [stages.pivots(near)])):
            if (found := under(stages, pivots, whole)) is not None:
                return found.amounts
    return None


def _one_by_one(way: Way, count: int, kept_back: float) -> Array | None:
    """Whole steps for one change after another: the nearest to the fine amounts from which the rest can still follow."""
    columns_each = len(way.shelf.unit)
    done: list[Array] = []
    rest = solved(_narrowed(way, kept_back), count)
    if rest is None:
        return None
    for left in range(count - 1, 0, -1):
        followed = None
        for first in _roundings(rest.amounts[:columns_each], way.shelf.most):
            tank = _after_one(way, first)
            if tank is not None:
                then = _after(way, tank, first)
                narrowed = replace(_narrowed(then, kept_back), cap=rest.stages.way.cap)
                followed = under(Multistage.of(narrowed, left), rest.pivots.without_first(), 0)
            if followed is not None:
                break
        if followed is None:
            return None
        done.append(first)
        way, rest = then, followed
    last = solved(way, 1)
    whole = None if last is None else under(last.stages, last.pivots, columns_each)
    return None if whole is None else np.concatenate([*done, whole.amounts])


def _roundings(amounts: Array, most: Array) -> list[Array]:
    """Whole numbers next to the amounts, nearest first."""
    used = [place for place in range(len(amounts)) if abs(amounts[place] - round(amounts[place])) > 1e-6]
    found = []
    for ups in product((0.0, 1.0), repeat=len(used)):
        whole = np.round(amounts)
        whole[used] = np.floor(amounts[used]) + ups
        if np.all(whole <= most):
            found.append(whole)
    return sorted(found, key=lambda whole: float(np.abs(whole - amounts).sum()))[:_MOST_ROUNDINGS]


def _after_one(way: Way, amounts: Array) -> Array | None:
    """The tank after one change of these amounts; None where that breaks a limit."""
    stages = Multistage.of(anywhere(way), 1)
    rows = stages.rows(None)
    inside = rows.matrix @ amounts
    if np.any(inside < rows.low) or np.any(inside > rows.high):
        return None
    pivots = stages.pivots(amounts)
    tank: Array = pivots.after[:, 0]
    return tank if kept(stages, pivots) else None


def _narrowed(way: Way, part: float) -> Way:
    """The way with a part less of every limit, of the width of every band of the target, and of a step of saturation."""
    limits = Limits(**{field.name: getattr(way.limits, field.name) * (1 - part) for field in fields(Limits)})
    bands: dict[str, Any] = {
        name: Band(band.low + part / 2 * (band.high - band.low), band.high - part / 2 * (band.high - band.low))
        for name, band in way.target.bands()
        if math.isfinite(band.high)
    }
    cap = replace(way.cap, index=way.cap.index - part / 2)
    return replace(way, limits=limits, target=replace(way.target, **bands), cap=cap)


def _after(way: Way, tank: Array, used: Array) -> Way:
    """The way that is left once the first change is done and topped off."""
    salts = np.arange(len(used)) < way.shelf.count
    most = np.where(salts, way.shelf.most - used, way.shelf.most)
    return replace(
        way,
        tank=with_tracked(way.tank, tank + way.topped),
        degrees_c=way.degrees_c[1:] or way.degrees_c,
        shelf=replace(way.shelf, most=most),
    )


def anywhere(way: Way) -> Way:
    """The same way, wherever it leads."""
    return replace(way, target=ANYTHING)
