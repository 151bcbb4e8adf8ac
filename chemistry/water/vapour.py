"""Water as vapour: its pressure, what it takes to make, and how fast an open surface gives it off."""

from __future__ import annotations

from typing import Any

import numpy as np

# IAPWS SR1-86(1992), equation 1: the saturation line.
_CRITICAL_K, _CRITICAL_KPA = 647.096, 22064.0
_SATURATION = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)
_ATMOSPHERE_KPA = 101.325
_VAPOUR_TO_AIR = 0.62198  # molar mass of water over that of dry air
_DRY_AIR_KJ_KG_K = 0.287042  # gas constant of dry air


def saturation_kpa(temperature_c: Any) -> Any:
    """Pressure [kPa] of saturated vapour, 0 to 100 degC; scalar or array. Source: IAPWS SR1-86(1992), from memory."""
    kelvin = np.asarray(temperature_c) + 273.15
    tau = 1 - kelvin / _CRITICAL_K
    return _CRITICAL_KPA * np.exp(_CRITICAL_K / kelvin * sum(a * tau**n for a, n in _SATURATION))


def vaporisation_kj_kg(temperature_c: Any) -> Any:
    """Heat [kJ/kg] that evaporation takes, 0 to 60 degC.

    A straight line through the steam tables' 2500.9 at 0 and 2441.7 at 25 degC (IAPWS-95, from memory); within 0.1 %.
    """
    return 2500.9 - 2.368 * np.asarray(temperature_c)


def evaporation_kg_m2_h(surface_c: Any, room_c: Any, humidity: Any) -> Any:
    """Evaporation [kg/(m2 h)] of an open surface in a room without draught; humidity: relative, 0 to 1.

    C rho_w (rho_r - rho_w)^(1/3) (W_w - W_r) with C = 35, or 40 where the densities are within 0.02 kg/m3; the first rho of
    dry air, the other two of moist: Shah 1992 (from memory), which its author finds within 18 % of measurements. None where
    the air over the water is the denser: nothing rises.
    """
    water_ratio, water_dry, water_moist = _air(surface_c, 1.0)
    room_ratio, _, room_moist = _air(room_c, humidity)
    lift = np.maximum(room_moist - water_moist, 0.0)
    factor = np.where(lift < 0.02, 40.0, 35.0)
    return factor * water_dry * np.cbrt(lift) * np.maximum(water_ratio - room_ratio, 0.0)


def _air(temperature_c: Any, humidity: Any) -> tuple[Any, Any, Any]:
    """Vapour per dry air [kg/kg], and density of the dry air alone and of all of it [kg/m3]."""
    vapour_kpa = humidity * saturation_kpa(temperature_c)
    dry_kpa = _ATMOSPHERE_KPA - vapour_kpa
    dry = dry_kpa / (_DRY_AIR_KJ_KG_K * (np.asarray(temperature_c) + 273.15))
    ratio = _VAPOUR_TO_AIR * vapour_kpa / dry_kpa
    return ratio, dry, dry * (1 + ratio)
