"""Density, enthalpy, heat capacity and viscosity of liquid water at 0.1 MPa, 0 to 100 degC.

Source: IAPWS SR6-08(2011), Revised Supplementary Release on Properties of Liquid Water at 0.1 MPa, equations 1 to 4
and 8 with tables 1 and 7; coefficients read from the iapws package. Dissolved salts of a lake water (0.6 g/kg) would
add 0.05 % to the density and are left out.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from tapwright.chemistry.errors import OutOfRange

Number = TypeVar("Number", float, NDArray[np.float64])

_GAS_CONSTANT_KJ_KG_K = 0.46151805
_T_REF_K = 10.0
_PRESSURE_MPA = 0.1
# (coefficient, exponent) of the sums over alpha = Tr / (593 K - T) and beta = Tr / (T - 232 K).
_GIBBS_ALPHA = ((-1.661470539e5, 4), (2.708781640e6, 5), (-1.557191544e8, 7))
_GIBBS_BETA = ((-8.237426256e-1, 2), (1.908956353, 3), (-2.017597384, 4), (8.546361348e-1, 5))
_GIBBS_C = (-2.452093414e2, 3.869269598e1, -8.983025854)
_VOLUME_0 = 1.93763157e-2
_VOLUME_ALPHA = ((6.74458446e3, 4), (-2.22521604e5, 5), (1.00231247e8, 7), (-1.63552118e9, 8), (8.32299658e9, 9))
_VOLUME_BETA = (
    (5.78545292e-3, 1),
    (-1.53195665e-2, 2),
    (3.11337859e-2, 3),
    (-4.23546241e-2, 4),
    (3.38713507e-2, 5),
    (-1.19946761e-2, 6),
)
_VISCOSITY = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))


def density_kg_l(temperature_c: Number) -> Number:
    """Density [kg/L] of pure water at `temperature_c` [degC], scalar or array. SR6-08 equation 2."""
    _, alpha, beta = _reduced(temperature_c)
    total = _VOLUME_0 + _sum(_VOLUME_ALPHA, alpha) + _sum(_VOLUME_BETA, beta)
    volume_m3_kg = _GAS_CONSTANT_KJ_KG_K * _T_REF_K / _PRESSURE_MPA / 1000 * total
    density: Number = 1 / (1000 * volume_m3_kg)
    return density


def enthalpy_kj_kg(temperature_c: Number) -> Number:
    """Specific enthalpy [kJ/kg], zero near 0 degC, as g + T s of SR6-08 equations 1 and 3."""
    tau, alpha, beta = _reduced(temperature_c)
    # g / (R Tr) + tau * s / R, where the terms linear and logarithmic in tau cancel but for one.
    total = _GIBBS_C[0] - _GIBBS_C[2] * tau + _sum(_GIBBS_ALPHA, alpha) + _sum(_GIBBS_BETA, beta)
    total = total - tau * (_slope(_GIBBS_ALPHA, alpha) - _slope(_GIBBS_BETA, beta))
    return _GAS_CONSTANT_KJ_KG_K * _T_REF_K * total


def heat_capacity_kj_kg_k(temperature_c: Number) -> Number:
    """Isobaric heat capacity [kJ/(kg K)], scalar or array. SR6-08 equation 4."""
    tau, alpha, beta = _reduced(temperature_c)
    curvature = _curvature(_GIBBS_ALPHA, alpha) + _curvature(_GIBBS_BETA, beta)
    return -_GAS_CONSTANT_KJ_KG_K * (_GIBBS_C[2] + tau * curvature)


def viscosity_mpa_s(temperature_c: Number) -> Number:
    """Dynamic viscosity [mPa s], scalar or array. SR6-08 equation 8, valid -20 to 110 degC."""
    ratio = (temperature_c + 273.15) / 300.0
    viscosity: Number = _sum(_VISCOSITY, ratio) / 1000
    return viscosity


def _reduced(temperature_c: Number) -> tuple[Number, Number, Number]:
    """tau, alpha and beta of SR6-08; refuses what is not liquid."""
    if np.any((np.asarray(temperature_c) < 0) | (np.asarray(temperature_c) > 100)) or np.any(np.isnan(temperature_c)):
        raise OutOfRange.of(
            "temperature", f"{np.asarray(temperature_c)} degC is outside liquid water.", "Give 0 to 100 degC."
        )
    kelvin = temperature_c + 273.15
    return kelvin / _T_REF_K, _T_REF_K / (593.0 - kelvin), _T_REF_K / (kelvin - 232.0)


def _sum(terms: tuple[tuple[float, float], ...], x: Number) -> Number:
    total: Number = sum(a * x**n for a, n in terms)  # type: ignore[assignment]
    return total


def _slope(terms: tuple[tuple[float, int], ...], x: Number) -> Number:
    return sum(n * a * x ** (n + 1) for a, n in terms)  # type: ignore[return-value]


def _curvature(terms: tuple[tuple[float, int], ...], x: Number) -> Number:
    return sum(n * (n + 1) * a * x ** (n + 2) for a, n in terms)  # type: ignore[return-value]
