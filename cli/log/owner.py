"""Whose log it is: the tanks of a household file, and whether the log beside it was written for them.

A household file has no name of its own that would outlast being renamed, copied or written anew; what an entry is filed
under are the names of the tanks. So the log keeps the names of all tanks of its household as of the last entry, and is
another's where not one of them is left. One tank renamed, added or sold at a time leaves it the same household.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import quoted
from tapwright.cli.files.toml_file import parsed, text_of
from tapwright.cli.log.logbook import Logbook

if TYPE_CHECKING:
    from tapwright.chemistry.findings import Finding


def tanks_of(file: Path) -> list[str]:
    """Names of the tanks of a household file; its other tables may still hold faults, as a log must not wait for them."""
    data = parsed(text_of(file, f"Make one with: tapwright new {file}"), file, ("tank",))
    tanks = data.get("tank")
    names = [entry.get("name") for entry in tanks if isinstance(entry, dict)] if isinstance(tanks, list) else []
    found = [name for name in names if isinstance(name, str) and name not in ("", "?")]
    if not found:
        raise BadInput.of(f"{file}: tank", "no tank has a name yet.", 'Write name = "Long tank" under [[tank]].')
    return found


def known_tank(file: Path, name: str) -> str:
    """The name, if the household file has it; BadInput offers what there is."""
    names = tanks_of(file)
    if name not in names:
        choices = " or ".join(f"'{known}'" for known in names)
        raise BadInput.of("--tank", f"there is no tank named {quoted(name)} in the file.", f"Write {choices}.")
    return name


def refuse_anothers(book: Logbook, file: Path, tanks: Sequence[str]) -> None:
    """BadInput for a log that was written for tanks of which the household has none."""
    known = book.known_tanks()
    if known and not set(known) & set(tanks):
        said = f"is the log of another household, with {_listed(known)}; {file} has {_listed(tanks)}."
        hint = (
            f"Move it away to begin one of your own; or, if you gave your tanks new names, tell it so with: "
            f"tapwright log adopt {file}"
        )
        raise BadInput.of(str(book.path), said, hint)


def backup_findings(book: Logbook) -> list[Finding]:
    """That a log was restored from a backup, until something is written to it."""
    from tapwright.chemistry.findings import Finding

    made = book.backed_up()
    if made is None:
        return []
    text = (
        f"This log was restored from the backup made on {shown_time(made)}: what was written down after that is not in it. "
        "Look at the latest entries (tapwright log list), and enter again what is missing."
    )
    return [Finding("caution", "log_restored", text)]


def shown_time(at: str) -> str:
    """Day and time as they were where it happened."""
    return at[:16].replace("T", " ")


def _listed(names: Sequence[str]) -> str:
    return ", ".join(f"'{name}'" for name in names)
