"""Plain carbonate arithmetic: no ion pairs, one activity coefficient for each charge. Within some tenths of a pH."""

from __future__ import annotations

import math

from chemistry import reference

_LOWEST_PH, _HIGHEST_PH, _HALVINGS = 2.0, 13.0, 60


def ph_of(alkalinity_meq_l: float, carbon_mmol_l: float, temperature_c: float, strength_mol_l: float) -> float:
    """pH of a closed water by its alkalinity and all of its inorganic carbon; an end of 2 to 13 where none between fits."""
    low, high = _LOWEST_PH, _HIGHEST_PH
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        bicarbonate, carbonate, _ = _shares(middle, temperature_c, strength_mol_l)
        carried = carbon_mmol_l * (bicarbonate + 2 * carbonate) + _water_meq_l(middle, temperature_c)
        low, high = (middle, high) if carried < alkalinity_meq_l else (low, middle)
    return (low + high) / 2


def carbon_at_ph(alkalinity_meq_l: float, ph: float, temperature_c: float, strength_mol_l: float) -> float:
    """All inorganic carbon [mmol/L] of a water of this alkalinity and pH; 0 where water alone carries the alkalinity."""
    bicarbonate, carbonate, _ = _shares(ph, temperature_c, strength_mol_l)
    return max(alkalinity_meq_l - _water_meq_l(ph, temperature_c), 0.0) / (bicarbonate + 2 * carbonate)


def ph_in_air(alkalinity_meq_l: float, times_air: float, temperature_c: float, strength_mol_l: float) -> float:
    """pH at rest with so many times the CO2 of outdoor air."""
    pressure_atm = times_air * reference.value("air", "outdoor_co2") * 1e-6
    gas_mmol_l = 1000 * 10 ** _log_k("co2_gas", temperature_c) * pressure_atm
    low, high = _LOWEST_PH, _HIGHEST_PH
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        bicarbonate, carbonate, gas = _shares(middle, temperature_c, strength_mol_l)
        carried = gas_mmol_l * (bicarbonate + 2 * carbonate) / gas + _water_meq_l(middle, temperature_c)
        low, high = (middle, high) if carried < alkalinity_meq_l else (low, middle)
    return (low + high) / 2


def _shares(ph: float, temperature_c: float, strength_mol_l: float) -> tuple[float, float, float]:
    """Bicarbonate, carbonate and dissolved CO2 as shares of all inorganic carbon."""
    hydrogen = 10**-ph
    root = math.sqrt(strength_mol_l)
    log_gamma = -0.509 * (root / (1 + root) - 0.3 * strength_mol_l)  # Davies, at 25 degC
    second = 10 ** -_log_k("hco3", temperature_c)
    first = 10 ** -_log_k("co2", temperature_c) / second
    first /= 10**log_gamma
    second *= 10**log_gamma / 10 ** (4 * log_gamma)
    whole = hydrogen**2 + hydrogen * first + first * second
    return hydrogen * first / whole, first * second / whole, hydrogen**2 / whole


def _water_meq_l(ph: float, temperature_c: float) -> float:
    """What water alone carries: hydroxide less hydrogen."""
    return float(1000 * (10 ** (ph + _log_k("oh", temperature_c)) - 10**-ph))


def _log_k(key: str, temperature_c: float) -> float:
    """log10 of a constant of tables/reactions.csv, by its own polynomial."""
    row, kelvin = reference.table("reactions")[key], temperature_c + 273.15
    a = [float(row[f"a{number}"] or 0) for number in range(1, 7)]
    return a[0] + a[1] * kelvin + a[2] / kelvin + a[3] * math.log10(kelvin) + a[4] / kelvin**2 + a[5] * kelvin**2
