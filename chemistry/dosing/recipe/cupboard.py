"""What may go into a refill, as columns: each salt by the step it is measured in, and deionised water by the litre."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from tapwright.chemistry.dosing.recipe.bands import CONSERVED, amounts_of
from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.programmes.linear_programme import Array
from tapwright.chemistry.substances import Salt
from tapwright.chemistry.water.composition import ION_SYMBOLS, Water
from tapwright.chemistry.water.equilibrium import closed, deionised_water

DEIONISED = "deionised water"
_FIELDS = {symbol: f"{ion}_mmol_l" for ion, symbol in ION_SYMBOLS.items()}


@dataclass(frozen=True)
class Stocked:
    """A salt in the cupboard: its purity (share by mass) and the grams in stock (None: enough).

    price_per_kg: in any one currency; None where it is not known.  step_g: grams of the measure it is taken in, such as a
    level spoon; None for the scale's own step.
    """

    salt: Salt
    purity: float = 1.0
    stock_g: float | None = None
    price_per_kg: float | None = None
    step_g: float | None = None

    def __post_init__(self) -> None:
        faults = []
        if not 0 < self.purity <= 1:
            faults.append(f"its purity is {self.purity:.0%}; more than 0 % and up to 100 % is allowed.")
        if self.stock_g is not None and not self.stock_g > 0:
            faults.append(f"its stock is {self.stock_g:g} g; more than 0 g is allowed.")
        if self.price_per_kg is not None and not 0 <= self.price_per_kg < math.inf:
            faults.append(f"its price is {self.price_per_kg:g} per kg; 0 or more is allowed.")
        if self.step_g is not None and not 0 < self.step_g < math.inf:
            faults.append(f"its measure holds {self.step_g:g} g; more than 0 g is allowed.")
        if faults:
            hint = "Correct it, or leave the salt out."
            raise BadInput(Fault(self.salt.name, fault, hint) for fault in faults)


@dataclass(frozen=True)
class Deionised:
    """Deionised or reverse-osmosis water at hand: litres (None: enough), price per litre (None: not known)."""

    stock_l: float | None = None
    price_per_l: float | None = None

    def __post_init__(self) -> None:
        faults = []
        if self.stock_l is not None and not self.stock_l > 0:
            faults.append(f"its stock is {self.stock_l:g} L; more than 0 L is allowed.")
        if self.price_per_l is not None and not 0 <= self.price_per_l < math.inf:
            faults.append(f"its price is {self.price_per_l:g} per litre; 0 or more is allowed.")
        if faults:
            raise BadInput(Fault(DEIONISED, fault, "Correct it, or leave the water out.") for fault in faults)


@dataclass(frozen=True)
class Columns:
    """One column for each salt, by name, and a last one for deionised water where that is offered.

    salts: the cupboard in the order of the columns.  effect: what one unit does to the conserved amounts of the refill,
    CONSERVED x columns.  unit: grams, or litres, in one unit.  most: units that can be taken; stock: units there are, whole
    or not.  whole: whether only whole units can be measured.  cost: of one unit, in money where every price is known, else
    in grams.  sodium: one unit brings [mmol/L].  priced: whether the cost is money.
    """

    salts: tuple[Stocked, ...]
    effect: Array
    unit: Array
    most: Array
    stock: Array
    whole: bool
    cost: Array
    sodium: Array
    priced: bool

    @property
    def count(self) -> int:
        """Columns that are salts."""
        return len(self.salts)

    def finely(self) -> Columns:
        """The same, measured in any part of a unit."""
        return replace(self, most=self.stock, whole=False)


def columns(
    water: Water,
    cupboard: Iterable[Stocked],
    volume_l: float,
    *,
    step_g: float = 0.0,
    parts: int = 1,
    deionised: Deionised | None = None,
) -> Columns:
    """Columns for `volume_l` of refill from `water`, made in `parts` equal batches.

    step_g: the scale's step in one batch; 0 measures any amount.  Raises BadInput for a salt that stands twice.
    """
    salts = tuple(sorted(cupboard, key=lambda item: item.salt.name))  # so that the file's order never decides
    if twice := [one.salt.name for one, other in pairwise(salts) if one.salt is other.salt]:
        raise BadInput(Fault(name, "stands twice in the cupboard.", "Keep one.") for name in twice)
    # What is not measured in whole steps is counted in grams.
    whole = step_g > 0
    unit_g = np.array([(item.step_g or step_g) * parts if whole else 1.0 for item in salts])
    stock_g = np.array([math.inf if item.stock_g is None else item.stock_g for item in salts])
    effect = np.column_stack([np.zeros((len(CONSERVED), 0)), *(_brings(item) for item in salts)]) * unit_g / volume_l
    priced = bool(salts) and all(item.price_per_kg is not None for item in salts)
    priced = priced and (deionised is None or deionised.price_per_l is not None)
    cost = unit_g * np.array([item.price_per_kg or 0.0 for item in salts]) / 1000 if priced else unit_g
    if deionised is not None:
        unit_l = _litre_step(volume_l / parts) * parts if whole else 1.0
        pure = amounts_of(deionised_water(water.temperature_c)) - amounts_of(closed(water))
        effect = np.column_stack([effect, pure * unit_l / volume_l])
        unit_g = np.append(unit_g, unit_l)
        stock_g = np.append(stock_g, min(deionised.stock_l or math.inf, volume_l))
        cost = np.append(cost, unit_l * (deionised.price_per_l or 0.0) if priced else 0.0)
    stock = stock_g / unit_g
    most = np.floor(stock + 1e-9) if whole else stock
    sodium = np.maximum(effect[CONSERVED.index("sodium_mmol_l")], 0.0)
    return Columns(salts, effect, unit_g, most, stock, whole, cost, sodium, priced)


def _brings(item: Stocked) -> Array:
    """What a gram from the jar brings [mmol, meq]."""
    amounts = dict.fromkeys(CONSERVED, 0.0)
    for ion, mmol in item.salt.ions_mmol_per_g().items():
        if ion in _FIELDS:
            amounts[_FIELDS[ion]] += mmol
    amounts["alkalinity_meq_l"] = item.salt.alkalinity_meq_per_g()
    amounts["carbon_mmol_l"] = item.salt.carbon_mmol_per_g()
    return item.purity * np.array(list(amounts.values()))


def _litre_step(batch_l: float) -> float:
    """Litres that can be told apart on a tote or bucket of that size (common practice, no source)."""
    return 1.0 if batch_l >= 50 else 0.1


def dissolve(water: Water, grams_per_l: Iterable[tuple[Salt, float]]) -> Water:
    """The water with pure salts [g/L] dissolved in it; ions, alkalinity and, where it is known, carbon add up."""
    doses = [(grams, _brings(Stocked(salt))) for salt, grams in grams_per_l]
    return with_added(
        closed(water), [sum(grams * brings[row] for grams, brings in doses) for row in range(len(CONSERVED))]
    )


def with_added(water: Water, added: Sequence[Any] | Array) -> Water:
    """A water, by its carbon, with these conserved amounts on top of its own."""
    amounts = dict(zip(CONSERVED, added, strict=True))
    carbon = amounts.pop("carbon_mmol_l")
    given = {name: getattr(water, name) + amount for name, amount in amounts.items()}
    return replace(water, **given, carbon_mmol_l=None if water.carbon_mmol_l is None else water.carbon_mmol_l + carbon)
