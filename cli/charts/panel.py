"""A panel: curves over a scale across and a scale upward."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tapwright.cli.charts.axis import Axis
from tapwright.cli.charts.svg import LETTERS, WIDTH, element, line, path, wide, words

_TICK = 4.0
_RIGHT = WIDTH - 12  # half of a tick's figure stands beyond
_TITLE = LETTERS + 7
_ACROSS, _FEW = 10, 6  # ticks at most
FOOT = 34.0  # below a panel: the figures of its ticks and what they count
DASHES = "6 3"

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Panel:
    """Two scales."""

    x: Axis
    y: Axis

    def curve(self, points: Points, kind: str, width: float = 1.5, **has: str | float) -> str:
        """A line through points."""
        return line(self._places(points), width, class_=kind, **has)

    def band(self, lower: Points, upper: Points, kind: str) -> str:
        """Grey between two curves."""
        return path(self._places([*lower, *reversed(upper)]), class_=kind, opacity=0.15)

    def frame(self, title: str, below: str = "") -> str:
        """Both axes with their ticks; below: what is counted across, nothing where a panel below this one says it."""
        bottom, left = self.y.start, self.x.start
        return "".join(
            (
                words(title, 0, self.y.end - 8),
                line([(left, self.y.end), (left, bottom), (self.x.end, bottom)]),
                *(_tick(left, y, -_TICK, 0, "tick-y", said) for y, said in self.y.ticks(_FEW)),
                *(_tick(x, bottom, 0, _TICK, "tick-x", said if below else "") for x, said in self.x.ticks(_ACROSS)),
                words(below, (left + _RIGHT) / 2, bottom + FOOT - 4, text_anchor="middle") if below else "",
            )
        )

    def _places(self, points: Points) -> list[tuple[float, float]]:
        return [(self.x.place(x), self.y.place(y)) for x, y in points]


def panels(across: tuple[float, float], upward: Sequence[tuple[float, float]], high: float) -> list[Panel]:
    """Panels one above the other, over one scale across; upward: the ends of the scale of each; high: how high each is."""
    scales, top = [], 0.0
    for low, most in upward:
        scales.append(Axis(low, most, top + _TITLE + high, top + _TITLE))
        top += _TITLE + high + 10
    left = _TICK + 3 + max(wide(said) for scale in scales for _, said in scale.ticks(_FEW))
    return [Panel(Axis(*across, left, _RIGHT), scale) for scale in scales]


def bare(axis: Axis, y: float) -> str:
    """A scale across that stands by itself, with few ticks below its line at y."""
    ticks = (_tick(x, y, 0, _TICK, "tick-x", said) for x, said in axis.ticks(_FEW))
    return line([(axis.start, y), (axis.end, y)]) + "".join(ticks)


def _tick(x: float, y: float, right: float, down: float, kind: str, said: str) -> str:
    at = (x, y + down + LETTERS) if down else (x + right - 3, y + 0.35 * LETTERS)
    figure = words(said, *at, text_anchor="middle" if down else "end") if said else ""
    return element("g", line([(x, y), (x + right, y + down)]), figure, class_=kind)
