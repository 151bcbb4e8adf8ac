"""Renews the table of docs/envelope.md from tables/limits.csv: python docs/envelope.py"""

from __future__ import annotations

import re
from pathlib import Path

from tapwright.chemistry import reference

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "docs" / "envelope.md"
_START, _END = "<!-- limits -->\n", "<!-- end of limits -->\n"


def used() -> list[str]:
    """Keys of tables/limits.csv and tables/practice.csv that the envelope names, in the order of the tables."""
    text = "".join(path.read_text(encoding="utf-8") for path in sorted((ROOT / "chemistry" / "envelope").glob("*.py")))
    named = set(re.findall(r'"([a-z_]+)"', text))
    return [key for key in reference.table("limits") if key in named]


def table() -> str:
    """The limits as a table of Markdown, each with its source."""
    rows = ["| limit | value | unit | source | what for |", "|---|---|---|---|---|"]
    for key in used():
        row = reference.table("limits")[key]
        rows.append(f"| `{key}` | {row['value']} | {row['unit']} | {reference.cited(row)} | {row['note']} |")
    return "\n".join(rows) + "\n"


def renewed(text: str) -> str:
    """The page with the table as it is now."""
    head, rest = text.split(_START)
    return f"{head}{_START}\n{table()}\n{_END}{rest.split(_END)[1]}"


if __name__ == "__main__":
    PAGE.write_text(renewed(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
