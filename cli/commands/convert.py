"""The `convert` command."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tapwright.cli.answer import Answer

if TYPE_CHECKING:
    from rich.console import Console


def answer(quantity: str, unit: str) -> Answer:
    """A quantity in another unit as an answer."""
    from tapwright.chemistry.units import convert, figure

    value, _ = convert(quantity, unit)

    def show(screen: Console) -> None:
        screen.print(f"{quantity} = {figure(value, 6)} {unit}")

    return Answer("convert", {"value": value, "unit": unit}, show)
