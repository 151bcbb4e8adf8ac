"""The course of nitrate as an SVG picture with a text alternative, readable in black and white."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from tapwright.cli.charts.panel import DASHES, FOOT, panels
from tapwright.cli.charts.svg import LETTERS, element, file_of, legend, line
from tapwright.cli.files.kinds import CHART
from tapwright.cli.files.writing import write_new

if TYPE_CHECKING:
    from tapwright.chemistry.plan.figures.outlook import Range

Steps = Sequence[tuple[float, "Range", "Range"]]
_HIGH = 118.0


def written(path: Path, steps: Steps, ceiling_mg_l: float, name: str, *, force: bool) -> None:
    """Write the picture to a new file; BadInput where something stands already (forced: other than a picture)."""
    write_new(path, drawn(steps, ceiling_mg_l, name), CHART, force=force)


def drawn(steps: Steps, ceiling_mg_l: float, name: str) -> str:
    """Nitrate over the days ahead as SVG: the middle as a line, the 90 % range as a band, the ceiling dashed."""
    inside, height = course(steps, ceiling_mg_l, "nitrate, mg/L NO3", "days from now")
    return file_of("nitrate", said(steps, ceiling_mg_l, name), height, inside)


def course(steps: Steps, ceiling_mg_l: float, title: str, below: str, per_tick: float = 1.0) -> tuple[str, float]:
    """The course as what stands in a picture, and how high that is; per_tick: days in one unit of the scale across.

    A course that is known exactly, as one that was given, has no band.
    """
    places = [day / per_tick for day, _, _ in steps for _ in range(2)]
    ranges = [end for _, before, after in steps for end in (before, after)]
    edge = 0.01 * (places[-1] - places[0])
    highest = 1.15 * max(ceiling_mg_l, *(end.high for end in ranges))
    (panel,) = panels((places[0] - edge, places[-1] + edge), [(0.0, highest)], _HIGH)
    entries, band = [], ""
    if spread := any(end.low < end.high for end in ranges):
        lows, highs = ([(x, at) for x, at in zip(places, ends, strict=True)]
                       for ends in ([end.low for end in ranges], [end.high for end in ranges]))  # fmt: skip
        band = panel.band(lows, highs, "range")
        entries.append((element("rect", x=-8, y=-5, width=16, height=10, opacity=0.15), "90 % range"))
    middle = [(x, end.median) for x, end in zip(places, ranges, strict=True)]
    ceiling = [(panel.x.low, ceiling_mg_l), (panel.x.high, ceiling_mg_l)]
    entries.append((line([(-8, 0), (8, 0)], 1.5), "middle" if spread else "nitrate"))
    entries.append((line([(-8, 0), (8, 0)], stroke_dasharray=DASHES), "ceiling"))
    marks = band + panel.curve(middle, "middle") + panel.curve(ceiling, "ceiling", 1.0, stroke_dasharray=DASHES)
    foot = panel.y.start + FOOT
    return panel.frame(title, below) + marks + legend(entries, foot + LETTERS), foot + LETTERS + 6


def said(steps: Steps, ceiling_mg_l: float, name: str) -> str:
    """What the picture shows, in words."""
    first, last = steps[0], steps[-1]
    return (
        f"Nitrate of {name} over {last[0]:.0f} days: {first[1].median:.0f} mg/L NO3 now, {last[1].median:.0f} "
        f"({last[1].low:.0f} to {last[1].high:.0f}) before the last change shown; ceiling {ceiling_mg_l:.0f}."
    )
