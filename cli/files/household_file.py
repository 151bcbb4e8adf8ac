"""Reads a household file: TOML, then the household, with every fault at once and the line of each."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from tapwright.chemistry.errors import BadInput, Fault
from tapwright.cli.files.toml_file import Lines, Location, located, parsed, text_of, the_first

if TYPE_CHECKING:
    from tapwright.chemistry.plan.household.household import Household

_LISTS = ("tank", "salt", "neutraliser")
# How a hint of the engine's begins that does not know how a line of the file looks.
_GENERAL = ("Write for example", "Write a table")


def load(path: Path) -> Household:
    """The household of a file. Raises BadInput with every fault as file:line: key."""
    text = text_of(path, f"Make one with: tapwright new {path}")
    data = parsed(text, path, _LISTS)
    from tapwright.chemistry.plan.household.household import Household

    try:
        return Household.of(data)
    except BadInput as error:
        faults = error.faults
    lines = Lines(text)
    found = sorted(((lines.of(fault.place), fault) for fault in faults), key=lambda entry: entry[0])
    told = [Fault(located(path, line, fault.place), fault.message, _hint(fault)) for line, fault in found]
    raise BadInput(the_first(told)) from None


def _hint(fault: Fault) -> str:
    """The template's example for this very key, where the hint is only a general one."""
    general = not fault.hint or fault.hint.startswith(_GENERAL)
    return (_example(fault.place) if general else "") or fault.hint


def _example(place: Location) -> str:
    """How to write the key, taken from the file that `tapwright new` writes."""
    from tapwright.cli.files.household_template import example_of

    return example_of([part for part in place if isinstance(part, str)])
