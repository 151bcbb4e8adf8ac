"""What a plan looks ahead to: temperature and chlorine while the tank fills, nitrate from change to change."""

from __future__ import annotations

from dataclasses import dataclass

from tapwright.chemistry.change.filling.chlorine import concentration_mg_l
from tapwright.chemistry.change.heat.warmth import mixed_c
from tapwright.chemistry.change.nitrate.dilution import after_change, peak_after_changes
from tapwright.chemistry.plan.figures.records import Figures
from tapwright.chemistry.plan.late.dose import Case

_POINTS = 25
_AHEAD = 8  # changes


@dataclass(frozen=True)
class Moment:
    """The tank so many minutes of pumping after the filling began.

    forgotten_mg_l: chlorine were nothing neutralised; 0 where the tap has none.
    """

    minute: float
    temperature_c: float
    forgotten_mg_l: float


@dataclass(frozen=True)
class Turn:
    """Nitrate [mg/L NO3] just before and just after a change; number 0 is this one."""

    number: int
    before_mg_l: float
    after_mg_l: float


def filling_course(figures: Figures, case: Case | None) -> tuple[Moment, ...]:
    """Even steps through the filling, well mixed; case: of the neutraliser forgotten."""
    minutes = figures.totes.count * figures.pump_minutes.predicted
    low_l = figures.tank.live_volume_l - figures.change_volume_l
    tank_c, refill_c = figures.tank.readings.temperature_c, figures.heat.arrives_c
    found = []
    for part in range(_POINTS):
        done = part / (_POINTS - 1)
        brought_l = done * figures.change_volume_l
        temperature_c = mixed_c(tank_c, refill_c, brought_l / (low_l + brought_l))
        forgotten = 0.0 if case is None else float(concentration_mg_l(case.filling, done * minutes))
        found.append(Moment(done * minutes, float(temperature_c), forgotten))
    return tuple(found)


def nitrate_ahead(figures: Figures) -> tuple[Turn, ...] | None:
    """This change and those after it, all alike; None where the rise from one to the next is not known."""
    rise, share = figures.tank.nitrate_rise_mg_l, figures.change_share
    if rise is None:
        return None
    refill, first = figures.waters.tap.nitrate_mg_l, figures.waters.tank_before.nitrate_mg_l
    found = []
    for number in range(_AHEAD + 1):
        before = float(peak_after_changes(first, refill, rise, share, number))
        found.append(Turn(number, before, float(after_change(before, refill, share))))
    return tuple(found)
