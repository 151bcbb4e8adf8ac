"""The plan as a page in the terminal: findings, what to do, why, the waters, the steps, what was taken for granted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chemistry import reference
from cli import pages
from cli.plan_figures import cautions_of, total_minutes, water_figures, waters_of

if TYPE_CHECKING:
    from rich.console import Console

    from chemistry.plan.figures import Figures
    from chemistry.plan.planner import Plan

_WATERS = {"tap": "Tap", "refill": "Refill", "tank_before": "Tank now", "tank_after": "Tank after"}
_FIGURES = (
    ("hardness_dgh", "Hardness", "dGH", ".1f"),
    ("alkalinity_dkh", "Alkalinity", "dKH", ".1f"),
    ("nitrate_mg_l", "Nitrate", "mg/L NO3", ".1f"),
    ("ammonia_mg_n_l", "Ammonia", "mg/L N", ".2f"),
    ("conductivity_us_cm", "Conductivity", "µS/cm", ".0f"),
    ("temperature_c", "Temperature", "°C", ".1f"),
)
_LAST_WORD = (
    "Local codes, your water company's rules and licensed practice come before anything printed here. "
    "If a reading surprises you, stop and plan again."
)


def show_plan(screen: Console, made: Plan, start_minute: int | None) -> None:
    """Print the whole page; start_minute of the day turns elapsed times into clock times."""
    figures = made.figures
    pages.heading(screen, f"Water change for '{figures.tank.name}'")
    screen.print()
    pages.findings(screen, made.findings)
    _in_short(screen, made)
    _why(screen, figures)
    _waters(screen, figures)
    _steps(screen, made, start_minute)
    pages.assumptions(screen, made.assumptions)
    pages.heading(screen, "Sources of the cautions")
    pages.pairs(screen, [(caution["code"], caution["source"]) for caution in cautions_of(made)])
    screen.print(_LAST_WORD)


def _in_short(screen: Console, made: Plan) -> None:
    figures = made.figures
    chosen, totes = figures.neutraliser, figures.totes
    count = "1 tote" if totes.count == 1 else f"{totes.count} totes ({totes.volume_l:.0f} L each)"
    rows = [
        ("Change", f"{figures.change_share:.0%} of the live water, {figures.change_volume_l:.0f} L, "
                   f"down to {100 * figures.low_level_m:.0f} cm"),
        ("Refill", f"{count} at {figures.refill_temperature_c:.1f} °C: "
                   f"{figures.blend.hot_l:.0f} L hot and {figures.blend.cold_l:.0f} L cold"),
        ("Neutraliser", _amount(chosen.in_all_g, chosen.in_all_ml, chosen.per_tote_g, chosen.per_tote_ml, totes.count)
         + chosen.entry.substance.name),
    ]  # fmt: skip
    for name, grams in figures.recipe.grams.items():
        rows.append(("Salt", _amount(grams, None, figures.salts_per_tote_g[name], None, totes.count) + name))
    if not figures.recipe.grams:
        rows.append(("Salts", "none needed" if not figures.recipe.missed else "none that help"))
    fill = totes.count * figures.pump_minutes.predicted
    rows.append(("Minutes", f"drain {figures.drain_minutes.predicted:.0f}, make each tote {figures.tap_minutes:.0f}, "
                            f"fill {fill:.0f}; {total_minutes(made):.0f} until all is on again"))  # fmt: skip
    pages.heading(screen, "In short")
    pages.pairs(screen, rows)


def _amount(grams: float | None, ml: float | None, each_g: float | None, each_ml: float | None, count: int) -> str:
    """'24.2 g (12.1 g a tote) of '; 'none needed: ' for nothing."""
    if not grams and not ml:
        return "none needed: tap reads no chlorine, "
    in_all = f"{ml:.3g} mL" if ml else f"{grams:.4g} g"
    each = f"{each_ml:.3g} mL" if each_ml else f"{each_g:.4g} g"
    return f"{in_all} " + (f"({each} a tote) " if count > 1 else "")


def _why(screen: Console, figures: Figures) -> None:
    """Why this share, and what ten points less or more would do to nitrate."""
    tank, tap = figures.tank, figures.waters.tap
    pages.heading(screen, f"Why {figures.change_share:.0%}")
    rise = tank.nitrate_rise_mg_l
    facts = (
        f"Nitrate stands at {figures.waters.tank_before.nitrate_mg_l:g} mg/L, the tap brings {tap.nitrate_mg_l:g}, "
        + (f"it rises {rise:g} from one change to the next, " if rise is not None else "its rise is not given, ")
        + f"and the ceiling is {tank.nitrate_ceiling_mg_l:g}."
    )
    choice = (
        "The smallest share, in steps of 5 %, that keeps it under the ceiling now and for good."
        if figures.share_from == "nitrate ceiling"
        else "You gave this share."
    )
    pages.paragraph(screen, f"{facts} {choice}")
    rows = []
    for course in figures.nitrate:
        this = " (this plan)" if course.change_share == figures.change_share else ""
        later = (
            [f"{course.before_next_mg_l:.0f}", f"{course.settled_peak_mg_l:.0f}"] if rise is not None else ["-", "-"]
        )
        rows.append([f"{course.change_share:.0%}{this}", f"{course.after_mg_l:.0f}", *later])
    pages.figures(screen, ["Nitrate, mg/L NO3", "right after", "before the next", "settles at"], rows)


def _waters(screen: Console, figures: Figures) -> None:
    waters = {name: water_figures(water) for name, water in waters_of(figures).items()}
    pages.heading(screen, f"The waters (target: {figures.target.name})")
    rows = [
        [f"{label}, {unit}", *(f"{waters[name][key]:{form}}" for name in _WATERS)]
        for key, label, unit, form in _FIGURES
    ]
    pages.figures(screen, ["", *_WATERS.values()], rows)


def _steps(screen: Console, made: Plan, start_minute: int | None) -> None:
    """Every step with its time; HOLD marks what must be confirmed; a caution stands with the first step it concerns."""
    pages.heading(screen, "Steps" + ("" if start_minute is not None else " (hours:minutes after the first)"))
    pages.paragraph(screen, "HOLD: do not go on before this is done and confirmed.")
    shown: set[str] = set()
    rows = []
    for step in made.steps:
        mark = f"{_time(step.start_minute, start_minute)} {'HOLD' if step.hold else ''}"
        rows.append(((mark, "bold" if step.hold else ""), step.text))
        for key in step.cautions:
            if key not in shown:
                shown.add(key)
                rows.append((("", ""), f"Take care: {reference.table('cautions')[key]['text']}"))
    pages.hanging(screen, rows)


def _time(minute: float, start_minute: int | None) -> str:
    """Elapsed hours:minutes, or the clock once a start is given; rounded down, so that nobody comes late."""
    whole = int(minute) + (start_minute or 0)
    hours = whole // 60 if start_minute is None else whole // 60 % 24
    return f"{hours}:{whole % 60:02d}" if start_minute is None else f"{hours:02d}:{whole % 60:02d}"
