"""The `list` and `schema` commands: what the tables know, and the keys of a household file for editors."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import quoted
from tapwright.cli.answer import Answer
from tapwright.cli.pages import pieces as pages

if TYPE_CHECKING:
    from rich.console import Console

SCHEMAS = ("household", "plan")


def list_answer(what: str) -> Answer:
    """Rows of one kind: by name, with what is known of each."""
    from tapwright.chemistry.catalogue import data

    rows: list[dict[str, Any]] = data(what, "list")

    def show(screen: Console) -> None:
        pages.heading(screen, what.capitalize())
        pages.pairs(screen, [_told(row) for row in rows])

    return Answer("list", {what: rows}, show)


def _told(row: dict[str, Any]) -> tuple[str, str]:
    """Its first word, and the rest in a sentence; the source last."""
    from tapwright.chemistry.units import figure

    name, *rest = row.items()
    said = [
        f"{key.replace('_', ' ')} {figure(value) if isinstance(value, float) else _words(value)}"
        for key, value in rest
        if key != "source" and value not in ("", None, 0.0)
    ]
    source = f" [{row['source']}]" if row.get("source") else ""
    return str(name[1]), "; ".join(said) + source


def _words(value: Any) -> str:
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)


def schema_answer(what: str) -> Answer:
    """The JSON Schema of a household file, or of what `Plan.to_json` writes; printed as it is, for an editor."""
    if what not in SCHEMAS:
        raise BadInput.of("schema", f"{quoted(what)} has none.", f"Write {' or '.join(SCHEMAS)}.")
    schema = _schema(what)

    def show(screen: Console) -> None:
        import json

        screen.print(json.dumps(schema, indent=2, ensure_ascii=False), soft_wrap=True)

    return Answer("schema", {"schema": schema}, show, as_written=True)


def _schema(what: str) -> dict[str, Any]:
    from tapwright.chemistry.plan.household.household import Household

    if what == "household":
        return Household.model_json_schema()
    from tapwright.chemistry.plan.planner import Plan

    return Plan.json_schema()
