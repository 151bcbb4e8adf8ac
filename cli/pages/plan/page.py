"""The plan as a page in the terminal: findings, what to do, why, the waters, the steps, what was taken for granted."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from tapwright.chemistry import reference
from tapwright.cli.pages import pieces as pages
from tapwright.cli.pages.plan.clocks import show_clocks
from tapwright.cli.pages.plan.confidence import show_confidence
from tapwright.cli.pages.plan.figures import cautions_of, time_of, total_minutes, waters_of

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.plan.confidence import Confidence
    from tapwright.chemistry.plan.figures.records import Figures
    from tapwright.chemistry.plan.planner import Plan

_WATERS = {"tap": "Tap", "refill": "Refill", "tank_before": "Tank now", "tank_after": "Tank after"}
_FIGURES = (
    ("hardness_dgh", "Hardness", "dGH", ".1f"),
    ("alkalinity_dkh", "Alkalinity", "dKH", ".1f"),
    ("nitrate_mg_l", "Nitrate", "mg/L NO3", ".1f"),
    ("ammonia_mg_n_l", "Ammonia", "mg/L N", ".2f"),
    ("unionised_ammonia_highest_mg_n_l", "un-ionised at most", "mg/L N", ".3f"),
    ("ph_at_once", "pH at once", "", ".1f"),
    ("ph_aerated", "pH at rest**", "", ".1f"),
    ("co2_times_air", "CO2 at once", "times air", ".1f"),
    ("co2_times_air_aerated", "CO2 at rest**", "times air", ".1f"),
    ("si_calcite_aerated", "Calcite index**", "", "index"),
    ("conductivity_us_cm", "Conductivity*", "µS/cm", ".0f"),
    ("temperature_c", "Temperature", "°C", ".1f"),
)
LAST_WORD = (
    "Local codes, your water company's rules and licensed practice come before anything printed here. "
    "If a reading surprises you, stop and plan again."
)


def show_plan(
    screen: Console, made: Plan, start_minute: int | None, sure: Confidence | None, assumed: Sequence[str]
) -> None:
    """Print the whole page; start_minute of the day turns elapsed times into clock times; sure: how sure it is, if asked."""
    figures = made.figures
    pages.heading(screen, f"Water change for '{figures.tank.name}'")
    screen.print()
    pages.findings(screen, made.findings)
    _in_short(screen, made)
    _why(screen, figures)
    _waters(screen, figures)
    show_clocks(screen, figures)
    if sure is not None:
        show_confidence(screen, sure)
    _steps(screen, made, start_minute)
    pages.assumptions(screen, assumed)
    pages.heading(screen, "Sources of the cautions")
    pages.pairs(screen, [(caution["code"], caution["source"]) for caution in cautions_of(made)])
    screen.print(LAST_WORD)


def _in_short(screen: Console, made: Plan) -> None:
    from tapwright.chemistry.units import figure

    figures = made.figures
    totes, blend, low_cm = figures.totes, figures.blend, 100 * figures.low_level_m
    count = "1 tote" if totes.count == 1 else f"{totes.count} totes ({totes.volume_l:.0f} L each)"
    percent = figure(100 * figures.change_share)
    rows = [
        (
            "Change",
            f"{percent}% of the live water, {figures.change_volume_l:.0f} L, down to {low_cm:.0f} cm",
        ),
        (
            "Refill",
            f"{count} at {figures.refill_temperature_c:.1f} °C: {blend.hot_l:.0f} L hot and {blend.cold_l:.0f} L cold"
            + (" in all" if totes.count > 1 else ""),
        ),
        ("Neutraliser", _neutraliser(figures)),
    ]
    salts = [
        _amount(f"{figure(grams, 4)} g", f"{figure(figures.salts_per_tote_g[name], 4)} g", name, totes.count)
        for name, grams in figures.recipe.grams.items()
    ] or [no_salts(figures)]
    rows += [("Salts" if index == 0 else "", salt) for index, salt in enumerate(salts)]
    fill = totes.count * figures.pump_minutes.predicted
    rows.append(
        (
            "Minutes",
            f"drain {figures.drain_minutes.predicted:.0f}, draw each tote {figures.tap_minutes:.0f}, fill {fill:.0f}; "
            f"{total_minutes(made):.0f} until all is on again",
        )
    )
    pages.heading(screen, "In short")
    pages.pairs(screen, rows)


def no_salts(figures: Figures) -> str:
    """Why a refill is made without salts."""
    return "none that help are in the cupboard" if figures.recipe.missed else "none needed"


def _neutraliser(figures: Figures) -> str:
    from tapwright.chemistry.plan.steps.totes import neutraliser_amount, neutraliser_name
    from tapwright.chemistry.units import figure

    chosen = figures.neutraliser
    if chosen is None:
        return "none needed: the tap reads no chlorine"
    in_all = (
        f"{figure(chosen.in_all_ml, 4)} mL" if chosen.in_all_ml is not None else f"{figure(chosen.in_all_g or 0, 4)} g"
    )
    return _amount(in_all, neutraliser_amount(figures), neutraliser_name(figures), figures.totes.count)


def _amount(in_all: str, each: str, name: str, totes: int) -> str:
    """'24 g (12 g a tote) of sodium bicarbonate'."""
    return f"{in_all}{f' ({each} a tote)' if totes > 1 else ''} of {name}"


def _why(screen: Console, figures: Figures) -> None:
    """Why this share, and what ten points less or more would do to nitrate."""
    from tapwright.chemistry.units import figure

    tank, tap = figures.tank, figures.waters.tap
    pages.heading(screen, f"Why {figure(100 * figures.change_share)}%")
    rise = tank.nitrate_rise_mg_l
    facts = (
        f"Nitrate stands at {figure(figures.waters.tank_before.nitrate_mg_l)} mg/L, the tap brings {figure(tap.nitrate_mg_l)}, "
        + (f"it rises {figure(rise)} from one change to the next, " if rise is not None else "its rise is not given, ")
        + f"and the ceiling is {figure(tank.nitrate_ceiling_mg_l)}."
    )
    choice = (
        "The smallest share, in steps of 5 %, that keeps it at or under the ceiling, now and for good."
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
        rows.append([f"{figure(100 * course.change_share)}%{this}", f"{course.after_mg_l:.0f}", *later])
    pages.figures(screen, ["Nitrate, mg/L NO3", "right after", "before the next", "settles at"], rows)


def _waters(screen: Console, figures: Figures) -> None:
    waters = waters_of(figures)
    pages.heading(screen, f"The waters (target: {figures.target.name})")
    rows = [
        [f"{label}{unit and f', {unit}'}", *(_shown(waters[name][key], form) for name in _WATERS)]
        for key, label, unit, form in _FIGURES
    ]
    pages.figures(screen, ["", *_WATERS.values()], rows, blank=False)
    pages.paragraph(screen, "* computed from the ions, at 25 °C; a meter may differ by a few per cent")
    pages.paragraph(screen, f"** with the air it stands in, hours later. {_ph_words(figures)}")
    screen.print()


def _shown(value: float | None, form: str) -> str:
    if value is None:
        return "-"
    return pages.index(value, 1) if form == "index" else f"{value:{form}}"


def _ph_words(figures: Figures) -> str:
    """What the first reading of pH will be worth."""
    refill = figures.states.refill
    if refill.at_once is None:
        return "The pH at once is open (-) without the tap's own: test it and write it into the file."
    spread = (
        "" if refill.ph_spread is None else f", give or take {max(refill.ph_spread, 0.1):.1f} for the tests behind it"
    )
    return (
        f"The refill reads pH {refill.at_once.ph:.1f} at first{spread}, and {refill.at_rest.ph:.1f} once it rests with air "
        f"({refill.at_rest.co2_times_air:.1f} times outdoor CO2). Do not correct the first reading."
    )


def _steps(screen: Console, made: Plan, start_minute: int | None) -> None:
    """Every step with its time; HOLD marks what must be confirmed; a caution stands with the first step it concerns."""
    pages.heading(screen, "Steps" + ("" if start_minute is not None else " (hours:minutes after the first)"))
    pages.paragraph(screen, "HOLD: do not go on before this is done and confirmed.")
    if any(finding.level == "stop" for finding in made.findings):
        pages.paragraph(screen, "A STOP stands at the top of this page: resolve it before the first step.")
    shown: set[str] = set()
    rows = []
    for step in made.steps:
        mark = f"{time_of(step.start_minute, start_minute)} {'HOLD' if step.hold else ''}"
        rows.append(((mark, "bold" if step.hold else ""), step.text))
        for key in step.cautions:
            if key not in shown:
                shown.add(key)
                rows.append((("", ""), f"Take care: {reference.table('cautions')[key]['text']}"))
    pages.hanging(screen, rows)
