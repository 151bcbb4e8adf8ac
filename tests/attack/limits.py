"""No plan that may be begun passes a limit: figures of JSON against rows of tables/limits.csv, nothing of the envelope."""

from __future__ import annotations

from collections.abc import Iterator

from tapwright.chemistry import reference
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import Plan
from tapwright.chemistry.record import plain
from tapwright.cli.commands.plan import _result

_SLACK = 1e-6


def no_limit_is_passed(household: Household, plan: Plan) -> list[str]:
    """Of a plan without a stop: heat, steps of the tank, refill, level, hours and totes."""
    if any(finding.level == "stop" for finding in plan.findings):
        return []
    return [
        f"{what} is {value:g}, and {key} allows {limit:g}"
        for what, value, key, sign in _held(plan)
        if sign * value > sign * (limit := reference.value("limits", key)) + _SLACK
    ]


def _held(plan: Plan) -> Iterator[tuple[str, float, str, int]]:
    """What, how much, the row, and 1 for an upper end or -1 for a lower one."""
    result = plain(_result(plan, None))
    before, refill, after = (result["waters"][name] for name in ("tank_before", "refill", "tank_after"))
    wanted_c = plan.figures.tank.refill_temperature_c or before["temperature_c"]
    for number, tote in enumerate(result["blend"]["each_tote"], 1):
        yield f"tote {number}, drawn above what is wanted,", tote["drawn_c"] - wanted_c, "tote_above_arrival", 1
        yield f"tote {number}, drawn,", tote["drawn_c"], "tote_warmest", 1
        yield f"tote {number}, off what is wanted,", abs(tote["arrives_c"] - wanted_c), "arrival_short", 1
        yield f"tote {number}, off the tank,", abs(tote["arrives_c"] - before["temperature_c"]), "refill_apart_stop", 1
    for name, key in (("temperature", "c"), ("hardness", "dgh"), ("alkalinity", "dkh")):
        moved = abs(after[f"{name}_{key}"] - before[f"{name}_{key}"])
        yield f"the step of {name}", moved, f"{name}_step_stop", 1
    aired = any(step.id.endswith("_air") for step in plan.steps)
    if not aired and None not in (before["ph_at_once"], after["ph_at_once"]):
        moved = abs(after["ph_at_once"] - before["ph_at_once"])
        # A plain reckoning and the whole equilibrium differ by some hundredths.
        yield "the step of pH", moved - 0.2, "ph_step_stop", 1
    if refill["ph_at_once"] is not None and not aired:
        yield "the refill's pH", refill["ph_at_once"], "refill_ph_highest_stop", 1
        yield "the refill's pH", refill["ph_at_once"], "refill_ph_lowest_stop", -1
    yield "the chlorine of the refill", plan.figures.waters.refill.total_chlorine_mg_l, "chlorine_acute", 1
    yield "the low level", result["low_level_m"], "level_lowest_stop", -1
    yield "the number of totes", result["totes"]["count"], "evening_totes", 1
    yield "the evening", result["durations"]["total_min"] / 60, "evening_hours", 1
