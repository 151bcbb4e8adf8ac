"""The `sheet` command and its options."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.asking import AsJson, HouseFile, answered, option


def sheet(
    file: HouseFile,
    tank: Annotated[str, option("--tank", "Name of the tank, as in the file.")],
    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FILE", help="Page to write, such as sheet.html.", show_default=False),
    ],
    change: Annotated[str | None, option("--change", "Share to change, such as 45%; else from nitrate.")] = None,
    start: Annotated[str | None, option("--start", "Time of day to begin, such as 18:30.")] = None,
    date: Annotated[str | None, option("--date", "Day of the change, such as 2026-03-14; else today.")] = None,
    clean_substrate: Annotated[
        bool, option("--clean-substrate", "Clean the substrate while the level is low.")
    ] = False,
    service_filter: Annotated[bool, option("--service-filter", "Service the filter while the level is low.")] = False,
    force: Annotated[bool, option("--force", "Write over a file that is there.")] = False,
    as_json: AsJson = False,
) -> None:
    """Write the plan as one page to tick off at the tank, on a phone or on paper."""
    from cli.planning import Asked
    from cli.sheet.command import answer

    asked = Asked(file, tank, change, start, date, clean_substrate, service_filter)
    answered(lambda: answer(asked, output, force=force), as_json)
