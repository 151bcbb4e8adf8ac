"""Hard cupboards: how long the questions take, and how often their answers are proven within the budget.

Run from the project's folder: python tests/benchmarks/hard_cupboards.py [patience in seconds] [questions a row]
Cupboards of 2 to 30 salts (beyond those of the tables, their hydrates as if of other makes), bands of pH and conductivity,
scales of 0.1 g and 0.01 g; and requests to waters that cannot be reached. A question is a recipe and, where there is
none, why; or a transition. Times are of the processor, so that a busy machine does not tell. 'a second' is how many
seconds a million units of work take: the budget counts units, and about 1 makes the default about 2 s.
"""

from __future__ import annotations

import os

os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}

import random
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2])]

from tapwright.chemistry.dosing.recipe.conflicts import explained  # noqa: E402
from tapwright.chemistry.dosing.recipe.cupboard import Stocked, dissolve  # noqa: E402
from tapwright.chemistry.dosing.recipe.remineralise import RecipeRequest, recipe  # noqa: E402
from tapwright.chemistry.dosing.transition.request import TransitionRequest, default_limits  # noqa: E402
from tapwright.chemistry.dosing.transition.transition import transition  # noqa: E402
from tapwright.chemistry.errors import NoAnswer, NotInTime  # noqa: E402
from tapwright.chemistry.programmes.budget import PATIENCE_S, Budget, question  # noqa: E402
from tapwright.chemistry.substances import salts  # noqa: E402
from tapwright.chemistry.water.composition import Water  # noqa: E402
from tapwright.chemistry.water.equilibrium import at_air  # noqa: E402
from tapwright.chemistry.water.target import ANY, Band, Target, lake_target  # noqa: E402

SOFT = Water(0.4, 0.15, 0.4, 0.02, 0.35, 0.15, 0.8, 5, 0, 0, 0, 25.0)
PURE = Water(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 25.0)
COUNTS = ((2, 4), (5, 8), (9, 12), (13, 17), (18, 30))
BANDS = ("plain", "pH", "pH and conductivity", "every ion")
# What a question says of itself.
PROVEN, BEST, NONE, OPEN = "proven", "best so far", "none, proven", "not found in time"


def cupboard(count: int, dice: random.Random) -> list[Stocked]:
    """So many gentle salts, a bicarbonate among them; beyond those there are, the same as other names of a little less."""
    gentle = [salt for salt in salts().values() if salt.gentle]
    others = [
        replace(salt, name=f"{salt.name}, other", molar_mass_g_mol=salt.molar_mass_g_mol * 1.013) for salt in gentle
    ]
    first = dice.choice([salt for salt in gentle if "bicarbonate" in salt.name])
    rest = dice.sample([salt for salt in gentle if salt is not first], min(count - 1, len(gentle) - 1))
    return [
        Stocked(salt, price_per_kg=round(dice.uniform(1, 20), 2))
        for salt in [first, *rest, *others[: count - 1 - len(rest)]]
    ]


def around(water: Water, stocked: list[Stocked], kind: str, dice: random.Random) -> Target:
    """Narrow bands around a water that four salts of the cupboard make, measured finely; one in four lies a little off."""
    parts = [(item.salt, dice.uniform(0.02, 0.25)) for item in dice.sample(stocked, min(len(stocked), 4))]
    made = dissolve(water, parts)
    rest = at_air(made)
    off = dice.choice((1.0, 1.0, 1.0, 1.03))

    def band(value: float, width: float) -> Band:
        low = max(value * off - width * dice.random(), 0.0)
        return Band(low, low + width)

    width = dice.choice((0.002, 0.02, 0.1))
    hardness, alkalinity = max(made.hardness_mmol_l, 0.05), made.alkalinity_meq_l
    bands = Target("drawn", band(hardness, width * hardness), band(alkalinity, width * alkalinity))
    if "pH" in kind:
        bands = replace(bands, ph_aerated=band(float(rest.ph), dice.choice((0.005, 0.05))))
    if "conductivity" in kind:
        bands = replace(bands, conductivity_us_cm=band(float(rest.conductivity_us_cm), dice.choice((2.0, 20.0))))
    if kind == "every ion":
        ions = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate")
        each = {f"{ion}_mmol_l": getattr(made, f"{ion}_mmol_l") for ion in ions}
        bands = replace(bands, **{name: band(value, max(width * value, 0.01)) for name, value in each.items()})
    return bands


def of_a_recipe(counts: tuple[int, int], kind: str, step_g: float, dice: random.Random) -> Callable[[], str]:
    """One recipe, and why there is none."""
    stocked = cupboard(dice.randint(*counts), dice)
    water = dice.choice((SOFT, PURE))
    bands = around(water, stocked, kind, dice)
    request = RecipeRequest(bands, dice.choice((60.0, 200.0, 400.0)), step_g, dice.choice((1, 2, 4)))

    def ask() -> str:
        made = recipe(water, stocked, request)
        explained(water, stocked, request, made)
        return (PROVEN if made.proven else BEST) if made.found else (NONE if made.proven else OPEN)

    return ask


def of_a_journey(step_g: float, dice: random.Random) -> Callable[[], str]:
    """One transition to where no salts, or not these, can lead."""
    stocked = cupboard(dice.randint(2, 8), dice)
    hardness, alkalinity = dice.uniform(1.2, 3.0), dice.uniform(0.2, 5.0)
    width = dice.choice((0.01, 0.1))
    end = Target("own", Band(hardness, hardness + width), Band(alkalinity, alkalinity + width), Band(0.05, 0.06))
    end = replace(end, conductivity_us_cm=Band(0, dice.uniform(100, 600)))
    refill = Target("any", ANY, ANY)
    request = TransitionRequest(SOFT, 300.0, SOFT, dice.choice((0.15, 0.3)), end, default_limits(), step_g, refill)

    def ask() -> str:
        try:
            return PROVEN if transition(request, stocked).proven else BEST
        except NotInTime:
            return OPEN
        except NoAnswer:
            return NONE

    return ask


def row(name: str, questions: list[Callable[[], str]], patience_s: float) -> tuple[list[float], float]:
    """Ask them all and print a line; seconds of each, and units of work in all."""
    took: list[float] = []
    said: list[str] = []
    units = 0.0
    for ask in questions:
        start = time.process_time()
        with question(patience_s) as budget:
            said.append(ask())
        took.append(time.process_time() - start)
        units += budget.done
    shares = "".join(f"{sum(word == each for word in said):9}" for each in (PROVEN, BEST, NONE, OPEN))
    print(
        f"{name:40} {statistics.median(took):7.2f} {max(took):7.2f} {shares} {sum(took) / units * 1e6:9.1f}", flush=True
    )
    return took, units


def main() -> None:
    """Print the table."""
    patience_s = float(sys.argv[1]) if len(sys.argv) > 1 else PATIENCE_S
    each = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    with question(Budget().patience_s):  # warm
        recipe(SOFT, cupboard(4, random.Random(0)), RecipeRequest(lake_target("malawi"), 100.0, 0.1))
    print(f"patience {patience_s:g} s, {each} questions a row")
    print(
        f"{'salts, bands, scale':40} {'median':>7} {'max s':>7} {'proven':>9}{'best':>9}{'none':>9}{'open':>9} {'a second':>9}"
    )
    every: list[float] = []
    for counts in COUNTS:
        for kind in BANDS:
            for step_g in (0.1, 0.01):
                name = f"{counts[0]} to {counts[1]}, {kind}, {step_g} g"
                dice = random.Random(name)
                every += row(name, [of_a_recipe(counts, kind, step_g, dice) for _ in range(each)], patience_s)[0]
    for step_g in (0.1, 0.01):
        name = f"requests that do not exist, {step_g} g"
        dice = random.Random(name)
        every += row(name, [of_a_journey(step_g, dice) for _ in range(each)], patience_s)[0]
    print(f"{len(every)} questions: median {statistics.median(every):.2f} s, longest {max(every):.2f} s.")


if __name__ == "__main__":
    main()
