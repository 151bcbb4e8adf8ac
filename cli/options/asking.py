"""What every command's options share, and how its answer leaves the program."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from tapwright.chemistry.errors import BadInput, Fault, NotInTime
from tapwright.cli.answer import Answer, emit
from tapwright.cli.progress import told

# What is offered where the time did not suffice.
_MORE = {"30 s": 30.0, "5 min": 300.0, "1 h": 3600.0}

AsJson = Annotated[bool, typer.Option("--json", help="Answer as one JSON document.")]
HouseFile = Annotated[Path, typer.Argument(metavar="FILE", help="Household file (TOML).")]


def option(name: str, help: str) -> Any:
    """An option whose default is not worth showing."""
    return typer.Option(name, help=help, show_default=False)


Patience = Annotated[str | None, option("--patience", "How long to search, such as '30 s'; else about 2 s.")]

# What decides a plan, for every command that makes one.
TankName = Annotated[str, option("--tank", "Name of the tank, as in the file.")]
Change = Annotated[str | None, option("--change", "Share to change, such as 45%; else from nitrate.")]
Start = Annotated[str | None, option("--start", "Time of day to begin, such as 18:30.")]
Day = Annotated[str | None, option("--date", "Day of the change, such as 2026-03-14; else today.")]
CleanSubstrate = Annotated[bool, option("--clean-substrate", "Clean the substrate while the level is low.")]
ServiceFilter = Annotated[bool, option("--service-filter", "Service the filter while the level is low.")]


def answered(ask: Callable[[], Answer], as_json: bool, patience: str | None = None) -> None:
    """Ask, answer, and leave with the exit code of the answer. patience: how long the question may search."""
    from tapwright.chemistry.programmes.budget import question

    with told(sys.stderr), question(_seconds(patience)) as budget:
        try:
            answer = ask()
        except NotInTime as error:
            more = next((text for text, least_s in _MORE.items() if least_s > 1.5 * budget.patience_s), None)
            hint = "Ask it more simply: fewer salts, or wider bands." if more is None else f'Write --patience "{more}".'
            said = f"{budget.patience_s:g} s worth of work was not enough."
            raise NotInTime([*error.faults, Fault("--patience", said, hint)], error.details) from None
    raise typer.Exit(emit(answer, as_json=as_json))


def _seconds(patience: str | None) -> float:
    """The patience that is asked for [s]."""
    from tapwright.chemistry.programmes.budget import LEAST_S, MOST_S, PATIENCE_S

    if patience is None:
        return PATIENCE_S
    from tapwright.chemistry.units import read
    from tapwright.chemistry.words import quoted

    seconds = round(60 * read(patience, "time", "--patience"), 6)
    if not LEAST_S <= seconds <= MOST_S:
        said = f"{quoted(patience)} is read; 0.1 s to 1 h is allowed."
        raise BadInput.of("--patience", said, 'Write --patience "30 s".')
    return seconds
