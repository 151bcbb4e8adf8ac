"""What a finished plan says it will do, copied out for the envelope to reckon with: no figure is computed here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from tapwright.chemistry.envelope.evening import Evening, evening_findings
from tapwright.chemistry.envelope.heat import ToteHeat, heat_findings
from tapwright.chemistry.envelope.vessel import Glass, Tub, vessel_findings
from tapwright.chemistry.envelope.water import Exchange, Met, water_findings
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.plan.figures.records import Figures, State
from tapwright.chemistry.plan.figures.states import needs_airing
from tapwright.chemistry.plan.steps.step import Step, the
from tapwright.chemistry.plan.steps.totes import low_mark_m
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.met import met


def envelope_findings(figures: Figures, steps: Sequence[Step]) -> list[Finding]:
    """What the envelope finds in one plan."""
    before_c, after_c = figures.tank.readings.temperature_c, float(figures.waters.tank_after.temperature_c)
    return [
        *heat_findings(_totes(figures), before_c, after_c),
        *water_findings(_exchange(figures)),
        *vessel_findings(_glass(figures), _tub(figures)),
        *evening_findings(_evening(figures, steps)),
    ]


def _exchange(figures: Figures) -> Exchange:
    waters, states, chosen = figures.waters, figures.states, figures.neutraliser
    refill, after = states.refill, states.tank_after
    if needs_airing(states):  # the steps let the tote give off its CO2 before it meets the tank
        refill, after = replace(refill, at_once=refill.at_rest), replace(after, at_once=None)
    fast = chosen is not None and chosen.entry.substance.oxygen_pace == "fast"
    demand_mg_l = chosen.dose.oxygen_demand_mg_l if chosen is not None and fast else None
    return Exchange(
        figures.change_share,
        _met(waters.tank_before, states.tank_before),
        _met(waters.refill, refill),
        _met(waters.tank_after, after),
        float(demand_mg_l or 0.0),
    )


def _met(water: Water, state: State) -> Met:
    return met(water, state.at_once, state.at_rest, state.aired)


def _totes(figures: Figures) -> list[ToteHeat]:
    household, heat = figures.household, figures.heat
    vessel, cold_c = household.vessel(), household.tap.temperature_c
    return [
        ToteHeat(
            hot_l=blend.hot_l,
            hot_c=max(tapping.hot_c, tote.drawn_c),
            cold_l=blend.cold_l,
            cold_c=cold_c,
            plastic_kj_k=vessel.tub_kj_k if number == 0 else 0.0,  # later it is warm already
            plastic_c=vessel.tub_c,
            drawn_c=tote.drawn_c,
            wanted_c=heat.wanted_c,
            arrives_c=tote.arrives_c,
        )
        for number, (blend, tapping, tote) in enumerate(zip(heat.blends, heat.tappings, heat.totes, strict=True))
    ]


def _glass(figures: Figures) -> Glass:
    tank = figures.tank
    return Glass(tank.water_height_m, figures.low_level_m, tank.overflow_height_m, figures.spare_minutes)


def _tub(figures: Figures) -> Tub:
    household, low = figures.household, low_mark_m(figures, 1)
    return Tub(
        household.tote.volume_l,
        figures.totes.volume_l,
        household.tote.height_m,
        household.pump.suction_height_m,
        household.tap.flow_l_min,
        () if low is None else (low,),
    )


def _evening(figures: Figures, steps: Sequence[Step]) -> Evening:
    chosen, weighed = figures.neutraliser, dict(figures.salts_per_tote_g)
    if chosen is not None and chosen.per_tote_ml is None and chosen.per_tote_g is not None:
        weighed[chosen.entry.substance.name] = chosen.per_tote_g
    return Evening(
        order=[(step.kind, step.tote) for step in steps],
        minutes=the(steps, "all_on").end_minute,
        totes=figures.totes.count,
        weighed_g=weighed,
        step_g=figures.household.scale.resolution_g,
        deionised_l=figures.salting.deionised_l,
        chlorine_mg_l=figures.household.tap.total_chlorine_mg_l,
    )
