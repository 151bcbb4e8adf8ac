"""Pieces every terminal page is made of: findings, assumptions, aligned figures. Nothing is said by colour alone."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from tapwright.cli.visible import visible

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.findings import Finding

_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=[a-zA-Z°µ%])")
# Below this a saturation index says that an ion is missing altogether.
NEVER = -20.0
WORDS = {"stop": ("STOP", "bold red"), "caution": ("Caution", "bold yellow"), "note": ("Note", "bold")}


def findings(screen: Console, found: Iterable[Finding]) -> None:
    """The findings, each with its level in words and its source."""
    rows = []
    for finding in found:
        word, style = WORDS[finding.level]
        source = f" [{finding.source}]" if finding.source else ""
        rows.append(((word, style), finding.text + source))
    if rows:
        hanging(screen, rows, indent=0, gap=2)


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
    hanging(screen, [(("", ""), text)], gap=0, blank=False)


def bullets(screen: Console, entries: Iterable[str]) -> None:
    """Entries, each wrapped beside its mark, and a blank line after them."""
    pairs(screen, [("-", entry) for entry in entries], gap=1)


def pairs(screen: Console, rows: Iterable[tuple[str, str]], *, gap: int = 2) -> None:
    """Name and text side by side, and a blank line after them."""
    hanging(screen, [((name, ""), text) for name, text in rows], gap=gap)


def hanging(
    screen: Console,
    rows: Sequence[tuple[tuple[str, str], str]],
    *,
    indent: int = 2,
    gap: int = 1,
    blank: bool = True,
) -> None:
    """Rows of (name, style) and text: names in a column as wide as the widest, texts wrapped beside it.

    Wrapped here and printed in one piece: a table of the same rows takes the terminal library ten times as long.
    """
    from textwrap import wrap

    from rich.text import Text

    shown = [((visible(name), style), visible(text)) for (name, style), text in rows]
    width = max((len(name) for (name, _), _ in shown), default=0)
    margin = indent + width + gap
    page = Text()
    for (name, style), text in shown:
        page.append(" " * indent)
        page.append(name.ljust(width), style=style)
        lines = wrap(kept_together(text), max(screen.width - margin, 20), break_on_hyphens=False) or [""]
        page.append(" " * gap + f"\n{' ' * margin}".join(lines).replace("\N{NO-BREAK SPACE}", " ") + "\n")
    screen.print(page, end="\n" if blank else "", soft_wrap=True)


def kept_together(text: str) -> str:
    """A number and its unit stay on one line, which breaks at plain spaces only."""
    return _NUMBER_AND_UNIT.sub("\N{NO-BREAK SPACE}", text)


def signed(value: float, decimals: int) -> str:
    """With its sign, but for a zero."""
    text = f"{value:+.{decimals}f}"
    return text if text.strip("+-0.") else f"{0:.{decimals}f}"


def index(value: float, decimals: int) -> str:
    """A saturation index, or that the mineral cannot form."""
    return signed(value, decimals) if value > NEVER else "none"


def figures(screen: Console, head: Sequence[str], rows: Sequence[Sequence[str]], *, blank: bool = True) -> None:
    """A table of figures: first column names, the others right-aligned."""
    lines = [[visible(cell) for cell in line] for line in (head, *rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(head))]
    for name, *values in lines:
        cells = [name.ljust(widths[0]), *(value.rjust(width) for value, width in zip(values, widths[1:], strict=True))]
        screen.print("  " + "  ".join(cells), soft_wrap=True)
    if blank:
        screen.print()
