"""Invented logs of nitrate: drawn from the posterior's own assumptions, or read without an error."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

from tapwright.chemistry import reference
from tapwright.chemistry.change.nitrate.production import Change, Posterior, Reading, chart_reading, production

Array = NDArray[np.float64]
Events = Sequence[Reading | Change]
STEPS = (0.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0)
USUAL, FACTOR = (reference.value("practice", f"nitrate_rate_{key}") for key in ("usual", "factor"))
RANGE = (0.05, 0.5, 0.95)


def kit(kind: str, what: str) -> float:
    return reference.value("kits", f"nitrate_{kind}_{what}") / 100


SCALE = np.sqrt(3) / np.pi  # of a logistic law whose standard deviation is 1


def seen(kind: str, shown: Array) -> Array:
    """On the scale on which every error of a test is alike: its slope is 1 / (floor + noise m)."""
    floor, noise = reference.value("kits", "nitrate_floor"), kit(kind, "noise")
    return np.log((floor + noise * np.maximum(shown, 0.0)) / floor) / noise


def unseen(kind: str, seen_as: float) -> float:
    """Back from there to mg/L."""
    floor, noise = reference.value("kits", "nitrate_floor"), kit(kind, "noise")
    return float(floor / noise * (np.exp(noise * seen_as) - 1))


def read_as(day: float, shown: float, kind: str) -> Reading:
    """A figure, or the nearest step of a chart."""
    if kind not in ("chart", "strip"):
        return Reading(day, shown, shown, kind)
    at = int(np.argmin(np.abs(np.array(STEPS) - shown)))
    below, above = (STEPS[at - 1] if at else None), (STEPS[at + 1] if at + 1 < len(STEPS) else None)
    return chart_reading(day, STEPS[at], below, above, kind)


def nitrate_through(events: Events, refill: float, now_day: float, start: Array, rate: Array) -> list[Array]:
    """Nitrate at every reading and now, lived through event by event from the first reading."""
    nitrate, last, at_readings = start + 0 * rate, None, []
    for event in [*events, Reading(now_day, 0, 0, "now")]:
        nitrate = nitrate + rate * (event.day - (event.day if last is None else last))
        last = event.day
        if isinstance(event, Reading):
            at_readings.append(nitrate)
        else:
            nitrate = nitrate - event.share * nitrate + event.share * refill
    return at_readings


def rates(found: Posterior) -> list[float]:
    return found.quantile(found.rate_mg_l_day, RANGE)


def nitrates(found: Posterior) -> list[float]:
    return found.quantile(found.nitrate_mg_l, RANGE)


@dataclass(frozen=True)
class Keeper:
    """What a keeper wrote down, and what was true."""

    events: Events
    refill_mg_l: float
    now_day: float
    rate_mg_l_day: float
    nitrate_mg_l: float


def keeper(rng: np.random.Generator, kinds: Sequence[str]) -> Keeper:
    """Drawn from what the posterior takes for granted: rate from the prior, one bias a kind, logistic errors."""
    rate, refill, start = USUAL * FACTOR ** rng.standard_normal(), rng.uniform(0, 30), rng.uniform(0, 100)
    bias = {kind: float(np.exp(kit(kind, "bias") * rng.standard_normal())) for kind in kinds}
    days = np.cumsum(rng.choice([1.0, 2.0, 3.0, 4.0, 5.0, 7.0, 9.0], rng.integers(3, 16)))
    events: list[Reading | Change] = []
    for day, following in itertools.zip_longest(days, days[1:]):
        events.append(Reading(day, 0, 0, str(rng.choice(kinds))))
        if rng.random() < 0.5:
            pause = 2.0 if following is None else following - day
            events.append(Change(day + rng.uniform(0, pause), rng.uniform(0.2, 0.5)))
    now_day = events[-1].day + rng.uniform(0, 5)
    *truth, now = map(float, nitrate_through(events, refill, now_day, np.array(start), np.array(rate)))
    true = iter(truth)
    return Keeper([_looked_at(event, next(true), bias, rng) if isinstance(event, Reading) else event for event in events],
                  refill, now_day, rate, now)  # fmt: skip


def _looked_at(planned: Reading, nitrate: float, bias: dict[str, float], rng: np.random.Generator) -> Reading:
    shown = float(seen(planned.test, np.array(bias[planned.test] * nitrate)))
    return read_as(planned.day, max(unseen(planned.test, shown + rng.logistic(0, SCALE)), 0.0), planned.test)


@dataclass(frozen=True)
class Logged:
    """Readings without an error, a change within the first gap, perhaps some in the others."""

    events: Events
    refill_mg_l: float
    rate_mg_l_day: float

    @property
    def last_day(self) -> float:
        return self.events[-1].day

    def found(self, events: Events | None = None, refill_mg_l: float | None = None) -> Posterior:
        return production(
            self.events if events is None else events,
            self.refill_mg_l if refill_mg_l is None else refill_mg_l,
            self.last_day,
        )


@st.composite
def logs(draw: st.DrawFn, kind: str = "laboratory") -> Logged:
    rate, start = draw(st.floats(1.5, 6)), draw(st.floats(10, 60))
    refill = draw(st.floats(0, 0.5)) * start
    gaps = draw(st.lists(st.integers(5, 12), min_size=3, max_size=6))
    planned: list[Reading | Change] = [Reading(0.0, 0, 0, kind)]
    for at, gap in enumerate(gaps):
        day = planned[-1].day
        share = draw(st.floats(0.2, 0.5)) if at == 0 else draw(st.sampled_from([0.0, 0.25, 0.5]))
        if share:
            planned.append(Change(day + gap * draw(st.sampled_from([0.0, 0.25, 0.5])), share))
        planned.append(Reading(day + gap, 0, 0, kind))
    truth = nitrate_through(planned, refill, planned[-1].day, np.array(start), np.array(rate))
    true = iter(map(float, truth))
    events = [read_as(event.day, next(true), kind) if isinstance(event, Reading) else event for event in planned]
    return Logged(events, refill, rate)
