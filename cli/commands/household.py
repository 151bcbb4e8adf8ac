"""The `new` and `check` commands."""

from __future__ import annotations

from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING

from tapwright.cli.answer import Answer
from tapwright.cli.visible import visible

if TYPE_CHECKING:
    from rich.console import Console


def new_answer(file: Path) -> Answer:
    """Write the file to fill in; the answer says what to do next."""
    from tapwright.cli.files import household_template

    household_template.write(file)
    name = visible(str(file))

    def show(screen: Console) -> None:
        screen.print(f'{name} is written. Fill in every "?", then run: tapwright check {quote(name)}', soft_wrap=True)

    return Answer("new", {"file": str(file)}, show, done=f"{file} is written.")


def check_answer(file: Path) -> Answer:
    """Read a household file; the answer says what is in it."""
    from tapwright.cli.files.household_file import load

    household = load(file)
    tanks = [tank.name for tank in household.tanks]
    name = visible(str(file))

    def show(screen: Console) -> None:
        screen.print(f"{name} is in order. Tanks: {', '.join(tanks)}.", soft_wrap=True)
        screen.print(f"Next: tapwright plan {quote(name)} --tank {quote(tanks[0])}", soft_wrap=True)

    result = {
        "file": str(file),
        "tanks": tanks,
        "neutralisers": [entry.substance.name for entry in household.neutralisers],
        "salts": [entry.stocked().salt.name for entry in household.salts],
    }
    return Answer("check", result, show)
