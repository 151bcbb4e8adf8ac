"""What every command's options share, and how its answer leaves the program."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from tapwright.chemistry.errors import BadInput, Fault, NotInTime
from tapwright.cli.answer import Answer, emit
from tapwright.cli.manners import DEFAULT_HOUSE, HOUSE_VARIABLE
from tapwright.cli.progress import told

# What is offered where the time did not suffice.
_MORE = {"30 s": 30.0, "5 min": 300.0, "1 h": 3600.0}

AsJson = Annotated[bool, typer.Option("--json", help="Answer as one JSON document.")]
HouseFile = Annotated[
    Path,
    typer.Argument(
        metavar="FILE",
        help=f"Household file; else that of {HOUSE_VARIABLE}, or {DEFAULT_HOUSE} here.",
        envvar=HOUSE_VARIABLE,
        show_default=False,
        show_envvar=False,
    ),
]


def option(name: str, help: str, *short: str, complete: Callable[..., list[str]] | None = None) -> Any:
    """An option whose default is not worth showing; complete: what a shell may offer for it."""
    return typer.Option(name, *short, help=help, show_default=False, autocompletion=complete)


def tanks() -> list[str]:
    """Names of the tanks of the household file that is meant; none where it cannot be read."""
    import os
    import tomllib

    # An option without its value yet leaves click with no other parameter: the line itself says which file.
    line = os.environ.get("COMP_WORDS", os.environ.get("_TYPER_COMPLETE_ARGS", ""))
    named = (word for word in line.split() if word.endswith(".toml"))
    path = next(named, os.environ.get(HOUSE_VARIABLE, str(DEFAULT_HOUSE)))
    try:
        data = tomllib.loads(Path(path).read_text(encoding="utf-8"))
        return [str(tank["name"]) for tank in data["tank"]]
    except (OSError, ValueError, KeyError, TypeError):
        return []


def _keys_of(table: str) -> Callable[[], list[str]]:
    def keys() -> list[str]:
        from tapwright.chemistry.reference import table as rows

        return list(rows(table))

    return keys


agents, salts = _keys_of("agents"), _keys_of("salts")


def lakes() -> list[str]:
    """Lakes with a published analysis."""
    from tapwright.chemistry.reference import table as rows

    return sorted({key.partition(".")[0] for key in rows("lakes")})


Patience = Annotated[str | None, option("--patience", "How long to search, such as '30 s'; else about 2 s.")]

# What decides a plan, for every command that makes one.
TankName = Annotated[
    str | None, option("--tank", "Name of the tank; else the only one of the file.", "-t", complete=tanks)
]
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
