"""How fast a tank makes nitrate, from readings with the changes between them, and how sure that is.

Between changes nitrate rises by a steady rate r; a change of share s brings it to (1 - s) N + s R, R being that of the
refill. So every reading is of N = R (1 - a) + a N0 + b r, with a and b known from days and shares alone: leave the changes
out, and the rate is underestimated by half or more.

What a test shows is k N: the bias k of a kind of test is unknown and the same in all its readings, and each reading is off
by its own error on top (logistic, tables/kits.csv). The eye that compares with a colour chart picks the nearest step: such
a reading is an interval. `rate_likelihood` weighs the possibilities.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapwright.chemistry import reference
from tapwright.chemistry.change.nitrate.rate_likelihood import Array, Test, cells
from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.words import quoted

_LEAST_WEIGHT = 1e-7  # of the highest


@dataclass(frozen=True)
class Reading:
    """Nitrate as read on a day: between low and high [mg/L NO3], which are one for a test that shows a figure.

    low may be minus infinity and high infinite for the ends of a chart.  test: a kind that tables/kits.csv knows.
    """

    day: float
    low_mg_l: float
    high_mg_l: float
    test: str


@dataclass(frozen=True)
class Change:
    """A share (0 to 1) of the water replaced on a day."""

    day: float
    share: float


@dataclass(frozen=True)
class Posterior:
    """Weighted possibilities: rate [mg/L NO3 a day] and nitrate of the tank now [mg/L NO3], with weights that sum to 1."""

    rate_mg_l_day: Array
    nitrate_mg_l: Array
    weights: Array
    readings: int

    def quantile(self, values: Array, shares: Sequence[float]) -> list[float]:
        """Quantiles of any figure computed from the possibilities."""
        order = np.argsort(values)
        cumulated = np.cumsum(self.weights[order])
        return [float(v) for v in np.interp(shares, cumulated - self.weights[order] / 2, values[order])]

    def chance(self, holds: NDArray[np.bool_]) -> float:
        """How likely something is."""
        return float(np.sum(self.weights[holds]))


def chart_reading(day: float, value: float, below: float | None, above: float | None, test: str) -> Reading:
    """A step of a colour chart: everything nearer to it than to its neighbours; None: it has none on that side."""
    low = -np.inf if below is None else (below + value) / 2
    high = np.inf if above is None else (value + above) / 2
    return Reading(day, low, high, test)


def production(events: Sequence[Reading | Change], refill_mg_l: float, now_day: float) -> Posterior:
    """The rate of a tank from what was read and changed, in the order it happened.

    refill_mg_l: nitrate of every refill [mg/L NO3].  now_day: the day for which the tank's nitrate is wanted.
    The rate is taken beforehand as log-normal about what stocked tanks make (tables/practice.csv), the bias of a test as
    log-normal about none. Raises BadInput for days that run backwards and shares outside 0 to 1, NoAnswer for fewer than
    two readings on different days.
    """
    _refuse(events, refill_mg_l, now_day)
    readings, shares_kept, days = _influence(events, now_day)
    if len(readings) < 2 or float(np.max(days[:-1])) <= 0:
        raise NoAnswer.of(
            "readings",
            f"{len(readings)} of nitrate since the start of the time looked at; a rate takes two, some days apart.",
            "Test again in a few days, or look further back, from an earlier day.",
        )
    # The most exact kind leads: its bias is the narrowest to sum over.
    kinds = sorted({reading.test for reading in readings}, key=lambda kind: (_kit(kind, "bias"), kind))
    tests = [_of_kind(kind, readings, shares_kept, days, refill_mg_l) for kind in kinds]
    found = cells(tests)
    log_k = np.log(found.k) / tests[0].bias
    total = found.log_weight - log_k**2 / 2
    weights = np.exp(total - np.max(total))
    rate, first = found.y_mg_l_day / found.k, found.x_mg_l / found.k
    now = refill_mg_l * (1 - shares_kept[-1]) + shares_kept[-1] * first + days[-1] * rate
    chosen = weights > _LEAST_WEIGHT
    kept = weights[chosen]
    return Posterior(rate[chosen], now[chosen], kept / np.sum(kept), len(readings))


def _refuse(events: Sequence[Reading | Change], refill_mg_l: float, now_day: float) -> None:
    if not 0 <= refill_mg_l < np.inf:
        raise BadInput.of("refill", f"{refill_mg_l} mg/L NO3.", "Give 0 mg/L or more.")
    days = [event.day for event in events] + [now_day]
    if not np.all(np.isfinite(days)):
        raise BadInput.of("events", "one of their days is no number.", "Give days.")
    if any(later < earlier for earlier, later in itertools.pairwise(days)):
        raise BadInput.of("events", "time runs backwards among them.", "Give them in the order they happened.")
    for event in events:
        if isinstance(event, Change) and not 0 < event.share <= 1:
            said = f"a share of {event.share:.0%} was changed; more than 0 % and up to 100 % is allowed."
            raise BadInput.of("share", said, "Correct the entry.")
        if isinstance(event, Reading):
            _refuse_reading(event)


def _refuse_reading(reading: Reading) -> None:
    if f"nitrate_{reading.test}_bias" not in reference.table("kits"):
        known = [key.split("_")[1] for key in reference.table("kits") if re.fullmatch(r"nitrate_\w+_bias", key)]
        raise BadInput.of(
            "test", f"{quoted(reading.test)} is no kind of test known here.", f"Write {', '.join(known)}."
        )
    low, high = reading.low_mg_l, reading.high_mg_l
    if not low <= high or (low == high and not np.isfinite(low)) or high < 0:
        raise BadInput.of(
            "reading", f"from {low} to {high} mg/L NO3.", "Give the lower end first, and figures of 0 or more."
        )


def _kit(kind: str, what: str) -> float:
    return reference.value("kits", f"nitrate_{kind}_{what}") / 100


def _influence(events: Sequence[Reading | Change], now_day: float) -> tuple[list[Reading], Array, Array]:
    """Readings, and for each, and for now, what is left of the water of the first (a) and how many days count (b)."""
    readings: list[Reading] = []
    kept, days = [], []
    a, b, last = 1.0, 0.0, 0.0
    for event in events:
        if readings:
            b += event.day - last
        last = event.day
        if isinstance(event, Reading):
            readings.append(event)
            kept.append(a)
            days.append(b)
        elif readings:
            a, b = a * (1 - event.share), b * (1 - event.share)
    return readings, np.array([*kept, a]), np.array([*days, b + now_day - last])


def _of_kind(kind: str, readings: Sequence[Reading], kept: Array, days: Array, refill_mg_l: float) -> Test:
    """The readings of one kind of test."""
    chosen = [at for at, reading in enumerate(readings) if reading.test == kind]
    low = np.array([readings[at].low_mg_l for at in chosen])
    high = np.array([readings[at].high_mg_l for at in chosen])
    # A figure of nothing says only that the test sees none.
    none = (low == high) & (high <= 0)
    low, high = np.where(none, -np.inf, low), np.where(none, reference.value("kits", "nitrate_floor"), high)
    return Test(kept[chosen], days[chosen], low, high, refill_mg_l, _kit(kind, "bias"), _kit(kind, "noise"))
