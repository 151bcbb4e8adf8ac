"""Minutes: how long a volume takes through pump and hose while the level changes, and when it reaches a mark."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from tapwright.chemistry.change.hydraulics.flow import (
    BOUNDS,
    Bound,
    Line,
    Pump,
    flow_l_min,
    operating_flow_l_min,
    refuse_lift,
)
from tapwright.chemistry.change.hydraulics.friction import Hose
from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.record import Listed

_SLICES = 24  # of the changing level
_LEAST_FLOW_L_MIN = 0.01
_BISECTIONS = 40
# A pump that runs at less than a fifth of its label's speed, or at more than three times, is not the one on the label.
_SPEEDS = (0.2, 3.0)


@dataclass(frozen=True)
class Minutes:
    """Predicted time and its bounds: early for a stronger pump and wider hose, late for a straight pump line."""

    early: float
    predicted: float
    late: float


@dataclass(frozen=True)
class Pumping:
    """Litres against minutes: moved_l at the ends of the slices, and the minutes to each by bound."""

    moved_l: Annotated[NDArray[np.float64], Listed()]
    minutes_by: Mapping[Bound, Annotated[NDArray[np.float64], Listed()]]

    @property
    def total(self) -> Minutes:
        """Minutes for all of it."""
        return self.when(float(self.moved_l[-1]))

    def when(self, volume_l: float) -> Minutes:
        """Minutes until so much has been moved; those for all of it where that is less."""
        return Minutes(*(float(np.interp(volume_l, self.moved_l, self.minutes_by[bound])) for bound in BOUNDS))


def pumping(volume_l: float, line: Line, lift_start_m: float, lift_end_m: float) -> Pumping:
    """The course of a volume while the lift goes from start to end in step with it.

    Raises BadInput for a negative volume, NoAnswer when the line cannot lift that high or lets next to nothing through.
    """
    if not 0 <= volume_l < math.inf:
        raise BadInput.of("volume", f"{volume_l} L cannot be pumped.", "Give 0 L or more.")
    lifts_m, shares = _slices(line, lift_start_m, lift_end_m)
    flows = {bound: flow_l_min(line, lifts_m, bound) for bound in BOUNDS}
    if volume_l > 0 and float(np.min(flows["late"])) < _LEAST_FLOW_L_MIN:
        raise NoAnswer.of(
            "hose",
            "next to nothing flows: the lift takes nearly all of the head, or the hose is too narrow.",
            "Lower the outlet, or use a wider or shorter hose.",
        )
    each_l = volume_l * shares
    if volume_l == 0:
        flows = {bound: np.ones(_SLICES) for bound in BOUNDS}
    minutes = {bound: np.concatenate([[0.0], np.cumsum(each_l / flow)]) for bound, flow in flows.items()}
    return Pumping(np.concatenate([[0.0], np.cumsum(each_l)]), minutes)


def minutes_to_move(volume_l: float, line: Line, lift_start_m: float, lift_end_m: float) -> Minutes:
    """Minutes for a volume, as `pumping` has them."""
    return pumping(volume_l, line, lift_start_m, lift_end_m).total


@cache  # a household asks once to check its file and once to plan
def timed(line: Line, volume_l: float, minutes: float, lift_start_m: float, lift_end_m: float, where: str) -> Line:
    """The line scaled so that this volume takes just these minutes: the pump's speed, or the bore of a siphon.

    where: what to name in an error. Raises BadInput for a time no such pump or hose can need.
    """
    if not (0 < volume_l < math.inf and 0 < minutes < math.inf):
        raise BadInput.of(where, f"{volume_l:g} L in {minutes:g} minutes.", "Give a volume and a time above 0.")
    highest_m = max(lift_start_m, lift_end_m)
    refuse_lift(line, highest_m)

    def scaled(factor: float) -> tuple[Pump | None, Hose]:
        if line.pump is None:
            return None, line.hose.widened(factor)
        return line.pump.at_speed(factor), line.hose

    def takes(factor: float) -> float:
        pump, hose = scaled(factor)
        if pump is not None and pump.maximum_head_m <= highest_m:
            return math.inf
        lifts_m, shares = _slices(Line(pump, hose), lift_start_m, lift_end_m)
        flow = operating_flow_l_min(pump, hose, lifts_m)
        return float(np.sum(volume_l * shares / np.maximum(flow, 1e-12)))

    low, high = _SPEEDS
    shortest, longest = takes(high), takes(low)
    if not shortest <= minutes <= longest:
        most = f"to {longest:.0f}" if math.isfinite(longest) else "or more"
        raise BadInput.of(
            where,
            f"{volume_l:.0f} L in {minutes:.1f} minutes is read; this pump and hose would take {takes(1.0):.1f} minutes, and "
            f"{shortest:.1f} {most} could be believed.",
            "Check volume, time, bore and length, and the two figures of the pump.",
        )
    for _ in range(_BISECTIONS):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if takes(middle) > minutes else (low, middle)
    return Line(*scaled(high), timed=True)


@dataclass(frozen=True)
class Cycle:
    """A tote with the tap running into it while the pump empties it.

    runs_dry_min: minutes from full to dry, infinite where the tap keeps up; overflows_min: minutes from empty to full
    with the pump on, infinite where it keeps up; refill_min: minutes to fill it with the pump off; dry_runs: how often it
    runs dry before the whole volume has been moved.
    """

    runs_dry_min: float
    overflows_min: float
    refill_min: float
    dry_runs: int


def tote_cycle(volume_l: float, tote_l: float, tap_l_min: float, pump_l_min: float) -> Cycle:
    """What a tote does between a tap and a pump of these flows; it starts full.

    Raises BadInput for a tote or flow of nothing.
    """
    if not all(0 < figure < math.inf for figure in (volume_l, tote_l, tap_l_min, pump_l_min)):
        raise BadInput.of(
            "tote", f"{volume_l} L through {tote_l} L at {tap_l_min} and {pump_l_min} L/min.", "Give figures above 0."
        )
    net = pump_l_min - tap_l_min
    refill = tote_l / tap_l_min
    if net <= 0:
        return Cycle(math.inf, tote_l / -net if net < 0 else math.inf, refill, 0)
    runs_dry = tote_l / net
    # Each full tote gives itself and what runs in meanwhile; the last one need not run dry.
    per_cycle_l = pump_l_min * runs_dry
    return Cycle(runs_dry, math.inf, refill, max(math.ceil(volume_l / per_cycle_l - 1e-9) - 1, 0))


def _slices(line: Line, start_m: float, end_m: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lifts [m] in the middle of slices of the changing level, and the share of the volume in each.

    The slices are even in the square root of the head that is left: towards the highest lift a line can manage the flow goes
    as that root, and its slices grow fine. NoAnswer for lifts beyond it, which is met at an end, not in a middle.
    """
    refuse_lift(line, max(start_m, end_m))
    head_m = 0.0 if line.pump is None else line.pump.maximum_head_m
    roots = np.sqrt([head_m - start_m, head_m - end_m])
    steps = np.linspace(roots[0], roots[1], 2 * _SLICES + 1)
    lefts = steps[::2] ** 2
    span_m = lefts[-1] - lefts[0]
    shares = np.diff(lefts) / span_m if abs(span_m) > 1e-9 else np.full(_SLICES, 1 / _SLICES)
    return head_m - steps[1::2] ** 2, shares
