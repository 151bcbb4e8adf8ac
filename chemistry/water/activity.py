"""Activity coefficients, and with them the factors that turn activities into molalities.

Source: extended Debye-Hueckel law of Truesdell & Jones 1974, J. Res. US Geol. Survey 2, 233 (WATEQ), with the ion sizes
of tables/species.csv; Davies' equation for charged species without one; 0.1 I for those without charge.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np

from tapwright.chemistry import reference
from tapwright.chemistry.water.constants import LN_10, Amount, Constants


class Maths(NamedTuple):
    """The few functions that floats and arrays do not share."""

    exp: Callable[[Amount], Amount]
    log: Callable[[Amount], Amount]
    sqrt: Callable[[Amount], Amount]
    maximum: Callable[[Amount, Amount], Amount]
    minimum: Callable[[Amount, Amount], Amount]


def _log(x: float) -> float:
    return math.log(x) if x > 0 else -math.inf


FLOATS = Maths(math.exp, _log, math.sqrt, max, min)
ARRAYS = Maths(np.exp, np.log, np.sqrt, np.maximum, np.minimum)


@dataclass(slots=True)
class Factors:
    """Molality [mol/kg] of every species, divided by the activities of what it is made of.

    For a free ion that is one over its activity coefficient; for any other species its constant besides. co2_activity
    leads from CO3 and H to the activity of CO2.
    """

    h: Amount
    oh: Amount
    co2: Amount
    co2_activity: Amount
    hco3: Amount
    co3: Amount
    so4: Amount
    hso4: Amount
    ca: Amount
    cahco3: Amount
    caco3: Amount
    caso4: Amount
    caoh: Amount
    mg: Amount
    mghco3: Amount
    mgco3: Amount
    mgso4: Amount
    mgoh: Amount
    na: Amount
    nahco3: Amount
    naco3: Amount
    naso4: Amount
    k: Amount
    kso4: Amount
    nh4: Amount
    nh3: Amount
    nh4so4: Amount


class Inverses(NamedTuple):
    """One over the activity coefficient of every kind of species the equilibria meet."""

    neutral: Amount
    davies: Amount
    h: Amount
    oh: Amount
    hco3: Amount
    co3: Amount
    so4: Amount
    ca: Amount
    cahco3: Amount
    mg: Amount
    mghco3: Amount
    mgoh: Amount
    na: Amount
    k: Amount
    nh4: Amount


def factors(at: Constants, inverse: Inverses, water_activity: Amount) -> Factors:
    """The factors from constants, activity coefficients and the activity of water."""
    neutral, davies, hydroxide = inverse.neutral, inverse.davies, at.oh * water_activity
    co2_activity = at.co2 / water_activity
    return Factors(
        h=inverse.h,
        oh=hydroxide * inverse.oh,
        co2=co2_activity * neutral,
        co2_activity=co2_activity,
        hco3=at.hco3 * inverse.hco3,
        co3=inverse.co3,
        so4=inverse.so4,
        hso4=at.hso4 * davies,
        ca=inverse.ca,
        cahco3=at.cahco3 * inverse.cahco3,
        caco3=at.caco3 * neutral,
        caso4=at.caso4 * neutral,
        caoh=at.caoh * water_activity * davies,
        mg=inverse.mg,
        mghco3=at.mghco3 * inverse.mghco3,
        mgco3=at.mgco3 * neutral,
        mgso4=at.mgso4 * neutral,
        mgoh=at.mgoh * water_activity * inverse.mgoh,
        na=inverse.na,
        nahco3=at.nahco3 * neutral,
        naco3=at.naco3 * davies,
        naso4=at.naso4 * inverse.hco3,  # of one charge and size, as KSO4- below
        k=inverse.k,
        kso4=at.kso4 * inverse.hco3,
        nh4=inverse.nh4,
        nh3=at.nh3 * neutral,
        nh4so4=at.nh4so4 * davies,
    )


def inverses(at: Constants, ionic_strength: Amount, maths: Maths) -> Inverses:
    """One over the activity coefficients at an ionic strength [mol/kg]."""
    exp, size, linear = maths.exp, _sizes(), _linear_terms()
    root = maths.sqrt(ionic_strength)
    slope, reach = at.slope * root, at.reach * root

    def ion(name: str) -> Amount:
        """Of a single charge and no linear term."""
        return exp(slope / (1 + size[name] * reach))

    # Calcium and sulfate are of one size, as potassium and hydroxide are, and carbonate and bicarbonate: what they
    # share is computed once.
    calcium_size = 4 * slope / (1 + size["ca"] * reach)
    magnesium_size = 4 * slope / (1 + size["mg"] * reach)
    sodium_size = slope / (1 + size["na"] * reach)
    hydroxide, bicarbonate = ion("oh"), ion("hco3")
    squared = bicarbonate * bicarbonate
    return Inverses(
        neutral=exp(-0.1 * LN_10 * ionic_strength),
        davies=_davies(at, ionic_strength, root, maths),
        h=ion("h"),
        oh=hydroxide,
        hco3=bicarbonate,
        co3=squared * squared,
        so4=exp(calcium_size - linear["so4"] * ionic_strength),
        ca=exp(calcium_size - linear["ca"] * ionic_strength),
        cahco3=ion("cahco3"),
        mg=exp(magnesium_size - linear["mg"] * ionic_strength),
        mghco3=ion("mghco3"),
        mgoh=ion("mgoh"),
        na=exp(sodium_size - linear["na"] * ionic_strength),
        k=hydroxide * exp(-linear["k"] * ionic_strength),
        nh4=ion("nh4"),
    )


def rough_inverses(at: Constants, ionic_strength: Amount, maths: Maths) -> Inverses:
    """The same within a few per cent for one exponential: Davies' equation for every ion. To start from."""
    one = _davies(at, ionic_strength, maths.sqrt(ionic_strength), maths)
    squared = one * one
    two = squared * squared
    return Inverses(1.0, one, one, one, one, two, two, two, one, two, one, one, one, one, one)


def _davies(at: Constants, ionic_strength: Amount, root: Amount, maths: Maths) -> Amount:
    """One over Davies' activity coefficient of a single charge."""
    return maths.exp(at.slope * (root / (1 + root) - 0.3 * ionic_strength))


@cache
def _sizes() -> dict[str, float]:
    """Ion sizes [Angstrom] of the species that have one."""
    rows = reference.table("species").items()
    return {key: float(row["ion_size_angstrom"]) for key, row in rows if row["ion_size_angstrom"]}


@cache
def _linear_terms() -> dict[str, float]:
    """The linear terms [kg/mol] of the same species, times ln 10."""
    return {key: LN_10 * float(reference.table("species")[key]["b_kg_mol"]) for key in _sizes()}
