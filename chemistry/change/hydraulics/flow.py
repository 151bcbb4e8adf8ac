"""Pump against hose: the flow where they meet, and without a pump the flow of a siphon.

The pump is known by two figures, maximum flow and maximum head. Between them a parabola is drawn, a common
approximation without source; the straight line is the slow bound, a pump and hose a tenth better than they say the
fast one (common practice, no source). A line that was timed once is scaled to that time and trusted within a tenth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tapwright.chemistry import reference
from tapwright.chemistry.change.hydraulics.friction import G_M_S2, Hose, hose_loss_m, minor_loss
from tapwright.chemistry.errors import BadInput, NoAnswer

Bound = Literal["early", "predicted", "late"]
BOUNDS: tuple[Bound, ...] = ("early", "predicted", "late")
_BISECTIONS = 30  # leave less than a hundred-millionth of the flow open


@dataclass(frozen=True)
class Pump:
    """Its two published figures: flow at no head [L/min], head at no flow [m]."""

    maximum_flow_l_min: float
    maximum_head_m: float

    def __post_init__(self) -> None:
        if not (0 < self.maximum_flow_l_min < math.inf and 0 < self.maximum_head_m < math.inf):
            raise BadInput.of("pump", "maximum flow and maximum head must be above 0.", "Read them off the pump.")

    def at_speed(self, speed: float) -> Pump:
        """The pump at another speed: flow in proportion, head as its square (affinity laws, Crane TP 410)."""
        return Pump(self.maximum_flow_l_min * speed, self.maximum_head_m * speed**2)


@dataclass(frozen=True)
class Line:
    """What the water goes through: a pump, or None for a siphon, and a hose.  timed: scaled to a measured time."""

    pump: Pump | None
    hose: Hose
    timed: bool = False


def flow_l_min(line: Line, lift_m: NDArray[np.float64], bound: Bound = "predicted") -> NDArray[np.float64]:
    """Flow [L/min] through the line for every lift [m] (negative: the open end lies below the water drawn from).

    Raises NoAnswer when the pump cannot lift that high, or a siphon would have to run uphill.
    """
    refuse_lift(line, float(np.max(lift_m)))
    if line.timed:
        share = reference.value("practice", "timed_share") / 100
        factor = {"early": 1 / (1 - share), "predicted": 1.0, "late": 1 / (1 + share)}[bound]
        return operating_flow_l_min(line.pump, line.hose, lift_m) * factor
    pump, hose = line.pump, line.hose
    if bound == "early":
        pump, hose = pump and _better(pump), _other_bore(hose, "early_bore_share", 1)
    if bound == "late" and pump is None:
        hose = _other_bore(hose, "late_bore_share", -1)
    return operating_flow_l_min(pump, hose, lift_m, straight=bound == "late")


def refuse_lift(line: Line, highest_m: float) -> None:
    """NoAnswer for a lift that the line cannot manage, BadInput for one that is no number."""
    if not math.isfinite(highest_m):
        raise BadInput.of("lift", f"{highest_m} m.", "Measure from the water to the open end.")
    if line.pump is None and highest_m >= 0:
        raise NoAnswer.of(
            "siphon",
            f"a siphon does not run uphill: its outlet would lie {highest_m:.2f} m above the water.",
            "Lead the outlet lower, or use a pump.",
        )
    if line.pump is not None and highest_m >= line.pump.maximum_head_m:
        raise NoAnswer.of(
            "pump",
            f"this pump cannot lift {highest_m:.2f} m: its maximum head is {line.pump.maximum_head_m:.2f} m.",
            "Lower the outlet, raise the tote, or use a stronger pump.",
        )


def operating_flow_l_min(
    pump: Pump | None, hose: Hose, lift_m: NDArray[np.float64], *, straight: bool = False
) -> NDArray[np.float64]:
    """Flow [L/min] where what the pump gives (None: nothing) is what lift [m] and hose take; lifts as `refuse_lift` allows.

    straight: draw the pump as a straight line instead of a parabola. Bisection: what is left of the head falls with the
    flow.
    """
    low, high = np.zeros_like(lift_m), np.full_like(lift_m, _frictionless_l_min(pump, hose, float(np.min(lift_m))))
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        spare = _head_m(pump, middle, straight) - lift_m - hose_loss_m(middle, hose) > 0
        low, high = np.where(spare, middle, low), np.where(spare, high, middle)
    return low


def _head_m(pump: Pump | None, flow: NDArray[np.float64], straight: bool) -> NDArray[np.float64] | float:
    if pump is None:
        return 0.0
    share = flow / pump.maximum_flow_l_min
    # Past the maximum flow, where the outlet pulls, the straight line would be the faster of the two.
    used = np.maximum(share, share**2) if straight else share**2
    return pump.maximum_head_m * (1 - used)


def _frictionless_l_min(pump: Pump | None, hose: Hose, lift_m: float) -> float:
    """A flow [L/min] that is never reached: nothing but the ends of the hose resists."""
    if pump is None:
        velocity = np.sqrt(2 * G_M_S2 * max(-lift_m, 0.0) / minor_loss(hose))
        return float(60000 * np.pi / 4 * hose.bore_m**2 * velocity)
    return pump.maximum_flow_l_min * float(np.sqrt(1 - lift_m / pump.maximum_head_m))


def _better(pump: Pump) -> Pump:
    """The pump as much better than it says as may be (tables/practice.csv)."""
    factor = 1 + reference.value("practice", "early_pump_share") / 100
    return Pump(pump.maximum_flow_l_min * factor, pump.maximum_head_m * factor)


def _other_bore(hose: Hose, key: str, sign: int) -> Hose:
    """The hose as much wider or narrower than it says as may be."""
    return hose.widened(1 + sign * reference.value("practice", key) / 100)
