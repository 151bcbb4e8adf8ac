"""The three charts of the sheet: the tank's water, nitrate from change to change, and the filling. Black on white will do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tapwright.cli.charts.axis import Axis
from tapwright.cli.charts.panel import DASHES, FOOT, bare, panels
from tapwright.cli.charts.svg import LETTERS, WIDTH, element, legend, line, picture, words
from tapwright.cli.pages.nitrate_chart import course

if TYPE_CHECKING:
    from tapwright.chemistry.plan.courses import Moment
    from tapwright.chemistry.plan.figures.records import Figures
    from tapwright.cli.sheet.ahead import Ahead

_ROW, _MARKS, _LINE = (
    54.0,
    24.0,
    33.0,
)  # each quantity of the water: how high, and where in it its marks and its line lie
_EDGE = 14.0  # half of a tick's figure


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
    drawn = "".join(_line(row, _ROW * number) for number, row in enumerate(rows))
    entries = [(_target(-8, 8, 0), "target"), (_now(0, 0), "now"), (_after(0, 0), "after")]
    end = _ROW * len(rows) + LETTERS + 2
    title = "The tank's water now, after the change, and its target"
    return Chart(
        picture("water", title, end + 6, drawn, legend(entries, end)), "; ".join(_told(row) for row in rows) + "."
    )


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


def _line(row: Row, top: float) -> str:
    """One quantity: the target as a grey bar, now as a ring, afterwards as a full dot."""
    marks = [float(value) for value in (row.now, row.then, row.low, row.high) if value is not None]
    low, high = min(marks), max(marks)
    half = max(1.2 * (high - low), row.least_span) / 2
    axis = Axis((low + high) / 2 - half, (low + high) / 2 + half, _EDGE, WIDTH - _EDGE)
    bar = ""
    if row.low is not None or row.high is not None:
        left, right = axis.low if row.low is None else row.low, axis.high if row.high is None else row.high
        bar = _target(axis.place(left), axis.place(right), top + _MARKS)
    return element(
        "g",
        words(f"{row.name}{row.unit and f', {row.unit}'}", 0, top + LETTERS - 1),
        bare(axis, top + _LINE),
        bar,
        _now(axis.place(row.now), top + _MARKS),
        _after(axis.place(row.then), top + _MARKS),
        class_="panel",
    )


def _target(left: float, right: float, y: float) -> str:
    return element("rect", x=left, y=y - 7, width=right - left, height=14, opacity=0.2, class_="target")


def _now(x: float, y: float) -> str:
    return element("circle", cx=x, cy=y, r=6, fill="none", stroke="currentColor", class_="now")


def _after(x: float, y: float) -> str:
    return element("circle", cx=x, cy=y, r=3.2, class_="after")


def nitrate_chart(seen: Ahead, ceiling_mg_l: float) -> Chart:
    """Nitrate over the weeks ahead, or from change to change where nobody knows how many days lie between."""
    below, per_tick = ("weeks from now", 7) if seen.in_days else ("changes from now", 1)
    inside, height = course(seen.steps, ceiling_mg_l, "mg/L NO3", below, per_tick)
    (_, now, after), (far, before_last, _) = seen.steps[0], seen.steps[-1]
    when = f"in {far / 7:.0f} weeks" if seen.in_days else f"after {far:.0f} changes alike"
    spread = f" ({before_last.low:.0f} to {before_last.high:.0f})" if before_last.low < before_last.high else ""
    known = "by the log" if seen.in_days else "by the rise that the household file gives"
    caption = (
        f"Nitrate, {known}: {now.median:.0f} mg/L NO3 now, {after.median:.0f} after this change; {when} "
        f"{before_last.median:.0f}{spread} before a change. Ceiling {ceiling_mg_l:.0f}."
    )
    return Chart(picture("nitrate", "Nitrate over the changes to come, and its ceiling", height, inside), caption)


def filling_chart(moments: Sequence[Moment], limit_mg_l: float) -> Chart:
    """The tank's temperature while it fills, and the chlorine a forgotten neutraliser would bring where the tap has any."""
    worst_mg_l, minutes = max(moment.forgotten_mg_l for moment in moments), moments[-1].minute
    chlorinated = worst_mg_l > 0
    upward = [_warmth(moments), *([(0.0, 1.3 * worst_mg_l)] if chlorinated else [])]
    warmth, *chlorine = panels((0.0, minutes), upward, 88.0)
    below = "minutes of pumping"
    drawn = [
        warmth.frame("tank, °C", "" if chlorinated else below),
        warmth.curve([(moment.minute, moment.temperature_c) for moment in moments], "temperature"),
    ]
    end = warmth.y.start + FOOT
    for panel in chlorine:
        end = panel.y.start + FOOT + LETTERS
        drawn += [
            panel.frame("chlorine, mg/L", below),
            panel.curve([(m.minute, m.forgotten_mg_l) for m in moments], "forgotten", stroke_dasharray=DASHES),
            panel.curve([(0.0, 0.0), (minutes, 0.0)], "neutralised", 2.5),
            legend(_FORGOTTEN_OR_NOT, end),
        ]
    what = "Temperature and chlorine in the tank" if chlorinated else "Temperature of the tank"
    return Chart(picture("filling", f"{what} while it fills", end + 6, *drawn), _filled(moments, limit_mg_l))


_FORGOTTEN_OR_NOT = [
    (line([(-8, 0), (8, 0)], 1.5, stroke_dasharray=DASHES), "forgotten"),
    (line([(-8, 0), (8, 0)], 2.5), "neutralised"),
]


def _warmth(moments: Sequence[Moment]) -> tuple[float, float]:
    """The ends of the scale: a degree at least, so that a tenth looks like one."""
    low, high = (of(moment.temperature_c for moment in moments) for of in (min, max))
    half = max((high - low) / 2, 0.5) * 1.2
    return (low + high) / 2 - half, (low + high) / 2 + half


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
