"""The clocks of a change: which step starts and which stops each, how long it runs, and when to be called."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from chemistry.change.pumping import Minutes
from chemistry.plan.figures import Figures
from chemistry.plan.sheet import Step, be_there_minute, minutes_of, tote_named
from chemistry.plan.tote_steps import contact_minutes

Kind = Literal["drain", "fill", "draw", "wait"]


@dataclass(frozen=True)
class Alarm:
    """A call, so many minutes after the clock began."""

    minute: float
    text: str


@dataclass(frozen=True)
class Clock:
    """Something that takes its time.

    kind: the tank drains or fills, a tote is drawn from the taps, or nothing but time passes.  starts, ends: ids of steps;
    alike where the clock runs during one step, else it starts as the first is done and stops as the last is.  minutes: its
    bounds are alike where nothing but time passes, and for a tote, whose taps have none.  alarms: earliest first.
    """

    id: str
    name: str
    kind: Kind
    starts: str
    ends: str
    minutes: Minutes
    alarms: tuple[Alarm, ...]


def clocks_of(figures: Figures, steps: Sequence[Step]) -> tuple[Clock, ...]:
    """Every clock of these steps, in the order they begin."""
    there = {step.id for step in steps}
    order = {step.id: place for place, step in enumerate(steps)}
    found = [clock for clock in _all(figures) if {clock.starts, clock.ends} <= there]
    return tuple(sorted(found, key=lambda clock: (order[clock.starts], order[clock.ends])))


def _all(figures: Figures) -> Iterator[Clock]:
    count = figures.totes.count
    yield _wait(
        "cooling", "Heaters cool", "heater_off", "heater_cooled", minutes_of("cooling_minutes"), "The heaters are cool"
    )
    yield _drain(figures)
    for number in range(1, count + 1):
        yield from _tote(figures, number, tote_named(number, count))
    rest = minutes_of("refill_rest_minutes")
    yield _wait("heaters_covered", "Heaters stand covered", "fill_end", "heater_on", rest, "Plug the heaters in")
    for key in ("first_look", "second_look", "third_look"):
        after = minutes_of(key)
        step = f"look_{after:.0f}"
        yield _wait(step, f"Look after {after:.0f} minutes", "fill_end", step, after, "Look at fish, filter and floor")


def _wait(id: str, name: str, starts: str, ends: str, minutes: float, text: str) -> Clock:
    """Nothing but time passes."""
    return Clock(id, name, "wait", starts, ends, Minutes(minutes, minutes, minutes), (Alarm(minutes, f"{text}."),))


def _drain(figures: Figures) -> Clock:
    siphon = figures.flows.siphon
    stop = "stop the siphon" if siphon else "unplug the pump"
    late = Alarm(figures.drain_minutes.predicted, f"About now the water is at the low mark: {stop}.")
    first = _be_there(figures.drain_minutes, "Go to the tank, it drains", "Stay at the tank, it drains")
    return Clock("drain", "Tank drains", "drain", "drain_start", "drain_end", figures.drain_minutes, (first, late))


def _tote(figures: Figures, number: int, tote: str) -> Iterator[Clock]:
    """Wait for hot water, draw, stir, let air bubble, pump."""
    step, last = f"tote_{number}", number == figures.totes.count
    wait, draw = figures.hot_waits_min[number - 1], figures.tap_minutes
    if wait > 0:
        yield _during(
            f"{step}_reheat", "Hot water comes back", wait, "The hot store is warm again: feel with a thermometer"
        )
    drawn = Minutes(draw, draw, draw)
    near = _be_there(drawn, f"Go to {tote}, it is nearly full", f"Stay at {tote}, it fills")
    full = Alarm(draw, f"About now {tote} is full: close the taps.")
    fill_id = f"{step}_fill"
    yield Clock(fill_id, f"{tote.capitalize()} is drawn", "draw", fill_id, fill_id, drawn, (near, full))
    if figures.neutraliser is not None:
        contact = contact_minutes(figures.neutraliser)
        yield _during(
            f"{step}_neutralise", f"Stir {tote}", contact, f"Stirred for long enough: test chlorine in {tote}"
        )
    yield _during(f"{step}_air", f"Air bubbles through {tote}", minutes_of("airing_minutes"), f"Test the pH of {tote}")
    pump_id = f"{step}_pump"
    if last:
        first = _be_there(figures.pump_minutes, "Go to the tank, it fills", "Stay at the tank, it fills")
        done = Alarm(figures.pump_minutes.predicted, "About now the water is at the full mark: unplug the pump.")
    else:
        first = _be_there(figures.pump_minutes, f"Go to {tote}, it runs empty", f"Stay at {tote}, it runs empty")
        done = Alarm(figures.pump_minutes.predicted, f"About now {tote} is empty: unplug the pump.")
    ends = "fill_end" if last else pump_id
    yield Clock(pump_id, f"Pump runs from {tote}", "fill", pump_id, ends, figures.pump_minutes, (first, done))


def _during(step: str, name: str, minutes: float, text: str) -> Clock:
    """Nothing but time passes, within one step."""
    return _wait(step, name, step, step, minutes, text)


def _be_there(minutes: Minutes, go: str, stay: str) -> Alarm:
    """The call that comes before the early bound; from the start where that is too near to walk away."""
    minute = be_there_minute(minutes.early)
    return Alarm(minute, f"{go if minute else stay}.")
