"""A plan whose parts do not fit together is caught, whichever part went wrong: each is spoilt by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from tapwright.chemistry.envelope.rescue import Rescue, rescue_findings
from tapwright.chemistry.plan.figures.records import Figures
from tapwright.chemistry.plan.guards.account import envelope_findings
from tapwright.chemistry.plan.planner import Plan
from tapwright.chemistry.plan.steps.step import Step
from tests.envelope.evenings import changed, planned

Spoilt = tuple[Figures, Sequence[Step]]


def _blend(made: Plan) -> Spoilt:
    """Hot and cold change places."""
    heat = made.figures.heat
    blends = tuple(replace(blend, hot_l=blend.cold_l, cold_l=blend.hot_l) for blend in heat.blends)
    return replace(made.figures, heat=replace(heat, blends=blends)), made.steps


def _drawn(made: Plan) -> Spoilt:
    """A tote drawn four degrees too warm."""
    heat = made.figures.heat
    totes = tuple(replace(tote, drawn_c=tote.drawn_c + 4) for tote in heat.totes)
    return replace(made.figures, heat=replace(heat, totes=totes)), made.steps


def _hardness(made: Plan) -> Spoilt:
    """The tank after the change as hard as before."""
    waters = made.figures.waters
    after = replace(waters.tank_after, calcium_mmol_l=2 * waters.tank_after.calcium_mmol_l)
    return replace(made.figures, waters=replace(waters, tank_after=after)), made.steps


def _ph(made: Plan) -> Spoilt:
    """The tank after the change at another pH."""
    states = made.figures.states
    once = replace(states.tank_after.at_once, ph=states.tank_after.at_once.ph - 1.0)
    after = replace(states.tank_after, at_once=once)
    return replace(made.figures, states=replace(states, tank_after=after)), made.steps


def _chlorine(made: Plan) -> Spoilt:
    """A tenth of the tap's chlorine left in the refill."""
    waters = made.figures.waters
    return replace(
        made.figures, waters=replace(waters, refill=replace(waters.refill, total_chlorine_mg_l=0.19))
    ), made.steps


def _scale(made: Plan) -> Spoilt:
    """Salts in parts of a step of the scale."""
    salting = made.figures.salting
    grams = {name: gram + 0.3 for name, gram in salting.recipe.grams.items()}
    return replace(made.figures, salting=replace(salting, recipe=replace(salting.recipe, grams=grams))), made.steps


def _without(step: str) -> Callable[[Plan], Spoilt]:
    return lambda made: (made.figures, [other for other in made.steps if other.id != step])


def _late(step: str) -> Callable[[Plan], Spoilt]:
    def moved(made: Plan) -> Spoilt:
        rest = [other for other in made.steps if other.id != step]
        return made.figures, [*rest, next(other for other in made.steps if other.id == step)]

    return moved


SPOILT: dict[str, tuple[Callable[[Plan], Spoilt], str]] = {
    "blend": (_blend, "contradiction"),
    "drawn": (_drawn, "tote_drawn_warm"),
    "hardness": (_hardness, "contradiction"),
    "ph": (_ph, "contradiction"),
    "chlorine": (_chlorine, "refill_chlorine"),
    "scale": (_scale, "below_scale"),
    "heaters never unplugged": (_without("heater_off"), "contradiction"),
    "neutraliser after the fish": (_late("tote_2_neutralise"), "contradiction"),
    "heaters before the water": (_late("fill_end"), "contradiction"),
    "filter off too late": (_late("filter_off"), "contradiction"),
    "neutraliser forgotten": (_without("tote_1_neutralise"), "contradiction"),
    "tote unchecked": (_without("tote_1_check"), "contradiction"),
}


@pytest.mark.parametrize(("spoil", "code"), SPOILT.values(), ids=SPOILT.keys())
def test_a_spoilt_plan_is_stopped(spoil: Callable[[Plan], Spoilt], code: str) -> None:
    made = planned(changed({}))
    whole = {finding.code for finding in envelope_findings(made.figures, made.steps) if finding.level == "stop"}
    assert not whole
    stops = {finding.code for finding in envelope_findings(*spoil(made)) if finding.level == "stop"}
    assert code in stops


FITS = Rescue(tank_mg_l=0.5, tap_mg_l=1.9, to_mend_g=0.4, dose=4.0, whole_tank_dose=9.0)


@pytest.mark.parametrize("change", [{"tank_mg_l": 2.1}, {"tank_mg_l": -0.1}, {"dose": 0.0}, {"dose": 9.5},
                                    {"tank_mg_l": float("nan")}])  # fmt: skip
def test_help_that_cannot_be_right_is_stopped(change: dict[str, float]) -> None:
    assert rescue_findings(FITS) == []
    (finding,) = rescue_findings(replace(FITS, **change))
    assert finding.level == "stop"
