"""The neutraliser forgotten while a planned change is pumped in: its case, and a table of it for whoever has no engine."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chemistry.change.filling import Filling, concentration_mg_l
from chemistry.dosing.neutralise import assumptions_of
from chemistry.plan.figures import Figures
from chemistry.plan.household import Household
from chemistry.plan.household_tables import NeutraliserTable
from chemistry.plan.late import Amount, Bottle, Case

_TOLERANCE = 0.007  # of the chlorine, by which a straight line between two rows may differ
_INSIDE = np.linspace(0, 1, 9)[1:-1]


@dataclass(frozen=True)
class Row:
    """At a minute of pumping: chlorine in the tank [mg/L], and the dose for what is there and what is to come."""

    minute: float
    chlorine_mg_l: float
    dose: Amount


def bottle_of(household: Household, entry: NeutraliserTable) -> Bottle:
    """A neutraliser of the cupboard, measured with the household's scale."""
    label = entry.label.dose() if entry.label else None
    return Bottle(entry.substance, entry.purity, entry.excess, entry.solution_g_l, label, household.scale.resolution_g)


def late_cases(figures: Figures) -> tuple[Case, ...]:
    """For every tote: as if it and all after it were not neutralised, those before it were; none where the tap has no chlorine.

    Minutes count while the pump runs from that tote on, at the flow it is predicted to have; nothing uses chlorine up.
    """
    chosen, tank, chlorine = figures.neutraliser, figures.tank, figures.household.tap.chlorine()
    if chosen is None:
        return ()
    flow = figures.totes.volume_l / figures.pump_minutes.predicted
    low_l = tank.live_volume_l - figures.change_volume_l
    before = figures.waters.tank_before
    bottle = bottle_of(figures.household, chosen.entry)
    return tuple(
        Case(
            Filling(low_l + number * figures.totes.volume_l, tank.live_volume_l, flow, chlorine.total_mg_l),
            chlorine,
            bottle,
            None,
            float(before.ammonia_mg_n_l),
            float(figures.states.tank_before.most_alkaline.ph),
            float(before.temperature_c),
            None,
            tuple(assumptions_of(chlorine)),
        )
        for number in range(figures.totes.count)
    )


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
