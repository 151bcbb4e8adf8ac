"""Guards on what the waters of a change are at equilibrium: ammonia at the new pH, pH itself, clouding, odd readings."""

from __future__ import annotations

from dataclasses import replace

from chemistry import reference
from chemistry.dosing.neutralise import ammonia_findings
from chemistry.findings import Finding
from chemistry.plan.figures import Figures
from chemistry.units import figure


def water_guards(figures: Figures) -> list[Finding]:
    """Every finding about pH and what follows from it."""
    return [*_ammonia(figures), *_ph_step(figures), *_clouding(figures), *_below_air(figures)]


def limit_finding(code: str, value: float, text: str, limit_key: str) -> list[Finding]:
    """A caution when the value is above a limit of tables/limits.csv."""
    row = reference.table("limits")[limit_key]
    limit = float(row["value"])
    if value <= limit:
        return []
    return [Finding("caution", code, text, float(value), limit, row["unit"], reference.cited(row))]


def _ammonia(figures: Figures) -> list[Finding]:
    """Ammonia of the tank after the change at the highest pH it will have; low pH before may have hidden it."""
    before, after = figures.waters.tank_before, figures.waters.tank_after
    was, becomes = figures.states.tank_before.first, figures.states.tank_after.most_alkaline
    unionised = before.ammonia_mg_n_l * was.unionised_ammonia_share
    then = after.ammonia_mg_n_l * becomes.unionised_ammonia_share
    found = ammonia_findings(
        after.ammonia_mg_n_l,
        becomes.ph,
        after.temperature_c,
        "the tank after the change",
        becomes.unionised_ammonia_share,
    )
    if before.ammonia_mg_n_l == 0 or becomes.ph < was.ph + 0.1 or then < 2 * unionised:
        return found
    rise = (
        f" The change itself does it: pH goes from {was.ph:.1f} to {becomes.ph:.1f}, and un-ionised ammonia from "
        f"{figure(unionised, 2)} to {figure(then, 2)} mg/L N. Bring the ammonia down before the pH: small changes, a day "
        "or more apart, with a refill close to the tank's own pH."
    )
    return [replace(finding, code="ammonia_by_ph", text=finding.text + rise) for finding in found]


def _ph_step(figures: Figures) -> list[Finding]:
    """How far pH moves at once and in the end; a dip that comes from the tap's CO2 goes by itself."""
    before, after, refill = figures.states.tank_before.at_once, figures.states.tank_after, figures.states.refill
    if before is None:
        return []
    if after.at_once is None:
        start = f"This change moves the tank's pH in the end from {before.ph:.1f} to {after.at_rest.ph:.1f}."
        return limit_finding("ph_step", abs(after.at_rest.ph - before.ph), f"{start} A smaller share helps.", "ph_step")
    once, rest = after.at_once.ph - before.ph, after.at_rest.ph - before.ph
    course = f"from {before.ph:.1f} to {after.at_once.ph:.1f} at once and {after.at_rest.ph:.1f} at rest"
    gas = refill.at_once is not None and refill.at_once.co2_times_air > before.co2_times_air and once < rest
    remedy = (
        f"The refill holds {refill.first.co2_times_air:.0f} times the CO2 of outdoor air: let air bubble through the tote "
        "before it meets the tank, or change less."
        if gas
        else "A smaller share helps."
    )
    text = f"This change moves the tank's pH {course}. {remedy}"
    step = limit_finding("ph_step", max(abs(once), abs(rest)), text, "ph_step")
    if step or not gas or -once <= reference.value("limits", "ph_dip"):
        return step
    text = (
        f"The tank's pH goes {course}: the CO2 that the refill still holds makes the dip, and it passes by itself. Do not "
        "correct the first reading."
    )
    return [Finding("note", "ph_dip", text, float(-once), reference.value("limits", "ph_dip"), "pH")]


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


def _below_air(figures: Figures) -> list[Finding]:
    """A tank whose pH and alkalinity say that it holds less CO2 than the air above it."""
    found, least = figures.states.tank_before.at_once, reference.value("limits", "least_times_air")
    if found is None or found.co2_times_air >= least:
        return []
    text = (
        f"The tank's pH {found.ph:.1f} and alkalinity fit only {figure(found.co2_times_air, 2)} times the CO2 of outdoor air, "
        "less than air itself gives. Test both again; only plants in bright light do that."
    )
    source = reference.citation("limits", "least_times_air")
    return [
        Finding("caution", "less_co2_than_air", text, float(found.co2_times_air), least, "times outdoor air", source)
    ]
