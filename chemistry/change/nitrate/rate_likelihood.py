"""What readings of nitrate say of a tank: their errors, and where in the plane of first nitrate and rate they leave it.

Every reading shows k N, off by its own error (logistic, on a scale that is absolute near nothing and in proportion
beyond), with N = R (1 - a) + a N0 + b r; k is the bias of its kind of test. With X = k N0 and y = k r that is
k R (1 - a) + a X + b y. The sum over the plane runs on a small grid for each bias of one kind: along y in equal steps of its
logarithm, and along X sheared by y, since the readings hold a weighted mean of both far more tightly than either. A
least-squares fit says where the grid begins; it then closes in on where the likelihood is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapwright.chemistry import reference

Array = NDArray[np.float64]

_SPAN = 2.8  # standard deviations of a bias
_BIASES = 15  # points over them: 0.4 apart, where a sum over a bell needs less than 2
# Points along X and y while closing in, and at last; many readings make it a bell, for which fewer do as well.
_FINE, _COARSE, _MANY = ((12, 12), (26, 40)), ((8, 8), (16, 24)), 40
_ROUNDS = 10
_SHIFTS = (0.7548776662466927, 0.5698402909980532)  # 1 / p and 1 / p^2 for p^3 = p + 1: they fill a square most evenly
_DEPTH, _FINAL_DEPTH = 15.0, 12.0  # e^-15 of the highest is nothing, e^-12 nothing that moves a quantile
_FAR = 300.0  # scales off: as unlikely as need be, and its exponential still a number
RATES_MG_L_DAY = (0.004, 200.0)  # outside it no tank lives
_WIDE = 7.0  # standard deviations of the fit that the search begins with
_LEAST_SHARE = 0.45  # of the box that is likely: then it is close enough


@dataclass(frozen=True)
class Test:
    """The readings of one kind of test: what is left of the first water (a), days that count (b), ends of each reading."""

    kept: Array
    days: Array
    low: Array
    high: Array
    refill_mg_l: float
    bias: float
    noise: float

    def log_likelihood(self, x: Array, y: Array, k: Array) -> Array:
        """Of k R (1 - a) + a x + b y as read; x, y and k as arrays that broadcast."""
        total: Array = np.zeros(np.broadcast_shapes(np.shape(x), np.shape(y), np.shape(k)))
        for a, b, low, high in zip(self.kept, self.days, *map(self.seen, (self.low, self.high)), strict=True):
            shown = a * x + b * y + k * (self.refill_mg_l * (1 - a))
            total += _logistic(self.seen(shown), low, high)
        return total

    def seen(self, shown_mg_l: Array) -> Array:
        """A figure on the scale on which every error is alike: ln(1 + noise m / floor) / noise, in scales of a logistic error.

        An error has the standard deviation floor + noise m there and then: absolute near nothing, in proportion beyond.
        Below 0 and at no end there is nothing to tell apart.
        """
        floor = reference.value("kits", "nitrate_floor")
        found = np.log1p(np.maximum(shown_mg_l, 0.0) * (self.noise / floor)) * (np.pi / np.sqrt(3) / self.noise)
        return np.asarray(found)

    def middles(self) -> tuple[Array, Array]:
        """Figures to begin with, and how far each may be off; an open end is given a width of its own."""
        low = np.where(np.isfinite(self.low), self.low, 0.0)
        high = np.where(np.isfinite(self.high), self.high, 1.6 * low + 10.0)
        middle = (low + high) / 2
        floor = reference.value("kits", "nitrate_floor")
        return middle, np.hypot(floor + self.noise * middle, (high - low) / np.sqrt(12))


def _logistic(middle: Array, low: float, high: float) -> Array:
    """Logarithm of the chance of a logistic error of scale 1 between low and high, or of its density where they are one.

    A low of 0 is no end: nothing is read below it.
    """
    if low == high:
        z = np.abs(low - middle)
        return np.asarray(-z - 2 * np.log1p(np.exp(-z)))
    # F(b) - F(a) = F(b) (1 - F(a)) (1 - exp(a - b)) for the logistic F: no difference of near figures is taken.
    chance: Any = 1.0
    if np.isfinite(high):
        chance = 1 + np.exp(np.minimum(middle - high, _FAR))
    if low > 0:
        chance = chance * (1 + np.exp(np.minimum(low - middle, _FAR)))
    if np.isfinite(high) and low > 0:
        chance = chance * (-1 / np.expm1(low - high))
    return np.asarray(-np.log(chance) + 0.0 * middle if np.ndim(chance) == 0 else -np.log(chance))


@dataclass(frozen=True)
class Cells:
    """Every possibility: X, y and k, with the logarithm of its weight but for the prior of the bias; arrays of one shape."""

    x_mg_l: Array
    y_mg_l_day: Array
    k: Array
    log_weight: Array


@dataclass(frozen=True)
class _Box:
    """A stretch of sheared X and of ln y for every bias, and the shear: X = x - slope (y - centre)."""

    x: tuple[Array, Array]
    log_y: tuple[Array, Array]
    slope: float
    centre: Array


def cells(tests: Sequence[Test]) -> Cells:
    """The posterior over grids that have closed in on where it lies; tests: the most exact kind first.

    The weight holds the likelihood, the prior of the rate (log-normal about what stocked tanks make, tables/practice.csv) and
    that of the first nitrate (flat from 0 on).
    """
    k = np.exp(np.linspace(-_SPAN, _SPAN, _BIASES) * tests[0].bias)
    search, final = _FINE if sum(len(test.kept) for test in tests) < _MANY else _COARSE
    box = _first_box(tests, k)
    for _ in range(_ROUNDS):
        *_, logs = _on_grid(tests, k, box, search)
        box, near = _closer(box, logs, _DEPTH)
        if near:
            break
    *_, logs = _on_grid(tests, k, box, search)
    box, _ = _closer(box, logs, _FINAL_DEPTH)
    x, y, logs = _on_grid(tests, k, box, final)
    # In the middles of cells the sum over them is the integral; cells of one bias may be larger than those of another.
    size = np.log((box.x[1] - box.x[0]) * (box.log_y[1] - box.log_y[0]))
    return Cells(x, y, np.broadcast_to(k[:, None, None], logs.shape), logs + size[:, None, None])


def _on_grid(tests: Sequence[Test], k: Array, box: _Box, points: tuple[int, int]) -> tuple[Array, Array, Array]:
    """X, y and the logarithm of the weight on a grid for every bias (in front)."""
    u = (np.arange(points[0]) + 0.5) / points[0]
    # Every row is shifted along y by another part of a cell: no two possibilities share a rate, and quantiles run smoothly.
    shift = np.modf(np.arange(points[0]) * _SHIFTS[0] + (np.arange(len(k)) * _SHIFTS[1])[:, None])[0]
    v = (np.arange(points[1]) + shift[:, :, None]) / points[1]
    y = np.exp(box.log_y[0][:, None, None] + v * (box.log_y[1] - box.log_y[0])[:, None, None])
    x = box.x[0][:, None, None] + u[None, :, None] * (box.x[1] - box.x[0])[:, None, None]
    x = x - box.slope * (y - box.centre[:, None, None])
    bias = k[:, None, None]
    usual = np.log(reference.value("practice", "nitrate_rate_usual"))
    factor = np.log(reference.value("practice", "nitrate_rate_factor"))
    # dN0 = dX / k; the rate's own density is over its logarithm, as the grid is.
    logs = -(((np.log(y / bias) - usual) / factor) ** 2) / 2 - np.log(bias)
    logs = logs + tests[0].log_likelihood(x, y, bias)
    for test in tests[1:]:
        z = np.linspace(-_SPAN, _SPAN, _BIASES)
        own = np.exp(z * test.bias)
        rows = [
            test.log_likelihood(x * (o / bias), y * (o / bias), o) - at**2 / 2 for at, o in zip(z, own, strict=True)
        ]
        logs = logs + np.logaddexp.reduce(rows)
    return x, y, np.where(x >= 0, logs, -np.inf)


def _first_box(tests: Sequence[Test], k: Array) -> _Box:
    """Where a weighted least-squares fit puts X and y, for every bias."""
    a, b = (np.concatenate([getattr(test, name) for test in tests]) for name in ("kept", "days"))
    middles, errors = [], []
    for test in tests:
        middle, error = test.middles()
        # Another kind of test has another bias: its readings stand beside those of the first within both.
        apart = 0.0 if test is tests[0] else np.hypot(test.bias, tests[0].bias)
        middles.append(middle)
        errors.append(np.hypot(error, apart * middle))
    weight = 1 / np.concatenate(errors) ** 2
    shown = np.concatenate(middles) - k[:, None] * tests[0].refill_mg_l * (1 - a)
    aa, ab, bb = (float(np.sum(weight * product)) for product in (a * a, a * b, b * b))
    spread = max(aa * bb - ab * ab, 1e-9 * aa * bb)
    ax, bx = (np.sum(weight * column * shown, axis=1) for column in (a, b))
    x, y = (bb * ax - ab * bx) / spread, (aa * bx - ab * ax) / spread
    sd_y, sd_x = np.sqrt(aa / spread), 1 / np.sqrt(aa)
    least, most = RATES_MG_L_DAY[0] * k, RATES_MG_L_DAY[1] * k
    high = np.clip(y + _WIDE * sd_y, 20 * least, most)
    low = np.clip(y - _WIDE * sd_y, np.maximum(least, high / 500), high / 1.5)
    centre, slope = np.clip(y, low, high), ab / aa
    middle = np.maximum(x + slope * (y - centre), slope * (centre - high))
    return _Box((middle - _WIDE * sd_x, middle + _WIDE * sd_x), (np.log(low), np.log(high)), slope, centre)


def _closer(box: _Box, logs: Array, depth: float) -> tuple[_Box, bool]:
    """The box moved and shrunk to where the weight is, with a cell more on either side; and whether it was so already."""
    highest = np.max(logs, axis=(1, 2), keepdims=True)
    likely = logs >= np.where(np.isfinite(highest), highest, 0.0) - depth
    x, near_x = _stretch(box.x, np.any(likely, axis=2))
    log_y, near_y = _stretch(box.log_y, np.any(likely, axis=1))
    return _Box(x, log_y, box.slope, box.centre), near_x and near_y


def _stretch(ends: tuple[Array, Array], likely: NDArray[np.bool_]) -> tuple[tuple[Array, Array], bool]:
    """One axis of it: shrunk to what is likely, or widened where that goes on past an end."""
    count = likely.shape[1]
    first = np.argmax(likely, axis=1)
    last = count - 1 - np.argmax(likely[:, ::-1], axis=1)
    none = ~np.any(likely, axis=1)  # of a bias that fits nothing at all, nothing is changed
    step = (ends[1] - ends[0]) / count
    low = np.where(first == 0, ends[0] - count / 2 * step, ends[0] + (first - 1) * step)
    high = np.where(last == count - 1, ends[1] + count / 2 * step, ends[0] + (last + 2) * step)
    low, high = np.where(none, ends[0], low), np.where(none, ends[1], high)
    at_end = np.any((first == 0) | (last == count - 1), where=~none)
    filled = np.min((last - first + 1) / count, initial=1.0, where=~none)
    return (low, high), bool(not at_end and filled >= _LEAST_SHARE)
