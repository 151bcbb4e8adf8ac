"""Guards: the figures of a change held against limits; what crosses one becomes a finding."""

from __future__ import annotations

import math
from collections.abc import Sequence

from tapwright.chemistry import reference
from tapwright.chemistry.change.heat.blending import scald_findings
from tapwright.chemistry.dosing.neutralise import chlorine_findings, dose_findings, label_findings
from tapwright.chemistry.dosing.premix.pouring import harsh_findings, not_proven, premix_findings
from tapwright.chemistry.dosing.recipe.bands import Standing
from tapwright.chemistry.findings import Finding, Level
from tapwright.chemistry.plan.figures.records import Figures, NeutraliserDose
from tapwright.chemistry.plan.figures.services import filter_held_back, substrate_held_back
from tapwright.chemistry.plan.guards.heat import heat_guards
from tapwright.chemistry.plan.guards.water import limit_finding, water_guards
from tapwright.chemistry.plan.steps.step import Step, the
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.target import measures


def guards(figures: Figures) -> list[Finding]:
    """Every finding of a plan, in the order a keeper would ask."""
    return [
        *_neutraliser(figures),
        *water_guards(figures),
        *_bands(figures),
        *_nitrate(figures),
        *_size(figures),
        *heat_guards(figures),
        *_intake(figures),
        *_overflow(figures),
        *scald_findings(figures.household.hot_water.temperature_c),
        *_filter(figures),
    ]


def _neutraliser(figures: Figures) -> list[Finding]:
    chosen = figures.neutraliser
    if chosen is None:
        return []
    agent, label = chosen.entry.substance, chosen.entry.label
    findings = dose_findings(chosen.dose, agent) + chlorine_findings(figures.household.tap.chlorine())
    findings += label_findings(agent, label.dose() if label else None)
    if chosen.short:
        findings.append(_stock(chosen, "stop", "Do not begin: buy more, or change less water."))
    if (better := figures.short_neutraliser) is not None:
        findings.append(_stock(better, "caution", f"{agent.name.capitalize()} is planned in its place."))
    return findings + _coarse(figures)


def _stock(dose: NeutraliserDose, level: Level, then: str) -> Finding:
    needed_g, stock_g = dose.in_all_g or 0.0, dose.entry.stock_g or 0.0
    text = (
        f"{figure(needed_g)} g of {dose.entry.substance.name} are needed and {figure(stock_g)} g are in stock. {then}"
    )
    return Finding(level, "neutraliser_stock", text, needed_g, stock_g, "g")


def _coarse(figures: Figures) -> list[Finding]:
    """What the scale makes of a small dose."""
    chosen = figures.neutraliser
    if chosen is None or not chosen.per_tote_g or not chosen.dose.agent_g:
        return []
    exact_g, weighed_g = chosen.dose.agent_g, chosen.per_tote_g
    extra = 100 * (weighed_g / exact_g - 1)
    limit = reference.value("limits", "coarse_dose")
    if extra <= reference.value("limits", "coarse_dose_note"):
        return []
    text = (
        f"The scale rounds the neutraliser up from {figure(exact_g)} to {figure(weighed_g)} g a tote. A stock solution "
        'measures it finer: dissolve 50 g to a litre and write solution = "50 g/L".'
    )
    if (strength := chosen.entry.solution_g_l) is not None:
        text = (
            f"The stock solution ({figure(strength)} g/L) is too strong to be measured: {figure(chosen.per_tote_ml or 0)} mL a "
            f"tote hold {figure(weighed_g)} g of neutraliser where {figure(exact_g)} are needed. Make a thinner one."
        )
    level: Level = "stop" if extra > 10 * limit else "caution" if extra > limit else "note"
    return [Finding(level, "coarse_scale", text, extra, limit, "%", reference.citation("limits", "coarse_dose"))]


def _bands(figures: Figures) -> list[Finding]:
    """Bands the cupboard cannot reach, bands the scale loses, salts that lift pH far, and buckets that may cloud."""
    made, conflict, source = figures.recipe, figures.salting.conflict, figures.target.source
    findings = [_missed(miss, "stop", "band_missed", source) for miss in made.missed]
    findings += [_missed(miss, "caution", "scale_misses_band", source) for miss in made.missed_by_scale]
    if conflict is not None:
        level: Level = "caution" if conflict.by_scale else "stop"
        said, code = conflict.sentence(), "bands_conflict" if conflict.proven else "not_found_in_time"
        findings.append(Finding(level, code, f"{said[0].upper()}{said[1:]} {conflict.advice()}", source=source))
    findings += not_proven(made)
    findings += harsh_findings(made.harsh, figures.states.refill.at_once)
    return findings + premix_findings(figures.salting.premix)


def _missed(miss: Standing, level: Level, code: str, source: str) -> Finding:
    measure = measures()[miss.band]
    side = "below" if miss.value < miss.limit else "above"
    text = (
        f"The refill's {measure.words} comes to {measure.said(miss.value)}, {side} its band, which ends at "
        f"{measure.said(miss.limit)}."
    )
    if not math.isfinite(miss.value):
        text = f"The refill has no magnesium at all; its {measure.words} should end at {measure.said(miss.limit)}."
    return Finding(level, code, text, miss.value * measure.scale, miss.limit * measure.scale, measure.unit, source)


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


def _intake(figures: Figures) -> list[Finding]:
    """A filter whose intake falls dry."""
    mark = figures.flows.mark("intake dry")
    if mark is None:
        return []
    text = (
        f"The level falls below the filter's intake ({100 * (figures.tank.intake_height_m or 0):.0f} cm) "
        f"{mark.minutes.early:.1f} minutes after draining begins: a filter left on would run dry. The steps switch it "
        "off before."
    )
    return [Finding("note", "intake_dry", text, mark.minutes.early, None, "min")]


def _size(figures: Figures) -> list[Finding]:
    percent = 100 * figures.change_share
    text = f"{percent:.0f} % is a large change at once: the level falls to {100 * figures.low_level_m:.0f} cm."
    return limit_finding("large_change", percent - 1e-9, text, "large_change")


def _overflow(figures: Figures) -> list[Finding]:
    row = reference.table("limits")["overflow_margin_minutes"]
    limit = float(row["value"])
    if figures.spare_minutes >= limit:
        return []
    text = (
        f"Between the usual level and the overflow lie {figures.spare_l:.0f} L, {figures.spare_minutes:.1f} minutes of "
        "pumping. Do not leave the tank while it fills."
    )
    return [
        Finding("caution", "overflow_margin", text, figures.spare_minutes, limit, row["unit"], reference.cited(row))
    ]


def guards_of_steps(steps: Sequence[Step]) -> list[Finding]:
    """What the times of the steps themselves cross: a filter that stands still for too long."""
    still = the(steps, "filter_on").start_minute - the(steps, "filter_off").end_minute
    text = (
        f"The filter stands still for {still:.0f} minutes; without flow it runs out of oxygen. Change less at once, use a "
        "larger tote, or keep water moving through the media, and pour away what stood in it."
    )
    return limit_finding("filter_off_long", still, text, "filter_off_minutes")


def _filter(figures: Figures) -> list[Finding]:
    findings = []
    source = reference.citation("practice", "filter_gap_days")
    for job, why in (("filter", filter_held_back(figures)), ("substrate", substrate_held_back(figures))):
        if why:
            text = f"The {job} is left alone today: {why}. Both at once take too much of what turns ammonia over."
            findings.append(Finding("caution", f"{job}_held_back", text, source=source))
    return findings
