"""The `sheet` command: a plan in, one page for the phone and for paper out."""

from __future__ import annotations

import math
import shlex
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tapwright.chemistry.record import plain
from tapwright.cli.answer import Answer
from tapwright.cli.files.kinds import PAGE
from tapwright.cli.files.writing import STDOUT, refuse_place, write_new
from tapwright.cli.options.of_evening import SheetOptions
from tapwright.cli.pages.plan.figures import cautions_of
from tapwright.cli.visible import visible

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.plan.late.dose import Case
    from tapwright.chemistry.plan.planner import Plan
    from tapwright.cli.commands.plan import Planned
    from tapwright.cli.sheet.charts import Chart
    from tapwright.cli.sheet.content import Card

# Letters on paper, in steps and findings, beyond which two sheets take smaller print.
_SIZES = ((6900, ""), (8300, "close"), (math.inf, "dense"))
_LONG_TABLE = 8  # totes beyond which paper shows them in two columns


def answer(options: SheetOptions) -> Answer:
    """Plan, write the page, and say where it is."""
    from tapwright.cli.commands.plan import planned
    from tapwright.cli.sheet.ahead import unread

    output, force = options.output, options.force
    refuse_place(output, PAGE, force=force)  # before two seconds of planning
    found = planned(options)
    made = found.made
    unknown = unread(options.file, made.figures.tank.name)
    page = page_of(found, options.file, unknown)
    write_new(output, page, PAGE, force=force)

    def show(screen: Console) -> None:
        from tapwright.cli.pages import pieces as pages

        if output == STDOUT:
            return
        pages.findings(screen, [*(finding for finding in made.findings if finding.level == "stop"), *unknown])
        screen.print(f"{visible(str(output))} is written: {len(made.steps)} steps.", soft_wrap=True)
        screen.print("Open it on the phone you take to the tank, or print it. It needs no network.", soft_wrap=True)

    result = {
        "file": str(output),
        "tank": made.figures.tank.name,
        "steps": len(made.steps),
        "bytes": len(page.encode()),
    }
    return Answer("sheet", result, show, (*made.findings, *unknown), made.assumptions, f"{output} is written.")


def page_of(found: Planned, file: Path, more: Sequence[Finding] = ()) -> str:
    """The whole page of a plan; more: what is to be said beside its findings."""
    from tapwright.chemistry.plan.late.from_plan import late_cases
    from tapwright.chemistry.plan.steps.clocks import clocks_of
    from tapwright.chemistry.plan.steps.totes import cups
    from tapwright.cli.pages.plan.page import LAST_WORD
    from tapwright.cli.sheet.content import cards, facts, findings_shown, script_data, totes_shown
    from tapwright.cli.sheet.document import rendered
    from tapwright.cli.sheet.forgotten import box

    made, figures = found.made, found.made.figures
    name = visible(file.name)
    clocks = clocks_of(figures, made.steps)
    shown = cards(made, clocks, found.start_minute)
    totes = totes_shown(figures)
    cases = late_cases(figures)
    late = box(cases) if cases else None
    data = script_data(made, shown, clocks, None if late is None else late.data)
    return rendered(
        {
            "tank": figures.tank.name,
            "day": str(found.day),
            "file": name,
            "quoted_file": shlex.quote(name),
            "density": next(size for most, size in _SIZES if _letters(made, shown) <= most),
            "findings": findings_shown([*made.findings, *more]),
            "cups": cups(figures),
            "neutralised": figures.neutraliser is not None,
            "totes": totes,
            "facts": facts(made),
            "timed": found.start_minute is not None,
            "cards": shown,
            "again": _again(shown, totes),
            "late": late,
            "charts": _charts(made, cases[0] if cases else None, file),
            "assumptions": [*made.assumptions, *(late.assumptions if late else ())],
            "sources": cautions_of(made),
            "last_word": LAST_WORD,
            "data": plain(data) | {"day": str(found.day)},
        }
    )


def _letters(made: Plan, shown: Sequence[Card]) -> int:
    """How much there is to print, in letters: each tote after the first is a row of a table there."""
    steps = sum(len(card.step.text) + sum(map(len, card.cautions)) + 30 for card in shown if not card.repeated)
    return steps + sum(len(finding.text) for finding in made.findings) + 40 * made.figures.totes.count


def _again(shown: Sequence[Card], totes: Sequence[Mapping[str, str]]) -> dict[str, Any] | None:
    """What paper shows of the totes after the first: a box for each of their steps; None where there is one tote."""
    count = len(totes)
    if count < 2:
        return None
    words = {
        "reheat": "hot again",
        "fill": "filled",
        "neutralise": "NEUTRALISER",
        "salts": "salts",
        "air": "aired",
        "check": "checked",
        "pump": "in tank",
    }
    there = {card.step.kind for card in shown if card.tote > 1}
    title = "Tote 2: like tote 1." if count == 2 else f"Totes 2 to {count}: each like tote 1, one after another."
    rest = totes[1:]
    half = len(rest) if len(rest) <= _LONG_TABLE else -(-len(rest) // 2)
    halves = [rest[:half], *([rest[half:]] if rest[half:] else [])]
    return {"title": title, "halves": halves, "boxes": [word for key, word in words.items() if key in there]}


def _charts(made: Plan, late: Case | None, file: Path) -> list[Chart]:
    """Every chart there is something to show in."""
    from markupsafe import Markup

    from tapwright.chemistry import reference
    from tapwright.chemistry.plan.courses import filling_course
    from tapwright.cli.sheet.ahead import ahead
    from tapwright.cli.sheet.charts import Chart, filling_chart, nitrate_chart, water_chart

    figures = made.figures
    course = ahead(made, file, time.time())
    drawn = [
        water_chart(figures),
        *([] if course is None else [nitrate_chart(course, figures.tank.nitrate_ceiling_mg_l)]),
        filling_chart(filling_course(figures, late), reference.value("limits", "chlorine_acute")),
    ]
    return [Chart(Markup(chart.svg), chart.caption) for chart in drawn]
