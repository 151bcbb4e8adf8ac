"""Guards on what the waters of a change are at equilibrium: ammonia at the new pH, pH itself, clouding, odd readings."""

from __future__ import annotations

from dataclasses import replace

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.neutralise import ammonia_findings
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.plan.figures.records import Figures
from tapwright.chemistry.plan.figures.states import brings_gas, needs_airing
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.equilibrium import Equilibrium


def water_guards(figures: Figures) -> list[Finding]:
    """Every finding about pH and what follows from it."""
    tap, tank = figures.states.tap.at_once, figures.states.tank_before.at_once
    doubts = [*co2_findings(tap, "the tap"), *co2_findings(tank, "the tank")]
    return [*doubts, *_ammonia(figures), *_ph_step(figures), *_clouding(figures)]


def limit_finding(code: str, value: float, text: str, limit_key: str) -> list[Finding]:
    """A caution when the value is above a limit of tables/limits.csv."""
    row = reference.table("limits")[limit_key]
    limit = float(row["value"])
    if value <= limit:
        return []
    return [Finding("caution", code, text, float(value), limit, row["unit"], reference.cited(row))]


def _ammonia(figures: Figures) -> list[Finding]:
    """Ammonia of the tank after the change at the highest pH it may have; a low pH before may have hidden it.

    What the change makes better is no reason not to begin: then a stop becomes a caution.
    """
    waters, states = figures.waters, figures.states
    was, becomes = states.tank_before.first, states.tank_after.most_alkaline
    unionised = waters.tank_before.ammonia_mg_n_l * was.unionised_ammonia_share
    then = waters.tank_after.ammonia_mg_n_l * becomes.unionised_ammonia_share
    brought = waters.refill.ammonia_mg_n_l > waters.tank_before.ammonia_mg_n_l
    advice = "A smaller change brings less; feed little and test daily."
    if not brought:
        advice = "The change takes some out: repeat it in a day or two, feed little and test daily."
    by_ph = not brought and then > 2 * unionised and becomes.ph > was.ph + 0.1
    if by_ph:
        advice = (
            f"The change and its air do it: pH may go from {was.ph:.1f} to {becomes.ph:.1f}, and un-ionised ammonia from "
            f"{figure(unionised, 2)} to {figure(then, 2)} mg/L N. Bring the ammonia down before the pH: small changes, a "
            "day or more apart, with a refill close to the tank's own pH, and no more air than the tank has now."
        )
    found = ammonia_findings(
        waters.tank_after.ammonia_mg_n_l,
        becomes.ph,
        waters.tank_after.temperature_c,
        "the tank after the change",
        becomes.unionised_ammonia_share,
        advice,
    )
    if by_ph:
        return [replace(finding, code="ammonia_by_ph") for finding in found]
    return [replace(finding, level="caution") if then <= unionised else finding for finding in found]


def _ph_step(figures: Figures) -> list[Finding]:
    """How far pH moves at once and in the end; a dip that comes from the refill's CO2 goes by itself."""
    before, after, refill = figures.states.tank_before.at_once, figures.states.tank_after, figures.states.refill
    if before is None:
        return []
    once, rest = after.first.ph - before.ph, after.at_rest.ph - before.ph
    course = f"from {before.ph:.1f} to {after.at_rest.ph:.1f} in the end"
    if after.at_once is not None:
        course = f"from {before.ph:.1f} to {after.at_once.ph:.1f} at once and {after.at_rest.ph:.1f} at rest"
    remedy = "A smaller share helps."
    if needs_airing(figures.states):
        remedy = (
            f"The refill holds {refill.first.co2_times_air:.0f} times the CO2 of outdoor air: let air bubble through the tote "
            "before it meets the tank, as the steps say, or change less."
        )
    text = f"This change moves the tank's pH {course}. {remedy}"
    step = limit_finding("ph_step", max(abs(once), abs(rest)), text, "ph_step")
    visible = reference.value("limits", "ph_dip")
    if step or not brings_gas(figures.states) or -once <= visible or co2_findings(before, ""):
        return step
    text = (
        f"The tank's pH goes {course}: the CO2 that the refill still holds makes the dip, and it passes by itself. Do not "
        "correct the first reading."
    )
    return [Finding("note", "ph_dip", text, float(-once), visible, "pH")]


def _clouding(figures: Figures) -> list[Finding]:
    """Whether calcium carbonate will come out of the refill, at the highest pH it will have."""
    found = figures.states.refill.most_alkaline
    words = clouding_words(float(found.si_calcite))
    text = (
        f"The refill {words}: its saturation index of calcite reaches {found.si_calcite:+.1f} at pH {found.ph:.1f}. Less "
        "calcium or less bicarbonate keeps it clear."
    )
    return limit_finding("clouding", float(found.si_calcite), text, "calcite_calm")


def clouding_words(si_calcite: float) -> str:
    """What a saturation index of calcite means to the eye; the limits are judgements, see tables/limits.csv."""
    if si_calcite > reference.value("limits", "calcite_cloud"):
        return "will cloud"
    if si_calcite > reference.value("limits", "calcite_calm"):
        return "may cloud or leave a white film"
    return "stays clear"


def co2_findings(found: Equilibrium | None, who: str) -> list[Finding]:
    """A caution where pH and alkalinity, as read, fit too little or too much CO2 to be believed; None: not read."""
    if found is None:
        return []
    times = float(found.co2_times_air)
    fit = f"pH {found.ph:.1f} and alkalinity of {who} fit {figure(times, 2)} times the CO2 of outdoor air"
    least, most = (reference.value("limits", key) for key in ("least_times_air", "most_times_air"))
    if times < least:
        text = f"{fit}, less than air itself gives. Test both again; only plants in bright light do that."
        source = reference.citation("limits", "least_times_air")
        return [Finding("caution", "less_co2_than_air", text, times, least, "times outdoor air", source)]
    text = f"{fit}. Test both again; if it is so, fish gasp in it: let air bubble through before anything else."
    if times <= most:
        return []
    source = reference.citation("limits", "most_times_air")
    return [Finding("caution", "much_co2", text, times, most, "times outdoor air", source)]
