"""Late doses by closed forms against scipy's integrator, in one run and on one thread.

Run from the project's folder: python tests/benchmarks/late.py [cases]
A case: a tank fills with tap water, and the neutraliser goes in late; asked are the chlorine by then, the exposure, and the
peak and its minute. Ours are all cases in one call, and one case alone. Theirs is scipy.integrate.solve_ivp over chlorine and
exposure, one case after another, with an event for the peak: of its methods and tolerances the cheapest that agrees within
1e-9 on every case. Both take turns, piece by piece, so that a machine that slows down slows both; the median of the ratios
counts. Answers are compared in passing.
"""

from __future__ import annotations

import os

# Before numpy is loaded: one thread for both sides.
os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}

import statistics
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

sys.path.insert(0, str(Path(__file__).parents[2]))

from tapwright.chemistry.change.filling.chlorine import Filling, chlorine_g, exposure_mg_min_l, peak

PIECE, PIECES, ALONE = 20, 50, 200
AGREEMENT = 1e-9
METHODS = ("DOP853", "LSODA", "Radau", "RK45")
TOLERANCES = (1e-8, 1e-9, 1e-10, 1e-11, 1e-12, 1e-13)


def seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    """Wall time and outcome."""
    start = time.perf_counter()
    outcome = work()
    return time.perf_counter() - start, outcome


def random_cases(count: int) -> tuple[Filling, np.ndarray]:
    """Tanks that fill, and the minute of the dose: a quarter without demand, some dosed after the filling has ended."""
    random = np.random.default_rng(7)
    start_l = random.uniform(50, 2000, count)
    demand = np.where(random.random(count) < 0.25, 0.0, 10 ** random.uniform(-4, -0.5, count))
    filling = Filling(
        start_l, start_l * random.uniform(1.05, 3, count), random.uniform(3, 40, count), random.uniform(0.1, 4, count),
        demand,
    )  # fmt: skip
    return filling, filling.minutes * random.uniform(0.05, 1.3, count)


def ours(filling: Filling, minute: Any) -> np.ndarray:
    """Chlorine [g], exposure [mg min/L], peak [mg/L] and its minute, one row each."""
    return np.array([chlorine_g(filling, minute), exposure_mg_min_l(filling, minute), *peak(filling, minute)])


def integrated(case: tuple[float, ...], method: str, tolerance: float) -> np.ndarray:
    """The same by scipy, for one case: start [L], end [L], flow [L/min], chlorine [mg/L], demand [1/min], minute."""
    start_l, end_l, flow, chlorine, demand, minute = case
    filled = min((end_l - start_l) / flow, minute)
    brought_mg = flow * chlorine * filled

    def filling(t: float, state: np.ndarray) -> tuple[float, float]:
        return flow * chlorine - demand * state[0], state[0] / (start_l + flow * t)

    def turns(t: float, state: np.ndarray) -> float:
        return float(flow * chlorine - state[0] * (demand + flow / (start_l + flow * t)))

    def standing(_: float, state: np.ndarray) -> tuple[float, float]:
        return -demand * state[0], state[0] / end_l

    options = {
        "method": method,
        "rtol": tolerance,
        "atol": tolerance * 1e-3 * np.array([brought_mg, chlorine * filled]),
    }
    found = solve_ivp(filling, (0.0, filled), (0.0, 0.0), events=turns, **options)
    state = found.y[:, -1]
    highest, at = state[0] / (start_l + flow * filled), filled
    if len(found.t_events[0]):
        at = found.t_events[0][0]
        highest = found.y_events[0][0][0] / (start_l + flow * at)
    if minute > filled:
        state = solve_ivp(standing, (filled, minute), state, **options).y[:, -1]
    return np.array([state[0] / 1000, state[1], highest, at])


def apart(one: np.ndarray, other: np.ndarray) -> float:
    """Largest relative difference of chlorine, exposure and peak; a flat peak's minute is no answer to compare."""
    return float(np.max(np.abs(one[:3] / other[:3] - 1)))


def cheapest(cases: list[tuple[float, ...]], expected: np.ndarray) -> tuple[str, float]:
    """The method and tolerance that answer these cases within `AGREEMENT` in the least time, by its median."""
    print(f"{'scipy method':14} {'tolerance':>9} {'ms a case':>10} {'agrees within':>14}")
    able = []
    for method in METHODS:
        for tolerance in TOLERANCES:
            runs = [seconds(partial(integrated, case, method, tolerance)) for case in cases]
            took = statistics.median(each for each, _ in runs)
            difference = apart(np.array([answer for _, answer in runs]).T, expected)
            if difference <= AGREEMENT / 2:  # half: what is left for the cases not tried here
                print(f"{method:14} {tolerance:9.0e} {took * 1e3:10.2f} {difference:14.1e}")
                able.append((took, method, tolerance))
                break
    return min(able)[1:]


def report(name: str, theirs: list[float], mine: list[float]) -> None:
    """One row: microseconds a case of both, median and range of their ratio."""
    ratios = sorted(their / our for their, our in zip(theirs, mine, strict=True))
    columns = (statistics.median(theirs) * 1e6, statistics.median(mine) * 1e6, statistics.median(ratios))
    print("{:24} {:9,.0f} {:10.2f} {:8,.0f}".format(name, *columns), end="   ")
    print(f"{ratios[0]:,.0f} to {ratios[-1]:,.0f}")


def main() -> None:
    """Print the choice of the integrator, and both comparisons."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    filling, minutes = random_cases(count)
    found = ours(filling, minutes)  # warm, and to compare
    parts = (filling.volume_start_l, filling.volume_end_l, filling.flow_l_min, filling.chlorine_mg_l)
    cases = [tuple(map(float, case)) for case in zip(*parts, filling.demand_per_min, minutes, strict=True)]
    method, tolerance = cheapest(cases[:60], found[:, :60])

    print(f"\n{f'against {method}':24} {'scipy us':>9} {'engine us':>10} {'ratio':>8}   range")
    theirs, batch, difference = [], [], 0.0
    for first in range(0, min(PIECE * PIECES, count), PIECE):
        piece = slice(first, first + PIECE)
        took, answers = seconds(lambda piece=piece: [integrated(case, method, tolerance) for case in cases[piece]])
        theirs.append(took / len(answers))
        batch.append(statistics.median(seconds(lambda: ours(filling, minutes))[0] for _ in range(3)) / count)
        difference = max(difference, apart(np.array(answers).T, found[:, piece]))
    report(f"{count:,} cases in a call", theirs, batch)

    singly, alone = [], []
    for case in cases[:ALONE]:
        took, answer = seconds(lambda case=case: integrated(case, method, tolerance))
        singly.append(took)
        took, mine = seconds(lambda case=case: ours(Filling(*case[:5]), case[5]))
        alone.append(took)
        difference = max(difference, apart(answer, mine))
    report("one case in a call", singly, alone)
    print(f"Chlorine, exposure and peak agree within {difference:.1e} of themselves.")
    assert difference <= AGREEMENT, "scipy and the engine differ"


if __name__ == "__main__":
    main()
