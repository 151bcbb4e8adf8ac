"""What a change does to glass, tote and floor: water left for the fish, marks, what a pump leaves, what runs over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tapwright.chemistry.envelope.grading import beyond, limit
from tapwright.chemistry.findings import Finding


@dataclass(frozen=True)
class Glass:
    """A tank's levels above its bottom [m]: usual, once drained, overflow; and minutes of pumping between the first and
    the last of these."""

    usual_m: float
    low_m: float
    overflow_m: float
    spare_minutes: float


@dataclass(frozen=True)
class Tub:
    """A tote: its volume [L], and litres in it once filled; its height [m], None where that is not known; what its pump
    leaves, as a height [m]; flow of the taps [L/min]; and the marks up to which it is filled [m]."""

    volume_l: float
    filled_l: float
    height_m: float | None
    suction_m: float
    tap_l_min: float
    marks_m: Sequence[float] = ()

    @property
    def left_l(self) -> float | None:
        """Litres that the pump cannot lift; None where the tote's height is not known."""
        return None if self.height_m is None else min(self.volume_l * self.suction_m / self.height_m, self.filled_l)


def vessel_findings(glass: Glass, tub: Tub) -> list[Finding]:
    """Every finding about levels and vessels."""
    return [*_glass(glass), *_left(tub), *_marks(tub), *_tap(tub)]


def _glass(glass: Glass) -> list[Finding]:
    text = (
        f"The tank is drained down to {100 * glass.low_m:.0f} cm: too little for fish to swim in. Change less at once."
    )
    found = beyond("level_low", glass.low_m, text, caution="level_lowest", stop="level_lowest_stop", least=True)
    if not glass.low_m < glass.usual_m <= glass.overflow_m + 1e-9:
        text = (
            f"The levels do not fit: {100 * glass.low_m:.0f} cm once drained, {100 * glass.usual_m:.0f} usually, "
            f"{100 * glass.overflow_m:.0f} at the overflow. Do not follow this plan; tell its makers."
        )
        found.append(Finding("stop", "contradiction", text, glass.low_m, glass.usual_m, "m"))
    return found


def _left(tub: Tub) -> list[Finding]:
    """Water that stays in the tote."""
    left_l = tub.left_l
    if left_l is None:
        return []
    text = (
        f"The pump leaves about {left_l:.0f} of {tub.filled_l:.0f} L in the tote: the last {100 * tub.suction_m:.0f} cm lie "
        "below its intake. Tip the tote towards the pump, or use a smaller tote; the level ends so much short."
    )
    return beyond("tote_left", 100 * left_l / tub.filled_l, text, caution="tote_left", stop="tote_left_stop")


def _marks(tub: Tub) -> list[Finding]:
    least_m = limit("mark_least")
    low = [mark for mark in tub.marks_m if 0 < mark < least_m]
    if not low:
        return []
    text = (
        f"A mark of {100 * low[0]:.1f} cm in the tote is too low to be read: measure the litres with a bucket instead, or use "
        "a smaller tote."
    )
    return beyond("mark_low", low[0], text, caution="mark_least", least=True)


def _tap(tub: Tub) -> list[Finding]:
    minutes = max(tub.volume_l - tub.filled_l, 0.0) / tub.tap_l_min
    if minutes >= limit("tap_overflow_minutes"):
        return []
    text = (
        f"The tote is filled to its last {60 * minutes:.0f} seconds at {tub.tap_l_min:.0f} L/min: stand by the taps, they "
        "run on over its rim."
    )
    source = "common practice, no source"
    return [Finding("note", "tap_overflow", text, minutes, limit("tap_overflow_minutes"), "min", source)]
