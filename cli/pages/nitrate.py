"""The `nitrate` command's page: the schedule first, then what it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from tapwright.cli.pages import pieces as pages
from tapwright.cli.visible import visible

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.plan.figures.outlook import Outlook, Range

_BAR = 40  # characters of the chart


def show_outlook(
    screen: Console, outlook: Outlook, found: Sequence[Finding], assumed: Sequence[str], chart: Path | None
) -> None:
    """Print the whole page."""
    pages.heading(screen, f"Nitrate of '{outlook.tank.name}', mg/L NO3")
    screen.print()
    pages.findings(screen, found)
    _in_short(screen, outlook)
    _ahead(screen, outlook)
    _table(screen, outlook)
    _alkalinity(screen, outlook)
    if chart is not None:
        screen.print(f"The course ahead is drawn in {visible(str(chart))}.", soft_wrap=True)
        screen.print()
    pages.assumptions(screen, assumed)


def _said(of: Range, digits: int = 2) -> str:
    from tapwright.chemistry.units import figure

    return f"{figure(of.median, digits)} ({figure(of.low, digits)} to {figure(of.high, digits)})"


def _in_short(screen: Console, outlook: Outlook) -> None:
    from tapwright.chemistry.units import figure, from_canonical

    kept, rate = outlook.regime, outlook.rate_mg_l_day
    ceiling = outlook.tank.nitrate_ceiling_mg_l
    as_n = [figure(from_canonical(value, "nitrate", "mg/L N"), 2) for value in (rate.median, kept.peak_mg_l, ceiling)]
    every = f"every {figure(kept.interval_days)} days"
    rise = outlook.rise_mg_l
    rows = [
        ("Change", f"{kept.share:.0%} {every} ({outlook.share_from}; interval {outlook.interval_from})"),
        (
            "Peak",
            f"at most {kept.peak_mg_l:.0f} at {outlook.confidence:.0%} confidence; the ceiling is {figure(ceiling)}",
        ),
        ("Chance", f"{kept.chance:.0%} to stay at or under the ceiling for good"),
        ("Settles", f"between {_said(outlook.trough_mg_l)} after and {_said(outlook.peak_mg_l)} before a change"),
        ("Within", _within(outlook)),
        ("This change", _coming(outlook)),
        ("Now", _said(outlook.tank_mg_l)),
        (
            "Made",
            f"{_said(rate)} a day, from {outlook.known.readings} readings; {figure(rise, 2)} from change to change",
        ),
        ("In the file", f'nitrate_rise = "{figure(rise, 2)} mg/L NO3" is what `plan` asks for'),
        ("As N", f"{as_n[0]} mg/L N a day; peak {as_n[1]}, ceiling {as_n[2]} mg/L N"),
    ]
    pages.heading(screen, "In short (90 % ranges in brackets)")
    pages.pairs(screen, rows)


def _coming(outlook: Outlook) -> str:
    """What a change of that share does now."""
    (_, before, after), (_, then, _) = outlook.steps[:2]
    return f"made now, it brings {before.median:.0f} to {_said(after)}, and {_said(then)} before the next"


def _within(outlook: Outlook) -> str:
    """How long until peak and trough are near what they settle at."""
    from tapwright.chemistry.units import figure

    changes = outlook.changes_to_settle
    if changes == 0:
        return "it is there already"
    return f"{changes} change{'s' if changes > 1 else ''}, {figure(changes * outlook.regime.interval_days)} days"


def _ahead(screen: Console, outlook: Outlook) -> None:
    """The changes ahead as a small chart: o the middle, = the range, | the ceiling."""
    ceiling = outlook.tank.nitrate_ceiling_mg_l
    top = max(ceiling, *(before.high for _, before, _ in outlook.steps)) * 1.05
    pages.heading(screen, f"Just before each change (0 to {top:.0f}; = range, o middle, | ceiling {ceiling:.0f})")
    for day, before, _ in outlook.steps:
        line = [" "] * (_BAR + 1)
        low, middle, high, limit = (
            round(_BAR * value / top) for value in (before.low, before.median, before.high, ceiling)
        )
        line[low : high + 1] = "=" * (high + 1 - low)
        line[limit] = "|"
        line[middle] = "o"
        when = "today" if day == 0 else f"day {day:.0f}"
        screen.print(
            f"  {when:>7}  [{''.join(line)}] {before.median:>4.0f} ({before.low:.0f} to {before.high:.0f})",
            soft_wrap=True,
        )
    screen.print()


def _table(screen: Console, outlook: Outlook) -> None:
    """Settled peaks by share and interval."""
    intervals = list(dict.fromkeys(cell.interval_days for cell in outlook.table))
    shares = list(dict.fromkeys(cell.share for cell in outlook.table))
    pages.heading(screen, f"Settled peak at {outlook.confidence:.0%} confidence (in brackets: over the ceiling)")
    cells = {(cell.share, cell.interval_days): cell for cell in outlook.table}
    rows = []
    for share in shares:
        row = [cells[share, interval] for interval in intervals]
        figures = [f" {cell.peak_mg_l:.0f} " if cell.holds else f"({cell.peak_mg_l:.0f})" for cell in row]
        rows.append([f"{share:.0%} every", *figures])
    pages.figures(screen, ["", *(f"{interval:.0f} d " for interval in intervals)], rows)


def _alkalinity(screen: Console, outlook: Outlook) -> None:
    """What the nitrate made takes of the alkalinity, and how to make up for it."""
    from tapwright.chemistry.units import figure
    from tapwright.chemistry.water.composition import dgh_per_mmol

    least, most = (loss * dgh_per_mmol() / 2 for loss in outlook.loss_meq_l_day)
    grams = outlook.bicarbonate_g
    pages.heading(screen, "What it does to alkalinity")
    pages.paragraph(
        screen,
        f"Making nitrate takes {figure(least, 2)} dKH a day where it comes from food, up to {figure(most, 2)} where it comes "
        f"from ammonia in the tap: one dKH in {figure(1 / most, 2)} to {figure(1 / least, 2)} days. Between two changes "
        f"{figure(grams[0], 2)} to {figure(grams[1], 2)} g of sodium bicarbonate make up for it in this tank. Test "
        "alkalinity before you add any: refill and rock bring some as well.",
    )
    screen.print()
