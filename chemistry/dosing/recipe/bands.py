"""A target as rows over what mixing and dosing conserve: ions, alkalinity and carbon.

Hardness, alkalinity, ions and their ratio are linear as they stand. pH, conductivity and saturation are not: their rows
hold near one water, the pivot, and are drawn anew at the answer they lead to (`chemistry.dosing.recipe.remineralise`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tapwright.chemistry.errors import BadInput, OutOfRange
from tapwright.chemistry.programmes.budget import ONE_WATER, current
from tapwright.chemistry.programmes.linear_programme import Array
from tapwright.chemistry.water.composition import ION_SYMBOLS, Water
from tapwright.chemistry.water.equilibrium import Equilibrium, at_air, at_carbon, at_ph, equilibrium_of
from tapwright.chemistry.water.target import Band, Target, measures

# What a row weighs, in this order; the last two are alkalinity and inorganic carbon.
CONSERVED = (*(f"{ion}_mmol_l" for ion in ION_SYMBOLS), "alkalinity_meq_l", "carbon_mmol_l")
CALCITE = "si_calcite_aerated"
NEEDS_PIVOT = ("conductivity_us_cm", "ph_aerated", "ph_at_once", CALCITE)
# A band that rests on the equilibrium counts as held when the answer is so near to it: far below what a pen can see.
_NEAR = {"conductivity_us_cm": 0.05, "ph_aerated": 0.002, "ph_at_once": 0.002, CALCITE: 0.002}
# A ratio to hardly any magnesium moves far where amounts move by what a solver leaves.
_NEAR["calcium_to_magnesium"] = 2e-4
_LINEAR_SLACK = 1e-6
# Steps of a finite difference, far above the engine's own tolerance [mmol/L, meq/L].
_NUDGE = 0.01
# A ratio with an upper end wants a little magnesium to be one at all [mmol/L]: a fortieth of a mg/L.
_TRACE = 0.001


@dataclass(frozen=True)
class Cap:
    """Highest saturation index of calcite at rest, and what gives way where it is passed.

    calcium_part: of what is too much, the part that calcium gives up, 0 to 1.  least_calcium_mmol_l: calcium gives way down
    to this, and then alkalinity; None where the part decides.
    """

    index: float
    calcium_part: float = 1 / 3
    least_calcium_mmol_l: float | None = None

    def tries(self, source_calcium_mmol_l: float) -> tuple[Cap, ...]:
        """The same cap, to be kept in one of several ways, as no one of them always can: by no calcium but the source's, by
        less of both, of alkalinity alone, or of calcium alone.
        """
        parts = (replace(self, calcium_part=part, least_calcium_mmol_l=None) for part in (1 / 3, 0.0, 1.0))
        return (replace(self, least_calcium_mmol_l=source_calcium_mmol_l), *parts)

    def reached(self, calcium: Any, alkalinity: Any, index: Any) -> tuple[Any, Any]:
        """Calcium [mmol/L] and alkalinity [meq/L], scalars or arrays, at which such waters come to the cap.

        At one CO2 pressure the index goes with the logarithm of calcium and twice that of alkalinity.
        """
        room = self.index - index
        at_cap = calcium * 10 ** (room * self.calcium_part)
        if self.least_calcium_mmol_l is not None:
            least = np.minimum(calcium, self.least_calcium_mmol_l)
            at_cap = np.where(room < 0, np.maximum(calcium * 10 ** np.minimum(room, 0.0), least), calcium)
        return at_cap, alkalinity * 10 ** ((room - np.log10(at_cap / calcium)) / 2)


@dataclass(frozen=True)
class Row:
    """low <= weights @ conserved <= high, for the band of that name; size: what a miss of it is measured against.

    weights: one for each of CONSERVED.
    """

    band: str
    weights: Array
    low: float
    high: float
    size: float


@dataclass(frozen=True)
class Standing:
    """Where a water stands in a band: `value` of the quantity, in its canonical unit."""

    band: str
    value: float
    within: Band

    @property
    def held(self) -> bool:
        """Whether it lies inside, but for rounding."""
        return self.within.holds(self.value, _NEAR.get(self.band, _LINEAR_SLACK))

    @property
    def limit(self) -> float:
        """The end of the band it lies beyond, or nearest to."""
        return self.within.low if self.value < self.within.low else self.within.high


def amounts_of(water: Water) -> Array:
    """What is conserved of a water, in the order of CONSERVED; carbon that is not known counts as none."""
    return np.array([getattr(water, name) or 0.0 for name in CONSERVED])


def with_amounts(water: Water, amounts: Array) -> Water:
    """The water with these amounts in place of its own; its carbon stays unknown where it was."""
    given = {name: float(amount) for name, amount in zip(CONSERVED, amounts, strict=True)}
    if water.carbon_mmol_l is None:
        given.pop("carbon_mmol_l")
    return replace(water, **given)


def rows_of(target: Target, pivot: Water | None, times_air: float, cap: Cap | None = None) -> list[Row]:
    """Every band of the target as rows; those that need a pivot are left out where there is none.

    pivot: a water with known carbon where pH at once has a band.  times_air: CO2 of the air, for pH at rest.
    cap: on the saturation with calcite; None for none.
    """
    rows = [row for name, band in target.bands() for row in _rows_of_band(name, band, pivot, times_air)]
    if cap is not None and pivot is not None:
        index = float(at_air(pivot, times_air).si_calcite)
        rows += calcite_rows(pivot.calcium_mmol_l, pivot.alkalinity_meq_l, index, cap)
    return rows


def _rows_of_band(name: str, band: Band, pivot: Water | None, times_air: float) -> Iterator[Row]:
    if name == "hardness_mmol_l":
        yield Row(name, _weights({"calcium_mmol_l": 1, "magnesium_mmol_l": 1}), band.low, band.high, _size(band))
    elif name == "calcium_to_magnesium":
        yield from _ratio(band)
    elif name in CONSERVED:
        yield Row(name, _weights({name: 1}), band.low, band.high, _size(band))
    elif pivot is not None:
        drawn = {"conductivity_us_cm": _conductivity, "ph_aerated": _ph_aerated, "ph_at_once": _ph_at_once}
        yield from drawn[name](band, pivot, times_air)


def _weights(given: Mapping[str, float]) -> Array:
    return np.array([given.get(name, 0.0) for name in CONSERVED])


def _size(band: Band) -> float:
    """A miss is counted against the upper end of its band, or the lower where there is none."""
    return max(band.high if math.isfinite(band.high) else band.low, 1e-6)


def _ratio(band: Band) -> Iterator[Row]:
    """lo <= Ca / Mg <= hi as rows without a quotient, each against the size of lake-like hardness [mmol/L]."""
    name = "calcium_to_magnesium"
    if band.low > 0:
        yield Row(name, _weights({"calcium_mmol_l": 1, "magnesium_mmol_l": -band.low}), 0.0, math.inf, 1.0)
    if math.isfinite(band.high):
        yield Row(name, _weights({"calcium_mmol_l": -1, "magnesium_mmol_l": band.high}), 0.0, math.inf, 1.0)
        yield Row(name, _weights({"magnesium_mmol_l": 1}), _TRACE, math.inf, 1.0)


def _ph_aerated(band: Band, pivot: Water, times_air: float) -> Iterator[Row]:
    """At one CO2 pressure, pH is a matter of alkalinity alone, but for what ionic strength does."""
    low, high = (alkalinity_at(pivot, ph, times_air) for ph in (band.low, band.high))
    yield Row("ph_aerated", _weights({"alkalinity_meq_l": 1}), low, high, max(low, 1.0))


def alkalinity_at(pivot: Water, ph: float, times_air: float) -> float:
    """Alkalinity [meq/L] at which a water like the pivot rests at `ph`."""
    if not math.isfinite(ph) or ph <= 0:
        return math.copysign(math.inf, ph) if ph else -math.inf
    current().take(4 * ONE_WATER)
    alkalinity_meq_l = max(pivot.alkalinity_meq_l, 2.0)  # enough for any pH that has a band; it is but a first guess
    for _ in range(4):  # at one pH, CO2 goes very nearly with alkalinity
        found = at_ph(replace(pivot, alkalinity_meq_l=alkalinity_meq_l), ph)
        alkalinity_meq_l *= times_air / float(found.co2_times_air)
    return alkalinity_meq_l


def _ph_at_once(band: Band, pivot: Water, times_air: float) -> Iterator[Row]:
    """At one pH, carbon goes with alkalinity: pH >= lo is carbon <= (C / A) alkalinity, with C / A as at the pivot."""
    if pivot.carbon_mmol_l is None:
        raise BadInput.of(
            "pH at once", "has a band, and the carbon of the water it is made of is not known.", "Give its pH as well."
        )
    size = max(float(pivot.alkalinity_meq_l), 0.1)
    for ph, ends in ((band.low, (-math.inf, 0.0)), (band.high, (0.0, math.inf))):
        if not 0 < ph < math.inf:
            continue
        at = replace(pivot, alkalinity_meq_l=max(pivot.alkalinity_meq_l, 0.5))
        ratio = float(at_ph(at, ph).carbon_mmol_l) / at.alkalinity_meq_l
        yield Row("ph_at_once", _weights({"carbon_mmol_l": 1, "alkalinity_meq_l": -ratio}), *ends, size)


def _conductivity(band: Band, pivot: Water, times_air: float) -> Iterator[Row]:
    """A plane through the pivot and through pure water, with the slopes at the pivot."""
    weights = conductivity_weights(pivot, times_air)
    yield Row("conductivity_us_cm", weights, band.low, band.high, _size(band))


def conductivity_weights(pivot: Water, times_air: float) -> Array:
    """What each conserved amount adds to conductivity near the pivot [uS/cm per mmol/L]; together, all of it there."""
    here, at = conductivity_at(pivot, times_air), amounts_of(pivot)
    slopes = []
    for column in range(len(CONSERVED)):
        nudged = at.copy()
        nudged[column] += _NUDGE
        slopes.append((conductivity_at(with_amounts(pivot, nudged), times_air) - here) / _NUDGE)
    weights = np.array(slopes)
    whole = float(weights @ at)
    return weights * (here / whole) if whole > 0 else weights


def calcite_rows(calcium: float, alkalinity: float, index: float, cap: Cap) -> list[Row]:
    """The cap near a water of this calcium [mmol/L] and alkalinity [meq/L] whose saturation index is `index`.

    The row is drawn through the point where the water comes to the cap: by the inequality of means Ca / Ca' + 2 A / A' <= 3
    keeps Ca A^2 <= Ca' A'^2, so what holds the row holds the cap.
    """
    if calcium <= 0 or alkalinity <= 0:
        return []
    at_cap, alkalinity_at_cap = cap.reached(calcium, alkalinity, index)
    weights = {"calcium_mmol_l": 1 / float(at_cap), "alkalinity_meq_l": 2 / float(alkalinity_at_cap)}
    return [Row(CALCITE, _weights(weights), -math.inf, 3.0, 3.0)]


def conductivity_at(water: Water, times_air: float) -> float:
    """Conductivity [uS/cm] of the water as made, or at rest with the air where its carbon is not known."""
    return float(state_of(water, times_air).conductivity_us_cm)


def state_of(water: Water, times_air: float) -> Equilibrium:
    """The water as it stands, or at rest with the air where its carbon is not known."""
    current().take(ONE_WATER)
    return equilibrium_of(water) or at_air(water, times_air)


def standings(
    water: Water, target: Target, times_air: float = 1.0, calcite_cap: float | None = None
) -> tuple[Standing, ...]:
    """Where the water stands in every band of the target, in the order people are told."""
    bands = dict(target.bands())
    found = [Standing(name, value_of(water, name, times_air), bands[name]) for name in measures() if name in bands]
    if calcite_cap is not None:
        found.append(Standing(CALCITE, value_of(water, CALCITE, times_air), Band(-math.inf, calcite_cap)))
    return tuple(found)


def value_of(water: Water, name: str, times_air: float) -> float:
    """One quantity that may have a band, in its canonical unit; a ratio to no magnesium is infinite."""
    if name == "calcium_to_magnesium":
        return float(water.calcium_mmol_l / water.magnesium_mmol_l) if water.magnesium_mmol_l > 0 else math.inf
    if name not in NEEDS_PIVOT:
        return float(getattr(water, name))
    try:
        if name == "conductivity_us_cm":
            return conductivity_at(water, times_air)
        if name == "ph_at_once":
            return math.nan if water.carbon_mmol_l is None else float(at_carbon(water, water.carbon_mmol_l).ph)
        current().take(ONE_WATER)
        rest = at_air(water, times_air)
    except OutOfRange:  # no such water: outside every band
        return math.inf
    return float(rest.ph if name == "ph_aerated" else rest.si_calcite)
