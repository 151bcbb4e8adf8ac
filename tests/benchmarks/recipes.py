"""Throughput of the recipe solvers against scipy's, in one run and on one thread.

Run from the project's folder: python tests/benchmarks/recipes.py [waters]
The batch: unrounded recipes for many waters at once, against a loop of scipy.optimize.linprog (HiGHS) over all of them.
Both take turns, piece by piece, so that a machine that slows down slows both; the median of the ratios counts. Answers
are compared in passing.
One recipe: weighed to 0.1 g by the strict order of the choice, against the same model through scipy.optimize.milp: a yes
or no for each salt, the number of salts, then grams, then sodium, then names, each least under all before it.
"""

from __future__ import annotations

import os

# Before numpy is loaded: one thread for both sides.
os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

from programmes.test_many_programmes import Batch, recipes  # noqa: E402

from tapwright.chemistry.dosing.recipe.bands import amounts_of, rows_of  # noqa: E402
from tapwright.chemistry.dosing.recipe.choice import Rows, choose  # noqa: E402
from tapwright.chemistry.dosing.recipe.cupboard import Columns, Stocked, columns  # noqa: E402
from tapwright.chemistry.programmes.many_programmes import solve_many  # noqa: E402
from tapwright.chemistry.substances import salt  # noqa: E402
from tapwright.chemistry.water.composition import Water  # noqa: E402
from tapwright.chemistry.water.target import lake_target  # noqa: E402

SIZES = (1, 50, 100, 500, 2_000, 10_000)
PIECE = 1_000
VOLUME_L, STEP_G = 200.0, 0.1
CUPBOARD = [
    Stocked(salt(name))
    for name in (
        "sodium bicarbonate",
        "potassium bicarbonate",
        "magnesium sulfate heptahydrate",
        "magnesium chloride hexahydrate",
        "calcium chloride dihydrate",
        "calcium sulfate dihydrate",
        "potassium chloride",
        "sodium chloride",
    )
]


def seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    """Wall time and outcome."""
    start = time.perf_counter()
    outcome = work()
    return time.perf_counter() - start, outcome


def some(batch: Batch, lanes: slice) -> Batch:
    """Some of the programmes."""
    cost, matrix, low, high, upper = batch
    return cost, matrix, low[lanes], high[lanes], upper[lanes]


def one_by_one(batch: Batch) -> Callable[[], np.ndarray]:
    """The least costs by scipy.optimize.linprog, nan where infeasible; only its calls are left to be done.

    Sides of rows that no programme has are left out for it.
    """
    cost, matrix, low, high, upper = batch
    above, below = np.isfinite(high).any(axis=0), np.isfinite(low).any(axis=0)
    rows = np.concatenate([matrix[above], -matrix[below]])
    limits = np.concatenate([high[:, above], -low[:, below]], axis=1)
    bounds = [np.column_stack([np.zeros_like(each), each]) for each in upper]

    def loop() -> np.ndarray:
        found = [linprog(cost, rows, each, bounds=most) for each, most in zip(limits, bounds, strict=True)]
        return np.array([each.fun if each.status == 0 else np.nan for each in found])

    return loop


def batch(count: int) -> None:
    """Unrounded recipes of one cupboard for many waters: both sides, status and cost of every one compared."""
    waters = recipes(count, seed=7)
    answers = solve_many(*waters)  # warm, and to compare
    theirs, ours, costs = [], [], []
    for start in range(0, count, PIECE):
        piece = some(waters, slice(start, start + PIECE))
        took, found = seconds(one_by_one(piece))
        theirs.append(took / len(found) * 1e6)
        ours.append(statistics.median(seconds(lambda: solve_many(*waters))[0] for _ in range(3)) / count * 1e6)
        costs.append(found)
    expected = np.concatenate(costs)
    different = int(np.sum(answers.feasible != np.isfinite(expected)))
    difference = float(np.nanmax(np.abs(answers.cost - expected) / np.abs(expected)))
    ratios = sorted(their / our for their, our in zip(theirs, ours, strict=True))
    print(
        f"{'waters':>7} {'scipy us':>9} {'engine us':>10} {'ratio':>6}   range        status    largest difference of cost"
    )
    middle = (statistics.median(column) for column in (theirs, ours, ratios))
    print("{:7,} {:9.0f} {:10.2f} {:6.0f}".format(count, *middle), end="   ")
    print(f"{f'{ratios[0]:.0f} to {ratios[-1]:.0f}':12} {different} differ  {difference:.1e} of it")
    print(f"{int(np.sum(~answers.feasible)):,} of them have no recipe; scipy solved every one, one after the other.")


def by_size() -> None:
    """Milliseconds a call takes, and microseconds per water, for calls of several sizes."""
    print(f"\n{'waters a call':>14} {'ms':>8} {'us a water':>11}")
    for size in SIZES:
        waters = recipes(size, seed=7)
        runs = max(5, min(200, 20_000 // size))
        took = statistics.median(seconds(lambda waters=waters: solve_many(*waters))[0] for _ in range(runs))
        print(f"{size:14,} {took * 1e3:8.2f} {took / size * 1e6:11.1f}")


def weighed(seed: int) -> tuple[Rows, Columns]:
    """One recipe for a soft water and a lake: rows over steps of the scale, and what may go in."""
    random = np.random.default_rng(seed)
    calcium, magnesium, sodium = random.uniform((0.1, 0.05, 0.1), (0.6, 0.2, 0.6))
    alkalinity = random.uniform(0.3, 1.2)
    water = Water(calcium, magnesium, sodium, 0.02, 0.2, 0.1, alkalinity, 5, 0, 0, 0, 25.0)
    shelf = columns(water, CUPBOARD, VOLUME_L, step_g=STEP_G)
    rows = rows_of(lake_target(("malawi", "tanganyika")[seed % 2]), None, 1.0)
    weights = np.array([row.weights for row in rows])
    base = weights @ amounts_of(water)
    low, high = (np.array([getattr(row, end) for row in rows]) - base for end in ("low", "high"))
    return Rows(weights @ shelf.effect, low - 1e-7, high + 1e-7), shelf


def staged(rows: Rows, shelf: Columns) -> np.ndarray:
    """The same choice by integer programmes of scipy, one for each criterion."""
    count = shelf.count
    most = np.full(count, VOLUME_L / STEP_G)  # a gram in a litre: more than any of these takes
    matrix = np.vstack(
        [np.hstack([rows.matrix, np.zeros_like(rows.matrix)]), np.hstack([np.eye(count), -np.diag(most)])]
    )
    low, high = np.append(rows.low, np.full(count, -np.inf)), np.append(rows.high, np.zeros(count))
    nothing = np.zeros(count)
    criteria = (
        (nothing, np.ones(count)),
        (shelf.cost, nothing),
        (shelf.sodium, nothing),
        (np.arange(1.0, count + 1), nothing),
    )
    bounds = Bounds(0, np.append(most, np.ones(count)))
    found = None
    for parts in criteria:
        weights = np.concatenate(parts)
        found = milp(
            weights, constraints=LinearConstraint(matrix, low, high), integrality=np.ones(2 * count), bounds=bounds,
            options={"mip_rel_gap": 0.0},
        )  # fmt: skip
        if found.x is None:
            raise AssertionError("scipy finds no recipe")
        matrix, low = np.vstack([matrix, weights]), np.append(low, -np.inf)
        high = np.append(high, found.fun + 1e-9 * max(abs(found.fun), float(weights.max())))
    return found.x[:count]


def single(rows: Rows, shelf: Columns) -> np.ndarray:
    """Fewest grams alone, one integer programme of scipy: an easier question than ours."""
    found = milp(
        shelf.cost, constraints=LinearConstraint(rows.matrix, rows.low, rows.high), integrality=np.ones(shelf.count),
        bounds=Bounds(0, np.inf), options={"mip_rel_gap": 0.0},
    )  # fmt: skip
    return found.x


def one(count: int = 40) -> None:
    """Weighed recipes, one after another; both sides take turns on the same recipe."""
    took: dict[str, list[float]] = {"engine": [], "in stages": [], "grams only": []}
    differ = 0
    for seed in range(count):
        rows, shelf = weighed(seed)
        choose(rows, shelf)  # warm
        ours, mine = seconds(lambda rows=rows, shelf=shelf: choose(rows, shelf))
        theirs, other = seconds(lambda rows=rows, shelf=shelf: staged(rows, shelf))
        easier, _ = seconds(lambda rows=rows, shelf=shelf: single(rows, shelf))
        for name, value in zip(took, (ours, theirs, easier), strict=True):
            took[name].append(value * 1e3)
        used = [((amounts > 0.5).sum(), float(shelf.cost @ np.round(amounts))) for amounts in (mine, other)]
        differ += used[0][0] != used[1][0] or abs(used[0][1] - used[1][1]) > 1e-6
    print(
        f"\n{count} recipes to {STEP_G} g, median ms: "
        + ", ".join(f"{name} {statistics.median(ms):.1f}" for name, ms in took.items())
    )
    for name in ("in stages", "grams only"):
        ratios = sorted(their / our for their, our in zip(took[name], took["engine"], strict=True))
        print(f"scipy {name}: {statistics.median(ratios):.1f} times the engine ({ratios[0]:.1f} to {ratios[-1]:.1f})")
    print(f"{differ} of them differ in the number of salts or in grams.")


def main() -> None:
    """Print the tables."""
    one()
    batch(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
    by_size()


if __name__ == "__main__":
    main()
