"""Several changes in a row as one linear programme: the tank after each is an affine function of all that went in before.

tank(k) = (1 - share) (tank(k-1) + top-off) + share refill(k), and refill(k) = source + what the salts bring. Limits on a
change hold between the tank before and after it, bands of the target on the last tank, bands of a refill on each refill.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from tapwright.chemistry.dosing.recipe.bands import (
    CONSERVED,
    NEEDS_PIVOT,
    Cap,
    Row,
    amounts_of,
    calcite_rows,
    conductivity_weights,
    rows_of,
    with_amounts,
)
from tapwright.chemistry.dosing.recipe.choice import Rows
from tapwright.chemistry.dosing.recipe.cupboard import Columns
from tapwright.chemistry.programmes.budget import ARRAY_OF_WATERS, WATER_IN_ARRAY, current
from tapwright.chemistry.programmes.linear_programme import Array
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.constants import HIGHEST_C, LOWEST_C
from tapwright.chemistry.water.equilibrium import at_air, at_ph
from tapwright.chemistry.water.target import Target

_SLACK = 1e-7
_HARDNESS = np.array([1.0, 1.0, 0, 0, 0, 0, 0, 0])
_CALCIUM, _ALKALINE = CONSERVED.index("calcium_mmol_l"), CONSERVED.index("alkalinity_meq_l")
_ALKALINITY = np.eye(len(CONSERVED))[_ALKALINE]
# Saturation goes with the logarithms of calcium and alkalinity so near to the cap that a row can be drawn on it.
_NEAR_CAP = 1.0
# What thins with every change besides: no salt brings it and no band is on it, but it conducts.
_BESIDES = ("nitrate_mg_l", "ammonia_mg_n_l")
_TRACKED = (*CONSERVED, *_BESIDES)
_NEVER_NEGATIVE = np.array([name != "alkalinity_meq_l" for name in _TRACKED])


@dataclass(frozen=True)
class Limits:
    """How far one change may move the tank: hardness [mmol/L], alkalinity [meq/L], pH, conductivity [share], temperature
    [degC].
    """

    hardness_mmol_l: float
    alkalinity_meq_l: float
    ph: float
    conductivity: float
    temperature_c: float


@dataclass(frozen=True)
class Way:
    """What is changed, with what.

    tank: as it is now.  source: what refills are made of.  share: of the tank at each change; refill_l: so much.  shelf:
    what may go into one refill; its stock is for all refills together.  topped: what topping off brings between two
    changes, as `tracked`.  degrees_c: of the tank now and after each change; the last holds for all that follow.
    times_air: CO2 the tank rests with.  target: bands of the tank in the end; refill: bands of every refill; cap: on the
    saturation of a refill at rest with `room_times_air`.
    """

    tank: Water
    source: Water
    share: float
    refill_l: float
    shelf: Columns
    limits: Limits
    target: Target
    refill: Target
    topped: Array
    degrees_c: tuple[float, ...]
    times_air: float
    room_times_air: float
    cap: Cap

    def tank_c(self, changes: int) -> Array:
        """Temperature of the tank before so many changes, and after each [degC]."""
        padded = (*self.degrees_c, *[self.degrees_c[-1]] * changes)
        return np.array(padded[: changes + 1])

    def refill_c(self, changes: int) -> Array:
        """Temperature of the refills that bring the tank there [degC]."""
        tank_c = self.tank_c(changes)
        return np.clip(tank_c[:-1] + np.diff(tank_c) / self.share, LOWEST_C, HIGHEST_C)

    def effect(self) -> Array:
        """What one unit of each column does to a refill, as `tracked`: deionised water thins what no salt brings as well."""
        thinned = self.shelf.unit * (np.arange(len(self.shelf.unit)) >= self.shelf.count) / self.refill_l
        return np.vstack([self.shelf.effect, -np.outer(tracked(self.source)[len(CONSERVED) :], thinned)])


@dataclass(frozen=True)
class Pivots:
    """All stages at certain amounts: tanks before and after each, refills, `tracked` x changes, and what the
    engine makes of them.

    ph, conductivity_us_cm: of the tanks before and after, at rest with their air, 2 x changes.  si_calcite: of the refills
    at rest with the room's.
    """

    before: Array
    refill: Array
    after: Array
    ph: Array
    conductivity_us_cm: Array
    si_calcite: Array

    def without_first(self) -> Pivots:
        """The same for all changes but the first."""
        return Pivots(*(getattr(self, field.name)[..., 1:] for field in fields(self)))


@dataclass(frozen=True)
class Affine:
    """base + slope @ z, for all amounts z of all changes."""

    base: Array
    slope: Array

    def at(self, amounts: Array) -> Array:
        """Amounts, as `tracked`; of deionised water alone, what rounding leaves of the rest must not lie below nothing."""
        found: Array = self.base + self.slope @ amounts
        return np.where(_NEVER_NEGATIVE, np.maximum(found, 0.0), found)


@dataclass(frozen=True)
class Multistage:
    """So many changes, as affine functions of what goes into them: tanks before and after each, and refills."""

    way: Way
    before: tuple[Affine, ...]
    refills: tuple[Affine, ...]
    after: tuple[Affine, ...]

    @classmethod
    def of(cls, way: Way, changes: int) -> Multistage:
        """As many stages as changes."""
        effect, columns = way.effect(), len(way.shelf.unit)
        tank = Affine(tracked(way.tank), np.zeros((len(effect), changes * columns)))
        before, refills, after = [], [], []
        for change in range(changes):
            if change:
                tank = replace(tank, base=tank.base + way.topped)
            slope = np.zeros_like(tank.slope)
            slope[:, change * columns : (change + 1) * columns] = effect
            refill = Affine(tracked(way.source), slope)
            before.append(tank)
            refills.append(refill)
            tank = Affine(
                (1 - way.share) * tank.base + way.share * refill.base,
                (1 - way.share) * tank.slope + way.share * refill.slope,
            )
            after.append(tank)
        return cls(way, tuple(before), tuple(refills), tuple(after))

    @property
    def changes(self) -> int:
        """How many there are."""
        return len(self.after)

    def pivots(self, amounts: Array) -> Pivots:
        """What the engine makes of the waters on the way."""
        before, refill, after = (
            np.array([part.at(amounts) for part in parts]).T for parts in (self.before, self.refills, self.after)
        )
        way, tank_c = self.way, self.way.tank_c(self.changes)
        tanks_c = np.append(tank_c[:-1], tank_c[1:])
        tanks = at_air(_waters(way.tank, np.hstack([before, after]), tanks_c), way.times_air)
        fresh = at_air(_waters(way.source, refill, way.refill_c(self.changes)), way.room_times_air)
        return Pivots(
            before,
            refill,
            after,
            np.reshape(tanks.ph, (2, -1)),
            np.reshape(tanks.conductivity_us_cm, (2, -1)),
            np.reshape(fresh.si_calcite, -1),
        )

    def rows(self, pivots: Pivots | None) -> Rows:
        """Every limit and band; those that need a pivot are left out where there is none."""
        way, found = self.way, _Collected()
        limits = ((_HARDNESS, way.limits.hardness_mmol_l), (_ALKALINITY, way.limits.alkalinity_meq_l))
        for before, after in zip(self.before, self.after, strict=True):
            for weights, limit in limits:
                found.add(weights, after, -limit, limit, -weights, before)
        for ratio in _ratios(way, pivots) if pivots else ():
            before, after = self.before[ratio.change], self.after[ratio.change]
            low, high = (0.0, math.inf) if ratio.least else (-math.inf, 0.0)
            found.add(ratio.weights, after, low, high, -ratio.factor * ratio.weights, before)
        for change, refill in enumerate(self.refills):
            for row in self._refill_rows(change, pivots):
                found.add(row.weights, refill, row.low, row.high)
        for refill, row in self._calcite_rows(pivots) if pivots else ():
            found.add(row.weights, refill, row.low, row.high)
        last = None if pivots is None else self.tank(pivots.after[:, -1], self.changes)
        for row in rows_of(way.target, last, way.times_air):
            found.add(row.weights, self.after[-1], row.low, row.high)
        return found.rows()

    def _refill_rows(self, change: int, pivots: Pivots | None) -> list[Row]:
        way = self.way
        if pivots is None:
            return rows_of(way.refill, None, way.room_times_air)
        pivot = (
            self.refill(pivots.refill[:, change], change)
            if any(name in NEEDS_PIVOT for name, _ in way.refill.bands())
            else None
        )
        return rows_of(way.refill, pivot, way.room_times_air)

    def _calcite_rows(self, pivots: Pivots) -> Iterator[tuple[Affine, Row]]:
        """The cap on every refill, drawn where a refill near it comes to the cap by the engine itself."""
        way, amounts, index = self.way, pivots.refill.copy(), pivots.si_calcite
        near = np.abs(way.cap.index - index) < _NEAR_CAP
        for _ in range(2 if np.any(near) else 0):
            with np.errstate(all="ignore"):  # a refill without calcium or alkalinity is nowhere near
                at_cap = way.cap.reached(amounts[_CALCIUM], amounts[_ALKALINE], index)
            amounts[[_CALCIUM, _ALKALINE]] = np.where(near, at_cap, amounts[[_CALCIUM, _ALKALINE]])
            refills = _waters(way.source, amounts, way.refill_c(self.changes))
            index = np.reshape(at_air(refills, way.room_times_air).si_calcite, -1)
        for change, refill in enumerate(self.refills):
            calcium, alkalinity = float(amounts[_CALCIUM, change]), float(amounts[_ALKALINE, change])
            for row in calcite_rows(calcium, alkalinity, float(index[change]), way.cap):
                yield refill, row

    def tank(self, amounts: Array, done: int) -> Water:
        """The tank when so many changes are done; it is at rest with its air, so its carbon is left open."""
        tank = replace(self.way.tank, ph=None, carbon_mmol_l=None, temperature_c=float(self.way.tank_c(done)[done]))
        return with_tracked(tank, amounts)

    def refill(self, amounts: Array, done: int) -> Water:
        """The refill that is poured when so many changes are done."""
        refill_c = float(self.way.refill_c(done + 1)[done])
        return with_tracked(replace(self.way.source, temperature_c=refill_c), amounts)

    def most(self) -> Array:
        """Units of every column in each change that there can be; the stock is shared, see `stock`."""
        return np.tile(self.way.shelf.most, self.changes)

    def stock(self) -> Rows:
        """What is in stock, over all changes together."""
        shelf = self.way.shelf
        limited = np.flatnonzero(np.isfinite(shelf.most[: shelf.count]))
        matrix = np.tile(np.eye(len(shelf.unit))[limited], self.changes)
        return Rows(matrix, np.full(len(limited), -math.inf), shelf.most[limited])


@dataclass(frozen=True)
class _Ratio:
    """weights @ after of one change is at most, or at least, so many times what it was before."""

    change: int
    weights: Array
    factor: float
    least: bool


def _ratios(way: Way, pivots: Pivots) -> Iterator[_Ratio]:
    """Limits between before and after as ratios: pH as one of alkalinity, conductivity as one of itself."""
    count = pivots.before.shape[1]
    # pH keeps far inside its limit on most ways: its rows are drawn only where it does not.
    near = np.any(np.abs(pivots.ph[1] - pivots.ph[0]) > way.limits.ph / 2) and np.all(pivots.before[_ALKALINE] > 0)
    for least, sign in ((False, 1), (True, -1)):
        if near:
            ends = _alkalinities_at(way, pivots.after, pivots.ph[0] + sign * way.limits.ph) / pivots.before[_ALKALINE]
            for change in range(count):
                yield _Ratio(change, _ALKALINITY, float(ends[change]), least)
    if math.isfinite(way.limits.conductivity):
        slopes = conductivity_weights(with_tracked(way.tank, pivots.after[:, count // 2]), way.times_air)
        for change in range(count):
            for least, factor in ((False, 1 + way.limits.conductivity), (True, max(1 - way.limits.conductivity, 0.0))):
                # The slopes hardly change on the way; their sum does, and the two sides are a little apart in it.
                uneven = _uneven(slopes, pivots, change)
                yield _Ratio(change, slopes, factor * uneven, least)


def _uneven(slopes: Array, pivots: Pivots, change: int) -> float:
    """How much more than the slopes say the tank before conducts, against the tank after."""
    told = [slopes @ amounts[: len(slopes), change] for amounts in (pivots.before, pivots.after)]
    return float(pivots.conductivity_us_cm[0, change] / told[0] * told[1] / pivots.conductivity_us_cm[1, change])


def _alkalinities_at(way: Way, amounts: Array, ph: Array) -> Array:
    """Alkalinity [meq/L] at which each of these tanks would rest at its `ph`."""
    amounts, tank_c = amounts.copy(), way.tank_c(amounts.shape[1])[1:]
    for _ in range(3):  # at one pH, CO2 goes very nearly with alkalinity
        amounts[_ALKALINE] *= way.times_air / at_ph(_waters(way.tank, amounts, tank_c), ph).co2_times_air
    found: Array = amounts[_ALKALINE]
    return found


def _waters(like: Water, amounts: Array, degrees_c: Array) -> Water:
    """An array of waters of these amounts and temperatures, their carbon left open; about to be brought to equilibrium."""
    current().take(ARRAY_OF_WATERS + WATER_IN_ARRAY * amounts.shape[1])
    given: dict[str, Any] = {name: amounts[row] for row, name in enumerate(_TRACKED) if name != "carbon_mmol_l"}
    # One temperature for all is much the faster.
    given["temperature_c"] = degrees_c if np.ptp(degrees_c) else float(degrees_c[0])
    return replace(like, **given, ph=None, carbon_mmol_l=None)


def tracked(water: Water) -> Array:
    """What is followed from change to change: what is conserved [mmol/L, meq/L], nitrate [mg/L NO3], ammonia [mg/L N]."""
    return np.append(amounts_of(water), [getattr(water, name) for name in _BESIDES])


def with_tracked(water: Water, amounts: Array) -> Water:
    """The water with these amounts, as `tracked`, in place of its own."""
    besides = {name: float(amount) for name, amount in zip(_BESIDES, amounts[len(CONSERVED) :], strict=True)}
    return replace(with_amounts(water, amounts[: len(CONSERVED)]), **besides)


class _Collected:
    """Rows as they come."""

    def __init__(self) -> None:
        self._matrix: list[Array] = []
        self._ends: list[tuple[float, float]] = []

    def add(
        self,
        weights: Array,
        of: Affine,
        low: float,
        high: float,
        other_weights: Array | None = None,
        other: Affine | None = None,
    ) -> None:
        """low <= weights @ of + other_weights @ other <= high."""
        here = slice(len(weights))
        row, base = weights @ of.slope[here], float(weights @ of.base[here])
        if other is not None and other_weights is not None:
            row, base = row + other_weights @ other.slope[here], base + float(other_weights @ other.base[here])
        self._matrix.append(row)
        self._ends.append((low - base - _SLACK, high - base + _SLACK))

    def rows(self) -> Rows:
        """All of them."""
        low, high = zip(*self._ends, strict=True)
        return Rows(np.array(self._matrix), np.array(low), np.array(high))
