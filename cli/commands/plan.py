"""The `plan` command: a household file in, the answer with its page out."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.record import plain
from tapwright.chemistry.words import quoted, told
from tapwright.cli.answer import Answer
from tapwright.cli.options.of_evening import Evening, PlanOptions
from tapwright.cli.pages.plan.figures import cautions_of, time_of, total_minutes, waters_of

if TYPE_CHECKING:
    from tapwright.chemistry.plan.confidence import Confidence
    from tapwright.chemistry.plan.figures.records import NeutraliserDose
    from tapwright.chemistry.plan.planner import Plan

_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)$")


@dataclass(frozen=True)
class Planned:
    """A plan, the minute of the day it begins at (None: not said), and its day."""

    made: Plan
    start_minute: int | None
    day: date


def planned(options: Evening) -> Planned:
    """The plan that was asked for; by the calendar of this machine unless a day is given."""
    from tapwright.chemistry.allowed import read_within
    from tapwright.chemistry.plan.figures.services import jobs_on
    from tapwright.chemistry.plan.planner import plan, tank_named
    from tapwright.cli.files.household_file import load

    household = load(options.file)
    share = None if options.change is None else read_within(options.change, "change", "--change")
    start_minute = None if options.start is None else _clock_minute(options.start)
    day = _day(options.date)
    tank = tank_named(household, options.tank)
    jobs = jobs_on(day, tank, clean_substrate=options.clean_substrate, service_filter=options.service_filter)
    return Planned(plan(household, tank.name, share, jobs), start_minute, day)


def answer(options: PlanOptions) -> Answer:
    """The plan of one change as an answer; as a card where that is asked."""
    if options.brief and options.confident:
        raise BadInput.of(
            "--brief and --confident", "a card has no room for how sure it is.", "Ask for one, then for the other."
        )
    found = planned(options)
    made, start_minute = found.made, found.start_minute
    sure, assumed = _sure(made) if options.confident else (None, made.assumptions)

    def show(screen: Any) -> None:
        from tapwright.cli.pages.plan.card import show_brief
        from tapwright.cli.pages.plan.page import show_plan

        if options.brief:
            show_brief(screen, made, start_minute)
        else:
            show_plan(screen, made, start_minute, sure, assumed)

    result = _result(made, start_minute) | ({} if sure is None else {"confidence": plain(sure)})
    return Answer("plan", result, show, made.findings, assumed)


def _sure(made: Plan) -> tuple[Confidence, tuple[str, ...]]:
    """How sure the plan is, and what that takes for granted."""
    from tapwright.chemistry.plan.confidence import confidence

    found = confidence(made.figures)
    notes = [
        "Nine of ten readings lie within the give or take of tables/kits.csv (common practice, no source); the same draws are "
        "taken each time."
    ]
    return found, (*made.assumptions, *notes, *([found.left_out] if found.left_out else []))


def _clock_minute(text: str) -> int:
    """Minute of the day of '18:30'."""
    match = _CLOCK.match(text.strip())
    if not match:
        raise BadInput.of("--start", f"{quoted(text)} is read; a time of day is wanted.", "Write for example 18:30.")
    return 60 * int(match[1]) + int(match[2])


def _day(text: str | None) -> date:
    """The day as written; today where none is."""
    try:
        return date.today() if text is None else date.fromisoformat(text)
    except ValueError:
        raise BadInput.of(
            "--date", f"{told(text)} is read; a date is wanted.", "Write for example 2026-03-14."
        ) from None


def _result(made: Plan, start_minute: int | None) -> dict[str, Any]:
    """The plan for machines; with a start, every step has its time of day as well."""
    figures = made.figures
    return {
        "tank": figures.tank.name,
        "change_share": figures.change_share,
        "share_from": figures.share_from,
        "change_volume_l": figures.change_volume_l,
        "low_level_m": figures.low_level_m,
        "nitrate": figures.nitrate,
        "target": figures.target.name,
        "totes": figures.totes,
        "blend": {
            "hot_l": figures.blend.hot_l,
            "cold_l": figures.blend.cold_l,
            "temperature_c": figures.refill_temperature_c,
            "first_tote": _drawn(figures.heat.blends[0]),
            "later_totes": _drawn(figures.heat.blends[-1]),
            "each_tote": [
                {"hot_l": blend.hot_l, "cold_l": blend.cold_l, "hot_c": tapping.hot_c, **plain(tote)}
                for blend, tote, tapping in zip(
                    figures.heat.blends, figures.heat.totes, figures.heat.tappings, strict=True
                )
            ],
        },
        "hot_store": {**plain(figures.heat.supply), "next_tote_min": figures.heat.next_tote_min},
        "warmth": {
            "step_k": figures.heat.step_k,
            "largest_share": figures.heat.largest_share,
            "slow_fill_min": figures.heat.slow_fill_min,
            "recovery_kwh": figures.heat.recovery.energy_kwh,
            "recovery_hours": figures.heat.recovery.hours,
            "readings": figures.heat.effects,
        },
        "marks": figures.flows.marks,
        "tote_cycle": figures.flows.cycle,
        "neutraliser": _neutraliser(figures.neutraliser),
        "salts": [
            {"salt": name, "salt_g": grams, "salt_g_per_tote": figures.salts_per_tote_g[name]}
            for name, grams in figures.recipe.grams.items()
        ],
        "recipe_proven": figures.recipe.proven,
        "recipe_bound": plain(figures.recipe.bound),
        "waters": waters_of(figures),
        "durations": {
            "drain_min": figures.drain_minutes.predicted,
            "drain_early_min": figures.drain_minutes.early,
            "drain_late_min": figures.drain_minutes.late,
            "fill_min": figures.totes.count * figures.pump_minutes.predicted,
            "fill_early_min": figures.totes.count * figures.pump_minutes.early,
            "fill_late_min": figures.totes.count * figures.pump_minutes.late,
            "tote_min": figures.tap_minutes,
            "hot_water_waits_min": figures.hot_waits_min,
            "total_min": total_minutes(made),
        },
        "steps": [
            plain(step) | ({} if start_minute is None else {"clock": time_of(step.start_minute, start_minute)})
            for step in made.steps
        ],
        "cautions": cautions_of(made),
    }


def _neutraliser(chosen: NeutraliserDose | None) -> dict[str, Any]:
    """The neutraliser for machines; nothing of nothing where the tap has no chlorine."""
    if chosen is None:
        return {"agent": None, "agent_g": 0.0, "solution_ml": None}
    return {
        "agent": chosen.entry.substance.name,
        "agent_g": chosen.in_all_g,
        "solution_ml": chosen.in_all_ml,
        "agent_g_per_tote": chosen.per_tote_g,
        "solution_ml_per_tote": chosen.per_tote_ml,
        "solution_g_l": chosen.entry.solution_g_l,
        "purity": chosen.entry.purity,
        "excess": chosen.entry.excess,
    }


def _drawn(blend: Any) -> dict[str, float]:
    return {"hot_l": blend.hot_l, "cold_l": blend.cold_l}
