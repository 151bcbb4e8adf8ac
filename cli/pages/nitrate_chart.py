"""The course of nitrate as an SVG picture with a text alternative, readable in black and white."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tapwright.cli.files.kinds import CHART
from tapwright.cli.files.writing import write_new

if TYPE_CHECKING:
    from tapwright.chemistry.plan.figures.outlook import Range

Steps = Sequence[tuple[float, "Range", "Range"]]


def written(path: Path, steps: Steps, ceiling_mg_l: float, name: str, *, force: bool) -> None:
    """Write the picture to a new file; BadInput where something stands already (forced: other than a picture)."""
    write_new(path, drawn(steps, ceiling_mg_l, name), CHART, force=force)


def plotting() -> Any:
    """The plotting library, which draws to a file of its own accord, whatever backend the environment names for it.

    It refuses to be imported where that is none it knows.
    """
    named = os.environ.pop("MPLBACKEND", None)
    try:
        import matplotlib
    finally:
        if named is not None:
            os.environ["MPLBACKEND"] = named
    return matplotlib


def drawn(steps: Steps, ceiling_mg_l: float, name: str) -> str:
    """Nitrate over the days ahead as SVG: the middle as a line, the 90 % range as a band, the ceiling dashed."""
    import io

    matplotlib = plotting()
    from matplotlib.figure import Figure

    # Letters stay letters: the file is small, and a screen reader finds them. The salt keeps the picture the same each time.
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "nitrate", "font.family": "sans-serif"}):
        figure = Figure(figsize=(7.2, 3.2), layout="constrained")
        axes = figure.add_subplot()
        plot(axes, steps, ceiling_mg_l)
        axes.set_xlabel("days from now")
        axes.set_ylabel("nitrate, mg/L NO3")
        axes.legend(loc="lower right", ncols=3, frameon=False)
        page = io.StringIO()
        figure.savefig(
            page, format="svg", metadata={"Date": None, "Creator": None, "Title": said(steps, ceiling_mg_l, name)}
        )
    return page.getvalue()


def plot(axes: Any, steps: Steps, ceiling_mg_l: float, per_tick: float = 1.0) -> None:
    """The course on axes of the plotting library; per_tick: days in one unit of the horizontal axis.

    A course that is known exactly, as one that was given, has no band.
    """
    places = [day / per_tick for day, _, _ in steps for _ in range(2)]
    ranges = [end for _, before, after in steps for end in (before, after)]
    spread = any(r.low < r.high for r in ranges)
    if spread:
        low, high = [r.low for r in ranges], [r.high for r in ranges]
        axes.fill_between(places, low, high, color="black", alpha=0.15, linewidth=0, label="90 % range")
    axes.plot(places, [r.median for r in ranges], color="black", linewidth=1.5, label="middle" if spread else "nitrate")
    axes.axhline(ceiling_mg_l, color="black", linestyle="--", linewidth=1, label="ceiling")
    axes.set_ylim(bottom=0)
    edge = 0.01 * (places[-1] - places[0])
    axes.set_xlim(places[0] - edge, places[-1] + edge)


def said(steps: Steps, ceiling_mg_l: float, name: str) -> str:
    """What the picture shows, in words."""
    first, last = steps[0], steps[-1]
    return (
        f"Nitrate of {name} over {last[0]:.0f} days: {first[1].median:.0f} mg/L NO3 now, {last[1].median:.0f} "
        f"({last[1].low:.0f} to {last[1].high:.0f}) before the last change shown; ceiling {ceiling_mg_l:.0f}."
    )
