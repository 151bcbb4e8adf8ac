"""Fewest grams of salts from the cupboard that bring a water into a target's bands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from chemistry.dosing.linear_programme import Array, Programme, solve
from chemistry.errors import BadInput
from chemistry.substances import Salt
from chemistry.water.composition import ION_SYMBOLS, Water, dgh_per_mmol
from chemistry.water.equilibrium import closed
from chemistry.water.target import Band, Target

# Concentrations agree to this far [mmol/L, meq/L]: a thousandth of what any kit resolves.
_SLACK = 1e-7
_FIELDS = {symbol: f"{ion}_mmol_l" for ion, symbol in ION_SYMBOLS.items()}


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
    """The water with pure salts [g/L] dissolved in it; ions, alkalinity and, where it is known, carbon add up."""
    water = closed(water)
    carbon_mmol_l = water.carbon_mmol_l
    added = dict.fromkeys((*_FIELDS.values(), "alkalinity_meq_l"), 0.0)
    for salt, grams in grams_per_l:
        for ion, amount in salt.ions_mmol_per_g().items():
            if ion in _FIELDS:
                added[_FIELDS[ion]] += amount * grams
        added["alkalinity_meq_l"] += salt.alkalinity_meq_per_g() * grams
        if carbon_mmol_l is not None:
            carbon_mmol_l += salt.carbon_mmol_per_g() * grams
    amounts = {name: getattr(water, name) + amount for name, amount in added.items()}
    return replace(water, **amounts, carbon_mmol_l=carbon_mmol_l)


def recipe(
    water: Water, target: Target, cupboard: Sequence[Stocked], volume_l: float, *, step_g: float = 0.0, parts: int = 1
) -> Recipe:
    """Grams for `volume_l` of refill, made in `parts` equal batches weighed in whole steps of `step_g` (0: any grams).

    The rounding is part of the programme, so a weighed recipe lies inside every band whenever the scale allows one.
    Carbonates are left in the cupboard unless they reach a band that the other salts cannot. Where the cupboard cannot
    meet every band, hardness and alkalinity are missed least, then the ratio. Raises BadInput for a volume or step
    below 0.
    """
    if volume_l <= 0 or step_g < 0 or parts < 1:
        raise BadInput.of("volume", f"{volume_l} L in {parts} batches by {step_g} g.", "Give more than 0 L.")
    cupboard = sorted(cupboard, key=lambda item: item.salt.name)  # so that the file's order never decides
    gentle = _made(water, target, [item for item in cupboard if item.salt.gentle], volume_l, step_g * parts)
    if not gentle.missed:
        return gentle
    harsh = _made(water, target, cupboard, volume_l, step_g * parts)
    return harsh if len(harsh.missed) < len(gentle.missed) else gentle


def _made(water: Water, target: Target, cupboard: Sequence[Stocked], volume_l: float, step_g: float) -> Recipe:
    """The recipe from exactly these salts; step_g: of all batches together."""
    rows = _rows(water, target, cupboard)
    stock_g = np.array([np.inf if item.stock_g is None else item.stock_g for item in cupboard])
    grams = _fewest_grams(rows, _Units.of(stock_g, volume_l, step_g))
    by_scale = False
    if grams is None:
        by_scale = _fewest_grams(rows, _Units.of(stock_g, volume_l, 0.0)) is not None
        grams = _least_miss(rows, _Units.of(stock_g, volume_l, step_g))
    made = _dissolved(water, cupboard, grams / volume_l)
    missed = misses(made, target)
    used = {item.salt: float(gram) for item, gram in zip(cupboard, grams, strict=True) if gram > 1e-9}
    return Recipe(
        grams={salt.name: gram for salt, gram in used.items()},
        water=made,
        missed=() if by_scale else missed,
        missed_by_scale=missed if by_scale else (),
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
    """Bands as rows over grams per litre; size of each and weight of missing it, for recipes that cannot meet all."""

    matrix: Array
    low: Array
    high: Array
    size: Array
    weight: Array


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
    # A miss of hardness or alkalinity is never bought with the ratio.
    weight = np.array([1000.0, 1000.0, 1.0, 1.0][: len(rows)])
    return _Rows(np.array(rows), np.array(low), np.array(high), np.maximum(size, 1e-6), weight)


@dataclass(frozen=True)
class _Units:
    """What the amounts are counted in: `grams` each, `per_l` grams per litre each, `most` of each salt in stock.

    whole: whether they are steps of the scale and so whole numbers; else any part of a gram.
    """

    grams: float
    per_l: float
    most: Array
    whole: bool

    @classmethod
    def of(cls, stock_g: Array, volume_l: float, step_g: float) -> _Units:
        """Steps of the scale, or grams where there is none (step_g 0)."""
        if step_g == 0:
            return cls(1.0, 1.0 / volume_l, stock_g, False)
        return cls(step_g, step_g / volume_l, np.floor(stock_g / step_g + 1e-9), True)


def _fewest_grams(rows: _Rows, units: _Units) -> Array | None:
    """Fewest grams inside every row; None where there are none."""
    count = len(units.most)
    low, high = rows.low - _SLACK, rows.high + _SLACK
    whole = count if units.whole else 0
    amounts = solve(Programme(np.ones(count), rows.matrix * units.per_l, low, high, units.most, whole))
    return None if amounts is None else amounts * units.grams


def _least_miss(rows: _Rows, units: _Units) -> Array:
    """Grams of the least weighted miss, each counted against the size of its band.

    Two columns more for every row, how far below and above it may stay; grams weigh so little that they only settle
    ties.
    """
    columns, count = len(units.most), len(rows.low)
    matrix = np.hstack([rows.matrix * units.per_l, np.diag(rows.size), -np.diag(rows.size)])
    cost = np.concatenate([np.full(columns, 1e-4 * units.per_l), rows.weight, rows.weight])
    bounds = np.concatenate([units.most, np.full(2 * count, np.inf)])
    amounts = solve(Programme(cost, matrix, rows.low, rows.high, bounds, columns if units.whole else 0))
    if amounts is None:  # cannot be: the columns for misses reach any band
        raise AssertionError("the elastic programme has no solution")
    return amounts[:columns] * units.grams
