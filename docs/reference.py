"""Renews the pages that are made from the program itself: `python docs/reference.py` writes commands.md, household-keys.md and
the names in python.md."""

from __future__ import annotations

import contextlib
import inspect
import io
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import tapwright as tw
from tapwright.cli.app import command_names, run

HERE = Path(__file__).parent
_START, _END = "<!-- names -->\n", "<!-- end of names -->\n"


def commands() -> str:
    """Every command's own help."""
    parts = ["# Commands\n\nMade from the program's own help.\n"]
    for name in command_names():
        parts.append(f"## {name}\n\n```text\n{_help(name)}```\n")
    return "\n".join(parts)


def _help(name: str) -> str:
    shown = io.StringIO()
    with contextlib.redirect_stdout(shown):
        run([*name.split(), "--help"])
    return "".join(f"{line.rstrip()}\n" for line in shown.getvalue().strip().splitlines())


def keys() -> str:
    """Every key of a household file, by its tables, as the schema has it."""
    schema = tw.Household.model_json_schema()
    parts = [
        "# Keys of a household file\n\nMade from its schema. A quantity is text with its unit; a star: it must be there.\n"
    ]
    for title, table in [("the file itself", schema), *schema["$defs"].items()]:
        rows = list(_rows(table))
        parts.append(
            f"## {title}\n\n{table.get('description', '')}\n\n| key | what it is | example |\n|---|---|---|\n"
            + "\n".join(rows)
            + "\n"
        )
    return "\n".join(parts)


def _rows(table: Mapping[str, Any]) -> Iterator[str]:
    for key, entry in table["properties"].items():
        kinds = [entry, *entry.get("anyOf", []), *entry.get("prefixItems", [])]
        kinds += [part for kind in kinds[1:] for part in kind.get("prefixItems", [])]
        said = next((kind["description"] for kind in kinds if kind.get("description")), _kind(kinds))
        example = next((str(kind["examples"][0]) for kind in kinds if kind.get("examples")), "")
        star = "*" if key in table.get("required", ()) else ""
        yield f"| `{key}`{star} | {said} | {f'`{example}`' if example else ''} |"


def _kind(kinds: list[Mapping[str, Any]]) -> str:
    named = [kind.get("$ref") or kind.get("items", {}).get("$ref") for kind in kinds]
    table = next((name.rpartition("/")[2] for name in named if name), "")
    if table:
        return f"table {table}"
    if any("enum" in kind for kind in kinds):
        return "a name: see `tapwright list`" if len(_names(kinds)) > 12 else ", ".join(_names(kinds))
    return next((kind.get("format") or kind["type"] for kind in kinds if kind.get("type") not in (None, "null")), "")


def _names(kinds: list[Mapping[str, Any]]) -> list[str]:
    return next((list(kind["enum"]) for kind in kinds if "enum" in kind), [])


def names(text: str) -> str:
    """python.md with every public name, its signature and its first sentence."""
    rows = ["| name | what it is |", "|---|---|"]
    for name in tw.__all__:
        thing = getattr(tw, name)
        if name.startswith("__"):
            continue
        first = inspect.getdoc(thing) or ""
        rows.append(f"| `{name}` | {' '.join(first.split(chr(10) * 2)[0].split())} |")
    head, rest = text.split(_START)
    return f"{head}{_START}\n" + "\n".join(rows) + f"\n\n{_END}{rest.split(_END)[1]}"


def pages() -> dict[Path, str]:
    """Every page that is made here, as it is now."""
    os.environ["COLUMNS"] = "80"
    python = HERE / "python.md"
    return {
        HERE / "commands.md": commands(),
        HERE / "household-keys.md": keys(),
        python: names(python.read_text(encoding="utf-8")),
    }


if __name__ == "__main__":
    for path, text in pages().items():
        path.write_text(text, encoding="utf-8")
