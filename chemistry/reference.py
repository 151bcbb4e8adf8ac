"""The only reader of tables/: reference values, each with its unit and its source."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType

from tapwright.chemistry.errors import BadInput

Row = Mapping[str, str]

FOLDER = Path(__file__).parent.parent / "tables"


@cache
def table(name: str) -> Mapping[str, Row]:
    """Rows of tables/<name>.csv by their `key`, in the order of the file.

    Raises BadInput when there is no such table or a key stands twice.
    """
    path = FOLDER / f"{name}.csv"
    if not path.is_file():
        raise BadInput.of(f"tables/{name}.csv", "there is no such table.")
    rows: dict[str, Row] = {}
    with path.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            if row["key"] in rows:
                raise BadInput.of(f"tables/{name}.csv", f"the key '{row['key']}' stands twice.")
            rows[row["key"]] = MappingProxyType(row)
    return MappingProxyType(rows)


@cache
def sources() -> Mapping[str, str]:
    """Full reference of every source key used in the tables."""
    text = (FOLDER / "sources.toml").read_text(encoding="utf-8")
    return MappingProxyType({key: entry["reference"] for key, entry in tomllib.loads(text).items()})


def units_file() -> Path:
    """Path of the unit definitions for pint."""
    return FOLDER / "units.txt"


def value(table_name: str, key: str) -> float:
    """The number in the `value` column of one row, in the row's own unit."""
    return float(table(table_name)[key]["value"])


_HOW_KNOWN = {"memory": "from memory", "practice": "common practice, no source"}


def cited(row: Row) -> str:
    """A row's source as one line for a person: the full reference, the place in it, and how it is known."""
    if row["source"] == "practice":
        return _HOW_KNOWN["practice"]
    parts = [sources()[row["source"]], row["where"], _HOW_KNOWN.get(row["seen"], "")]
    return ", ".join(part for part in parts if part)


def citation(table_name: str, key: str) -> str:
    """`cited` for the row `key` of a table."""
    return cited(table(table_name)[key])
