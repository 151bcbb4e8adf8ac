"""What stands on the sheet, as plain data: nothing is computed here and nothing is drawn."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tapwright.chemistry import reference
from tapwright.cli.pages import pieces as pages
from tapwright.cli.pages.plan.figures import time_of

if TYPE_CHECKING:
    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.plan.figures.records import Figures
    from tapwright.chemistry.plan.planner import Plan
    from tapwright.chemistry.plan.steps.clocks import Clock
    from tapwright.chemistry.plan.steps.step import Dose, Step

_SERVICES = {"substrate_clean": "substrate", "filter_service": "filter"}


@dataclass(frozen=True)
class Card:
    """A step as it is shown.

    when: planned time; large: figures to read at arm's length, each with what it is; cautions: those that stand with this
    step first; tote: the number of the tote it makes or pumps, 0 for none; repeated: whether paper shows it as a row of the
    totes after the first; vital: whether it is the one that is forgotten most dearly.  clock: that which it may start by
    hand.  done: what ticking says.
    """

    step: Step
    number: int
    when: str
    large: Sequence[tuple[str, str]]
    doses: Sequence[Dose]
    cautions: Sequence[str]
    tote: int
    repeated: bool
    vital: bool
    clock: Clock | None
    done: str


def cards(made: Plan, clocks: Sequence[Clock], start_minute: int | None) -> list[Card]:
    """Every step in order."""
    by_hand = {clock.starts: clock for clock in clocks if clock.kind != "wait" or clock.starts == clock.ends}
    said: set[str] = set()
    found = []
    for number, step in enumerate(made.steps, 1):
        new = [key for key in step.cautions if key not in said]
        said |= set(new)
        found.append(
            Card(
                step,
                number,
                time_of(step.start_minute, start_minute),
                _large(made.figures, step),
                step.doses,
                [reference.table("cautions")[key]["text"] for key in new],
                tote := step.tote or 0,
                tote > 1 and not (step.kind == "pump" and tote == made.figures.totes.count),
                step.vital,
                clock := by_hand.get(step.id),
                _done(step, clock),
            )
        )
    return found


def _done(step: Step, clock: Clock | None) -> str:
    """What a tick says of a step; one that leaves something running is done as that runs."""
    if step.hold:
        return "Done and confirmed"
    return "It runs" if clock is not None and clock.starts != clock.ends else "Done"


def _large(figures: Figures, step: Step) -> list[tuple[str, str]]:
    """The figures of a step that are read with wet hands, from afar."""
    from tapwright.chemistry.plan.steps.step import centimetres
    from tapwright.chemistry.plan.steps.totes import marks_in_tote
    from tapwright.chemistry.units import figure

    if step.doses:
        return [(f"{figure(dose.amount, 4)} {dose.unit}", dose.name) for dose in step.doses]
    low, full = centimetres(figures.low_level_m), centimetres(figures.tank.water_height_m)
    number = step.tote or 0
    if step.kind == "fill":
        blend = figures.heat.blends[number - 1]
        marks = marks_in_tote(figures, number)
        cold, hot = ("cold", "hot") if marks is None else (f"cold, up to {marks[0]}", f"then hot, up to {marks[1]}")
        drawn = f"{figures.heat.drawn_c[number - 1]:.1f} °C"
        return [(f"{blend.cold_l:.0f} L", cold), (f"{blend.hot_l:.0f} L", hot), (drawn, "on the thermometer")]
    if step.kind == "check":
        zero = [("0 mg/L", "total chlorine")]
        return [*zero, (f"{figures.heat.drawn_c[number - 1]:.1f} °C", "in the tote, give or take 1")]
    if step.kind in ("drain_start", "drain_end"):
        return [(low, "stop at this mark on the glass")]
    if step.kind == "fill_end" or (step.kind == "pump" and number == figures.totes.count):
        return [(full, "stop at this mark on the glass")]
    return []


def findings_shown(found: Sequence[Finding]) -> list[dict[str, str]]:
    """Findings with their level in words."""
    return [
        {"level": finding.level, "word": pages.WORDS[finding.level][0], "text": finding.text, "source": finding.source}
        for finding in found
    ]


def totes_shown(figures: Figures) -> list[dict[str, str]]:
    """Each tote in a row: cold, hot, the temperature to draw, and the marks where its height is known."""
    from tapwright.chemistry.plan.steps.totes import marks_in_tote

    found = []
    for number, (blend, drawn_c) in enumerate(zip(figures.heat.blends, figures.heat.drawn_c, strict=True), 1):
        cold_mark, hot_mark = marks_in_tote(figures, number) or ("", "")
        row = {"number": str(number), "cold": f"{blend.cold_l:.0f} L", "hot": f"{blend.hot_l:.0f} L"}
        wait = figures.hot_waits_min[number - 1]
        row |= {"drawn": f"{drawn_c:.1f} °C", "cold_mark": cold_mark, "hot_mark": hot_mark}
        found.append(row | {"wait": f"{math.ceil(wait)} min" if wait > 0 else ""})
    return found


def facts(made: Plan) -> list[tuple[str, str]]:
    """The change in a few lines."""
    from tapwright.chemistry.plan.steps.step import centimetres
    from tapwright.chemistry.units import figure
    from tapwright.cli.pages.plan.figures import total_minutes

    figures = made.figures
    drain, pump, count = figures.drain_minutes, figures.pump_minutes, figures.totes.count
    totes = f"{count} {'totes' if count > 1 else 'tote'} of {figures.totes.volume_l:.0f} L"
    low, full = centimetres(figures.low_level_m), centimetres(figures.tank.water_height_m)
    each = " a tote" if count > 1 else ""
    return [
        ("Change", f"{figure(100 * figures.change_share)} %, {figures.change_volume_l:.0f} L, in {totes}"),
        ("Marks on the glass", f"{full} and {low} above the tank's bottom"),
        ("Drain", f"{drain.predicted:.0f} minutes, {drain.early:.1f} at the earliest, {drain.late:.1f} at the latest"),
        (
            "Fill",
            f"{pump.predicted:.0f} minutes{each}, {pump.early:.1f} at the earliest, {pump.late:.1f} at the latest",
        ),
        ("In all", f"{total_minutes(made):.0f} minutes until everything is on again"),
    ]


def script_data(
    made: Plan, shown: Sequence[Card], clocks: Sequence[Clock], late: Mapping[str, Any] | None
) -> dict[str, Any]:
    """What the page's script must know; all of it is shown or counted with."""
    figures = made.figures
    return {
        "tank": figures.tank.name,
        "share": figures.change_share,
        "volume_l": figures.change_volume_l,
        "steps": [_step_data(card) for card in shown],
        "clocks": [_clock_data(clock) for clock in clocks],
        "late": late,
    }


def _step_data(card: Card) -> dict[str, Any]:
    """A step for the script; what is not said is not so."""
    said = {
        "hold": card.step.hold,
        "doses": [{"name": dose.name, "amount": dose.amount, "unit": dose.unit} for dose in card.doses],
        "service": _SERVICES.get(card.step.kind),
        "tote": card.tote,
        "vital": card.vital,
        "stop": card.step.kind == "resolve",
    }
    basic = {"id": card.step.id, "number": card.number, "name": card.step.name}
    return basic | {key: value for key, value in said.items() if value}


def _clock_data(clock: Clock) -> dict[str, Any]:
    """A clock for the script, minutes to a thousandth."""
    minutes = clock.minutes
    return {
        "id": clock.id,
        "name": clock.name,
        "kind": clock.kind,
        "starts": clock.starts,
        "ends": clock.ends,
        "early": round(minutes.early, 3),
        "predicted": round(minutes.predicted, 3),
        "late": round(minutes.late, 3),
        "alarms": [
            {"minute": round(alarm.minute, 3), "text": alarm.text, "last": alarm.last} for alarm in clock.alarms
        ],
        "stopped": clock.stopped,
    }
