"""Pump against hose: the flow where they meet, and the minutes a volume takes.

The pump is known by two figures, maximum flow and maximum head. Between them a parabola is drawn, a common
approximation without source; the straight line is the slow bound, a pump and hose a tenth better than they say the
fast one (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from chemistry import reference
from chemistry.errors import BadInput, NoAnswer
from chemistry.water.properties import density_kg_l, viscosity_mpa_s

_G = 9.80665  # standard acceleration of free fall [m/s2], exact (3rd CGPM 1901)
_SLICES = 24  # of the changing level; halving them moves no time by a second
_LEAST_FLOW_L_MIN = 0.01
_BISECTIONS = 26  # leave less than a ten-millionth of the flow open


@dataclass(frozen=True)
class Pump:
    """Its two published figures: flow at no head [L/min], head at no flow [m]."""

    maximum_flow_l_min: float
    maximum_head_m: float

    def __post_init__(self) -> None:
        if self.maximum_flow_l_min <= 0 or self.maximum_head_m <= 0:
            raise BadInput.of("pump", "maximum flow and maximum head must be above 0.", "Read them off the pump.")


@dataclass(frozen=True)
class Hose:
    """bore_m inside; length_m from pump to open end."""

    bore_m: float
    length_m: float

    def __post_init__(self) -> None:
        if self.bore_m <= 0 or self.length_m <= 0:
            raise BadInput.of("hose", "bore and length must be above 0.", "Measure the hose.")


@dataclass(frozen=True)
class Minutes:
    """Predicted time and its bounds: early for a stronger pump and wider hose, late for a straight pump line."""

    early: float
    predicted: float
    late: float


def friction_factor(reynolds: NDArray[np.float64], relative_roughness: float) -> NDArray[np.float64]:
    """Darcy friction factor: 64 / Re up to 2000, Swamee & Jain 1976 (from memory; within 3 % of Colebrook) from 4000,
    and a straight line over log Re between, so that nothing jumps."""
    reynolds = np.maximum(reynolds, 1.0)
    laminar = 64 / np.minimum(reynolds, 2000.0)
    rough = np.maximum(reynolds, 4000.0)
    turbulent = 0.25 / np.log10(relative_roughness / 3.7 + 5.74 / rough**0.9) ** 2
    weight = np.clip(np.log(reynolds / 2000.0) / np.log(2.0), 0.0, 1.0)
    return np.asarray((1 - weight) * laminar + weight * turbulent)


def hose_loss_m(flow_l_min: NDArray[np.float64], hose: Hose, temperature_c: float = 25.0) -> NDArray[np.float64]:
    """Head [m] lost in the hose: Darcy-Weisbach with entrance and exit."""
    velocity = flow_l_min / 60000 / (np.pi / 4 * hose.bore_m**2)
    reynolds = velocity * hose.bore_m / _kinematic_viscosity_m2_s(temperature_c)
    roughness = reference.value("hydraulics", "roughness_vinyl_hose") / 1000 / hose.bore_m
    minor = reference.value("hydraulics", "loss_entrance") + reference.value("hydraulics", "loss_exit")
    lost = friction_factor(reynolds, roughness) * hose.length_m / hose.bore_m + minor
    return np.asarray(lost * velocity**2 / (2 * _G))


@cache
def _kinematic_viscosity_m2_s(temperature_c: float) -> float:
    return 1e-6 * viscosity_mpa_s(temperature_c) / density_kg_l(temperature_c)


def operating_flow_l_min(
    pump: Pump, hose: Hose, lift_m: NDArray[np.float64], *, straight: bool = False
) -> NDArray[np.float64]:
    """Flow [L/min] where pump and hose meet, for every lift [m] (negative: the outlet lies lower).

    straight: draw the pump as a straight line instead of a parabola. Bisection: what is left of the head falls with
    the flow. Raises NoAnswer when the pump cannot lift that high.
    """
    highest = float(np.max(lift_m))
    if highest >= pump.maximum_head_m:
        raise NoAnswer.of(
            "pump",
            f"this pump cannot lift {highest:.2f} m: its maximum head is {pump.maximum_head_m:.2f} m.",
            "Lower the outlet, raise the tote, or use a stronger pump.",
        )
    low, high = np.zeros_like(lift_m), np.full_like(lift_m, _frictionless_flow_l_min(pump, float(np.min(lift_m))))
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        share = middle / pump.maximum_flow_l_min
        # Past the maximum flow, where the outlet pulls, the straight line would be the faster of the two.
        used = np.maximum(share, share**2) if straight else share**2
        head_m = pump.maximum_head_m * (1 - used)
        spare = head_m - lift_m - hose_loss_m(middle, hose) > 0
        low, high = np.where(spare, middle, low), np.where(spare, high, middle)
    return low


def _frictionless_flow_l_min(pump: Pump, lift_m: float) -> float:
    """Flow [L/min] of the parabola against the lift alone: nothing in the hose resists."""
    return pump.maximum_flow_l_min * float(np.sqrt(1 - lift_m / pump.maximum_head_m))


def minutes_to_move(volume_l: float, pump: Pump, hose: Hose, lift_start_m: float, lift_end_m: float) -> Minutes:
    """Minutes to move a volume while the lift goes from start to end in step with it.

    0 minutes for no volume. Raises BadInput for a negative volume, NoAnswer when the pump cannot lift that high.
    """
    if volume_l < 0:
        raise BadInput.of("volume", f"{volume_l} L cannot be pumped.", "Give 0 L or more.")
    middles = (np.arange(_SLICES) + 0.5) / _SLICES
    lifts_m = lift_start_m + (lift_end_m - lift_start_m) * middles
    # The highest lift is met at an end, not in the middle of a slice.
    if (highest := max(lift_start_m, lift_end_m)) >= pump.maximum_head_m:
        operating_flow_l_min(pump, hose, np.array([highest]))
    flows = (
        operating_flow_l_min(*_better(pump, hose), lifts_m),
        operating_flow_l_min(pump, hose, lifts_m),
        operating_flow_l_min(pump, hose, lifts_m, straight=True),
    )
    if volume_l > 0 and float(np.min(flows[2])) < _LEAST_FLOW_L_MIN:
        raise NoAnswer.of("hose", "next to nothing flows through this hose.", "Use a wider or shorter hose.")
    return Minutes(*(float(np.sum(volume_l / _SLICES / flow)) for flow in flows))


def _better(pump: Pump, hose: Hose) -> tuple[Pump, Hose]:
    """Pump and hose as much better than they say as may be (tables/practice.csv)."""
    pump_factor = 1 + reference.value("practice", "early_pump_share") / 100
    bore_factor = 1 + reference.value("practice", "early_bore_share") / 100
    return (
        Pump(pump.maximum_flow_l_min * pump_factor, pump.maximum_head_m * pump_factor),
        Hose(hose.bore_m * bore_factor, hose.length_m),
    )
