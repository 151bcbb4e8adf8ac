"""The rate of nitrate: how often its range holds for invented keepers, and the same posterior found in other ways."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from keepers import (
    FACTOR,
    RANGE,
    SCALE,
    USUAL,
    Array,
    Events,
    keeper,
    kit,
    nitrate_through,
    nitrates,
    rates,
    read_as,
)
from keepers import seen as as_seen
from scipy.special import expit
from scipy.stats import norm

from tapwright.chemistry.change.nitrate.production import Change, Reading, production


@pytest.mark.parametrize("kinds", [("chart",), ("photometer",), ("chart", "photometer")], ids="+".join)
def test_nine_of_ten_keepers_find_their_tank_in_the_range(kinds: tuple[str, ...]) -> None:
    # Of 200 at 90 %, 2.1 % is one standard deviation: 85 to 95 % are 2.4 of them.
    rng = np.random.default_rng(1)
    keepers = [keeper(rng, kinds) for _ in range(200)]
    found = [production(one.events, one.refill_mg_l, one.now_day) for one in keepers]
    covered = {"rate": 0, "now": 0}
    ranks = []
    for one, posterior in zip(keepers, found, strict=True):
        for name, true, (low, _, high) in (
            ("rate", one.rate_mg_l_day, rates(posterior)),
            ("now", one.nitrate_mg_l, nitrates(posterior)),
        ):
            covered[name] += low <= true <= high
        ranks.append(posterior.chance(posterior.rate_mg_l_day <= one.rate_mg_l_day))
    assert 170 <= covered["rate"] <= 190
    assert 170 <= covered["now"] <= 190
    # The true rate is as likely above the median as below it: ranks are uniform, their mean 0.5 +- 0.02.
    assert np.mean(ranks) == pytest.approx(0.5, abs=0.06)


# --- the same by brute force ----------------------------------------------------------------------------------


def brute(
    events: Events, refill: float, now_day: float, most_start: float, slowest: float, fastest: float
) -> tuple[list[float], list[float]]:
    """Quantiles of the rate and of nitrate now, on one grid over first nitrate, rate and bias, in plain chances."""
    start = ((np.arange(120) + 0.5) * (most_start / 120))[:, None]
    rate = np.geomspace(slowest, fastest, 160)[None, :]
    readings = [event for event in events if isinstance(event, Reading)]
    *truth, now = nitrate_through(events, refill, now_day, start, rate)
    weights = norm.pdf(np.log(rate / USUAL) / np.log(FACTOR)) + 0 * start
    for kind in {reading.test for reading in readings}:
        own = [(reading, nitrate) for reading, nitrate in zip(readings, truth, strict=True) if reading.test == kind]
        weights = weights * sum(
            norm.pdf(z) * _chance(own, np.exp(z * kit(kind, "bias"))) for z in np.linspace(-4, 4, 33)
        )
    # What the window leaves out is nothing: its edges are far below its middle.
    edges = (weights[-1], weights[:, 0], weights[:, -1])
    assert max(float(np.max(edge)) for edge in edges) < 3e-3 * np.max(weights)
    return _quantiles(rate[0], np.sum(weights, axis=0)), _quantiles(now, weights)


def _chance(own: Sequence[tuple[Reading, Array]], bias: float) -> Array:
    """How likely these readings are, were the bias of their test that."""
    total: Array = np.ones(1)
    for reading, nitrate in own:
        at = as_seen(reading.test, bias * nitrate)
        ends = [np.array(end) for end in (reading.low_mg_l, reading.high_mg_l)]
        below, above = (expit((as_seen(reading.test, end) - at) / SCALE) for end in ends)
        below = np.where(np.isneginf(ends[0]), 0.0, below)
        total = total * (below * (1 - below) if reading.low_mg_l == reading.high_mg_l else above - below)
    return total


def _quantiles(values: Array, weights: Array) -> list[float]:
    order = np.argsort(values, axis=None)
    sorted_weights = weights.ravel()[order]
    middles = np.cumsum(sorted_weights) - sorted_weights / 2
    return [float(v) for v in np.interp(RANGE, middles / np.sum(sorted_weights), values.ravel()[order])]


def seen(kind: str, *days_and_figures: tuple[float, float]) -> list[Reading]:
    return [read_as(day, figure, kind) for day, figure in days_and_figures]


def in_order(*events: Reading | Change) -> Events:
    return sorted(events, key=lambda event: event.day)


# Events, refill [mg/L], day asked for; then the window of the grid: most nitrate at first, slowest and fastest rate.
Case = tuple[Events, float, float, float, float, float]
SMALL: dict[str, Case] = {
    "chart": (
        in_order(*seen("chart", (0, 10), (5, 20), (12, 20), (20, 40)), Change(6, 0.3), Change(14, 0.3)),
        5.0, 24.0, 40, 0.02, 10,
    ),
    "photometer": (
        in_order(*seen("photometer", (0, 12.0), (6, 22.5), (13, 24.0), (20, 27.5)), Change(7, 0.4), Change(15, 0.25)),
        3.0, 21.0, 30, 0.2, 6,
    ),
    "chart and photometer": (
        in_order(*seen("chart", (0, 10), (5, 20)), *seen("photometer", (9, 21.0), (18, 30.0)), Change(6, 0.3)),
        2.0, 18.0, 40, 0.02, 10,
    ),
    "strip and drops": (
        in_order(*seen("strip", (0, 20), (4, 40)), *seen("drops", (2, 24), (10, 36), (16, 33)), Change(11, 0.4)),
        0.0, 16.0, 60, 0.02, 10,
    ),
    "first step": (in_order(*seen("chart", (0, 0), (4, 0), (12, 10)), Change(5, 0.5)), 0.0, 13.0, 20, 0.01, 10),
    "last step": (in_order(*seen("chart", (0, 80), (7, 160), (14, 160)), Change(8, 0.3)), 5.0, 15.0, 500, 0.005, 400),
}  # fmt: skip

# Where a sum easily goes wrong: two kinds of test or a refill that brings most of what is read, so that the bias is held once
# X and y are; and X and y on a narrow ridge.
WEEKLY_HALF = [(7.0 * week, 50.0 + week % 3) for week in range(12)]
HALVES = [Change(7.0 * week + 0.5, 0.5) for week in range(12)]
HARD: dict[str, Case] = {
    "drops without a change": (seen("drops", (0, 10), (10, 25)), 5.0, 10.0, 30, 0.05, 8),
    "chart, half of it weekly, tap at 40": (in_order(*seen("chart", *WEEKLY_HALF), *HALVES), 40.0, 84.0, 170, 0.01, 10),
    "photometer, half of it weekly, tap at 40": (
        in_order(*seen("photometer", *WEEKLY_HALF), *HALVES), 40.0, 84.0, 100, 0.02, 6,
    ),
}  # fmt: skip


@pytest.mark.parametrize(
    "case",
    [
        *(pytest.param(case, id=name) for name, case in SMALL.items()),
        *(pytest.param(case, id=name) for name, case in HARD.items()),
    ],
)
def test_brute_force_finds_the_same(case: Case) -> None:
    found = production(*case[:3])
    rate, now = brute(*case)
    # Both grids are worth about 1 % of the rate, whose standard deviation is 10 % and more of it in every case; where it is
    # known to within a factor of twenty only, 2 %.
    coarse = 0.03 if rate[2] > 10 * rate[0] else 0.02
    assert rates(found) == pytest.approx(rate, rel=coarse)
    assert nitrates(found) == pytest.approx(now, rel=coarse)


def test_a_random_walk_finds_the_same() -> None:
    """Metropolis in ln N0, ln r and ln k: 400 walkers, which start far apart and far from where they end."""
    events, refill, now_day = SMALL["photometer"][:3]
    readings = [event for event in events if isinstance(event, Reading)]
    rng = np.random.default_rng(5)

    def log_posterior(log_start: Array, log_rate: Array, log_bias: Array) -> Array:
        *truth, _ = nitrate_through(events, refill, now_day, np.exp(log_start), np.exp(log_rate))
        total = log_start - ((log_rate - np.log(USUAL)) / np.log(FACTOR)) ** 2 / 2  # flat in N0
        total = total - (log_bias / kit("photometer", "bias")) ** 2 / 2
        for reading, nitrate in zip(readings, truth, strict=True):
            shown = np.exp(log_bias) * nitrate
            z = (as_seen("photometer", np.array(reading.low_mg_l)) - as_seen("photometer", shown)) / SCALE
            total = total - 2 * np.log(np.cosh(z / 2))
        return total

    at = rng.normal([[2.5], [0.0], [0.0]], [[0.3], [0.5], [0.1]], (3, 400))
    height = log_posterior(*at)
    kept = []
    for step in range(1500):
        tried = at + rng.normal(0, [[0.07], [0.12], [0.06]], at.shape)
        tried_height = log_posterior(*tried)
        goes = np.log(rng.random(400)) < tried_height - height
        at, height = np.where(goes, tried, at), np.where(goes, tried_height, height)
        if step >= 500 and step % 10 == 0:
            kept.append(at)
    log_start, log_rate, _ = np.concatenate(kept, axis=1)
    now = nitrate_through(events, refill, now_day, np.exp(log_start), np.exp(log_rate))[-1]
    found = production(events, refill, now_day)
    assert rates(found) == pytest.approx(np.quantile(np.exp(log_rate), RANGE), rel=0.02)
    assert nitrates(found) == pytest.approx(np.quantile(now, RANGE), rel=0.02)
