"""Several waters in one vessel, and doses: amounts, mass, heat and carbon are conserved; pH follows from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.record import Record
from tapwright.chemistry.substances import molar_mass
from tapwright.chemistry.water.composition import CONSERVED, Water
from tapwright.chemistry.water.equilibrium import Equilibrium, at_air, closed, equilibrium_of
from tapwright.chemistry.water.properties import Number, density_kg_l, enthalpy_kj_kg, heat_capacity_kj_kg_k


def mix(waters: Sequence[Water], volumes_l: Sequence[float]) -> tuple[Water, float]:
    """The mixture, and its volume [L], of waters given by their volumes at their own temperatures.

    Its carbon is known where that of every water is, or their pH. Raises OutOfRange for a pH that does not go with its
    alkalinity, and BadInput for no water, lists of different length, a negative volume or no volume at all.
    """
    if not waters or len(waters) != len(volumes_l):
        raise BadInput.of("mix", f"{len(waters)} waters with {len(volumes_l)} volumes.", "Give one volume per water.")
    if any(np.any(np.asarray(volume) < 0) for volume in volumes_l) or not np.all(np.asarray(sum(volumes_l)) > 0):
        raise BadInput.of("mix", f"the volumes are {list(volumes_l)} L.", "Give volumes of 0 or more, not all 0.")
    temperature_c, volume_l = mix_heat(volumes_l, [water.temperature_c for water in waters])
    by_carbon = [closed(water) for water in waters]
    conserved = list(CONSERVED)
    if all(water.carbon_mmol_l is not None for water in by_carbon):
        conserved.append("carbon_mmol_l")
    amounts = {
        name: sum(getattr(water, name) * volume for water, volume in zip(by_carbon, volumes_l, strict=True)) / volume_l
        for name in conserved
    }
    return Water(**amounts, temperature_c=temperature_c), volume_l


@dataclass(frozen=True, repr=False)
class Mixture(Record):
    """A mixture: its water and volume [L], at once (None where a water's pH is not known), and at rest with air."""

    water: Water
    volume_l: float
    at_once: Equilibrium | None
    aerated: Equilibrium


def mixture(waters: Sequence[Water], volumes_l: Sequence[float], times_air: float = 1.0) -> Mixture:
    """Waters poured together: closed at once, then aerated until it rests with `times_air` times outdoor air.

    Raises as `mix` and `at_air` do.
    """
    mixed, volume_l = mix(waters, volumes_l)
    return Mixture(mixed, volume_l, equilibrium_of(mixed), at_air(mixed, times_air))


def with_alkalinity(water: Water, change_meq_l: float) -> Water:
    """The water after acid (a negative change) or base was put in: alkalinity moves, carbon stays, pH follows."""
    return replace(closed(water), alkalinity_meq_l=water.alkalinity_meq_l + change_meq_l)


def nitrified(water: Water, nitrogen_mg_l: float) -> Water:
    """The water after so much ammonia nitrogen [mg/L] has become nitrate, and the acid of it stayed.

    NH4+ + 2 O2 -> NO3- + H2O + 2 H+: two equivalents a mole, 7.14 mg CaCO3 per mg N (stoichiometry). Raises BadInput for
    more nitrogen than there is ammonia.
    """
    if np.any(np.asarray(nitrogen_mg_l) < 0) or np.any(np.asarray(nitrogen_mg_l) > np.asarray(water.ammonia_mg_n_l)):
        raise BadInput.of(
            "nitrified", f"{nitrogen_mg_l} mg/L N of {water.ammonia_mg_n_l} mg/L.", "Give 0 up to the ammonia there is."
        )
    moles_mmol_l = nitrogen_mg_l / molar_mass("N")
    return replace(
        with_alkalinity(water, -2 * moles_mmol_l),
        ammonia_mg_n_l=water.ammonia_mg_n_l - nitrogen_mg_l,
        nitrate_mg_l=water.nitrate_mg_l + moles_mmol_l * molar_mass("NO3"),
    )


def mix_heat(
    volumes_l: Sequence[Number],
    temperatures_c: Sequence[Number],
    *,
    solid_kj_k: float = 0.0,
    solid_c: float = 20.0,
) -> tuple[Number, Number]:
    """Temperature [degC] and volume [L] of waters poured together, enthalpy and mass conserved.

    volumes_l: each at its own temperature [degC].  solid_kj_k, solid_c: heat capacity [kJ/K] and temperature of a
    vessel that shares its heat.
    """
    masses_kg = [volume * density_kg_l(t) for volume, t in zip(volumes_l, temperatures_c, strict=True)]
    heat_kj: Any = sum(mass * enthalpy_kj_kg(t) for mass, t in zip(masses_kg, temperatures_c, strict=True))
    mass_kg: Any = sum(masses_kg)
    temperature_c: Number = _settled(heat_kj, mass_kg, solid_kj_k, solid_c)
    volume_l: Number = mass_kg / density_kg_l(temperature_c)
    return temperature_c, volume_l


def _settled(heat_kj: Any, mass_kg: Any, solid_kj_k: float, solid_c: float) -> Any:
    """Temperature at which water and vessel together hold the heat they brought: Newton, clipped to liquid water."""
    temperature_c = np.clip((heat_kj + solid_kj_k * solid_c) / (4.19 * mass_kg + solid_kj_k), 0.0, 100.0)
    for _ in range(4):  # quadratic from within 1 K: three steps reach 1e-9 K
        excess_kj = mass_kg * enthalpy_kj_kg(temperature_c) + solid_kj_k * (temperature_c - solid_c) - heat_kj
        slope_kj_k = mass_kg * heat_capacity_kj_kg_k(temperature_c) + solid_kj_k
        temperature_c = np.clip(temperature_c - excess_kj / slope_kj_k, 0.0, 100.0)
    return temperature_c if np.ndim(temperature_c) else float(temperature_c)
