"""Guards on heat: a hot store that runs out, a tank warmed or cooled too fast, and gas that warmed water cannot hold."""

from __future__ import annotations

from tapwright.chemistry import reference
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.plan.figures.records import Figures
from tapwright.chemistry.water.oxygen import warmed_saturation

_WARMEST_C = 40.0  # the solubility of oxygen is known up to here


def heat_guards(figures: Figures) -> list[Finding]:
    """Every finding about heat but that of scalding and of the step of temperature itself."""
    return [*_hot_store(figures), *_rate(figures), *_gas(figures)]


def _hot_store(figures: Figures) -> list[Finding]:
    """A store that does not give every tote at once."""
    hot, wait, supply = figures.household.hot_water, sum(figures.hot_waits_min), figures.heat.supply
    if wait == 0:
        return []
    drawn_l = figures.blend.hot_l
    goes = "Wait between the totes as the steps say" if figures.totes.count > 1 else "Draw it in two goes"
    text = (
        f"The store ({hot.store_l:.0f} L) gives {supply.blended_l:.0f} L of blended water before it runs out, and "
        f"{supply.sustained_l_min:.1f} L/min after that; {figures.change_volume_l:.0f} L are needed. The plan waits {wait:.0f} "
        f"minutes at most for the heater. {goes}, and watch the thermometer as the store runs out."
    )
    return [Finding("caution", "hot_store", text, drawn_l, hot.store_l, "L")]


def _rate(figures: Figures) -> list[Finding]:
    """A step of temperature large enough that a slower fill is worth a word."""
    heat, takes_min = figures.heat, figures.totes.count * figures.pump_minutes.predicted
    row, study = reference.table("limits")["temperature_rate"], reference.table("limits")["temperature_rate_stress"]
    limit_k_h = float(row["value"])
    if abs(heat.step_k) < limit_k_h or heat.slow_fill_min <= takes_min:
        return []
    text = (
        f"Filling moves the tank by {heat.step_k:+.1f} °C in {takes_min:.0f} minutes of pumping. Over {heat.slow_fill_min:.0f} "
        f"minutes, with the totes spread out, it would keep to {limit_k_h:g} °C an hour ({reference.cited(row)}). Fishes near "
        f"their upper tolerance were stressed from {float(study['value']):g} °C an hour on."
    )
    rate_k_h = 60 * abs(heat.step_k) / takes_min
    return [Finding("note", "temperature_rate", text, rate_k_h, limit_k_h, row["unit"], reference.cited(study))]


def _gas(figures: Figures) -> list[Finding]:
    """Cold tap water is full of air; warmed in a closed pipe or a tote it holds more than it can keep."""
    cold_c, refill_c = figures.household.tap.temperature_c, min(figures.refill_temperature_c, _WARMEST_C)
    if refill_c <= cold_c:
        return []
    full_percent = 100 * float(warmed_saturation(cold_c, refill_c))
    limit = reference.value("limits", "gas_saturation")
    if full_percent <= limit:
        return []
    text = (
        f"Tap water saturated at {cold_c:.0f} °C and warmed to {refill_c:.0f} °C holds {full_percent:.0f} % of the gas it can "
        "keep: bubbles on glass and fins. Let it fall and stir it as the tote fills, and let air bubble through it."
    )
    source = reference.citation("limits", "gas_saturation")
    return [Finding("note", "gas_supersaturated", text, full_percent, limit, "%", source)]
