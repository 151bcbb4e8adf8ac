"""Figures that the plan's page and its JSON both show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from chemistry import reference

if TYPE_CHECKING:
    from chemistry.plan.figures import Figures
    from chemistry.plan.planner import Plan
    from chemistry.water.composition import Water


def waters_of(figures: Figures) -> Mapping[str, Water]:
    """The four waters by name."""
    waters = figures.waters
    return {
        "tap": waters.tap,
        "refill": waters.refill,
        "tank_before": waters.tank_before,
        "tank_after": waters.tank_after,
    }


def water_figures(water: Water) -> dict[str, float]:
    """What a keeper reads on one water."""
    from chemistry.water.conductivity import conductivity_us_cm

    return {
        "hardness_dgh": water.hardness_dgh,
        "alkalinity_dkh": water.alkalinity_dkh,
        "nitrate_mg_l": water.nitrate_mg_l,
        "ammonia_mg_n_l": water.ammonia_mg_n_l,
        "conductivity_us_cm": conductivity_us_cm(water),
        "temperature_c": water.temperature_c,
    }


def total_minutes(made: Plan) -> float:
    """Minutes from the first step until everything is on again; the later looks come on top."""
    return next(step.end_minute for step in made.steps if step.id == "all_on")


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
