"""How much of a salt, with its hydrate, water dissolves; handbook values of the anhydrous salt (tables/solubilities.csv)."""

from __future__ import annotations

import math
from functools import cache

import numpy as np

from tapwright.chemistry import reference
from tapwright.chemistry.substances import Salt, molar_mass


def solubility_g_l(salt: Salt, temperature_c: float) -> float:
    """Grams of the salt that dissolve in a litre of added water; infinite where it melts in its own.

    salt: its water of hydration counts as water, so that more of a hydrate dissolves than the ratio of the masses says.
    temperature_c: between the handbook's 10, 20, 25 and 30 degC linearly, beyond them as at the nearest.
    """
    anhydrous = salt.formula.partition("·")[0]
    share = molar_mass(anhydrous) / salt.molar_mass_g_mol
    per_100_g = float(np.interp(temperature_c, *_handbook(anhydrous)))
    bound = per_100_g * (1 - share) / 100  # anhydrous salt that the water of one gram of hydrate takes up
    return 10 * per_100_g / (share - bound) if share > bound else math.inf


@cache
def _handbook(anhydrous: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Temperatures [degC], and grams of anhydrous salt in 100 g of water at each."""
    row = reference.table("solubilities")[anhydrous]
    known = [
        (float(name.removeprefix("at_")), float(value)) for name, value in row.items() if name[:3] == "at_" and value
    ]
    return tuple(at_c for at_c, _ in known), tuple(value for _, value in known)
