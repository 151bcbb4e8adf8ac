"""The part of the plan's page about time and heat: when to be where, what the hot store gives, what the refill does."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from tapwright.cli.pages import pieces as pages

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.change.hydraulics.pumping import Minutes
    from tapwright.chemistry.plan.figures.records import Figures

_EVENTS = {
    "heater dry": "At the heaters",
    "intake dry": "At the intake",
    "heater covered": "Heaters covered",
    "overflow": "Overflow if left",
}


def show_clocks(screen: Console, figures: Figures) -> None:
    """Print both sections."""
    pages.heading(screen, "The clocks (minutes after the flow begins)")
    pages.figures(screen, ["", "early", "predicted", "late"], _clocks(figures))
    pages.heading(screen, "Hot water and heat")
    pages.pairs(screen, _heat(figures))


def _clocks(figures: Figures) -> list[list[str]]:
    """Early, predicted and late minutes of everything the level passes."""
    count = figures.totes.count
    rows = [("Drained", figures.drain_minutes)]
    rows += [(_EVENTS[mark.event], mark.minutes) for mark in figures.flows.marks if mark.tote == 0]
    rows.append(("Tote empty" if count > 1 else "Filled", figures.pump_minutes))
    for mark in figures.flows.marks:
        if mark.tote:
            which = f", tote {mark.tote}" if count > 1 else ""
            rows.append((f"{_EVENTS[mark.event]}{which}", mark.minutes))
    return [minutes_row(name, minutes) for name, minutes in rows]


def minutes_row(name: str, minutes: Minutes) -> list[str]:
    """Name, early, predicted and late as cells of a table."""
    return [name, *(f"{value:.1f}" for value in (minutes.early, minutes.predicted, minutes.late))]


def _heat(figures: Figures) -> list[tuple[str, str]]:
    heat, tote_l = figures.heat, figures.totes.volume_l
    supply, cycle = heat.supply, figures.flows.cycle
    if math.isinf(supply.blended_l):
        store = "gives blended water without end: its heater keeps up with the taps"
    else:
        totes = f"{int(supply.blended_l / tote_l)} totes" if supply.blended_l >= tote_l else "less than one tote"
        then = (
            f"another tote {heat.next_tote_min:.0f} minutes after the last" if heat.next_tote_min else "another at once"
        )
        store = (
            f"{supply.blended_l:.0f} L of blended water in one go, {totes}; then {supply.sustained_l_min:.1f} L/min. "
            f"After this change it gives {then}"
        )
    lost, least = max(heat.lost_k), min(heat.lost_k)
    first = heat.effects[0]
    rows = [("Hot store", store)]
    if lost >= 0.05:
        span = f"{least:.1f} to {lost:.1f}" if lost - least >= 0.05 else f"{lost:.1f}"
        short = heat.wanted_c - heat.arrives_c
        then = f"arrives at {heat.arrives_c:.1f} °C" if short >= 0.05 else "is drawn so much warmer"
        rows.append(("On its way", f"the refill loses {span} °C, and {then}"))
    rows.append(("The tank", _tank(figures)))
    rows.append(
        (
            "Matters most",
            f"the {first.reading}: {first.error:g} {first.unit} off moves the refill by {first.moves_k:.1f} °C",
        )
    )
    if cycle.dry_runs:
        times = "once" if cycle.dry_runs == 1 else f"{cycle.dry_runs} times"
        dry = (
            f"faster than the taps: were they left running into the tote, it would run dry after {cycle.runs_dry_min:.0f} "
            f"minutes (stop it then, {cycle.refill_min:.0f} to refill), {times} in this change. That water would not be "
            "neutralised: fill, dose, then pump"
        )
        rows.append(("Pump", dry))
    return rows


def _tank(figures: Figures) -> str:
    """What the refill does to the tank's temperature, and what brings it back."""
    heat, recovery = figures.heat, figures.heat.recovery
    if abs(heat.step_k) < 0.05:
        return "keeps its temperature"
    text = f"moves by {heat.step_k:+.1f} °C; at a degree an hour that would take {heat.slow_fill_min:.0f} minutes"
    if recovery.energy_kwh > 0.01:
        hours = "" if recovery.hours is None else f", {recovery.hours:.1f} hours of its heaters"
        text += f". To warm it back takes {recovery.energy_kwh:.1f} kWh{hours}, and what it loses to the room"
    return text
