"""Electrical conductivity from the ions.

Source: McCleskey, Nordstrom, Ryan & Ball 2012, Geochim. Cosmochim. Acta 77, 369: kappa = sum of m_i times
lambda_i(T) - A_i(T) sqrt(I) / (1 + B_i sqrt(I)), coefficients in tables/ions.csv. Ion pairs are not taken off, so
bicarbonate waters come out some 5 % high.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from chemistry import reference
from chemistry.water.composition import Water

# pK2 of carbonic acid at 25 degC (Plummer & Busenberg 1982: 10.3289); only shares out alkalinity here.
_PK2 = 10.33


def carbonate_share(ph: float | None) -> float:
    """Share of the alkalinity that is carbonate charge at this pH; 0 where the pH is not known."""
    if ph is None:
        return 0.0
    ratio = 10 ** (ph - _PK2)
    return 2 * ratio / (1 + 2 * ratio)


def ionic_strength_mol_l(water: Water) -> float:
    """Ionic strength [mol/L] of the free ions, ion pairs neglected."""
    return 0.5 * sum(charge**2 * amount for amount, charge, _ in _ions(water)) / 1000


def conductivity_us_cm(water: Water, temperature_c: float = 25.0) -> float:
    """Conductivity [uS/cm] as read at `temperature_c`; meters report it for 25 degC."""
    root = np.sqrt(ionic_strength_mol_l(water))
    powers = np.array([temperature_c**2, temperature_c, 1.0])
    total = 0.0
    for amount, _, (lambdas, slopes, b) in _ions(water):
        total = total + amount * (powers @ lambdas - (powers @ slopes) * root / (1 + b * root))
    return total if isinstance(total, np.ndarray) else float(total)


def _ions(water: Water) -> list[tuple[float, int, tuple[np.ndarray, np.ndarray, float]]]:
    """Amount [mmol/L], charge number and coefficients of every ion."""
    carbonate_meq_l = water.alkalinity_meq_l * carbonate_share(water.ph)
    amounts = {
        "calcium": water.calcium_mmol_l,
        "magnesium": water.magnesium_mmol_l,
        "sodium": water.sodium_mmol_l,
        "potassium": water.potassium_mmol_l,
        "ammonium": water.ammonium_mmol_l,
        "chloride": water.chloride_mmol_l,
        "sulfate": water.sulfate_mmol_l,
        "nitrate": water.nitrate_mmol_l,
        # Negative alkalinity is acid, not a negative amount of bicarbonate.
        "bicarbonate": np.maximum(water.alkalinity_meq_l - carbonate_meq_l, 0.0),
        "carbonate": np.maximum(carbonate_meq_l, 0.0) / 2,
    }
    return [(amount, *_coefficients(name)) for name, amount in amounts.items()]


@cache
def _coefficients(ion: str) -> tuple[int, tuple[np.ndarray, np.ndarray, float]]:
    row = reference.table("ions")[ion]
    lambdas = np.array([float(row[f"lambda_{power}"]) for power in (2, 1, 0)])
    slopes = np.array([float(row[f"a_{power}"]) for power in (2, 1, 0)])
    return int(row["charge"]), (lambdas, slopes, float(row["b"]))
