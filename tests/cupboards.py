"""Waters, salts and requests that the tests of recipes share."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from hypothesis import strategies as st

from tapwright.chemistry.dosing.recipe.cupboard import Stocked
from tapwright.chemistry.dosing.recipe.remineralise import Recipe, RecipeRequest, recipe
from tapwright.chemistry.substances import molar_mass, salt
from tapwright.chemistry.water.composition import ION_SYMBOLS, Water
from tapwright.chemistry.water.target import Band, Target

PURE = Water(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 25.0)
SOFT = Water(0.4, 0.15, 0.4, 0.02, 0.35, 0.15, 0.8, 5, 0, 0, 0, 25.0)
HARD = Water(2.6, 0.6, 1.0, 0.08, 1.2, 0.7, 4.4, 20, 0.1, 0, 0, 20.0, ph=7.4)
SOURCES = (PURE, SOFT, HARD)

GENTLE = (
    "calcium chloride dihydrate", "calcium sulfate dihydrate", "magnesium chloride hexahydrate",
    "magnesium sulfate heptahydrate", "potassium bicarbonate", "potassium chloride", "sodium bicarbonate",
    "sodium chloride",
)  # fmt: skip
NAMES = (*GENTLE, "sodium carbonate anhydrous")
FULL = [Stocked(salt(name)) for name in NAMES]

# Small bands from soft water: no recipe for them clouds, so that nothing but the order chooses among those inside.
calm_targets = st.builds(
    lambda hardness, alkalinity, width, ratio: Target(
        "drawn",
        Band(hardness, hardness * (1 + width)),
        Band(alkalinity, alkalinity * (1 + width)),
        Band(ratio, 4 * ratio),
    ),
    st.floats(0.6, 0.9),
    st.floats(0.9, 2.0),
    st.floats(0.02, 0.2),
    st.floats(0.3, 1.5),
)


def jars(*names: str) -> list[Stocked]:
    """Pure salts, enough of each."""
    return [Stocked(salt(name)) for name in names]


def found(made: Recipe) -> bool:
    """Whether the recipe lies inside every band."""
    return not (made.missed or made.missed_by_scale)


def is_found(water: Water, cupboard: Sequence[Stocked], request: RecipeRequest) -> bool:
    """Whether there is a recipe inside every band."""
    return found(recipe(water, cupboard, request))


def mmol_per_g(name: str, what: str) -> float:
    """What a gram of the salt brings of one amount of a water [mmol, meq], from the atoms of its formula."""
    formula = salt(name).formula.partition("·")[0]
    whole = molar_mass(salt(name).formula)
    bases = {"NaHCO3": (1, 1), "KHCO3": (1, 1), "Na2CO3": (2, 1)}
    if what in ("alkalinity_meq_l", "carbon_mmol_l"):
        return 1000 * bases.get(formula, (0, 0))[what == "carbon_mmol_l"] / whole
    symbol = ION_SYMBOLS[what.removesuffix("_mmol_l")]
    count = {
        "NaHCO3": {"Na": 1}, "KHCO3": {"K": 1}, "Na2CO3": {"Na": 2}, "MgSO4": {"Mg": 1, "SO4": 1},
        "MgCl2": {"Mg": 1, "Cl": 2}, "CaCl2": {"Ca": 1, "Cl": 2}, "CaSO4": {"Ca": 1, "SO4": 1},
        "NaCl": {"Na": 1, "Cl": 1}, "KCl": {"K": 1, "Cl": 1},
    }[formula].get(symbol, 0)  # fmt: skip
    return 1000 * count / whole


LINEAR = ("calcium_mmol_l", "magnesium_mmol_l", "sodium_mmol_l", "potassium_mmol_l", "chloride_mmol_l",
          "sulfate_mmol_l", "alkalinity_meq_l")  # fmt: skip


def effects(names: Sequence[str], volume_l: float) -> np.ndarray:
    """What a gram of each salt does to each of LINEAR in so much water [mmol/L, meq/L]."""
    return np.array([[mmol_per_g(name, what) for name in names] for what in LINEAR]).reshape(7, -1) / volume_l


def ends_of(target: Target) -> list[tuple[str, bool, np.ndarray, float]]:
    """Every end of a linear band, as weights over LINEAR: (band, whether the low end, weights, limit).

    weights @ amounts >= limit for a low end, <= limit for a high one.
    """
    ends = []
    for name, band in target.bands():
        if name == "hardness_mmol_l":
            pairs = [(np.eye(7)[0] + np.eye(7)[1], band.low), (np.eye(7)[0] + np.eye(7)[1], band.high)]
        elif name == "calcium_to_magnesium":
            pairs = [(np.eye(7)[0] - limit * np.eye(7)[1], 0.0) for limit in (band.low, band.high)]
        else:
            row = np.eye(7)[LINEAR.index(name)]
            pairs = [(row, band.low), (row, band.high)]
        ends += [(name, low, weights, limit) for low, (weights, limit) in zip((True, False), pairs, strict=True)]
    return [end for end in ends if np.isfinite(end[3]) and np.all(np.isfinite(end[2]))]


def amounts_in(water: Water) -> np.ndarray:
    """The amounts of LINEAR in a water."""
    return np.array([getattr(water, name) for name in LINEAR], dtype=float)
