"""Salts from the cupboard, and deionised water where it is offered, that bring a water into a target's bands.

Amounts are whole steps of scale or spoon from the start, so that a weighed recipe lies inside every band wherever one
does: rounding the cheapest recipe afterwards leaves a band nine times out of ten. Which of all such recipes is taken is
settled by a strict order (`chemistry.dosing.choice`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from chemistry import reference
from chemistry.dosing.bands import CONSERVED, NEEDS_PIVOT, Cap, Row, Standing, amounts_of, rows_of, standings
from chemistry.dosing.choice import Rows, choose, order_of
from chemistry.dosing.cupboard import Columns, Deionised, Stocked, columns, with_added
from chemistry.dosing.elastic import give
from chemistry.errors import BadInput, Fault
from chemistry.programmes.linear_programme import Array
from chemistry.water.composition import Water
from chemistry.water.equilibrium import closed
from chemistry.water.target import Target, measures

# Concentrations agree to this far [mmol/L, meq/L]: a thousandth of what any kit resolves.
_SLACK = 1e-7
# Rows that need a pivot are drawn anew at the answer; each time the answer moves a hundredth as far.
_ROUNDS = 10
# What a miss counts for where not all bands can be held; the ends of the others are never bought with these.
_GRAVITY = {"hardness_mmol_l": 1000.0, "alkalinity_meq_l": 1000.0, "ph_aerated": 30.0, "ph_at_once": 30.0}


@dataclass(frozen=True)
class Wish:
    """What is asked of a refill.

    target: its bands.  volume_l.  step_g: the scale's step in one batch (0: any amount).  parts: equal batches.
    deionised: offered, or None.  prefer: what comes first in the choice.  times_air: CO2 of the room's air over outdoor's.
    """

    target: Target
    volume_l: float
    step_g: float = 0.0
    parts: int = 1
    deionised: Deionised | None = None
    prefer: tuple[str, ...] = ()
    times_air: float = 1.0

    def __post_init__(self) -> None:
        faults = []
        if not 0 < self.volume_l < math.inf:
            faults.append(Fault("volume", f"{self.volume_l:g} L is read; more than 0 is allowed.", 'Write "200 L".'))
        if not 0 <= self.step_g < math.inf or self.parts < 1:
            said = f"{self.parts} batches by {self.step_g:g} g are read; at least one batch and 0 g are allowed."
            faults.append(Fault("scale", said, 'Write "0.1 g".'))
        words = measures()
        faults += [
            Fault(words[name].words, f"its band runs from {words[name].said(band.low)} to {words[name].said(band.high)}.",
                  "Write the lower figure first.")
            for name, band in self.target.bands()
            if not band.low <= band.high
        ]  # fmt: skip
        if faults:
            raise BadInput(faults)
        order_of(self.prefer)


@dataclass(frozen=True)
class Recipe:
    """Grams of each salt for the whole volume (used salts only, by name) and the water that comes of it.

    steps: the same in steps of scale or spoon, of all batches; None where any amount can be measured.  deionised_l: of the
    volume.  cost: in the cupboard's currency; None where a price is not known.  reached: every band.  missed: bands that the
    cupboard cannot reach, measured however finely.  missed_by_scale: bands that only the rounding to the scale loses.
    harsh: salts in it that raise pH far (carbonates), taken only where gentle ones fail.
    """

    grams: Mapping[str, float]
    water: Water
    reached: tuple[Standing, ...]
    missed: tuple[Standing, ...]
    missed_by_scale: tuple[Standing, ...] = ()
    harsh: tuple[str, ...] = ()
    steps: Mapping[str, int] | None = None
    deionised_l: float = 0.0
    cost: float | None = None


def recipe(water: Water, cupboard: Sequence[Stocked], wish: Wish) -> Recipe:
    """The recipe for the refill that is wished for, made of `water`.

    Carbonates are left in the cupboard unless they reach a band that the other salts cannot. A refill that would cloud is
    made clearer where the bands leave room for that. Where the cupboard cannot meet every band, hardness and alkalinity
    are missed least, then pH, then the rest. Raises BadInput where pH at once has a band and the carbon of the water is not
    known, OutOfRange for a band of pH that no such water can have.
    """
    gentle = _made(water, [item for item in cupboard if item.salt.gentle], wish)
    if _lost(gentle) == (0, False) or all(item.salt.gentle for item in cupboard):
        return gentle
    harsh = _made(water, cupboard, wish)
    return harsh if _lost(harsh) < _lost(gentle) else gentle


def can_be_held(water: Water, cupboard: Sequence[Stocked], wish: Wish) -> bool:
    """Whether `recipe` would lie inside every band; spares what it does where none does. Raises as it does."""
    water = closed(water)
    gentle = [item for item in cupboard if item.salt.gentle]
    return any(
        _inside(water, _shelf(water, salts, wish), wish) is not None
        for salts in ([gentle] if len(gentle) == len(cupboard) else [gentle, cupboard])
    )


def _shelf(water: Water, cupboard: Sequence[Stocked], wish: Wish) -> Columns:
    return columns(water, cupboard, wish.volume_l, step_g=wish.step_g, parts=wish.parts, deionised=wish.deionised)


def _lost(made: Recipe) -> tuple[int, bool]:
    """Bands it cannot reach, and whether the scale loses any besides."""
    return len(made.missed), bool(made.missed_by_scale)


def _made(water: Water, cupboard: Sequence[Stocked], wish: Wish) -> Recipe:
    """The recipe from exactly these salts."""
    water = closed(water)
    shelf = _shelf(water, cupboard, wish)
    amounts = _inside(water, shelf, wish)
    by_scale = False
    if amounts is None:
        by_scale = shelf.whole and _inside(water, shelf.finely(), wish) is not None
        amounts = least_miss(water, shelf, wish)
    made = made_of(water, shelf, amounts, wish.volume_l)
    reached = standings(made, wish.target, wish.times_air)
    missed = tuple(standing for standing in reached if not standing.held)
    used = {item.salt.name: number for item, number in zip(shelf.salts, amounts, strict=False) if number > 1e-9}
    unit = {item.salt.name: float(unit_g) for item, unit_g in zip(shelf.salts, shelf.unit, strict=False)}
    return Recipe(
        grams={name: float(number) * unit[name] for name, number in used.items()},
        water=made,
        reached=reached,
        missed=() if by_scale else missed,
        missed_by_scale=missed if by_scale else (),
        harsh=tuple(item.salt.name for item in shelf.salts if not item.salt.gentle and item.salt.name in used),
        steps={name: round(number) * wish.parts for name, number in used.items()} if shelf.whole else None,
        deionised_l=float(amounts[shelf.count :] @ shelf.unit[shelf.count :]),
        cost=float(amounts @ shelf.cost) if shelf.priced else None,
    )


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


def _inside(water: Water, shelf: Columns, wish: Wish) -> Array | None:
    """Units inside every band, and clear where that can be had; None where there are none."""
    clear = reference.value("limits", "calcite_calm")
    pivot, amounts = None, None
    needs_pivot = any(name in NEEDS_PIVOT for name, _ in wish.target.bands())
    older: list[Row] = []
    edge = None  # inside every band by no more than is forgiven, where rows see nothing
    for _ in range(_ROUNDS):
        rows = rows_of(wish.target, pivot, wish.times_air)
        programme = programme_of([*rows, *older], water, shelf)
        amounts = choose(programme, shelf, wish.prefer)
        if amounts is None and pivot is None:
            return None
        older += _lasting(rows, pivot)
        # Rows drawn far from any answer may leave none: the nearest to them is a better place to draw them.
        nearest = _nearest(rows, water, shelf) if amounts is None else amounts
        pivot = made_of(water, shelf, nearest, wish.volume_l)
        if not needs_pivot or all(standing.held for standing in standings(pivot, wish.target, wish.times_air)):
            if amounts is not None:
                break
            edge = nearest
    else:
        amounts = edge
    return None if amounts is None else _cleared(water, shelf, wish, amounts, clear)


def _lasting(rows: Sequence[Row], pivot: Water | None) -> list[Row]:
    """Rows that hold for every water inside the bands, not only near the pivot.

    Salts conduct the less the more there are: at a pivot that conducts too little, the plane lies above all that
    conduct enough. None is forgotten, or answers could swing between two pivots for ever.
    """
    if pivot is None:
        return []
    at, name = amounts_of(pivot), "conductivity_us_cm"
    return [replace(row, high=math.inf) for row in rows if row.band == name and row.weights @ at < row.low]


def _cleared(water: Water, shelf: Columns, wish: Wish, first: Array, cap: float) -> Array:
    """The same, or units inside every band whose saturation stays under the cap, where there are such."""
    if _clear(made_of(water, shelf, first, wish.volume_l), wish, cap):
        return first
    for tried in Cap(cap).tries(water.calcium_mmol_l):
        if (found := _under(water, shelf, wish, first, tried)) is not None:
            return found
    return first


def _under(water: Water, shelf: Columns, wish: Wish, amounts: Array, cap: Cap) -> Array | None:
    """Units inside every band and under the cap, from the row at one pivot to the next; None where that leads nowhere.

    The row holds its own pivot where that is clear: from there on each answer is at least as good.
    """
    clear = None
    for _ in range(_ROUNDS):
        pivot = made_of(water, shelf, amounts, wish.volume_l)
        if _clear(pivot, wish, cap.index):
            if clear is not None and np.array_equal(amounts, clear):
                break
            clear = amounts
        rows = rows_of(wish.target, pivot, wish.times_air, cap)
        found = choose(programme_of(rows, water, shelf), shelf, wish.prefer)
        if found is None:
            break
        amounts = found
    return clear


def _clear(made: Water, wish: Wish, cap: float) -> bool:
    return all(standing.held for standing in standings(made, wish.target, wish.times_air, cap))


def least_miss(water: Water, shelf: Columns, wish: Wish) -> Array:
    """Units of the least weighted miss, each counted against the size of its band."""
    pivot = None
    amounts = np.zeros(len(shelf.unit))
    for _ in range(3):
        rows = rows_of(wish.target, pivot, wish.times_air)
        amounts = _nearest(rows, water, shelf)
        pivot = made_of(water, shelf, amounts, wish.volume_l)
    return amounts


def _nearest(rows: Sequence[Row], water: Water, shelf: Columns) -> Array:
    """Units that miss the rows least."""
    price = np.array([_GRAVITY.get(row.band, 1.0) / row.size for row in rows])
    found = give(programme_of(rows, water, shelf), shelf.cost, shelf.most, shelf.whole, price, price)
    if found is None:  # cannot be: every row gives
        raise AssertionError("the elastic programme has no solution")
    return found.amounts
