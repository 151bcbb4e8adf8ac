"""The household file to fill in, and the example it gives for every key."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from pathlib import Path

from tapwright.cli.files.writing import write_new

_TEMPLATE = Path(__file__).with_name("household_template.toml")
_TABLE = re.compile(r"\[+([\w.]+)\]+")
_ENTRY = re.compile(r"(?:#: )?(\w+) = (\S.*?)\s*(?:#\s*(.*))?$")
_EXAMPLE = re.compile(r'"[^"]*"|[\d.-]+')


def text() -> str:
    """The file to fill in."""
    return _TEMPLATE.read_text(encoding="utf-8")


def write(path: Path) -> None:
    """Write the file to fill in; BadInput where something stands already or the folder takes no file."""
    write_new(path, text())


@cache
def _headers() -> dict[str, str]:
    """Every header of the template by the tables it names."""
    lines = (line.split("#")[0].strip() for line in text().splitlines())
    return {found[1]: line for line in lines if (found := _TABLE.match(line))}


def example_of(keys: Sequence[str]) -> str:
    """'Write for example flow = "14 L/min".' for a key of the file, by its tables and name; empty if unknown."""
    dotted = ".".join(keys)
    if example := examples().get(dotted):
        return f"Write for example {keys[-1]} = {example}."
    header = _headers().get(dotted)
    return f"Write a table {header}." if header else ""


@cache
def examples() -> dict[str, str]:
    """Every key of the template by its tables, with an example value as it would stand in the file."""
    found: dict[str, str] = {}
    table = ""
    for line in text().splitlines():
        if header := _TABLE.match(line):
            table = f"{header[1]}."
        elif entry := _ENTRY.match(line):
            key, value, remark = entry.groups()
            shown = _EXAMPLE.match(remark or "") if value == '"?"' else None
            found[table + key] = shown[0] if shown else value
    return found


def filled(*, optional: bool = False) -> str:
    """The template with every "?" replaced by its example, and the optional lines taken in if asked."""
    lines = []
    table = ""
    for line in text().splitlines():
        if header := _TABLE.match(line):
            table = f"{header[1]}."
        if optional and line.startswith("#: "):
            line = line[3:]
        entry = _ENTRY.match(line)
        if entry and entry[2] == '"?"':
            line = line.replace('"?"', examples()[table + entry[1]], 1)
        lines.append(line)
    return "\n".join(lines) + "\n"
