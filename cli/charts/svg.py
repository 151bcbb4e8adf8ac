"""SVG elements as text, and a whole picture: the colour of the letters around it, and words for who cannot see it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

WIDTH = 328.0  # what a phone of 360 pixels leaves between the margins of a page
LETTERS = 13.0
_MARGIN = 10.0
_LETTER = 0.64 * LETTERS  # as wide as a digit of a wide face


def element(tag: str, *inside: str, **has: str | float) -> str:
    """One element; inside: markup; has: its attributes, of which `class_` and `text_anchor` stand for the names in SVG."""
    named = ((name.rstrip("_").replace("_", "-"), _written(value)) for name, value in has.items())
    head = tag + "".join(f' {name}="{value}"' for name, value in named)
    return f"<{head}>{''.join(inside)}</{tag}>" if inside else f"<{head}/>"


def words(text: str, x: float, y: float, **has: str | float) -> str:
    """Letters from a place on, or as `text_anchor` says."""
    return element("text", escape(text), x=x, y=y, **has)


def path(points: Iterable[tuple[float, float]], **has: str | float) -> str:
    """Straight lines from point to point."""
    return element("path", d="M" + "L".join(f"{_written(x)} {_written(y)}" for x, y in points), **has)


def line(points: Iterable[tuple[float, float]], width: float = 1.0, **has: str | float) -> str:
    """A path that is drawn and not filled."""
    return path(points, fill="none", stroke="currentColor", stroke_width=width, **has)


def wide(text: str) -> float:
    """How wide letters may be."""
    return _LETTER * len(text)


def legend(entries: Sequence[tuple[str, str]], y: float) -> str:
    """Signs with their words, in one row; a sign is drawn around the origin, 16 wide at most."""
    drawn, x = [], 4.0
    for sign, text in entries:
        drawn += [
            element("g", sign, transform=f"translate({_written(x + 8)} {_written(y - 4.5)})"),
            words(text, x + 22, y),
        ]
        x += 22 + wide(text) + 14
    return "".join(drawn)


def picture(name: str, title: str, height: float, *inside: str, margin: float = 0.0, **has: str | float) -> str:
    """The whole, as one element whose ids begin with `name`, so that several may stand on a page."""
    box = (-margin, -margin, WIDTH + 2 * margin, height + 2 * margin)
    return element(
        "svg",
        element("title", escape(title), id=f"{name}-title"),
        *inside,
        viewBox=" ".join(map(_written, box)),
        role="img",
        aria_labelledby=f"{name}-title",
        class_="chart",
        fill="currentColor",
        font_size=LETTERS,
        **has,
    )


def file_of(name: str, title: str, height: float, *inside: str) -> str:
    """A picture that stands by itself: black on white, whatever shows it."""
    paper = element("rect", x=-_MARGIN, y=-_MARGIN, width="100%", height="100%", fill="#ffffff")
    alone = {"xmlns": "http://www.w3.org/2000/svg", "font_family": "sans-serif", "color": "#000000"}
    drawn = picture(name, title, height, paper, *inside, margin=_MARGIN, **alone)
    return f'<?xml version="1.0" encoding="utf-8"?>\n{drawn}\n'


def _written(value: str | float) -> str:
    """An attribute; of a number two decimals, a hundredth of a phone's pixel."""
    if isinstance(value, str):
        return escape(value)
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")  # nothing is -0
