"""The plan as a card to stick on the tote: what is in the way, doses, litres, marks, minutes, and boxes to tick."""

from __future__ import annotations

import re
from itertools import groupby
from textwrap import shorten
from typing import TYPE_CHECKING

from tapwright.cli.pages import pieces as pages
from tapwright.cli.pages.plan.clocks import minutes_row
from tapwright.cli.pages.plan.figures import time_of
from tapwright.cli.pages.plan.page import no_salts

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.change.hydraulics.pumping import Minutes
    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.plan.figures.records import Figures
    from tapwright.chemistry.plan.planner import Plan
    from tapwright.chemistry.plan.steps.step import Step

_CLAUSE_ENDS = re.compile(r"[.:;,](?= |$)")
_CUT = " ..."
# Steps that nobody may forget, and those of every tote; the plan's own steps say which there are, and in which order.
_TICKED = frozenset(
    ("resolve", "test_tap", "heater_off", "heater_cooled", "filter_off", "outflow_secured", "drain_end", "inflow_secured",
     "fill_end", "filter_on", "heater_on", "neutralise", "air")
)  # fmt: skip


def show_brief(screen: Console, made: Plan, start_minute: int | None) -> None:
    """Print the card; start_minute of the day turns elapsed times into clock times."""
    from tapwright.chemistry.units import figure

    figures = made.figures
    totes, many = figures.totes, figures.totes.count > 1
    pages.findings(screen, [finding for finding in made.findings if finding.level == "stop"])
    share = f"{figure(100 * figures.change_share)}%, {figures.change_volume_l:.0f} L"
    in_totes = f" in {totes.count} totes of {totes.volume_l:.0f} L" if many else " in one tote"
    pages.heading(screen, f"Card for '{figures.tank.name}': change {share}{in_totes}")
    _cautions(screen, [finding for finding in made.findings if finding.level == "caution"])
    screen.print()
    chlorine = figures.household.tap.total_chlorine_mg_l
    counted = f"at most {figure(chlorine)} mg/L of chlorine" if chlorine > 0 else "no chlorine"
    first = ", neutraliser first" if figures.neutraliser is not None else ""
    pages.heading(screen, f"Into {f'each of {totes.count} totes' if many else 'the tote'}{first} (tap: {counted})")
    _doses(screen, figures)
    _totes(screen, figures)
    _minutes(screen, made, start_minute)
    pages.heading(screen, "Tick, in this order")
    ticked = [step.name for step in made.steps if step.kind in _TICKED]
    pages.paragraph(screen, "   ".join(_box(name, screen.width) for name in ticked))


def _box(name: str, width: int) -> str:
    """A box to tick; no line ends within it but where it is wider than the page, which breaks at plain spaces only."""
    kept = "\N{NO-BREAK SPACE}"
    words = name.replace(" ", kept) if len(name) + 6 <= width else name
    return f"[{kept}]{kept}{words}"


def _cautions(screen: Console, found: list[Finding]) -> None:
    """A line for each, however long it is: the whole of it stands in the plan."""
    name = "Caution  "
    for finding in found:
        screen.print(f"{name}{in_a_line(finding.text, screen.width - len(name))}", soft_wrap=True)


def in_a_line(text: str, width: int) -> str:
    """As many whole clauses as fit, else words; dots where a sentence is cut."""
    ends = [match for match in _CLAUSE_ENDS.finditer(text) if match.end() <= width]
    whole = [match.end() for match in ends if match[0] == "."]
    if whole:
        return text[: whole[-1]]
    clauses = [match.start() for match in ends if match.start() + len(_CUT) <= width]
    return text[: clauses[-1]] + _CUT if clauses else shorten(text, width, placeholder=_CUT)


def _doses(screen: Console, figures: Figures) -> None:
    """What goes into one tote, the neutraliser where nobody overlooks it."""
    from tapwright.chemistry.plan.steps.totes import cups

    doses = [f"{amount} of {name}" for name, amount in cups(figures)]
    rows = []
    if figures.neutraliser is not None:
        rows.append((("NEUTRALISER", "bold"), doses.pop(0)))
    salts = doses or [no_salts(figures)]
    rows += [(("" if index else "Salts", ""), salt) for index, salt in enumerate(salts)]
    pages.hanging(screen, rows, gap=2)


def _totes(screen: Console, figures: Figures) -> None:
    """Litres, marks and temperature of every tote; those that are alike share a row."""
    head = ["", *(["wait"] if any(figures.hot_waits_min) else []), "cold", "hot"]
    if figures.household.tote.height_m is not None:
        head += ["cold up to", "then hot to"]
    numbers = range(1, figures.totes.count + 1)
    rows = [
        [_named([*alike], figures.totes.count), *cells]
        for cells, alike in groupby(numbers, key=lambda number: _cells(figures, number))
    ]
    pages.figures(screen, [*head, "thermometer"], rows)


def _cells(figures: Figures, number: int) -> list[str]:
    from tapwright.chemistry.plan.steps.totes import marks_in_tote

    blend = figures.heat.blends[number - 1]
    wait = [f"{figures.hot_waits_min[number - 1]:.0f} min"] if any(figures.hot_waits_min) else []
    litres = [f"{blend.cold_l:.0f} L", f"{blend.hot_l:.0f} L"]
    no_marks = () if figures.household.tote.height_m is None else ("-", "-")
    return [*wait, *litres, *(marks_in_tote(figures, number) or no_marks), f"{figures.heat.drawn_c[number - 1]:.1f} °C"]


def _named(numbers: list[int], count: int) -> str:
    if count == 1:
        return "Tote"
    return f"Tote {numbers[0]}" if len(numbers) == 1 else f"Totes {numbers[0]}-{numbers[-1]}"


def _minutes(screen: Console, made: Plan, start_minute: int | None) -> None:
    """The marks on the glass, and when the level is at them."""
    from tapwright.chemistry.plan.steps.step import centimetres, the

    figures, count = made.figures, made.figures.totes.count
    full, low = centimetres(figures.tank.water_height_m), centimetres(figures.low_level_m)
    drain = _row("Drain", the(made.steps, "drain_start"), figures.drain_minutes, low, start_minute)
    last = "Last fill" if count > 1 else "Fill"
    fill = _row(last, the(made.steps, "pump", count), figures.pump_minutes, full, start_minute)
    starts = "starts after" if start_minute is None else "starts at"
    head = ["Minutes", "early", "predicted", "late", "be at the tank", "glass mark", starts]
    pages.figures(screen, head, [drain, fill])


def _row(name: str, step: Step, minutes: Minutes, mark: str, start_minute: int | None) -> list[str]:
    """A flow that the step starts, with the mark it runs to."""
    from tapwright.chemistry.plan.steps.step import be_there_minute

    minute = be_there_minute(minutes.early)
    there = f"from min {minute}" if minute else "all along"
    return [*minutes_row(name, minutes), there, mark, time_of(step.start_minute, start_minute)]
