"""Pieces every terminal page is made of: findings, assumptions, aligned figures. Nothing is said by colour alone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

    from chemistry.findings import Finding

_WORDS = {"stop": ("STOP", "bold red"), "caution": ("Caution", "bold yellow"), "note": ("Note", "bold")}


def findings(screen: Console, found: Iterable[Finding]) -> None:
    """The findings, each with its level in words and its source."""
    from rich.table import Table
    from rich.text import Text

    rows = Table.grid(padding=(0, 2, 0, 0))
    rows.add_column(no_wrap=True)
    rows.add_column()
    for finding in found:
        word, style = _WORDS[finding.level]
        source = f" [{finding.source}]" if finding.source else ""
        rows.add_row(Text(word, style=style), Text(finding.text + source))
    if rows.row_count:
        screen.print(rows)
        screen.print()


def assumptions(screen: Console, assumed: Sequence[str]) -> None:
    """What was taken for granted."""
    if assumed:
        heading(screen, "Taken for granted")
        bullets(screen, assumed)


def heading(screen: Console, text: str) -> None:
    """A heading of a page."""
    screen.print(text, style="bold")


def paragraph(screen: Console, text: str) -> None:
    """A paragraph under a heading, indented all along."""
    from rich.padding import Padding
    from rich.text import Text

    screen.print(Padding(Text(text), (0, 0, 0, 2)))


def bullets(screen: Console, entries: Iterable[str]) -> None:
    """Entries, each wrapped beside its mark, and a blank line after them."""
    pairs(screen, [("-", entry) for entry in entries], gap=1)


def pairs(screen: Console, rows: Iterable[tuple[str, str]], *, gap: int = 2) -> None:
    """Name and text side by side, and a blank line after them."""
    from rich.table import Table
    from rich.text import Text

    grid = Table.grid(padding=(0, gap, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column()
    for name, text in rows:
        grid.add_row(Text(f"  {name}"), Text(text))
    screen.print(grid)
    screen.print()


def figures(screen: Console, head: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """A table of figures: first column names, the others right-aligned, and a blank line after it."""
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    for index, title in enumerate(head):
        table.add_column(Text(f"  {title}" if index == 0 else title), justify="left" if index == 0 else "right")
    for name, *values in rows:
        table.add_row(Text(f"  {name}"), *map(Text, values))
    screen.print(table)
    screen.print()
