"""How fast a tank makes nitrate, from readings with the changes between them, and how sure that is.

Between changes nitrate rises by a steady rate r; a change of share s brings it to (1 - s) N + s R, R being that of the
refill. So every reading is of N = R (1 - a) + a N0 + b r, with a and b known from days and shares alone: leave the changes
out, and the rate is underestimated by half or more.

What a test shows is k N: the bias k of a kind of test is unknown and the same in all its readings, and each reading is off
by its own error on top (logistic, tables/kits.csv). The eye that compares with a colour chart picks the nearest step: such
a reading is an interval. With X = k N0 and y = k r the readings say k R (1 - a) + a X + b y: they hold X and y tightly, and
k hardly at all, only by what the refill brings. The posterior is summed over a grid of X and y that closes in on where
it lies, and over k, in which it is so smooth that a polynomial through five points carries it.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chemistry import reference
from chemistry.errors import BadInput, NoAnswer

Array = NDArray[np.float64]

_GRID = 16  # points each way
_FINAL = 30
_ZOOMS = 8
_DEPTH = 15.0  # e^-15 of the highest likelihood is nothing
_FAR = 300.0  # scales off: as unlikely as need be, and its exponential still a number
_SPAN = 3.0  # standard deviations of a bias
_OTHER_NODES = 9
_RATE_RANGE = (0.01, 100.0)  # mg/L NO3 a day: outside it no tank lives


@dataclass(frozen=True)
class Reading:
    """Nitrate as read on a day: between low and high [mg/L NO3], which are one for a test that shows a figure.

    low may be minus infinity and high infinite for the ends of a chart.  test: a kind that tables/kits.csv knows.
    """

    day: float
    low_mg_l: float
    high_mg_l: float
    test: str

    @property
    def middle_mg_l(self) -> float:
        """A figure to begin with."""
        if np.isinf(self.high_mg_l):
            return self.low_mg_l
        return (max(self.low_mg_l, 0.0) + self.high_mg_l) / 2


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
    _refuse(events, now_day)
    readings, shares_kept, days = _influence(events, now_day)
    if len(readings) < 2 or float(np.max(days[:-1])) <= 0:
        raise NoAnswer.of(
            "readings",
            f"{len(readings)} of nitrate since the start of the time looked at; a rate takes two, some days apart.",
            "Test again in a few days, or look further back with --since.",
        )
    kinds = sorted({reading.test for reading in readings}, key=lambda kind: (-_count(readings, kind), kind))
    tests = [_Test(readings, shares_kept, days, kind, refill_mg_l) for kind in kinds]
    likelihood = _Likelihood(tests)
    x_mg_l, log_rate, logs = _closed_in(likelihood, readings)
    return _possibilities(x_mg_l, log_rate, logs, likelihood, shares_kept[-1], days[-1], refill_mg_l, len(readings))


def _refuse(events: Sequence[Reading | Change], now_day: float) -> None:
    days = [event.day for event in events] + [now_day]
    if any(later < earlier for earlier, later in itertools.pairwise(days)):
        raise BadInput.of("events", "time runs backwards among them.", "Give them in the order they happened.")
    for event in events:
        if isinstance(event, Change) and not 0 < event.share <= 1:
            said = f"a share of {event.share:.0%} was changed; more than 0 % and up to 100 % is allowed."
            raise BadInput.of("share", said, "Correct the entry.")


def _count(readings: Sequence[Reading], kind: str) -> int:
    return sum(reading.test == kind for reading in readings)


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


class _Test:
    """The readings of one kind of test: their errors, and what they are worth for rows of possible tanks."""

    def __init__(self, readings: Sequence[Reading], kept: Array, days: Array, kind: str, refill_mg_l: float) -> None:
        chosen = [at for at, reading in enumerate(readings) if reading.test == kind]
        self.kept, self.days, self.refill_mg_l = kept[chosen], days[chosen], refill_mg_l
        self.low = np.array([readings[at].low_mg_l for at in chosen])
        self.high = np.array([readings[at].high_mg_l for at in chosen])
        self.bias = reference.value("kits", f"nitrate_{kind}_bias") / 100
        self.noise = reference.value("kits", f"nitrate_{kind}_noise") / 100

    def log_likelihood(self, x: Array, y: Array, k: float | Array) -> Array:
        """Of k R (1 - a) + a x + b y as read; x, y and k as arrays of one shape."""
        total: Array = np.zeros(np.broadcast_shapes(np.shape(x), np.shape(y), np.shape(k)))
        floor = reference.value("kits", "nitrate_floor")
        for a, b, low, high in zip(self.kept, self.days, self.low, self.high, strict=True):
            shown = k * (self.refill_mg_l * (1 - a)) + a * x + b * y
            # The scale of a logistic error is its standard deviation times sqrt(3) / pi.
            scale = np.sqrt(floor**2 + (self.noise * shown) ** 2) * (np.sqrt(3) / np.pi)
            total += _logistic(shown, scale, low, high)
        return total


def _logistic(middle: Array, scale: Array, low: float, high: float) -> Array:
    """Logarithm of the chance of a logistic error between low and high, or of its density where they are one."""
    if low == high:
        z = np.abs(low - middle) / scale
        return np.asarray(-z - 2 * np.log1p(np.exp(-z)) - np.log(scale))
    # F(b) - F(a) = F(b) (1 - F(a)) (1 - exp(a - b)) for the logistic F: no difference of near figures is taken.
    below = 1 + np.exp(np.minimum((middle - high) / scale, _FAR)) if np.isfinite(high) else 1.0
    above = 1 + np.exp(np.minimum((low - middle) / scale, _FAR)) if np.isfinite(low) else 1.0
    width = -np.expm1((low - high) / scale) if np.isfinite(high) and np.isfinite(low) else 1.0
    return np.asarray(np.log(width / (below * above)))


class _Likelihood:
    """All tests together, in X and y of the first kind of test, at a few values of its bias."""

    def __init__(self, tests: Sequence[_Test]) -> None:
        self.main, self.others = tests[0], tests[1:]
        # Chebyshev's points: a polynomial through them does not swing.
        angles = (2 * np.arange(5) + 1) * np.pi / 10
        self.log_k: Array = np.cos(angles) / np.cos(angles[0]) * _SPAN * self.main.bias

    def __call__(self, x: Array, y: Array) -> Array:
        """Log-likelihood, the values of the bias in front."""
        k = np.exp(self.log_k)[:, None, None]
        total = self.main.log_likelihood(x, y, k)
        for test in self.others:
            z = np.linspace(-_SPAN, _SPAN, _OTHER_NODES)
            rows = [
                test.log_likelihood(x * (own / k), y * (own / k), own) - z_**2 / 2
                for z_, own in zip(z, np.exp(z * test.bias), strict=True)
            ]
            total = total + np.logaddexp.reduce(rows)
        return total


def _closed_in(likelihood: _Likelihood, readings: Sequence[Reading]) -> tuple[Array, Array, Array]:
    """X, ln y and the log-likelihood on the final grid, closed in on step by step."""
    most = 3 * max(reading.middle_mg_l for reading in readings) + 50
    box = [(0.0, most), tuple(np.log(_RATE_RANGE))]
    for _ in range(_ZOOMS):
        axes, logs = _on_grid(likelihood, box, _GRID)
        likely = np.max(logs, axis=0) >= np.max(logs) - _DEPTH
        closer = [_around(axis, np.any(likely, axis=1 - at)) for at, axis in enumerate(axes)]
        shrunk = [(high - low) / (old[1] - old[0]) for (low, high), old in zip(closer, box, strict=True)]
        box = [(max(low, 0.0), high) if at == 0 else (low, high) for at, (low, high) in enumerate(closer)]
        if min(shrunk) > 0.7:
            break
    (x, log_y), logs = _on_grid(likelihood, box, _FINAL)
    return x, log_y, logs


def _on_grid(likelihood: _Likelihood, box: Sequence[Any], points: int) -> tuple[list[Array], Array]:
    # In the middles of cells: the sum over them is the integral.
    axes = [low + (high - low) * (np.arange(points) + 0.5) / points for low, high in box]
    return axes, likelihood(axes[0][:, None], np.exp(axes[1])[None, :])


def _around(axis: Array, likely: NDArray[np.bool_]) -> tuple[float, float]:
    """The stretch of an axis that holds what is likely, and a cell more on either side."""
    at = np.flatnonzero(likely)
    step = axis[1] - axis[0]
    return float(axis[at[0]] - 1.5 * step), float(axis[at[-1]] + 1.5 * step)


def _possibilities(
    x: Array, log_y: Array, logs: Array, likelihood: _Likelihood, kept: float, days: float, refill: float, count: int
) -> Posterior:
    """Every cell at every bias with its posterior weight; what is next to impossible is left out."""
    bias = likelihood.main.bias
    log_k = np.linspace(-_SPAN, _SPAN, 41) * bias
    through = _lagrange(likelihood.log_k, log_k)
    logs = np.tensordot(through, logs, axes=1)
    usual = np.log(reference.value("practice", "nitrate_rate_usual"))
    factor = np.log(reference.value("practice", "nitrate_rate_factor"))
    k = log_k[:, None, None]
    log_rate = log_y[None, None, :] - k
    # Flat in N0 = X / k, so that dN0 = dX / k; the rate's own density is over its logarithm, as the grid is.
    prior = -((k / bias) ** 2) / 2 - ((log_rate - usual) / factor) ** 2 / 2 - k
    total = logs + prior
    weights = np.exp(total - np.max(total))
    rate = np.broadcast_to(np.exp(log_rate), weights.shape)
    now = refill * (1 - kept) + kept * x[None, :, None] * np.exp(-k) + days * rate
    chosen = weights > 1e-7
    weights = weights[chosen] / np.sum(weights[chosen])
    return Posterior(rate[chosen], now[chosen], weights, count)


def _lagrange(nodes: Array, points: Array) -> Array:
    """Matrix that turns values at the nodes into those of the polynomial through them at the points."""
    columns = []
    for at, node in enumerate(nodes):
        others = np.delete(nodes, at)
        columns.append(np.prod((points[:, None] - others) / (node - others), axis=1))
    return np.stack(columns, axis=1)
