"""A table of the forgotten neutraliser, minute by minute, for whoever has no engine."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwright.chemistry.change.filling.chlorine import Filling, concentration_mg_l
from tapwright.chemistry.plan.late.dose import Amount, Case

_TOLERANCE = 0.007  # of the chlorine, by which a straight line between two rows may differ
_INSIDE = np.linspace(0, 1, 9)[1:-1]


@dataclass(frozen=True)
class Row:
    """At a minute of pumping: chlorine in the tank [mg/L], and the dose for what is there and what is to come."""

    minute: float
    chlorine_mg_l: float
    dose: Amount


def late_table(case: Case) -> tuple[Row, ...]:
    """Rows from the first minute to the last, so dense that a straight line between two is within one per cent."""
    minutes = [0.0, float(case.filling.minutes)]
    place = 0
    while place < len(minutes) - 1:
        start, end = minutes[place], minutes[place + 1]
        if _straight(case.filling, start, end):
            place += 1
        else:
            minutes.insert(place + 1, (start + end) / 2)
    chlorine = concentration_mg_l(case.filling, np.array(minutes)).tolist()
    return tuple(Row(minute, level, case.dose_now(minute)) for minute, level in zip(minutes, chlorine, strict=True))


def _straight(filling: Filling, start: float, end: float) -> bool:
    """Whether a line between two minutes stays near the curve."""
    at = start + _INSIDE * (end - start)
    ends = concentration_mg_l(filling, np.array([start, end]))
    line, curve = np.interp(at, [start, end], ends), concentration_mg_l(filling, at)
    return bool(np.all(np.abs(line - curve) <= _TOLERANCE * curve))
