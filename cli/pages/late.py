"""The `late` command's page: plain advice first, numbers second."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tapwright.cli.pages import pieces as pages
from tapwright.cli.pages.late_words import advice, ammonia_left, said

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.plan.late.dose import Case, Late

_ROWS = 4


def show_late(screen: Console, case: Case, made: Late, found: Sequence[Finding]) -> None:
    """Print the whole page."""
    title = "the neutraliser is not in yet" if made.minute is not None else "if the neutraliser never goes in"
    pages.heading(screen, f"{title[0].upper()}{title[1:]}" if made.water_off else f"Stop the water now: {title}")
    pages.hanging(screen, [((f"{number}", ""), text) for number, text in enumerate(advice(case, made), 1)])
    _figures(screen, case, made)
    _course(screen, case)
    pages.findings(screen, found)
    pages.assumptions(screen, case.assumptions)


def _figures(screen: Console, case: Case, made: Late) -> None:
    from tapwright.chemistry import reference
    from tapwright.chemistry.units import figure

    acute = reference.value("limits", "chlorine_acute")
    end = f"{float(made.filling.minutes):.0f}"
    if case.latest_end_min is not None:
        end += f", which may last to {case.latest_end_min:.0f}"
    when = f"at minute {made.minute:.0f}" if made.minute is not None else "as the tank is full"
    until = "until then" if made.minute is not None else "until an hour later"
    hose = made.hose_mg_l
    rows = [
        ("In the tank", f"{figure(made.now_mg_l, 2)} mg/L of chlorine {when}"),
        (
            "Peak",
            f"{figure(made.peak_mg_l, 2)} mg/L at minute {made.peak_minute:.0f} of {end}",
        ),
        (
            "At the hose",
            f"{figure(hose, 2)} mg/L, the tap's full strength: {hose / acute:.0f} times the one-hour criterion",
        ),
        ("Met so far", f"{figure(made.exposure_mg_min_l, 2)} mg min/L {until}"),
        ("Dose now", f"{said(made.dose_now, case)}: what is there and what is to come"),
        ("New water", f"{said(made.dose_new_water, case)}: were none of its chlorine used up"),
        (
            "Whole tank",
            f"{said(made.dose_whole_tank, case)}: as for a tank full of tap water, the most a label can mean",
        ),
    ]
    if left := ammonia_left(made):
        rows.append(("Ammonia", left))
    if made.breakthrough_minute is not None:
        breaks = made.breakthrough_minute
        rows.append(
            ("Tote", f"lets chlorine through from minute {breaks:.0f}" if math.isfinite(breaks) else "holds to the end")
        )
    pages.heading(screen, "Figures")
    pages.pairs(screen, rows)


def _course(screen: Console, case: Case) -> None:
    """Chlorine and exposure at a few minutes of the filling."""
    from tapwright.chemistry.change.filling.chlorine import concentration_mg_l, exposure_mg_min_l
    from tapwright.chemistry.units import figure

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
