"""The hose's part of a plan: minutes to drain and fill, and when the level passes what must not stand dry or run over."""

from __future__ import annotations

from dataclasses import dataclass

from tapwright.chemistry import reference
from tapwright.chemistry.change.hydraulics.pumping import Cycle, Minutes, Pumping, pumping, tote_cycle
from tapwright.chemistry.plan.household.household import Household, Tank


@dataclass(frozen=True)
class Mark:
    """Something the level passes: what, while draining or filling which tote (0: draining), and minutes after its start."""

    event: str
    tote: int
    minutes: Minutes


@dataclass(frozen=True)
class Flows:
    """drain: of the whole volume; fill: of one tote.  marks: in the order they are passed.  cycle: what the tote would do
    with the taps left running into it.  siphon: whether the tank is drained without a pump."""

    drain: Pumping
    fill: Pumping
    marks: tuple[Mark, ...]
    cycle: Cycle
    siphon: bool

    def mark(self, event: str) -> Mark | None:
        """The mark of that name, if the level passes it."""
        return next((mark for mark in self.marks if mark.event == event), None)


def flows_of(household: Household, tank: Tank, share: float, tote_l: float) -> Flows:
    """Minutes of one change; the lift grows as a level falls.

    share: of the live water; tote_l: litres in each tote.  Raises NoAnswer where pump or siphon cannot do it.
    """
    drain_lift_m, fill_lift_m = household.lifts_m(tank)
    full_m, volume_l = tank.water_height_m, share * tank.live_volume_l
    drain_line, fill_line = household.drain_line(tank), household.fill_line(tank)
    drain = pumping(volume_l, drain_line, drain_lift_m - full_m, drain_lift_m - full_m * (1 - share))
    level_m = household.tote_level_m(tote_l)
    fill = pumping(tote_l, fill_line, fill_lift_m - level_m, fill_lift_m)
    cycle = tote_cycle(volume_l, tote_l, household.tap.flow_l_min, tote_l / fill.total.predicted)
    marks = (*_draining(tank, share, drain), *_filling(tank, share, tote_l, fill))
    return Flows(drain, fill, marks, cycle, drain_line.pump is None)


def _draining(tank: Tank, share: float, drain: Pumping) -> list[Mark]:
    """Heater and filter intake, where the level falls to them; a heater counts as reached a little above its end."""
    low_m, margin_m = tank.water_height_m * (1 - share), reference.value("limits", "heater_margin")
    heights = {
        "heater dry": tank.heater_height_m + margin_m,
        "intake dry": tank.intake_height_m or 0.0,
        "outlet dry": tank.outlet_height_m or 0.0,
    }
    found = [
        Mark(event, 0, drain.when(_litres(tank, max(tank.water_height_m - height, 0.0))))
        for event, height in heights.items()
        if low_m < height
    ]
    return sorted(found, key=lambda mark: mark.minutes.predicted)


def _filling(tank: Tank, share: float, tote_l: float, fill: Pumping) -> list[Mark]:
    """Heater covered again, and the overflow, which only a pump that nobody stops reaches."""
    low_m = tank.water_height_m * (1 - share)
    totes = round(_litres(tank, tank.water_height_m - low_m) / tote_l)
    found = []
    if low_m < tank.heater_height_m:
        brought_l = _litres(tank, tank.heater_height_m - low_m)
        before = min(int(brought_l / tote_l), totes - 1)
        found.append(Mark("heater covered", before + 1, fill.when(brought_l - before * tote_l)))
    spare = _litres(tank, tank.overflow_height_m - tank.water_height_m) / tote_l
    total = fill.total
    over = Minutes(*(minutes * (1 + spare) for minutes in (total.early, total.predicted, total.late)))
    return [*found, Mark("overflow", totes, over)]


def _litres(tank: Tank, height_m: float) -> float:
    """Live water between two levels so far apart."""
    return tank.live_volume_l * height_m / tank.water_height_m
