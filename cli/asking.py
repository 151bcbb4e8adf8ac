"""What every command's options share, and how its answer leaves the program."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from cli.answer import Answer, emit
from cli.progress import told

AsJson = Annotated[bool, typer.Option("--json", help="Answer as one JSON document.")]
HouseFile = Annotated[Path, typer.Argument(metavar="FILE", help="Household file (TOML).")]


def option(name: str, help: str) -> Any:
    """An option whose default is not worth showing."""
    return typer.Option(name, help=help, show_default=False)


# What decides a plan, for every command that makes one.
TankName = Annotated[str, option("--tank", "Name of the tank, as in the file.")]
Change = Annotated[str | None, option("--change", "Share to change, such as 45%; else from nitrate.")]
Start = Annotated[str | None, option("--start", "Time of day to begin, such as 18:30.")]
Day = Annotated[str | None, option("--date", "Day of the change, such as 2026-03-14; else today.")]
CleanSubstrate = Annotated[bool, option("--clean-substrate", "Clean the substrate while the level is low.")]
ServiceFilter = Annotated[bool, option("--service-filter", "Service the filter while the level is low.")]


def answered(ask: Callable[[], Answer], as_json: bool) -> None:
    """Ask, answer, and leave with the exit code of the answer."""
    with told(sys.stderr):
        answer = ask()
    raise typer.Exit(emit(answer, as_json=as_json))
