"""Guards: the figures of a change held against limits; what crosses one becomes a finding."""

from __future__ import annotations

from chemistry import reference
from chemistry.change.blending import scald_findings
from chemistry.dosing.neutralise import ammonia_findings, dose_findings
from chemistry.findings import Finding, Level
from chemistry.plan.figures import Figures
from chemistry.water.conductivity import conductivity_us_cm
from chemistry.water.properties import density_kg_l, heat_capacity_kj_kg_k


def guards(figures: Figures) -> list[Finding]:
    """Every finding of a plan, in the order a keeper would ask."""
    return [
        *_neutraliser(figures),
        *_ammonia(figures),
        *_bands(figures),
        *_nitrate(figures),
        *_steps_of_the_tank(figures),
        *_size(figures),
        *_hot_store(figures),
        *scald_findings(figures.household.hot_water.temperature_c),
        *_filter(figures),
    ]


def _against(code: str, value: float, text: str, limit_key: str) -> list[Finding]:
    """A caution when the value is above a limit of tables/limits.csv."""
    row = reference.table("limits")[limit_key]
    limit = float(row["value"])
    if value <= limit:
        return []
    return [Finding("caution", code, text, float(value), limit, row["unit"], reference.cited(row))]


def _neutraliser(figures: Figures) -> list[Finding]:
    chosen = figures.neutraliser
    agent, stock_g = chosen.entry.substance, chosen.entry.stock_g
    findings = dose_findings(chosen.dose, agent)
    if stock_g is not None and (chosen.in_all_g or 0.0) > stock_g:
        text = (
            f"{chosen.in_all_g:.3g} g of {agent.name} are needed and {stock_g:.3g} g are in stock. "
            "Do not begin: buy more, or change less water."
        )
        findings.append(Finding("stop", "neutraliser_stock", text, chosen.in_all_g, stock_g, "g"))
    exact_g = chosen.dose.agent_g
    if chosen.per_tote_g and exact_g and chosen.per_tote_g > 1.25 * exact_g:
        text = (
            f"The scale rounds the neutraliser from {exact_g:.2g} to {chosen.per_tote_g:.3g} g a tote. A stock "
            "solution measures it finer (key solution)."
        )
        findings.append(Finding("note", "coarse_scale", text, chosen.per_tote_g, exact_g, "g"))
    total = figures.household.tap.total_chlorine_mg_l
    text = f"{total:g} mg/L chlorine in the tap is more than utilities may carry on average. Test again before dosing."
    return findings + _against("chlorine_high", total, text, "chlorine_tap_usual_maximum")


def _ammonia(figures: Figures) -> list[Finding]:
    after, tank = figures.waters.tank_after, figures.tank
    ph = tank.readings.ph
    return ammonia_findings(after.ammonia_mg_n_l, ph, after.temperature_c, "the tank after the change")


def _bands(figures: Figures) -> list[Finding]:
    findings = []
    for miss in figures.recipe.missed:
        side = "below" if miss.reached < miss.limit else "above"
        remedy = (
            "Add a salt that brings it, or more of it, to the cupboard, or widen the band."
            if side == "below"
            else "No salt takes it out: blend in deionised water, or widen the band."
        )
        reached, limit = f"{miss.reached:.3g} {miss.unit}".rstrip(), f"{miss.limit:.3g} {miss.unit}".rstrip()
        text = f"The refill's {miss.band} comes to {reached}, {side} its band, which ends at {limit}. {remedy}"
        findings.append(
            Finding("stop", "band_missed", text, miss.reached, miss.limit, miss.unit, figures.target.source)
        )
    return findings


def _nitrate(figures: Figures) -> list[Finding]:
    course, ceiling = figures.course, figures.tank.nitrate_ceiling_mg_l
    if figures.tank.nitrate_rise_mg_l is None:
        text = f"Nitrate right after the change: {course.after_mg_l:.0f} mg/L; its rise until the next is not given."
        level: Level = "caution" if course.after_mg_l > ceiling else "note"
        return [Finding(level, "nitrate_rise_unknown", text, course.after_mg_l, ceiling, "mg/L NO3")]
    worst = max(course.before_next_mg_l, course.settled_peak_mg_l)
    if worst <= ceiling * (1 + 1e-9):
        return []
    text = (
        f"At {course.change_share:.0%} nitrate stands at {course.before_next_mg_l:.0f} mg/L before the next change and "
        f"settles at {course.settled_peak_mg_l:.0f}; the ceiling is {ceiling:.0f}. Change more, or oftener."
    )
    return [Finding("caution", "nitrate_over_ceiling", text, worst, ceiling, "mg/L NO3", "the household's own ceiling")]


def _steps_of_the_tank(figures: Figures) -> list[Finding]:
    """How far one change moves the tank, against how far fish are usually moved."""
    before, after = figures.waters.tank_before, figures.waters.tank_after
    was, becomes = conductivity_us_cm(before), conductivity_us_cm(after)
    moves = (
        ("temperature", "°C", before.temperature_c, after.temperature_c),
        ("hardness", "dGH", before.hardness_dgh, after.hardness_dgh),
        ("alkalinity", "dKH", before.alkalinity_dkh, after.alkalinity_dkh),
    )
    findings = []
    for name, unit, start, end in moves:
        text = f"This change moves the tank's {name} from {start:.1f} to {end:.1f} {unit}. A smaller share helps."
        findings += _against(f"{name}_step", abs(end - start), text, f"{name}_step")
    step = 100 * abs(becomes / was - 1) if was > 0 else 0.0
    text = f"This change moves the tank's conductivity from {was:.0f} to {becomes:.0f} µS/cm. A smaller share helps."
    return findings + _against("conductivity_step", step, text, "conductivity_step")


def _size(figures: Figures) -> list[Finding]:
    percent = 100 * figures.change_share
    text = f"{percent:.0f} % is a large change at once: the level falls to {100 * figures.low_level_m:.0f} cm."
    return _against("large_change", percent - 1e-9, text, "large_change")


def _hot_store(figures: Figures) -> list[Finding]:
    """Hot water drawn in all against the store alone; what is beyond waits for the heater."""
    hot, drawn_l = figures.household.hot_water, figures.blend.hot_l
    if drawn_l <= hot.store_l:
        return []
    cold_c = figures.household.tap.temperature_c
    lacking_l = drawn_l - hot.store_l
    middle_c = (hot.temperature_c + cold_c) / 2
    heat_kj = lacking_l * density_kg_l(middle_c) * heat_capacity_kj_kg_k(middle_c) * (hot.temperature_c - cold_c)
    wait = f"{heat_kj / hot.heater_power_kw / 60:.0f} min of reheating" if hot.heater_power_kw > 0 else "no heater"
    text = (
        f"{drawn_l:.0f} L of hot water are needed and the store holds {hot.store_l:.0f} L: the rest takes {wait} "
        "first. Make fewer totes today, or wait between them; watch the thermometer as the store runs out."
    )
    return [Finding("caution", "hot_store", text, drawn_l, hot.store_l, "L")]


def filter_held_back(figures: Figures) -> str:
    """Why the filter is left alone although its service was asked for; empty where it may be serviced."""
    jobs, gap = figures.jobs, reference.value("practice", "filter_gap_days")
    if not jobs.service_filter:
        return ""
    if jobs.clean_substrate and not substrate_held_back(figures):
        return f"the substrate is cleaned today: wait {gap:.0f} days"
    if jobs.days_since_substrate is not None and jobs.days_since_substrate < gap:
        return f"the substrate was cleaned {jobs.days_since_substrate} days ago: wait until {gap:.0f} have passed"
    return ""


def substrate_held_back(figures: Figures) -> str:
    """Why the substrate is left alone although cleaning was asked for; empty where it may be cleaned."""
    jobs, gap = figures.jobs, reference.value("practice", "filter_gap_days")
    if jobs.clean_substrate and jobs.days_since_filter is not None and jobs.days_since_filter < gap:
        return f"the filter was serviced {jobs.days_since_filter} days ago: wait until {gap:.0f} have passed"
    return ""


def _filter(figures: Figures) -> list[Finding]:
    findings = []
    source = reference.citation("practice", "filter_gap_days")
    for job, why in (("filter", filter_held_back(figures)), ("substrate", substrate_held_back(figures))):
        if why:
            text = f"The {job} is left alone today, {why}. Both at once take too much of what turns ammonia over."
            findings.append(Finding("caution", f"{job}_held_back", text, source=source))
    return findings
