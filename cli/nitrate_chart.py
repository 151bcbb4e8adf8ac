"""The course of nitrate as an SVG picture with a text alternative, readable in black and white."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from cli.new_file import write_new

if TYPE_CHECKING:
    from chemistry.plan.outlook import Range

Steps = Sequence[tuple[float, "Range", "Range"]]


def written(path: Path, steps: Steps, ceiling_mg_l: float, name: str) -> None:
    """Write the picture to a new file; BadInput where something stands already or the folder takes no file."""
    write_new(path, drawn(steps, ceiling_mg_l, name))


def drawn(steps: Steps, ceiling_mg_l: float, name: str) -> str:
    """Nitrate over the days ahead as SVG: the middle as a line, the 90 % range as a band, the ceiling dashed."""
    import io

    import matplotlib
    from matplotlib.figure import Figure

    days = [day for day, _, _ in steps for _ in range(2)]
    ranges = [end for _, before, after in steps for end in (before, after)]
    # Letters stay letters: the file is small, and a screen reader finds them. The salt keeps the picture the same each time.
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "nitrate", "font.family": "sans-serif"}):
        figure = Figure(figsize=(7.2, 3.2), layout="constrained")
        axes = figure.add_subplot()
        axes.fill_between(days, [r.low for r in ranges], [r.high for r in ranges], color="0.85", label="90 % range")
        axes.plot(days, [r.median for r in ranges], color="black", linewidth=1.5, label="middle")
        axes.axhline(ceiling_mg_l, color="black", linestyle="--", linewidth=1, label="ceiling")
        axes.set_xlabel("days from now")
        axes.set_ylabel("nitrate, mg/L NO3")
        axes.set_ylim(bottom=0)
        axes.set_xlim(days[0], days[-1])
        axes.legend(loc="lower right", ncols=3, frameon=False)
        page = io.StringIO()
        figure.savefig(
            page, format="svg", metadata={"Date": None, "Creator": None, "Title": said(steps, ceiling_mg_l, name)}
        )
    return page.getvalue()


def said(steps: Steps, ceiling_mg_l: float, name: str) -> str:
    """What the picture shows, in words."""
    first, last = steps[0], steps[-1]
    return (
        f"Nitrate of {name} over {last[0]:.0f} days: {first[1].median:.0f} mg/L NO3 now, {last[1].median:.0f} "
        f"({last[1].low:.0f} to {last[1].high:.0f}) before the last change shown; ceiling {ceiling_mg_l:.0f}."
    )
