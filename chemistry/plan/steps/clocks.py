"""The clocks of a change: which step starts and which stops each, how long it runs, and when to be called."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from tapwright.chemistry.change.hydraulics.pumping import Minutes
from tapwright.chemistry.plan.figures.records import Figures
from tapwright.chemistry.plan.steps.step import Step, be_there_minute, centimetres, minutes_of, tote_named
from tapwright.chemistry.plan.steps.totes import contact_minutes

Kind = Literal["drain", "fill", "draw", "wait"]
_UNPLUGGED = "The pump is unplugged"


@dataclass(frozen=True)
class Alarm:
    """A call, so many minutes after the clock began; last: only what ends the flow may answer it."""

    minute: float
    text: str
    last: bool = False


@dataclass(frozen=True)
class Clock:
    """Something that takes its time.

    kind: the tank drains or fills, a tote is drawn from the taps, or nothing but time passes.  starts, ends: ids of steps;
    alike where the clock runs during one step, else it starts as the first is done and stops as the last is.  minutes: its
    bounds are alike where nothing but time passes, and for a tote, whose taps have none.  alarms: earliest first.  stopped:
    what is so once a flow has ended; empty where nothing flows.
    """

    id: str
    name: str
    kind: Kind
    starts: str
    ends: str
    minutes: Minutes
    alarms: tuple[Alarm, ...]
    stopped: str = ""


def clocks_of(figures: Figures, steps: Sequence[Step]) -> tuple[Clock, ...]:
    """Every clock of these steps, in the order they begin."""
    there = {step.id for step in steps}
    order = {step.id: place for place, step in enumerate(steps)}
    found = [clock for clock in _all(figures) if {clock.starts, clock.ends} <= there]
    return tuple(sorted(found, key=lambda clock: (order[clock.starts], order[clock.ends])))


def _all(figures: Figures) -> Iterator[Clock]:
    count = figures.totes.count
    cooling = minutes_of("cooling_minutes")
    yield _wait("cooling", "Heaters cool", "heater_off", "heater_cooled", cooling, "The heaters are cool")
    yield _drain(figures)
    for number in range(1, count + 1):
        yield from _tote(figures, number, tote_named(number, count))
    rest = minutes_of("refill_rest_minutes")
    plug_in = "Plug the heaters in, if the water covers them"
    yield _wait("heaters_covered", "Heaters stand covered", "fill_end", "heater_on", rest, plug_in)
    for key in ("first_look", "second_look", "third_look"):
        after = minutes_of(key)
        step = f"look_{after:.0f}"
        yield _wait(step, f"Look after {after:.0f} minutes", "fill_end", step, after, "Look at fish, filter and floor")


def _wait(id: str, name: str, starts: str, ends: str, minutes: float, text: str) -> Clock:
    """Nothing but time passes."""
    return Clock(id, name, "wait", starts, ends, Minutes(minutes, minutes, minutes), (Alarm(minutes, f"{text}."),))


def _during(step: str, name: str, minutes: float, text: str) -> Clock:
    """Nothing but time passes, within one step."""
    return _wait(step, name, step, step, minutes, text)


def _tote(figures: Figures, number: int, tote: str) -> Iterator[Clock]:
    """Wait for hot water, draw, stir, let air bubble, pump."""
    step = f"tote_{number}"
    if (wait := figures.hot_waits_min[number - 1]) > 0:
        yield _during(f"{step}_reheat", f"Hot water for {tote}", wait, f"The hot store is warm enough for {tote}")
    yield _draw(f"{step}_fill", tote, figures.tap_minutes)
    if figures.neutraliser is not None:
        contact = contact_minutes(figures.neutraliser)
        yield _during(
            f"{step}_neutralise", f"Stir {tote}", contact, f"Stirred for long enough: test chlorine in {tote}"
        )
    yield _during(f"{step}_air", f"Air bubbles through {tote}", minutes_of("airing_minutes"), f"Test the pH of {tote}")
    yield _pump(figures, f"{step}_pump", tote, last=number == figures.totes.count)


def _draw(step: str, tote: str, minutes: float) -> Clock:
    """A tote fills from the taps, whose flow has no bounds."""
    takes = Minutes(minutes, minutes, minutes)
    full = Alarm(minutes, f"Close the taps: {tote} is full by now.", last=True)
    go = _be_there(takes, tote, "it is full")
    return Clock(step, f"{tote.capitalize()} is drawn", "draw", step, step, takes, (go, full), "The taps are closed")


def _drain(figures: Figures) -> Clock:
    minutes, siphon = figures.drain_minutes, figures.flows.siphon
    at_mark = f"at the {centimetres(figures.low_level_m)} mark"
    stop = "Stop the siphon" if siphon else "Unplug the pump"
    alarms = (
        _be_there(minutes, "the tank", f"the water is {at_mark}"),
        Alarm(minutes.early, f"From now on the water can be {at_mark}: watch it."),
        Alarm(minutes.late, f"{stop}: the water is {at_mark} by now.", last=True),
    )
    stopped = "The siphon is stopped" if siphon else _UNPLUGGED
    return Clock("drain", "Tank drains", "drain", "drain_start", "drain_end", minutes, alarms, stopped)


def _pump(figures: Figures, step: str, tote: str, *, last: bool) -> Clock:
    """A tote is pumped into the tank: until it is empty, or with the last one until the tank is full."""
    minutes, name = figures.pump_minutes, f"Pump runs from {tote}"
    if not last:
        alarms = (
            _be_there(minutes, tote, "it is empty"),
            Alarm(minutes.early, f"From now on {tote} can run dry: watch it."),
            Alarm(minutes.late, f"Unplug the pump: {tote} is empty by now.", last=True),
        )
        return Clock(step, name, "fill", step, step, minutes, alarms, _UNPLUGGED)
    at_mark = f"at the {centimetres(figures.tank.water_height_m)} mark"
    over = figures.flows.mark("overflow")
    runs_over = minutes.late if over is None else max(over.minutes.early, minutes.predicted)
    alarms = (
        _be_there(minutes, "the tank", f"the water is {at_mark}"),
        Alarm(minutes.early, f"From now on the water can be {at_mark}: watch it."),
        Alarm(
            min(minutes.late, runs_over), f"Unplug the pump now: the water is {at_mark}, or soon runs over.", last=True
        ),
    )
    return Clock(step, name, "fill", step, "fill_end", minutes, alarms, _UNPLUGGED)


def _be_there(minutes: Minutes, place: str, what: str) -> Alarm:
    """The call that comes before the early bound: half way to it where that is too near to walk away."""
    away = be_there_minute(minutes.early)
    minute = float(away or minutes.early / 2)
    first, last = math.floor(minutes.early - minute), math.ceil(minutes.late - minute)
    when = f"{first} to {last} minutes" if first < last else f"{last} minutes"
    return Alarm(minute, f"Be at {place}: {what} in {when}.")
