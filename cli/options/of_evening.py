"""Options of commands as a person writes them, each declared once: the command line is made of these records."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from tapwright.cli.manners import DEFAULT_HOUSE
from tapwright.cli.options.asking import (
    Change,
    CleanSubstrate,
    Day,
    HouseFile,
    ServiceFilter,
    Start,
    TankName,
    agents,
    option,
    tanks,
)


@dataclass(frozen=True, kw_only=True)
class Evening:
    """The options that decide a plan."""

    file: HouseFile = DEFAULT_HOUSE
    tank: TankName = None
    change: Change = None
    start: Start = None
    date: Day = None
    clean_substrate: CleanSubstrate = False
    service_filter: ServiceFilter = False


@dataclass(frozen=True, kw_only=True)
class PlanOptions(Evening):
    """The options of `plan`."""

    confident: Annotated[bool, option("--confident", "Say how sure every figure is.")] = False
    brief: Annotated[bool, option("--brief", "Only the card to stick on the tote.")] = False


@dataclass(frozen=True, kw_only=True)
class SheetOptions(Evening):
    """The options of `sheet`: those that decide its plan, and where it goes."""

    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FILE", help="Page to write, such as sheet.html.", show_default=False),
    ]
    force: Annotated[bool, option("--force", "Write over a page that is there.")] = False


@dataclass(frozen=True, kw_only=True)
class LateOptions:
    """The options of `late`."""

    after: Annotated[str | None, option("--after", "Of filling, at which it goes in: '25 min'; else never.")] = None
    water_off: Annotated[
        bool, option("--water-off", "The water no longer runs; else it is told first how to stop it.")
    ] = False
    file: Annotated[Path | None, option("--file", "Household file for tank, tap and neutraliser.")] = None
    tank: Annotated[str | None, option("--tank", "Tank in it.", complete=tanks)] = None
    change: Annotated[str | None, option("--change", "Share that is changed; else as planned.")] = None
    start_volume: Annotated[str | None, option("--start-volume", "Water in the tank as filling began.")] = None
    end_volume: Annotated[str | None, option("--end-volume", "Water in it once full.")] = None
    flow: Annotated[str | None, option("--flow", "Water running in, '15 L/min'; else as the file's pump gives it.")] = (
        None
    )
    total_chlorine: Annotated[str | None, option("--total-chlorine", "Of the tap, such as '1.9 mg/L'.")] = None
    free_chlorine: Annotated[str | None, option("--free-chlorine", "Free chlorine; the rest is chloramine.")] = None
    cl2_to_n: Annotated[str | None, option("--cl2-to-n", "Mass ratio of the utility's chloramine.")] = None
    agent: Annotated[str | None, option("--agent", "Neutraliser with its hydrate.", complete=agents)] = None
    purity: Annotated[str | None, option("--purity", "Of the neutraliser; else 100%.")] = None
    excess: Annotated[str | None, option("--excess", "On top of what the chlorine takes, such as 10%.")] = None
    solution: Annotated[str | None, option("--solution", "Strength of your stock solution, '50 g/L'.")] = None
    demand: Annotated[str | None, option("--demand", "Share of its chlorine a tank uses up, '0.04 /h'; else none.")] = (
        None
    )
    ph: Annotated[str | None, option("--ph", "pH of the tank.")] = None
    temperature: Annotated[str | None, option("--temperature", "Of the tank.")] = None
    tote: Annotated[str | None, option("--tote", "Tap water runs through a tote of this volume.")] = None
    dosed_for: Annotated[str | None, option("--dosed-for", "Litres that tote was dosed for at the start.")] = None


@dataclass(frozen=True, kw_only=True)
class NitrateOptions:
    """The options of `nitrate`."""

    file: HouseFile = DEFAULT_HOUSE
    tank: TankName = None
    change: Annotated[str | None, option("--change", "Of the water at each change; else the smallest that holds.")] = (
        None
    )
    interval: Annotated[str | None, option("--interval", "From change to change, '7 days'; else as logged.")] = None
    confidence: Annotated[str, typer.Option("--confidence", help="How sure the ceiling is to be held.")] = "90%"
    since: Annotated[str | None, option("--since", "Look at the log from here on, '2026-01-01 00:00'.")] = None
    now: Annotated[str | None, option("--now", "The time to count from; else this moment.")] = None
    chart: Annotated[Path | None, option("--chart", "Draw the course ahead into this SVG file.")] = None
    force: Annotated[bool, option("--force", "Draw it over a picture that is there.")] = False
