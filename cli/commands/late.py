"""The `late` command: the neutraliser was forgotten, and the tank fills."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from tapwright.chemistry.errors import BadInput
from tapwright.cli.answer import Answer
from tapwright.cli.options.of_evening import LateOptions
from tapwright.cli.reading import Reader

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.plan.late.dose import Case, Late, Tote


# What stands in a household file, and may not be given beside it.
_OF_THE_FILE = ("start_volume", "end_volume", "total_chlorine", "free_chlorine", "agent", "purity", "excess", "solution",
                "cl2_to_n", "ph", "temperature")  # fmt: skip


def answer(options: LateOptions) -> Answer:
    """What to do now, as an answer."""
    from tapwright.chemistry.dosing.neutralise import ammonia_findings
    from tapwright.chemistry.findings import caution_notes
    from tapwright.chemistry.plan.late.dose import late_findings

    case = _of_file(options) if options.file is not None else _of_options(options)
    made = case.at(case.minute)
    advice = "Less of this water at once brings less; feed little and test daily."
    found = [
        *late_findings(made),
        *ammonia_findings(made.ammonia_mg_n_l, case.ph, case.temperature_c, "the filled tank", None, advice),
        *caution_notes("chemicals"),
    ]

    def show(screen: Console) -> None:
        from tapwright.cli.pages.late import show_late

        show_late(screen, case, made, found)

    return Answer("late", _result(case, made), show, found, case.assumptions)


def _common(options: LateOptions, reader: Reader) -> dict[str, Any]:
    """What both ways of asking share."""
    after = reader.quantity(options.after, "elapsed", "--after")
    tote_l = reader.quantity(options.tote, "volume", "--tote")
    dosed_for_l = reader.quantity(options.dosed_for, "volume", "--dosed-for")
    if (tote_l is None) != (dosed_for_l is None):
        reader.refuse("--tote and --dosed-for", "one is given without the other.", "Give both or neither.")
    demand = reader.quantity(options.demand, "demand", "--demand")
    return {"minute": after, "tote": (tote_l, dosed_for_l), "demand": demand or 0.0}


def _tote(pair: tuple[float | None, float | None]) -> Tote | None:
    from tapwright.chemistry.plan.late.dose import Tote

    tote_l, dosed_for_l = pair
    return None if tote_l is None or dosed_for_l is None else Tote(tote_l, dosed_for_l)


def _of_options(options: LateOptions) -> Case:
    from tapwright.chemistry import substances
    from tapwright.chemistry.change.filling.chlorine import Filling
    from tapwright.chemistry.dosing.neutralise import ChlorineReadings, assumptions_of
    from tapwright.chemistry.plan.late.dose import Bottle, Case

    needed = {
        "--start-volume": options.start_volume,
        "--end-volume": options.end_volume,
        "--flow": options.flow,
        "--total-chlorine": options.total_chlorine,
        "--agent": options.agent,
    }
    missing = [name for name, text in needed.items() if text is None]
    reader = Reader()
    if missing:
        reader.refuse(
            ", ".join(missing), "not given.", "Give them, or a household file: --file house.toml --tank NAME."
        )
    for option, text in (("--tank", options.tank), ("--change", options.change)):
        if text is not None:
            reader.refuse(option, "is of a household file, and none is given.", "Give --file as well, or leave it out.")
    common = _common(options, reader)
    start_l = reader.needed(options.start_volume, "volume", "--start-volume")
    end_l = reader.needed(options.end_volume, "volume", "--end-volume")
    flow = reader.needed(options.flow, "flow", "--flow")
    total = reader.needed(options.total_chlorine, "chlorine", "--total-chlorine")
    free = reader.quantity(options.free_chlorine, "chlorine", "--free-chlorine")
    ratio = reader.number(options.cl2_to_n, "chlorine to nitrogen", "--cl2-to-n")
    purity = reader.quantity(options.purity, "purity", "--purity")
    excess = reader.quantity(options.excess, "excess", "--excess")
    solution = reader.quantity(options.solution, "strength", "--solution")
    ph = reader.number(options.ph, "ph", "--ph")
    temperature_c = reader.quantity(options.temperature, "water", "--temperature")
    reader.done()
    if total == 0:
        raise BadInput.of("--total-chlorine", "the tap reads no chlorine.", "There is nothing to neutralise.")
    agent = substances.agent(options.agent or "", "--agent")
    chlorine = ChlorineReadings(total, free, ratio)
    assumed = [*assumptions_of(chlorine), *_always(options, common)]
    if purity is None:
        assumed.append("Purity not given, taken as 100 %.")
    return Case(
        Filling(start_l, end_l, flow, total, common["demand"]),
        chlorine,
        Bottle(agent, 1.0 if purity is None else purity, excess or 0.0, solution),
        common["minute"],
        0.0,
        ph,
        temperature_c,
        _tote(common["tote"]),
        tuple(assumed),
        water_off=options.water_off,
    )


def _of_file(options: LateOptions) -> Case:
    """The tank, tap and cupboard of a household file, filled as its plan would; the share as given, else as planned."""
    from tapwright.chemistry.plan.late.from_plan import forgotten, how_it_fills, refill_without_plan
    from tapwright.chemistry.plan.planner import tank_named
    from tapwright.cli.files.household_file import load

    household = load(options.file)  # type: ignore[arg-type]
    reader = Reader()
    for name in _OF_THE_FILE:
        if getattr(options, name) is not None:
            option = f"--{name.replace('_', '-')}"
            reader.refuse(option, "stands in the household file.", "Leave it out, or leave --file out.")
    if options.tank is None:
        reader.refuse("--tank", "not given.", f"Write --tank '{household.tanks[0].name}'.")
    common = _common(options, reader)
    share = reader.quantity(options.change, "change", "--change")
    flow = reader.quantity(options.flow, "flow", "--flow")
    reader.done()
    refill = refill_without_plan(household, tank_named(household, options.tank or ""), share)
    if refill is None:
        raise BadInput.of(
            "tap.total_chlorine", "the tap of the file reads no chlorine.", "There is nothing to neutralise."
        )
    case = forgotten(refill)
    tote, latest, filled = _tote(common["tote"]), case.latest_end_min, how_it_fills(refill)
    if flow is None and tote is not None:
        flow, latest = household.tap.flow_l_min, None
        filled = f"Water runs through the tote as fast as the taps of the file give it, {flow:.3g} L/min."
    elif flow is not None:
        latest, filled = None, f"Water runs in at the flow that is given, {flow:.3g} L/min, and not as planned."
    filling = replace(
        case.filling,
        flow_l_min=case.filling.flow_l_min if flow is None else flow,
        demand_per_min=common["demand"],
    )
    judged = f"Ammonia is judged at pH {refill.ph:.1f}, the highest the tank's water comes to."
    return replace(
        case,
        filling=filling,
        minute=common["minute"],
        tote=tote,
        assumptions=(*case.assumptions, *_always(options, common), filled, judged),
        latest_end_min=latest,
        water_off=options.water_off,
    )


def _always(options: LateOptions, common: dict[str, Any]) -> list[str]:
    notes = []
    if not options.water_off:
        notes.append("Water may still run in: nobody has said that it is off. Once it is, add --water-off.")
    notes.append("The tank is taken as well mixed; near the hose it is not.")
    if common["tote"] != (None, None):
        notes.append(
            "What the tote's own dose takes out on the way is counted under 'Tote' alone: the tank may have less chlorine."
        )
    if common["demand"] == 0:
        notes.append(
            "Nothing in the tank uses chlorine up: the careful assumption. A demand known from tests goes into --demand."
        )
    return notes


def _result(case: Case, made: Late) -> dict[str, Any]:
    from tapwright.cli.pages.late_words import advice

    breaks = made.breakthrough_minute
    return {
        "first": advice(case, made)[0],
        "water_off": made.water_off,
        "water_may_run": made.may_run,
        "minute": made.minute,
        "fill_minutes": float(made.filling.minutes),
        "fill_minutes_late": case.latest_end_min,
        "now_mg_l": made.now_mg_l,
        "hose_mg_l": made.hose_mg_l,
        "peak_mg_l": made.peak_mg_l,
        "peak_minute": made.peak_minute,
        "exposure_mg_min_l": made.exposure_mg_min_l,
        "hour_mean_mg_l": made.hour_mean_mg_l,
        "four_days_mean_mg_l": made.four_days_mean_mg_l,
        "remaining_chlorine_g": made.remaining_chlorine_g,
        "to_come_g": made.to_come_g,
        "agent": case.bottle.agent.name,
        "dose_now_g": made.dose_now.grams,
        "dose_now_ml": made.dose_now.millilitres,
        "dose_new_water_g": made.dose_new_water.grams,
        "dose_new_water_ml": made.dose_new_water.millilitres,
        "dose_whole_tank_g": made.dose_whole_tank.grams,
        "dose_whole_tank_ml": made.dose_whole_tank.millilitres,
        "ammonia_mg_n_l": made.ammonia_mg_n_l,
        "ammonia_unionised_mg_n_l": made.ammonia_unionised_mg_n_l,
        "breakthrough_minute": breaks if breaks is not None and math.isfinite(breaks) else None,
        "outflow_end_mg_l": made.outflow_end_mg_l,
    }
