"""Options of commands as a person writes them, each declared once: the command line is made of these records."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from tapwright.cli.options.asking import option, tanks

LogHouse = Annotated[Path, typer.Argument(metavar="FILE", help="Household file; the log lies beside it.")]


@dataclass(frozen=True, kw_only=True)
class EntryOptions:
    """The options of `log add`."""

    file: LogHouse
    tank: Annotated[str, option("--tank", "Name of the tank, as in the file.", "-t", complete=tanks)]
    at: Annotated[str | None, option("--at", "When, such as '2026-03-14 18:30'; else now.")] = None
    readings: Annotated[
        list[str] | None,
        option("--reading", "Once for each: 'nitrate 20 mg/L NO3, chart, below 10, above 40', 'ph 8.2, meter'."),
    ] = None
    change: Annotated[str | None, option("--change", "Water changed, such as 40% or '230 L'.")] = None
    dosed: Annotated[
        list[str] | None, option("--dosed", "With it, once for each: '4 g sodium thiosulfate pentahydrate'.")
    ] = None
    service: Annotated[str | None, option("--service", "filter, substrate or parts.")] = None
    note: Annotated[str | None, option("--note", "In your own words; alone, or with any of the others.")] = None
