"""Plain carbonate arithmetic: no ion pairs, one activity coefficient for each charge. Within some tenths of a pH."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from tapwright.chemistry import reference

_LOWEST_PH, _HIGHEST_PH, _HALVINGS = 2.0, 13.0, 50
_MG_N_PER_MMOL = 14.007  # CIAAW abridged standard atomic weight


@dataclass(frozen=True)
class Plain:
    """What decides the pH of a water beside its carbon: alkalinity, total ammonia, temperature and ionic strength."""

    alkalinity_meq_l: float
    ammonia_mg_n_l: float
    temperature_c: float
    strength_mol_l: float

    def ph_of(self, carbon_mmol_l: float) -> float:
        """pH with so much inorganic carbon in all, closed; an end of 2 to 13 where none between fits."""

        def carried(ph: float) -> float:
            bicarbonate, carbonate, _ = self._shares(ph)
            return carbon_mmol_l * (bicarbonate + 2 * carbonate)

        return self._ph(carried)

    def ph_in_air(self, times_air: float) -> float:
        """pH at rest with so many times the CO2 of outdoor air."""
        pressure_atm = times_air * reference.value("air", "outdoor_co2") * 1e-6
        gas_mmol_l = 1000 * 10 ** self._log_k("co2_gas") * pressure_atm

        def carried(ph: float) -> float:
            bicarbonate, carbonate, gas = self._shares(ph)
            return gas_mmol_l * (bicarbonate + 2 * carbonate) / gas

        return self._ph(carried)

    def carbon_at(self, ph: float) -> float:
        """All inorganic carbon [mmol/L] at a pH; 0 where ammonia and water alone carry the alkalinity."""
        bicarbonate, carbonate, _ = self._shares(ph)
        return max(self.alkalinity_meq_l - self._without_carbon(ph), 0.0) / (bicarbonate + 2 * carbonate)

    def _ph(self, carried: Callable[[float], float]) -> float:
        """Where what carbon carries, and all else, make the alkalinity: by halving."""
        low, high = _LOWEST_PH, _HIGHEST_PH
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            short = carried(middle) + self._without_carbon(middle) < self.alkalinity_meq_l
            low, high = (middle, high) if short else (low, middle)
        return (low + high) / 2

    def _shares(self, ph: float) -> tuple[float, float, float]:
        """Bicarbonate, carbonate and dissolved CO2 as shares of all inorganic carbon."""
        hydrogen, root = 10**-ph, math.sqrt(self.strength_mol_l)
        log_gamma = -0.509 * (root / (1 + root) - 0.3 * self.strength_mol_l)  # Davies, at 25 degC, for a charge of 1
        log_second = -self._log_k("hco3")
        first = 10 ** (-self._log_k("co2") - log_second - log_gamma)
        second = 10 ** (log_second - 3 * log_gamma)
        whole = hydrogen**2 + hydrogen * first + first * second
        return hydrogen * first / whole, first * second / whole, hydrogen**2 / whole

    def _without_carbon(self, ph: float) -> float:
        """What ammonia and water itself carry [meq/L]."""
        ammonia = self.ammonia_mg_n_l / _MG_N_PER_MMOL / (1 + 10 ** (-self._log_k("nh3") - ph))
        return float(ammonia + 1000 * (10 ** (ph + self._log_k("oh")) - 10**-ph))

    def _log_k(self, key: str) -> float:
        """log10 of a constant of tables/reactions.csv, by its own polynomial."""
        row, kelvin = reference.table("reactions")[key], self.temperature_c + 273.15
        a = [float(row[f"a{number}"] or 0) for number in range(1, 7)]
        log_k = a[0] + a[1] * kelvin + a[2] / kelvin + a[3] * math.log10(kelvin)
        return log_k + a[4] / kelvin**2 + a[5] * kelvin**2
