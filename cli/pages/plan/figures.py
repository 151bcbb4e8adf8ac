"""Figures that the plan's page and its JSON both show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from tapwright.chemistry import reference

if TYPE_CHECKING:
    from tapwright.chemistry.plan.figures.records import Figures, State
    from tapwright.chemistry.plan.planner import Plan
    from tapwright.chemistry.water.composition import Water


def waters_of(figures: Figures) -> Mapping[str, dict[str, float | None]]:
    """The figures of the four waters by name."""
    names = ("tap", "refill", "tank_before", "tank_after")
    return {name: water_figures(getattr(figures.waters, name), getattr(figures.states, name)) for name in names}


def water_figures(water: Water, state: State) -> dict[str, float | None]:
    """What a keeper reads on one water, at once and at rest; at once is null where its pH is not known."""
    once, rest = state.at_once, state.at_rest
    return {
        "hardness_dgh": water.hardness_dgh,
        "alkalinity_dkh": water.alkalinity_dkh,
        "nitrate_mg_l": water.nitrate_mg_l,
        "ammonia_mg_n_l": water.ammonia_mg_n_l,
        "unionised_ammonia_mg_n_l": water.ammonia_mg_n_l * state.first.unionised_ammonia_share,
        "unionised_ammonia_highest_mg_n_l": water.ammonia_mg_n_l * state.most_alkaline.unionised_ammonia_share,
        "ph_at_once": once.ph if once else None,
        "ph_spread": state.ph_spread,
        "ph_aerated": rest.ph,
        "co2_times_air": once.co2_times_air if once else None,
        "co2_times_air_aerated": rest.co2_times_air,
        "si_calcite": once.si_calcite if once else None,
        "si_calcite_aerated": rest.si_calcite,
        "si_aragonite_aerated": rest.si_aragonite,
        "conductivity_us_cm": state.first.conductivity_us_cm,
        "temperature_c": water.temperature_c,
    }


def total_minutes(made: Plan) -> float:
    """Minutes from the first step until everything is on again; the later looks come on top."""
    from tapwright.chemistry.plan.steps.step import the

    return the(made.steps, "all_on").end_minute


def cautions_of(made: Plan) -> list[dict[str, Any]]:
    """Every caution its steps name, once, with its source and the steps it belongs to."""
    named = dict.fromkeys(key for step in made.steps for key in step.cautions)
    return [
        {
            "code": key,
            "text": reference.table("cautions")[key]["text"],
            "source": reference.citation("cautions", key),
            "steps": [step.id for step in made.steps if key in step.cautions],
        }
        for key in named
    ]


def time_of(minute: float, start_minute: int | None) -> str:
    """Elapsed hours:minutes, or the clock once a start is given; rounded down, so that nobody comes late."""
    whole = int(minute) + (start_minute or 0)
    hours = whole // 60 if start_minute is None else whole // 60 % 24
    return f"{hours}:{whole % 60:02d}" if start_minute is None else f"{hours:02d}:{whole % 60:02d}"
