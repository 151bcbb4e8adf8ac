"""The `log` commands and their options."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tapwright.cli.manners import Command, Group
from tapwright.cli.options.asking import AsJson, answered, option, tanks
from tapwright.cli.options.of_log import EntryOptions
from tapwright.cli.options.registering import register

log_app = typer.Typer(help="Keep a log: readings, changes, services, notes.", cls=Group, rich_markup_mode=None)

HouseFile = Annotated[Path, typer.Argument(metavar="FILE", help="Household file; the log lies beside it.")]
Sheet = Annotated[Path, typer.Argument(metavar="CSV", help="CSV file.")]
register(
    log_app,
    "add",
    EntryOptions,
    "tapwright.cli.log.commands:add_answer",
    "Write down what was read, changed, serviced or seen.",
)


@log_app.command("list", cls=Command)
def list_(
    file: HouseFile,
    tank: Annotated[str | None, option("--tank", "Only of this tank.", "-t", complete=tanks)] = None,
    kind: Annotated[str | None, option("--kind", "Only reading, change, service or note.")] = None,
    last: Annotated[int, typer.Option("--last", help="How many, the latest.")] = 20,
    undone: Annotated[bool, option("--undone", "Those taken back as well.")] = False,
    as_json: AsJson = False,
) -> None:
    """Show the latest entries."""
    from tapwright.cli.log.commands import list_answer

    answered(lambda: list_answer(file, tank, kind, last, undone=undone), as_json)


@log_app.command("import", cls=Command)
def import_(file: HouseFile, sheet: Sheet, as_json: AsJson = False) -> None:
    """Take in a CSV file, all of it or nothing."""
    from tapwright.cli.log.commands import import_answer

    answered(lambda: import_answer(file, sheet), as_json)


@log_app.command(cls=Command)
def export(
    file: HouseFile,
    sheet: Sheet,
    force: Annotated[bool, option("--force", "Write over a file that is there.")] = False,
    as_json: AsJson = False,
) -> None:
    """Write the whole log to a CSV file."""
    from tapwright.cli.log.commands import export_answer

    answered(lambda: export_answer(file, sheet, force=force), as_json)


@log_app.command(cls=Command)
def undo(
    file: HouseFile,
    number: Annotated[int | None, option("--number", "Of the entry; else the last one written.")] = None,
    as_json: AsJson = False,
) -> None:
    """Take back an entry; it is kept, and marked."""
    from tapwright.cli.log.commands import undo_answer

    answered(lambda: undo_answer(file, number), as_json)


@log_app.command(cls=Command)
def check(file: HouseFile, as_json: AsJson = False) -> None:
    """Is the log whole, every entry of it readable, and this household's?"""
    from tapwright.cli.log.care import check_answer

    answered(lambda: check_answer(file), as_json)


@log_app.command(cls=Command)
def backup(
    file: HouseFile,
    copy: Annotated[Path, typer.Argument(metavar="COPY", help="File to write, best on another disk.")],
    as_json: AsJson = False,
) -> None:
    """Write the whole log to one new file, and read it back."""
    from tapwright.cli.log.care import backup_answer

    answered(lambda: backup_answer(file, copy), as_json)


@log_app.command(cls=Command)
def adopt(file: HouseFile, as_json: AsJson = False) -> None:
    """Say that the log is this household's, though every tank has a new name."""
    from tapwright.cli.log.care import adopt_answer

    answered(lambda: adopt_answer(file), as_json)
