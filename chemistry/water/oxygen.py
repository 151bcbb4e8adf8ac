"""How much oxygen water holds at rest with air, and how far warming overfills it with gas."""

from __future__ import annotations

import numpy as np

from tapwright.chemistry.errors import OutOfRange
from tapwright.chemistry.water.properties import Number


def oxygen_mg_l(temperature_c: Number, pressure_atm: Number = 1.0) -> Number:  # type: ignore[assignment]
    """Oxygen [mg/L] of fresh water at rest with moist air of `pressure_atm`; scalars or arrays.

    Source: Benson & Krause 1984, Limnol. Oceanogr. 29, 620, with the pressure factor of Standard Methods 4500-O. Raises
    OutOfRange outside 0 to 40 degC and 0.4 to 1.2 atm.
    """
    if np.any(~((np.asarray(pressure_atm) >= 0.4) & (np.asarray(pressure_atm) <= 1.2))):
        raise OutOfRange.of("pressure", f"{pressure_atm} atm.", "Give 0.4 to 1.2 atm.")
    if np.any(~((np.asarray(temperature_c) >= 0) & (np.asarray(temperature_c) <= 40))):
        raise OutOfRange.of("temperature", f"{temperature_c} degC.", "Give 0 to 40 degC.")
    kelvin = temperature_c + 273.15
    at_one = np.exp(
        -139.34411 + 1.575701e5 / kelvin - 6.642308e7 / kelvin**2 + 1.243800e10 / kelvin**3 - 8.621949e11 / kelvin**4
    )
    vapour = np.exp(11.8571 - 3840.70 / kelvin - 216961 / kelvin**2)
    theta = 0.000975 - 1.426e-5 * temperature_c + 6.436e-8 * temperature_c**2
    factor = pressure_atm * (1 - vapour / pressure_atm) * (1 - theta * pressure_atm) / ((1 - vapour) * (1 - theta))
    oxygen: Number = at_one * factor
    return oxygen


def warmed_saturation(cold_c: Number, warm_c: Number) -> Number:
    """Oxygen over what the water can hold, once it was at rest at `cold_c` and is warmed to `warm_c` with no gas lost."""
    ratio: Number = oxygen_mg_l(cold_c) / oxygen_mg_l(warm_c)
    return ratio
