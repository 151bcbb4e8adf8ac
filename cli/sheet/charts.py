"""The three charts of the sheet: the tank's water, nitrate from change to change, and the filling. Black on white will do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tapwright.cli.pages.nitrate_chart import plot, plotting
from tapwright.cli.sheet.inline import inlined

if TYPE_CHECKING:
    from tapwright.chemistry.plan.courses import Moment
    from tapwright.chemistry.plan.figures.records import Figures
    from tapwright.cli.sheet.ahead import Ahead

_WIDTH_IN = 3.9  # at a phone's width a point is then a little more than a pixel
_LOOK: Any = {"font.size": 10.5, "axes.spines.top": False, "axes.spines.right": False, "font.family": "sans-serif"}


@dataclass(frozen=True)
class Chart:
    """A picture and what it shows in words."""

    svg: str
    caption: str


@dataclass(frozen=True)
class Row:
    """One quantity of the tank: now, afterwards, and the band it should lie in (None at an end that is open).

    least_span: what the line shows at least, so that a step too small to matter looks like one.
    """

    name: str
    unit: str
    now: float
    then: float
    low: float | None
    high: float | None
    decimals: int
    least_span: float


def water_rows(figures: Figures) -> list[Row]:
    """What the chart of the water shows."""
    from tapwright.chemistry.water.target import measures

    before, after, states = figures.waters.tank_before, figures.waters.tank_after, figures.states
    ph = (states.tank_before.at_rest.ph, states.tank_after.at_rest.ph)
    bands = dict(figures.target.bands())

    def ends(field: str) -> tuple[float | None, float | None]:
        band, scale = bands.get(field), measures()[field].scale
        if band is None:
            return None, None
        return band.low * scale, None if math.isinf(band.high) else band.high * scale

    ceiling = figures.tank.nitrate_ceiling_mg_l
    return [
        Row("Hardness", "dGH", before.hardness_dgh, after.hardness_dgh, *ends("hardness_mmol_l"), 1, 2),
        Row("Alkalinity", "dKH", before.alkalinity_dkh, after.alkalinity_dkh, *ends("alkalinity_meq_l"), 1, 2),
        Row("pH at rest", "", *ph, *ends("ph_aerated"), 1, 1),
        Row("Nitrate", "mg/L NO3", before.nitrate_mg_l, after.nitrate_mg_l, None, ceiling, 0, 20),
        Row("Temperature", "°C", before.temperature_c, after.temperature_c, None, None, 1, 4),
    ]


def water_chart(figures: Figures) -> Chart:
    """Now, afterwards and target, each quantity on a line of its own."""
    rows = water_rows(figures)
    drawing, panels = _panels(len(rows), 0.62 * len(rows) + 0.35)
    for row, axes in zip(rows, panels, strict=True):
        _line(axes, row)
    handles, labels = panels[-1].get_legend_handles_labels()
    drawing.legend(handles, labels, loc="outside lower center", ncols=3, frameon=False)
    caption = "; ".join(_told(row) for row in rows) + "."
    return Chart(inlined(drawing, "water", "The tank's water now, after the change, and its target"), caption)


def _told(row: Row) -> str:
    """A row in words."""
    target = ""
    if row.low is not None and row.high is not None:
        target = f" (target {row.low:.{row.decimals}f} to {row.high:.{row.decimals}f})"
    elif row.high is not None:
        target = f" (up to {row.high:.{row.decimals}f})"
    elif row.low is not None:
        target = f" (from {row.low:.{row.decimals}f})"
    now = f"{row.now:.{row.decimals}f} {row.unit}".rstrip()
    return f"{row.name} {now}, then {row.then:.{row.decimals}f}{target}"


def _line(axes: Any, row: Row) -> None:
    """One quantity: the target as a grey bar, now as a ring, afterwards as a full dot."""
    from matplotlib.ticker import MaxNLocator

    marks = [float(value) for value in (row.now, row.then, row.low, row.high) if value is not None]
    low, high = min(marks), max(marks)
    half = max(1.2 * (high - low), row.least_span) / 2
    left, right = (low + high) / 2 - half, (low + high) / 2 + half
    band = (left if row.low is None else row.low, right if row.high is None else row.high)
    targeted = row.low is not None or row.high is not None
    width = band[1] - band[0] if targeted else 0.0
    axes.barh([0], [width], left=band[0], height=1.2, color="black", alpha=0.2, linewidth=0, label="target")
    axes.plot([row.now], [0], "o", markersize=10, markerfacecolor="none", markeredgecolor="black", label="now")
    axes.plot([row.then], [0], "o", markersize=5, color="black", label="after")
    axes.set_xlim(left, right)
    axes.set_ylim(-1, 1)
    axes.set_yticks([])
    axes.xaxis.set_major_locator(MaxNLocator(4))
    axes.spines["left"].set_visible(False)
    axes.set_title(f"{row.name}{row.unit and f', {row.unit}'}", loc="left", fontsize=10.5, pad=2)


def nitrate_chart(course: Ahead, ceiling_mg_l: float) -> Chart:
    """Nitrate over the weeks ahead, or from change to change where nobody knows how many days lie between."""
    drawing, (axes,) = _panels(1, 2.3)
    plot(axes, course.steps, ceiling_mg_l, 7 if course.in_days else 1)
    axes.set_ylim(0, 1.15 * max(ceiling_mg_l, *(end.high for _, *ends in course.steps for end in ends)))
    axes.set_xlabel("weeks from now" if course.in_days else "changes from now")
    axes.set_ylabel("mg/L NO3")
    axes.legend(loc="lower right", ncols=3, frameon=False, fontsize=9)
    (_, now, after), (far, before_last, _) = course.steps[0], course.steps[-1]
    when = f"in {far / 7:.0f} weeks" if course.in_days else f"after {far:.0f} changes alike"
    spread = f" ({before_last.low:.0f} to {before_last.high:.0f})" if before_last.low < before_last.high else ""
    known = "by the log" if course.in_days else "by the rise that the household file gives"
    caption = (
        f"Nitrate, {known}: {now.median:.0f} mg/L NO3 now, {after.median:.0f} after this change; {when} "
        f"{before_last.median:.0f}{spread} before a change. Ceiling {ceiling_mg_l:.0f}."
    )
    return Chart(inlined(drawing, "nitrate", "Nitrate over the changes to come, and its ceiling"), caption)


def filling_chart(moments: Sequence[Moment], limit_mg_l: float) -> Chart:
    """The tank's temperature while it fills, and the chlorine a forgotten neutraliser would bring where the tap has any."""
    chlorinated = moments[-1].forgotten_mg_l > 0
    drawing, panels = _panels(1 + chlorinated, 1.7 + 1.5 * chlorinated, sharex=True)
    minutes = [moment.minute for moment in moments]
    _warmth(panels[0], minutes, [moment.temperature_c for moment in moments])
    if chlorinated:
        _chlorine(panels[1], minutes, [moment.forgotten_mg_l for moment in moments])
    panels[-1].set_xlabel("minutes of pumping")
    panels[-1].set_xlim(0, minutes[-1])
    what = "Temperature and chlorine in the tank" if chlorinated else "Temperature of the tank"
    return Chart(inlined(drawing, "filling", f"{what} while it fills"), _filled(moments, limit_mg_l))


def _warmth(axes: Any, minutes: Sequence[float], temperatures_c: Sequence[float]) -> None:
    middle = (min(temperatures_c) + max(temperatures_c)) / 2
    half = max(max(temperatures_c) - middle, 0.5) * 1.2
    axes.plot(minutes, temperatures_c, color="black", linewidth=1.5)
    axes.set_ylim(middle - half, middle + half)
    axes.set_ylabel("tank, °C")


def _chlorine(axes: Any, minutes: Sequence[float], forgotten_mg_l: Sequence[float]) -> None:
    axes.plot(minutes, forgotten_mg_l, color="black", linewidth=1.5, linestyle="--", label="forgotten")
    axes.plot(minutes, [0.0] * len(minutes), color="black", linewidth=2.5, label="neutralised")
    axes.set_ylim(0, 1.3 * max(forgotten_mg_l))
    axes.set_ylabel("chlorine, mg/L")
    axes.legend(loc="upper left", ncols=2, frameon=False)


def _filled(moments: Sequence[Moment], limit_mg_l: float) -> str:
    """The filling in words."""
    from tapwright.chemistry.units import figure

    first, last = moments[0], moments[-1]
    stays = abs(last.temperature_c - first.temperature_c) < 0.05
    warmth = (
        f"stays at {last.temperature_c:.1f} °C"
        if stays
        else f"goes from {first.temperature_c:.1f} to {last.temperature_c:.1f} °C"
    )
    reached, worst = figure(last.forgotten_mg_l, 2), ""
    if last.forgotten_mg_l > 0:
        worst = (
            f" Without neutraliser its chlorine would reach {reached} mg/L; the criterion for fresh water is "
            f"{limit_mg_l:g} over an hour."
        )
    clean = ", and no chlorine is in it" if worst else ""
    return f"In {last.minute:.0f} minutes of pumping the tank {warmth}{clean}.{worst}"


def _panels(rows: int, height_in: float, *, sharex: bool = False) -> tuple[Any, Any]:
    """A figure with panels one above the other, for the width of a phone."""
    matplotlib = plotting()
    from matplotlib.figure import Figure as Drawing

    with matplotlib.rc_context(_LOOK):
        drawing = Drawing(figsize=(_WIDTH_IN, height_in), layout="constrained")
        return drawing, drawing.subplots(rows, sharex=sharex, squeeze=False)[:, 0]
