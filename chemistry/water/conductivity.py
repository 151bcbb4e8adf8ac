"""Electrical conductivity from the free ions of a water.

Source: McCleskey, Nordstrom, Ryan & Ball 2012, Geochim. Cosmochim. Acta 77, 369: kappa = sum of m_i times
lambda_i(T) - A_i(T) sqrt(I) / (1 + B_i sqrt(I)), coefficients in tables/ions.csv. Ions in pairs are taken off; what
charged pairs such as CaHCO3+ conduct themselves, 1 to 2 % in hard waters, is left out.
"""

from __future__ import annotations

from functools import cache

from tapwright.chemistry import reference
from tapwright.chemistry.water.activity import Maths
from tapwright.chemistry.water.constants import Amount
from tapwright.chemistry.water.species import Speciation, Totals

_READ_AT_C = 25.0


def conductivity_of(found: Speciation, totals: Totals, maths: Maths, temperature_c: float = _READ_AT_C) -> Amount:
    """Conductivity [uS/cm] of a water shared out, as read at `temperature_c`; meters report it for 25 degC."""
    root = maths.sqrt(found.ionic_strength)
    amounts = {**found.molality, "cl": totals.cl, "no3": totals.no3}
    millisiemens = sum(
        amounts[species] * (at_rest - slowing * root / (1 + reach * root))
        for species, at_rest, slowing, reach in _coefficients(temperature_c)
    )
    return 1000 * millisiemens


@cache
def _coefficients(temperature_c: float) -> tuple[tuple[str, float, float, float], ...]:
    """Species, lambda, A and B of every ion at one temperature."""
    powers = (temperature_c**2, temperature_c, 1.0)

    def at(row: reference.Row, name: str) -> float:
        return sum(power * float(row[f"{name}_{exponent}"]) for power, exponent in zip(powers, (2, 1, 0), strict=True))

    rows = reference.table("ions").values()
    return tuple((row["formula"].lower(), at(row, "lambda"), at(row, "a"), float(row["b"])) for row in rows)
