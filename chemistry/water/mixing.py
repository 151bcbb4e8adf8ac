"""Several waters in one vessel: amounts, mass and heat are conserved; pH is not a mean and is left open."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from chemistry.errors import BadInput
from chemistry.water.composition import CONSERVED, Water
from chemistry.water.properties import Number, density_kg_l, enthalpy_kj_kg, heat_capacity_kj_kg_k


def mix(waters: Sequence[Water], volumes_l: Sequence[float]) -> tuple[Water, float]:
    """The mixture, and its volume [L], of waters given by their volumes at their own temperatures.

    Raises BadInput for no water, lists of different length, a negative volume or no volume at all.
    """
    if not waters or len(waters) != len(volumes_l):
        raise BadInput.of("mix", f"{len(waters)} waters with {len(volumes_l)} volumes.", "Give one volume per water.")
    if any(np.any(np.asarray(volume) < 0) for volume in volumes_l) or not np.all(np.asarray(sum(volumes_l)) > 0):
        raise BadInput.of("mix", f"the volumes are {list(volumes_l)} L.", "Give volumes of 0 or more, not all 0.")
    temperature_c, volume_l = mix_heat(volumes_l, [water.temperature_c for water in waters])
    amounts = {
        name: sum(getattr(water, name) * volume for water, volume in zip(waters, volumes_l, strict=True)) / volume_l
        for name in CONSERVED
    }
    return Water(**amounts, temperature_c=temperature_c), volume_l


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
