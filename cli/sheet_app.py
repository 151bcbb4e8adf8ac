"""The `sheet` command and its options."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tapwright.cli.manners import DEFAULT_HOUSE
from tapwright.cli.options.asking import (
    AsJson,
    Change,
    CleanSubstrate,
    Day,
    HouseFile,
    Patience,
    ServiceFilter,
    Start,
    TankName,
    answered,
    option,
)


def sheet(
    *,
    file: HouseFile = DEFAULT_HOUSE,
    tank: TankName = None,
    output: Annotated[
        Path,
        typer.Option("--output", "-o", metavar="FILE", help="Page to write, such as sheet.html.", show_default=False),
    ],
    change: Change = None,
    start: Start = None,
    date: Day = None,
    clean_substrate: CleanSubstrate = False,
    service_filter: ServiceFilter = False,
    force: Annotated[bool, option("--force", "Write over a page that is there.")] = False,
    patience: Patience = None,
    as_json: AsJson = False,
) -> None:
    """Write the plan as one page to tick off at the tank, on a phone or on paper."""
    from tapwright.cli.commands.plan import Asked
    from tapwright.cli.sheet.command import answer

    asked = Asked(file, tank, change, start, date, clean_substrate, service_filter)
    answered(lambda: answer(asked, output, force=force), as_json, patience)
