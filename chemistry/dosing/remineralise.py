"""Fewest grams of salts from the cupboard that bring a water into a target's bands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from chemistry.dosing.linear_programme import Array, Programme, solve
from chemistry.errors import BadInput
from chemistry.substances import Salt
from chemistry.water.composition import Water, dgh_per_mmol
from chemistry.water.target import Band, Target

_FIELDS = {
    "Ca": "calcium_mmol_l",
    "Mg": "magnesium_mmol_l",
    "Na": "sodium_mmol_l",
    "K": "potassium_mmol_l",
    "Cl": "chloride_mmol_l",
    "SO4": "sulfate_mmol_l",
}


@dataclass(frozen=True)
class Stocked:
    """A salt in the cupboard: its purity (share by mass) and the grams in stock (None: enough)."""

    salt: Salt
    purity: float = 1.0
    stock_g: float | None = None


@dataclass(frozen=True)
class Miss:
    """A band the recipe cannot reach: `band` names it, `reached` and `limit` are in `unit`."""

    band: str
    reached: float
    limit: float
    unit: str


@dataclass(frozen=True)
class Recipe:
    """Grams of each salt for the whole volume (used salts only, by name) and the water that comes of it.

    missed: bands that the cupboard cannot reach, weighed however finely.  missed_by_scale: bands that only the
    rounding to the scale loses.  harsh: salts in it that raise pH far (carbonates), taken only where gentle ones fail.
    """

    grams: Mapping[str, float]
    water: Water
    missed: tuple[Miss, ...]
    missed_by_scale: tuple[Miss, ...] = ()
    harsh: tuple[str, ...] = ()


def dissolve(water: Water, grams_per_l: Iterable[tuple[Salt, float]]) -> Water:
    """The water with pure salts [g/L] dissolved in it; ions and alkalinity add up."""
    added = dict.fromkeys((*_FIELDS.values(), "alkalinity_meq_l"), 0.0)
    for salt, grams in grams_per_l:
        for ion, amount in salt.ions_mmol_per_g().items():
            if ion in _FIELDS:
                added[_FIELDS[ion]] += amount * grams
        added["alkalinity_meq_l"] += salt.alkalinity_meq_per_g() * grams
    return replace(water, **{name: getattr(water, name) + amount for name, amount in added.items()})


def recipe(
    water: Water, target: Target, cupboard: Sequence[Stocked], volume_l: float, *, step_g: float = 0.0, parts: int = 1
) -> Recipe:
    """Grams for `volume_l` of refill, made in `parts` equal batches weighed in steps of `step_g`.

    Carbonates are left in the cupboard where the other salts do. The bands are drawn in by what rounding each batch to
    the scale can move, so that the rounded recipe stays inside; where they are too narrow for that, they are met
    before rounding. Where the cupboard cannot meet every band, the least total miss is chosen and every band missed is
    listed. Raises BadInput for a volume or step below 0.
    """
    if volume_l <= 0 or step_g < 0 or parts < 1:
        raise BadInput.of("volume", f"{volume_l} L in {parts} batches by {step_g} g.", "Give more than 0 L.")
    cupboard = sorted(cupboard, key=lambda item: item.salt.name)  # so that the file's order never decides
    gentle = [item for item in cupboard if item.salt.gentle]
    made = _made(water, target, gentle, volume_l, step_g, parts)
    return made if not made.missed else _made(water, target, cupboard, volume_l, step_g, parts)


def _made(
    water: Water, target: Target, cupboard: Sequence[Stocked], volume_l: float, step_g: float, parts: int
) -> Recipe:
    """The recipe from exactly these salts."""
    rows = _rows(water, target, cupboard)
    upper = np.array([np.inf if item.stock_g is None else item.stock_g / volume_l for item in cupboard])
    give = 0.5 * step_g * parts / volume_l * np.abs(rows.matrix).sum(axis=1)
    amounts = _fewest_grams(rows.narrowed(give), upper)
    if amounts is None:
        amounts = _fewest_grams(rows, upper)
    if amounts is None:
        amounts = _least_miss(rows, upper)
    exact = _dissolved(water, cupboard, amounts)
    grams = _weighed(amounts * volume_l, step_g, parts, cupboard)
    made = _dissolved(water, cupboard, grams / volume_l)
    used = {item.salt: float(gram) for item, gram in zip(cupboard, grams, strict=True) if gram > 0}
    missed = misses(exact, target)
    return Recipe(
        grams={salt.name: gram for salt, gram in used.items()},
        water=made,
        missed=missed,
        missed_by_scale=() if missed else misses(made, target),
        harsh=tuple(salt.name for salt in used if not salt.gentle),
    )


def _dissolved(water: Water, cupboard: Sequence[Stocked], grams_per_l: Array) -> Water:
    return dissolve(water, [(item.salt, item.purity * gram) for item, gram in zip(cupboard, grams_per_l, strict=True)])


def misses(water: Water, target: Target) -> tuple[Miss, ...]:
    """Every band of the target that the water lies outside of."""
    dgh = dgh_per_mmol()
    ratio = water.calcium_mmol_l / water.magnesium_mmol_l if water.magnesium_mmol_l > 0 else np.inf
    held: list[tuple[str, float, Band | None, float, str]] = [
        ("hardness", water.hardness_mmol_l, target.hardness_mmol_l, dgh, "dGH"),
        ("alkalinity", water.alkalinity_meq_l, target.alkalinity_meq_l, dgh / 2, "dKH"),
        ("calcium to magnesium", ratio, target.calcium_to_magnesium, 1.0, ""),
    ]
    return tuple(
        Miss(name, float(value * scale), (band.low if value < band.low else band.high) * scale, unit)
        for name, value, band, scale, unit in held
        if band is not None and not band.holds(value, 1e-6)
    )


@dataclass(frozen=True)
class _Rows:
    """Bands as rows over grams per litre, and the size of each for weighing misses."""

    matrix: Array
    low: Array
    high: Array
    size: Array

    def narrowed(self, by: Array) -> _Rows:
        """The same rows with both ends drawn in."""
        return replace(self, low=self.low + by, high=self.high - by)


def _rows(water: Water, target: Target, cupboard: Sequence[Stocked]) -> _Rows:
    """Hardness and alkalinity as they are; a ratio band lo <= Ca / Mg <= hi as two rows without a quotient."""

    def of(ion: str) -> Array:
        return np.array([item.purity * item.salt.ions_mmol_per_g().get(ion, 0.0) for item in cupboard])

    calcium, magnesium = of("Ca"), of("Mg")
    alkalinity = np.array([item.purity * item.salt.alkalinity_meq_per_g() for item in cupboard])
    hardness, alkaline = target.hardness_mmol_l, target.alkalinity_meq_l
    rows = [calcium + magnesium, alkalinity]
    low = [hardness.low - water.hardness_mmol_l, alkaline.low - water.alkalinity_meq_l]
    high = [hardness.high - water.hardness_mmol_l, alkaline.high - water.alkalinity_meq_l]
    size = [hardness.high, alkaline.high]
    if (band := target.calcium_to_magnesium) is not None:
        rows += [calcium - band.low * magnesium, band.high * magnesium - calcium]
        low += [
            band.low * water.magnesium_mmol_l - water.calcium_mmol_l,
            water.calcium_mmol_l - band.high * water.magnesium_mmol_l,
        ]
        high += [np.inf, np.inf]
        size += [hardness.high, hardness.high]
    return _Rows(np.array(rows), np.array(low), np.array(high), np.maximum(size, 1e-6))


def _fewest_grams(rows: _Rows, upper: Array) -> Array | None:
    if np.any(rows.low > rows.high):
        return None
    return solve(Programme(np.ones(len(upper)), rows.matrix, rows.low, rows.high, upper))


def _least_miss(rows: _Rows, upper: Array) -> Array:
    """Grams of the least total miss, each miss counted against the size of its band.

    Two columns more for every row, how far below and above it may stay; they weigh so much more than grams that grams
    only settle ties.
    """
    count = len(rows.low)
    slack = np.hstack([np.diag(rows.size), -np.diag(rows.size)])
    matrix = np.hstack([rows.matrix, slack])
    cost = np.concatenate([np.full(len(upper), 1e-4), np.ones(2 * count)])
    free = np.full(2 * count, np.inf)
    amounts = solve(Programme(cost, matrix, rows.low, rows.high, np.concatenate([upper, free])))
    if amounts is None:  # cannot be: the slack columns reach any band
        raise AssertionError("the elastic programme has no solution")
    return amounts[: len(upper)]


def _weighed(grams: Array, step_g: float, parts: int, cupboard: Sequence[Stocked]) -> Array:
    """Grams in all, each batch rounded to the scale, and never more than is in stock."""
    if step_g == 0:
        return grams
    stock = np.array([np.inf if item.stock_g is None else item.stock_g for item in cupboard])
    batches = np.round(grams / parts / step_g) * step_g
    return np.where(batches * parts > stock * (1 + 1e-9), np.maximum(batches - step_g, 0.0), batches) * parts
