"""Throughput of the equilibrium engine against the geochemical reference code, in one run and on one thread.

Run from the project's folder: python tests/benchmarks/equilibrium.py [waters]
The program is driven in its fast way: many solutions in one input string, selected output only. Both take turns, piece by
piece, so that a machine that slows down slows both; the median of the ratios counts. Answers are compared in passing.
"""

from __future__ import annotations

import os

# Before numpy is loaded: one thread for the matrix product as well.
os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

from reference_program import OUTPUT, Waters, as_water, program, random_waters, script, table  # noqa: E402

from tapwright.chemistry.water.equilibrium import Equilibrium, at_air, at_carbon, at_ph, outdoor_air_ppm  # noqa: E402
from tapwright.chemistry.water.properties import density_kg_l  # noqa: E402

PIECE = 10_000
SIZES = (1, 100, 10_000, 1_000_000)
QUESTIONS = {"ph": "pH given", "co2": "air given", "carbon": "carbon given"}


def seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    """Wall time and outcome."""
    start = time.perf_counter()
    outcome = work()
    return time.perf_counter() - start, outcome


def engine(waters: Waters, question: str, carbon_mmol_kg: np.ndarray) -> Callable[[], Equilibrium]:
    """Our side of one question, ready to run."""
    water = as_water(waters)
    if question == "ph":
        return lambda: at_ph(water, waters.ph)
    if question == "co2":
        return lambda: at_air(water, waters.co2_atm * 1e6 / outdoor_air_ppm())
    return lambda: at_carbon(water, carbon_mmol_kg * density_kg_l(waters.temperature_c))


def solvable(count: int) -> tuple[Waters, np.ndarray]:
    """Random waters whose alkalinity their pH allows for, as the program stops at any other; and their carbon."""
    waters = random_waters(count + count // 10 + 20, seed=7)
    waters = waters.rows(np.flatnonzero((waters.alkalinity > 1) | (waters.ph < 9))[:count])
    carbon = at_ph(as_water(waters), waters.ph).carbon_mmol_l / density_kg_l(waters.temperature_c)
    return waters, carbon


def against_the_program(count: int) -> None:
    """One row per question: microseconds per water of both, median and range of their ratio, largest difference in pH."""
    print(f"{'question':14} {'program us':>11} {'engine us':>10} {'ratio':>6}   range        largest pH difference")
    waters, carbon = solvable(count)
    pieces = [slice(start, start + PIECE) for start in range(0, count, PIECE)]
    for question, name in QUESTIONS.items():
        all_of_them = engine(waters, question, carbon)
        found = all_of_them()  # warm, and to compare
        theirs, ours, difference = [], [], 0.0
        for piece in pieces:
            running, text = program(), script(waters.rows(piece), question, carbon[piece])
            took, _ = seconds(lambda running=running, text=text: running.run_string(text))
            theirs.append(took / PIECE * 1e6)
            ours.append(statistics.median(seconds(all_of_them)[0] for _ in range(3)) / count * 1e6)
            rows = table(running)
            assert len(rows) == PIECE, "the program stopped early"
            difference = max(difference, float(np.max(np.abs(found.ph[piece] - rows[:, OUTPUT.index("ph")]))))
        ratios = sorted(their / our for their, our in zip(theirs, ours, strict=True))
        middle = (statistics.median(column) for column in (theirs, ours, ratios))
        print("{:14} {:11.0f} {:10.2f} {:6.0f}".format(name, *middle), end="   ")
        print(f"{ratios[0]:.0f} to {ratios[-1]:<6.0f} {difference:.5f}", flush=True)


def by_size() -> None:
    """Microseconds per water for calls of several sizes."""
    print(f"\n{'waters a call':>14} " + " ".join(f"{name + ', us':>17}" for name in QUESTIONS.values()))
    for size in SIZES:
        waters, carbon = solvable(size)
        if size == 1:
            waters, carbon = waters.rows(0), carbon[0]
        runs = max(3, min(200, 200_000 // size))
        took = []
        for question in QUESTIONS:
            ask = engine(waters, question, carbon)
            took.append(statistics.median(seconds(ask)[0] for _ in range(runs)) / size * 1e6)
        print(f"{size:14,} " + " ".join(f"{each:17.2f}" for each in took))


def main() -> None:
    """Print both tables."""
    against_the_program(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
    by_size()


if __name__ == "__main__":
    main()
