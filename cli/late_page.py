"""The `late` command's page: plain advice first, numbers second."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from cli import pages

if TYPE_CHECKING:
    from rich.console import Console

    from chemistry.findings import Finding
    from chemistry.plan.late import Amount, Case, Late

_ROWS = 4
_SHORT = 0.0005


def show_late(screen: Console, case: Case, made: Late, found: Sequence[Finding]) -> None:
    """Print the whole page."""
    pages.heading(
        screen, "The neutraliser is not in yet" if made.minute is not None else "If the neutraliser never goes in"
    )
    pages.hanging(screen, [((f"{number}", ""), text) for number, text in enumerate(_advice(case, made), 1)])
    _figures(screen, case, made)
    _course(screen, case)
    pages.findings(screen, found)
    pages.assumptions(screen, case.assumptions)


def _advice(case: Case, made: Late) -> list[str]:
    """What to do, in order."""
    from chemistry import reference
    from chemistry.units import figure

    running = made.minute is not None and made.minute < float(made.filling.minutes)
    chloramine = case.chlorine.combined_mg_l() > 0
    contact = reference.value("practice", "contact_minutes_chloramine" if chloramine else "contact_minutes")
    parts = ((made.remaining_chlorine_g, "of chlorine in it"), (made.to_come_g, "the rest of the water brings"))
    covers = " and ".join(f"the {figure(grams, 2)} g {what}" for grams, what in parts if grams > 1e-9)
    jug = ", dissolved in a jug of its own water" if made.dose_now.millilitres is None else ""
    steps = ["Stop the water now: unplug the pump, close the taps."] if running else []
    steps += [
        f"Put {_said(made.dose_now, case)} into the tank{jug}, where the current is strongest. That covers {covers}.",
        "Let air bubble hard and keep circulation running. Look at the fish: gasping at the surface, darting or lying on the "
        "side means chlorine has reached their gills; leave them in the dark and in peace.",
        f"After {contact:.0f} minutes test total chlorine in the tank, far from the hose. It must read zero; if not, put in "
        "half as much again, wait and test again.",
    ]
    if made.to_come_g > 1e-9:
        steps.append("Only then let the rest of the water in, slowly, and the hose's end away from the fish.")
    if made.ammonia_mg_n_l > 0:
        steps.append("Test ammonia now and tomorrow: broken chloramine leaves it behind. Feed nothing today.")
    return steps


def _said(amount: Amount, case: Case) -> str:
    """A dose in words, short of what is computed by no more than one part in two thousand."""
    name = case.bottle.agent.name
    grams = None if amount.grams is None else f"{_up(amount.grams)} g of {name}"
    if amount.millilitres is None:
        return grams or "nothing"
    millilitres = f"{_up(amount.millilitres)} mL of {name}"
    return f"{millilitres} solution ({grams})" if grams else millilitres


def _up(amount: float) -> str:
    from math import floor, log10

    from chemistry.units import figure, rounded_up

    step = 10.0 ** (floor(log10(amount)) - 2) if amount > 0 else 1.0
    return figure(rounded_up(amount * (1 - _SHORT), step), 3)


def _figures(screen: Console, case: Case, made: Late) -> None:
    from chemistry import reference
    from chemistry.units import figure

    acute = reference.value("limits", "chlorine_acute")
    when = f"at minute {made.minute:.0f}" if made.minute is not None else "as the tank is full"
    until = "until then" if made.minute is not None else "until an hour later"
    hose = made.hose_mg_l
    rows = [
        ("In the tank", f"{figure(made.now_mg_l, 2)} mg/L of chlorine {when}"),
        (
            "Peak",
            f"{figure(made.peak_mg_l, 2)} mg/L at minute {made.peak_minute:.0f} of {float(made.filling.minutes):.0f}",
        ),
        (
            "At the hose",
            f"{figure(hose, 2)} mg/L, the tap's full strength: {hose / acute:.0f} times the one-hour criterion",
        ),
        ("Met so far", f"{figure(made.exposure_mg_min_l, 2)} mg min/L {until}"),
        ("Dose now", f"{_said(made.dose_now, case)}: what is there and what is to come"),
        ("New water", f"{_said(made.dose_new_water, case)}: were none of its chlorine used up"),
        (
            "Whole tank",
            f"{_said(made.dose_whole_tank, case)}: as for a tank full of tap water, the most a label can mean",
        ),
    ]
    if made.ammonia_mg_n_l > 0:
        part = made.ammonia_unionised_mg_n_l
        unionised = "" if part is None else f", {figure(part, 2)} of it un-ionised"
        rows.append(("Ammonia", f"{figure(made.ammonia_mg_n_l, 2)} mg/L N once the tank is full{unionised}"))
    if made.breakthrough_minute is not None:
        breaks = made.breakthrough_minute
        rows.append(
            ("Tote", f"lets chlorine through from minute {breaks:.0f}" if math.isfinite(breaks) else "holds to the end")
        )
    pages.heading(screen, "Figures")
    pages.pairs(screen, rows)


def _course(screen: Console, case: Case) -> None:
    """Chlorine and exposure at a few minutes of the filling."""
    from chemistry.change.filling import concentration_mg_l, exposure_mg_min_l
    from chemistry.units import figure

    filling = case.filling
    minutes = [float(filling.minutes) * row / _ROWS for row in range(1, _ROWS + 1)]
    rows = [
        [
            f"minute {minute:.3g}",
            figure(concentration_mg_l(filling, minute), 2),
            figure(exposure_mg_min_l(filling, minute), 2),
        ]
        for minute in minutes
    ]
    pages.heading(screen, "Without neutraliser")
    pages.figures(screen, ["", "chlorine, mg/L", "exposure, mg min/L"], rows)
