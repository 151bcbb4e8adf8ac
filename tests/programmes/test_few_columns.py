"""The small dual simplex and the search for whole numbers against the library's own solvers."""

from __future__ import annotations

import numpy as np
import pytest

from tapwright.chemistry.programmes.few_columns import Small
from tapwright.chemistry.programmes.linear_programme import Programme, solve
from tapwright.chemistry.programmes.whole_numbers import solve_whole


def drawn(random: np.random.Generator) -> tuple[Programme, np.ndarray]:
    """A programme with a few columns, some rows open to one side, some columns without end; and lower ends."""
    columns, rows = random.integers(1, 6), random.integers(1, 8)
    matrix = random.normal(size=(rows, columns)) * (random.random((rows, columns)) < 0.7)
    middle = random.normal(size=rows)
    low, high = middle - random.random(rows), middle + random.random(rows)
    high[random.random(rows) < 0.15] = np.inf
    low[random.random(rows) < 0.15] = -np.inf
    cost = random.random(columns) * (random.random(columns) < 0.8)
    upper = random.random(columns) * 5
    floor = np.minimum(random.random(columns) * 2, upper) * (random.random() < 0.4)
    upper[random.random(columns) < 0.15] = np.inf
    return Programme(cost, matrix, low, high, upper), floor


def test_small_programmes_against_the_library() -> None:
    random = np.random.default_rng(3)
    inside = 0
    for _ in range(3000):
        programme, floor = drawn(random)
        small = Small(
            programme.cost.tolist(), programme.matrix.tolist(), programme.row_low.tolist(), programme.row_high.tolist()
        )
        ours = small.minimiser(floor.tolist(), programme.upper.tolist())
        base = programme.matrix @ floor
        theirs = solve(
            Programme(
                programme.cost,
                programme.matrix,
                programme.row_low - base,
                programme.row_high - base,
                programme.upper - floor,
            )
        )
        assert (ours is None) == (theirs is None)
        if ours is not None and theirs is not None:
            inside += 1
            assert programme.cost @ np.array(ours) == pytest.approx(programme.cost @ (theirs + floor), abs=1e-7)
            reached = programme.matrix @ np.array(ours)
            assert np.all(reached >= programme.row_low - 1e-8) and np.all(reached <= programme.row_high + 1e-8)
            assert np.all(np.array(ours) >= floor) and np.all(np.array(ours) <= programme.upper)
    assert inside > 500


def test_whole_numbers_against_the_librarys_integer_solver() -> None:
    random = np.random.default_rng(5)
    inside = 0
    for _ in range(400):
        programme, _ = drawn(random)
        scaled = Programme(
            programme.cost + 0.05,
            programme.matrix,
            3 * programme.row_low,
            3 * programme.row_high,
            np.floor(programme.upper * 4),
            len(programme.cost),
        )
        ours, theirs = solve_whole(scaled), solve(scaled)
        assert (ours is None) == (theirs is None)
        if ours is not None and theirs is not None:
            inside += 1
            assert scaled.cost @ ours == pytest.approx(scaled.cost @ theirs, abs=1e-6)
            assert np.all(ours == np.round(ours))
            least = float(scaled.cost @ ours)
            assert solve_whole(scaled, least + 1e-9) is not None
            assert solve_whole(scaled, least - 1e-3) is None
    assert inside > 80


def test_a_floor_above_its_ceiling_holds_nothing() -> None:
    assert Small([1.0], [[1.0]], [0.0], [5.0]).minimiser([2.0], [1.0]) is None
