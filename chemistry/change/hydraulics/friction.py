"""What a hose and its fittings take off the head: Darcy and Weisbach's equation, from laminar flow to Colebrook's.

Between the two, Reynolds numbers of 2000 to 4000 (higher in a coil), nobody can say which it is: the friction factor is
led over smoothly, so that it never jumps and the loss always grows with the flow.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapwright.chemistry import reference
from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.water.properties import density_kg_l, viscosity_mpa_s
from tapwright.chemistry.words import nearest, quoted, shown, told

G_M_S2 = 9.80665  # standard acceleration of free fall, exact (3rd CGPM 1901)
LAMINAR_UP_TO = 2000.0
_NEWTON = 3  # from within 3 %: the next step would move nothing
_FITTING = "fitting_"
_MOST_OF_A_FITTING = 1000  # far past any hose of a household


@dataclass(frozen=True)
class Coil:
    """A part of the hose that lies wound up: its length [m] and the diameter [m] of its turns."""

    length_m: float
    diameter_m: float


@dataclass(frozen=True)
class Hose:
    """bore_m inside; length_m from pump to open end; fittings: how many of each name of `fitting_names`; a coil in it."""

    bore_m: float
    length_m: float
    fittings: Mapping[str, int] = field(default_factory=dict, hash=False)
    coil: Coil | None = None

    def __post_init__(self) -> None:
        faults = [*self._of_itself(), *self._of_fittings(), *self._of_coil()]
        if faults:
            raise BadInput(faults)

    def widened(self, factor: float) -> Hose:
        """The hose with another bore; its coil keeps its curvature."""
        coil = self.coil and Coil(self.coil.length_m, self.coil.diameter_m * factor)
        return Hose(self.bore_m * factor, self.length_m, self.fittings, coil)

    def _of_itself(self) -> list[Fault]:
        if 0 < self.bore_m < math.inf and 0 < self.length_m < math.inf:
            return []
        said = f"a bore of {self.bore_m:g} m and a length of {self.length_m:g} m; both must be above 0."
        return [Fault("hose", said, "Measure the hose.")]

    def _of_fittings(self) -> list[Fault]:
        counts = self.fittings.items()
        faults = [
            Fault("fittings", f"{told(n)} of {shown(name)}.", f"Count 0 to {_MOST_OF_A_FITTING}.")
            for name, n in counts
            if not 0 <= n <= _MOST_OF_A_FITTING
        ]
        for name in self.fittings:
            if name not in fitting_names():
                near = nearest(name, fitting_names(), n=2, cutoff=0.4) or fitting_names()
                faults.append(
                    Fault("fittings", f"{quoted(name)} is no fitting known here.", f"Write {' or '.join(near)}.")
                )
        return faults

    def _of_coil(self) -> list[Fault]:
        coil = self.coil
        if coil is None or (0 < coil.length_m <= self.length_m and coil.diameter_m > self.bore_m):
            return []
        said = f"{coil.length_m:g} m wound to {coil.diameter_m:g} m across, of {self.length_m:g} m of hose."
        return [Fault("coil", said, "It is a part of the hose, wound wider than its bore.")]


def fitting_names() -> list[str]:
    """Names of the fittings whose loss is known (tables/hydraulics.csv)."""
    return [key.removeprefix(_FITTING) for key in reference.table("hydraulics") if key.startswith(_FITTING)]


def colebrook(reynolds: Any, relative_roughness: float) -> Any:
    """Darcy friction factor of turbulent flow, Reynolds numbers from 2000 on; scalar or array.

    1 / sqrt(f) = -2 log10(e / (3.7 D) + 2.51 / (Re sqrt(f))): Colebrook 1939 (from memory), by Newton's method from Swamee
    & Jain 1976 (from memory), which is within 3 % of it.
    """
    rough, fine = relative_roughness / 3.7, 2.51 / reynolds
    x = -2 * np.log10(rough + 5.74 / reynolds**0.9)
    for _ in range(_NEWTON):
        inside = rough + fine * x
        x = x - (x + 2 * np.log10(inside)) / (1 + 2 / np.log(10) * fine / inside)
    return 1 / x**2


def friction_factor(reynolds: NDArray[np.float64], relative_roughness: float) -> NDArray[np.float64]:
    """Darcy friction factor of a straight hose: 64 / Re, then smoothly to Colebrook from a Reynolds number of 4000 on."""
    reynolds = np.maximum(reynolds, 1.0)
    laminar = 64 / reynolds
    turbulent = colebrook(np.maximum(reynolds, LAMINAR_UP_TO), relative_roughness)
    return np.asarray(laminar + _led_over(reynolds, LAMINAR_UP_TO) * (turbulent - laminar))


def coiled_factor(reynolds: NDArray[np.float64], relative_roughness: float, curvature: float) -> NDArray[np.float64]:
    """The same of a hose wound up; curvature: bore over the diameter of the turns.

    Laminar: White 1929, f / (1 - (1 - (11.6 / De)^0.45)^(1 / 0.45)) for De = Re sqrt(curvature) above 11.6. Turbulent: Mishra &
    Gupta 1979, 0.03 sqrt(curvature) more than straight. Laminar flow lasts to 20000 curvature^0.32 (Ito 1959). All three
    from memory.
    """
    reynolds = np.maximum(reynolds, 1.0)
    critical = max(20_000 * curvature**0.32, LAMINAR_UP_TO)
    dean = np.maximum(reynolds * np.sqrt(curvature), 11.6)
    laminar = 64 / reynolds / (1 - (1 - (11.6 / dean) ** 0.45) ** (1 / 0.45))
    turbulent = colebrook(np.maximum(reynolds, critical), relative_roughness) + 0.03 * np.sqrt(curvature)
    return np.asarray(laminar + _led_over(reynolds, critical) * (turbulent - laminar))


@cache
def minor_loss(hose: Hose) -> float:
    """Velocity heads lost at entrance, exit and fittings.

    A fitting takes so many times f_T, the friction factor of rough steel pipe of that bore (Crane TP 410).
    """
    steel = reference.value("hydraulics", "roughness_steel") / 1000
    rough_factor = 0.25 / np.log10(steel / hose.bore_m / 3.7) ** 2
    fittings = sum(n * reference.value("hydraulics", _FITTING + name) for name, n in hose.fittings.items())
    ends = reference.value("hydraulics", "loss_entrance") + reference.value("hydraulics", "loss_exit")
    return float(ends + fittings * rough_factor)


def hose_loss_m(flow_l_min: NDArray[np.float64], hose: Hose, temperature_c: float = 25.0) -> NDArray[np.float64]:
    """Head [m] lost between pump and open end, by flow [L/min]: Darcy and Weisbach, with what the fittings take."""
    velocity = flow_l_min / 60000 / (np.pi / 4 * hose.bore_m**2)
    reynolds = velocity * hose.bore_m / _kinematic_viscosity_m2_s(temperature_c)
    roughness = reference.value("hydraulics", "roughness_vinyl_hose") / 1000 / hose.bore_m
    wound_m = hose.coil.length_m if hose.coil else 0.0
    heads = friction_factor(reynolds, roughness) * (hose.length_m - wound_m) / hose.bore_m + minor_loss(hose)
    if hose.coil:
        heads = heads + coiled_factor(reynolds, roughness, hose.bore_m / hose.coil.diameter_m) * wound_m / hose.bore_m
    return np.asarray(heads * velocity**2 / (2 * G_M_S2))


def _led_over(reynolds: NDArray[np.float64], critical: float) -> NDArray[np.float64]:
    """0 up to the critical Reynolds number, 1 from twice that on, between them without a kink."""
    x = np.clip(np.log(reynolds / critical) / np.log(2.0), 0.0, 1.0)
    return np.asarray(x * x * (3 - 2 * x))


@cache
def _kinematic_viscosity_m2_s(temperature_c: float) -> float:
    return 1e-6 * viscosity_mpa_s(temperature_c) / density_kg_l(temperature_c)
