"""The neutraliser forgotten while the water of a plan is pumped in: the same filling and the same bottle, whoever asks."""

from __future__ import annotations

from dataclasses import dataclass

from tapwright.chemistry.change.filling.chlorine import Filling
from tapwright.chemistry.change.hydraulics.pumping import Minutes
from tapwright.chemistry.dosing.neutralise import assumptions_of
from tapwright.chemistry.errors import NoAnswer
from tapwright.chemistry.plan.figures.doses import choose_neutraliser
from tapwright.chemistry.plan.figures.flows import flows_of
from tapwright.chemistry.plan.figures.records import Figures, Totes
from tapwright.chemistry.plan.figures.states import tank_at_rest
from tapwright.chemistry.plan.household.household import Household, Tank
from tapwright.chemistry.plan.household.tables import NeutraliserTable
from tapwright.chemistry.plan.late.dose import Bottle, Case
from tapwright.chemistry.plan.planner import change_share, tested_waters
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.composition import Water


@dataclass(frozen=True)
class Refill:
    """What the forgotten neutraliser takes from a plan.

    fill: minutes of pumping for one tote, None where pump and hose cannot do it; entry: what should have gone in.  before:
    the tank's water, ph: the highest it comes to.
    """

    household: Household
    tank: Tank
    change_share: float
    totes: Totes
    fill: Minutes | None
    entry: NeutraliserTable
    before: Water
    ph: float


def refill_of(figures: Figures) -> Refill | None:
    """That of a plan; None where the tap has no chlorine."""
    if figures.neutraliser is None:
        return None
    before, ph = figures.waters.tank_before, float(figures.states.tank_before.most_alkaline.ph)
    entry, fill = figures.neutraliser.entry, figures.pump_minutes
    return Refill(figures.household, figures.tank, figures.change_share, figures.totes, fill, entry, before, ph)


def refill_without_plan(household: Household, tank: Tank, share: float | None) -> Refill | None:
    """The same without waiting for what a plan may fail for: hot water, salts, too many totes.

    share: as `planner.plan` takes it, and raises for it.
    """
    tap, before = (description.water for description in tested_waters(household, tank))
    chosen = change_share(tank, tap, before, share)
    totes = Totes.of(chosen * tank.live_volume_l, household.tote.volume_l)
    neutraliser = choose_neutraliser(household, totes)
    if neutraliser is None:
        return None
    try:
        fill = flows_of(household, tank, chosen, totes.volume_l).fill.total
    except NoAnswer:  # not even the pump may keep the dose waiting
        fill = None
    ph = float(tank_at_rest(before, household.times_air).most_alkaline.ph)
    return Refill(household, tank, chosen, totes, fill, neutraliser.entry, before, ph)


def forgotten(refill: Refill, first: int = 0) -> Case:
    """As if the tote of that number, from 0, and all after it were not neutralised, those before it were.

    Minutes count while water runs in from that tote on, at the flow the pump is predicted to have; nothing uses chlorine
    up. Without a pump that could do it: at the flow of the taps.
    """
    household, tank, totes, chlorine = refill.household, refill.tank, refill.totes, refill.household.tap.chlorine()
    low_l = tank.live_volume_l - refill.change_share * tank.live_volume_l
    flow = household.tap.flow_l_min if refill.fill is None else totes.volume_l / refill.fill.predicted
    return Case(
        Filling(low_l + first * totes.volume_l, tank.live_volume_l, flow, chlorine.total_mg_l),
        chlorine,
        bottle_of(household, refill.entry),
        None,
        float(refill.before.ammonia_mg_n_l),
        refill.ph,
        float(refill.before.temperature_c),
        None,
        tuple(assumptions_of(chlorine)),
        latest_end_min=None if refill.fill is None else (totes.count - first) * refill.fill.late,
    )


def late_cases(figures: Figures) -> tuple[Case, ...]:
    """For every tote of a plan: as if it were the first not neutralised; none where the tap has no chlorine."""
    refill = refill_of(figures)
    return () if refill is None else tuple(forgotten(refill, number) for number in range(refill.totes.count))


def bottle_of(household: Household, entry: NeutraliserTable) -> Bottle:
    """A neutraliser of the cupboard, measured with the household's scale."""
    label = entry.label.dose() if entry.label else None
    return Bottle(entry.substance, entry.purity, entry.excess, entry.solution_g_l, label, household.scale.resolution_g)


def how_it_fills(refill: Refill) -> str:
    """What the filling was taken for, in a sentence."""
    totes, fill = refill.totes, refill.fill
    if fill is None:
        flow = refill.household.tap.flow_l_min
        return (
            f"Pump and hose cannot fill this tank: water is taken to run in as fast as the taps, {figure(flow)} L/min."
        )
    count = "one tote" if totes.count == 1 else f"{totes.count} totes, one after another"
    whole = [totes.count * minutes for minutes in (fill.early, fill.predicted, fill.late)]
    early, predicted, late = (f"{minutes:.0f}" for minutes in whole)
    return (
        f"Water comes in as the plan has it: by pump and hose from {count}, {figure(totes.volume_l)} L each. Minutes count "
        f"while the pump runs: {predicted} in all, at the earliest {early}, at the latest {late}."
    )
