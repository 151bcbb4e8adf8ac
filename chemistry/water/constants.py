"""What temperature alone decides: equilibrium constants, the Debye-Hueckel slopes and the density of water.

Every constant is computed once, exactly, at the nodes of a Chebyshev polynomial over 0 to 40 degC; from then on all of
them together are one small matrix product, which takes a tenth of the time of as many exponentials.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from functools import cache
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from tapwright.chemistry import reference
from tapwright.chemistry.water.properties import density_kg_l

# A float, or an array of the shape that all figures of a record share.
Amount: TypeAlias = Any
Array = NDArray[np.float64]

LOWEST_C, HIGHEST_C = 0.0, 40.0
_MIDDLE_C, _HALF_RANGE_C = (LOWEST_C + HIGHEST_C) / 2, (HIGHEST_C - LOWEST_C) / 2
# Twelfth order meets the exact expressions within 1e-8, a millionth of what the constants themselves are known to.
_ORDER = 12
# As in the program whose set of constants this is: kJ/(mol K).
_GAS_CONSTANT_KJ_MOL_K = 0.0083147
LN_10 = math.log(10.0)
MINERALS = ("calcite", "aragonite", "dolomite", "gypsum")


@dataclass(slots=True)
class Constants:
    """Constants at one temperature, or at an array of them.

    oh to nh4so4: activity of the species over those of what it is made of (H+, CO3-2, SO4-2, the cation, water), as
    tables/species.csv writes it.  co2_gas: CO2 activity per atmosphere.  calcite to gypsum: log10 of the solubility
    product.  slope: Debye-Hueckel A times ln 10 [(mol/kg)^-0.5].  reach: Debye-Hueckel B [1/Angstrom (mol/kg)^-0.5].
    density_kg_l: of the water.
    """

    oh: Amount
    hco3: Amount
    co2: Amount
    hso4: Amount
    cahco3: Amount
    caco3: Amount
    caso4: Amount
    caoh: Amount
    mghco3: Amount
    mgco3: Amount
    mgso4: Amount
    mgoh: Amount
    nahco3: Amount
    naco3: Amount
    naso4: Amount
    kso4: Amount
    nh3: Amount
    nh4so4: Amount
    co2_gas: Amount
    calcite: Amount
    aragonite: Amount
    dolomite: Amount
    gypsum: Amount
    slope: Amount
    reach: Amount
    density_kg_l: Amount


_NAMES = tuple(field.name for field in fields(Constants))


def constants(temperature_c: Amount) -> Constants:
    """Every constant at `temperature_c` [degC], a float or a one-dimensional array, 0 to 40; not checked here."""
    values = _polynomials() @ _chebyshev((temperature_c - _MIDDLE_C) / _HALF_RANGE_C)
    return Constants(*(values.tolist() if values.ndim == 1 else values))


def log_k(key: str, temperature_c: Amount) -> Amount:
    """log10 of one constant of tables/reactions.csv [any shape], from its own published expression.

    a1 + a2 T + a3 / T + a4 log10(T) + a5 / T^2 + a6 T^2 with T in kelvin, or its value at 25 degC with van 't Hoff's law.
    """
    row = reference.table("reactions")[key]
    kelvin = np.asarray(temperature_c) + 273.15
    if row["log_k_25"]:
        per_kelvin = float(row["delta_h_kj_mol"]) / (_GAS_CONSTANT_KJ_MOL_K * LN_10)
        own: Amount = float(row["log_k_25"]) - per_kelvin * (1 / kelvin - 1 / 298.15)
    else:
        a1, a2, a3, a4, a5, a6 = (float(row[f"a{number}"]) for number in range(1, 7))
        own = a1 + a2 * kelvin + a3 / kelvin + a4 * np.log10(kelvin) + a5 / kelvin**2 + a6 * kelvin**2
    # A reaction written from another species, such as NaHCO3 from HCO3-, is led back to what that one is made of.
    return own + log_k(row["then"], temperature_c) if row["then"] else own


def debye_hueckel(temperature_c: Amount) -> tuple[Amount, Amount]:
    """A [(mol/kg)^-0.5] and B [1/Angstrom (mol/kg)^-0.5] of the Debye-Hueckel law.

    Source: dielectric constant of Bradley & Pitzer 1979, J. Phys. Chem. 83, 1599, at 1 atm; coefficients from memory,
    held against the A and B that the reference program prints (tests/water/published_equilibrium.csv).
    """
    kelvin = np.asarray(temperature_c) + 273.15
    at_1000_bar = 342.79 * np.exp(kelvin * (-5.0866e-3 + 9.4690e-7 * kelvin))
    fall = -2.0525 + 3115.9 / (kelvin - 182.89)
    bulk_bar = -8032.5 + 4.2142e6 / kelvin + 2.1417 * kelvin
    dielectric = at_1000_bar + fall * np.log((bulk_bar + 1.01325) / (bulk_bar + 1000.0))
    bjerrum_cm = 1.671008e-3 / (dielectric * kelvin)
    per_cm = np.sqrt(8 * np.pi * 6.02252e23 * bjerrum_cm * density_kg_l(np.asarray(temperature_c)) / 1000)
    return per_cm * bjerrum_cm / (2 * LN_10), per_cm / 1e8


@cache
def _polynomials() -> Array:
    """Chebyshev coefficients of every constant [constants x terms], through the exact values at the nodes."""
    nodes = np.cos(np.pi * (np.arange(_ORDER + 1) + 0.5) / (_ORDER + 1))
    exact = exact_values(_MIDDLE_C + _HALF_RANGE_C * nodes)
    vandermonde = np.polynomial.chebyshev.chebvander(nodes, _ORDER)
    return np.ascontiguousarray(np.linalg.solve(vandermonde, exact.T).T)


def exact_values(temperature_c: Array) -> Array:
    """Every constant [constants x temperatures] straight from its published expression, in the order of `Constants`."""
    slope, reach = debye_hueckel(temperature_c)
    others = {"slope": slope * LN_10, "reach": reach, "density_kg_l": density_kg_l(temperature_c)}
    by_reaction = {key: log_k(key, temperature_c) for key in reference.table("reactions")}
    for key, log in by_reaction.items():
        others[key] = log if key in MINERALS else 10.0**log
    return np.array([np.broadcast_to(others[name], np.shape(temperature_c)) for name in _NAMES])


def _chebyshev(x: Amount) -> Array:
    """The Chebyshev polynomials T0 to T12 at x, -1 to 1 [terms x shape of x]."""
    terms = np.empty((_ORDER + 1, *np.shape(x)))
    terms[0], terms[1] = 1.0, x
    doubled = 2 * x
    for order in range(2, _ORDER + 1):
        np.multiply(doubled, terms[order - 1], out=terms[order, ...])
        terms[order] -= terms[order - 2]
    return terms
