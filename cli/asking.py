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


def answered(ask: Callable[[], Answer], as_json: bool) -> None:
    """Ask, answer, and leave with the exit code of the answer."""
    with told(sys.stderr):
        answer = ask()
    emit(answer, as_json=as_json)
    raise typer.Exit(answer.exit_code)
