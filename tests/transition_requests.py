"""Journeys drawn at random, and their changes done again by hand: what the tests of transitions share."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from cupboards import LINEAR, PURE, SOFT, mmol_per_g

from tapwright.chemistry.dosing.recipe.cupboard import Deionised, Stocked
from tapwright.chemistry.dosing.transition.request import ANYTHING, Transition, TransitionRequest, default_limits
from tapwright.chemistry.dosing.transition.transition import transition
from tapwright.chemistry.errors import NoAnswer
from tapwright.chemistry.substances import molar_mass, salt
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import Equilibrium, at_air
from tapwright.chemistry.water.target import ANY, Band, Target

# What thins with every change besides the ions and alkalinity: it conducts, and bears charge.
BESIDES = ("nitrate_mg_l", "ammonia_mg_n_l")
USUAL = default_limits()
# A way may pass a limit by what no pen or kit sees; the sizes are the engine's own.
PH, CONDUCTIVITY, INDEX = 0.005, 0.002, 0.002
CALM = 1.0
SODA, CALCIUM, EPSOM = "sodium bicarbonate", "calcium chloride dihydrate", "magnesium sulfate heptahydrate"
FOUR = (CALCIUM, EPSOM, "potassium chloride", SODA)


@dataclass(frozen=True)
class Step:
    """One change by hand."""

    before: Water
    refill: Water
    after: Water


def by_hand(request: TransitionRequest, cupboard: Sequence[Stocked], done: Transition) -> Iterator[Step]:
    """Every change again, from grams, litres, share, top-off and the refill's temperature alone."""
    purity = {item.salt.name: item.purity for item in cupboard}
    refill_l, source, names = request.volume_l * request.share, request.source, (*LINEAR, *BESIDES)
    topping = source if request.top_off == "source" else PURE
    tank, tank_c = {name: float(getattr(request.tank, name)) for name in names}, request.tank.temperature_c
    open_tank = replace(request.tank, ph=None, carbon_mmol_l=None)
    for number, change in enumerate(done.changes):
        refill = {name: getattr(source, name) * (1 - change.deionised_l / refill_l) for name in names}
        for salt_name, gram in change.grams.items():
            for name in LINEAR:
                refill[name] += gram * purity[salt_name] * mmol_per_g(salt_name, name) / refill_l
        if number:
            tank = {name: tank[name] + request.evaporated_share * getattr(topping, name) for name in names}
        before = replace(open_tank, **tank, temperature_c=tank_c)
        tank = {name: (1 - request.share) * tank[name] + request.share * refill[name] for name in names}
        tank_c = (1 - request.share) * tank_c + request.share * change.refill_temperature_c
        yield Step(
            before,
            replace(source, ph=None, carbon_mmol_l=None, **refill, temperature_c=change.refill_temperature_c),
            replace(open_tank, **tank, temperature_c=tank_c),
        )


def at_rest(like: Water, amounts: np.ndarray, times_air: float = 1.0) -> Equilibrium:
    """Many waters at rest with the air: amounts of LINEAR, one water a row."""
    given = {name: amounts[..., column] for column, name in enumerate(LINEAR)}
    return at_air(replace(like, ph=None, carbon_mmol_l=None, **given), times_air)


def narrow(hardness: float, alkalinity: float, width: float, ratio: Band | None = None) -> Target:
    """Bands of a relative width to either side."""
    ends = np.array([1 - width, 1 + width])
    return Target("drawn", Band(*(hardness * ends)), Band(*(alkalinity * ends)), ratio)


def drawn_water(random: np.random.Generator, low: float, high: float, nitrate_mg_l: float) -> Water:
    """An electroneutral water of so much hardness [mmol/L] and up to twice that alkalinity [meq/L], some of it nitrate."""
    hardness, alkalinity, sodium = random.uniform(low, high), random.uniform(low, 2 * high), random.uniform(0.1, 1.5)
    magnesium, potassium = random.uniform(0.15, 0.5) * hardness, random.uniform(0, 0.1)
    nitrate_mg_l = random.uniform(0, nitrate_mg_l)
    left = 2 * hardness + sodium + potassium - alkalinity - nitrate_mg_l / molar_mass("NO3")
    sodium, left = sodium + max(0.2 - left, 0.0), max(left, 0.2)
    sulfate = left * random.uniform(0.1, 0.4)
    return Water(hardness - magnesium, magnesium, sodium, potassium, left - 2 * sulfate, sulfate, alkalinity,
                 nitrate_mg_l, 0, 0, 0, random.uniform(12, 25))  # fmt: skip


def drawn(random: np.random.Generator) -> tuple[TransitionRequest, list[Stocked]]:
    """A request such as keepers make, with all that may come with one now and then."""

    def now_and_then(part: float) -> bool:
        return bool(random.random() < part)

    source = drawn_water(random, 0.2, 1.2, 10)
    tank = replace(source if now_and_then(0.3) else drawn_water(random, 0.3, 1.8, 40), temperature_c=25.0)
    ratio = random.uniform(0.5, 2)
    request = TransitionRequest(
        tank,
        volume_l=float(random.choice([120.0, 400.0, 900.0])),
        source=source,
        share=float(random.choice([0.15, 0.25, 0.4, 0.5])),
        target=narrow(
            random.uniform(0.6, 2.4),
            random.uniform(0.8, 4),
            random.uniform(0.03, 0.15),
            Band(ratio, 4 * ratio) if now_and_then(0.3) else None,
        ),
        # A drop of alkalinity hardly moves pH: its limit is put to the test by one that is stricter than usual.
        limits=replace(USUAL, ph=0.12) if now_and_then(0.3) else USUAL,
        step_g=float(random.choice([0.0, 0.1, 1.0])),
        # Sodium is what hard-water fish mind least: a refill may hold so much of it, or anything.
        refill=replace(ANYTHING, sodium_mmol_l=Band(0.0, 6.0)) if now_and_then(0.3) else ANYTHING,
        deionised=Deionised() if now_and_then(0.6) else None,
        evaporated_share=0.03 if now_and_then(0.3) else 0.0,
        top_off=str(random.choice(["source", "deionised"])),
        temperature_c=float(random.uniform(23, 29)) if now_and_then(0.2) else None,
        times_air=random.uniform(1, 2.5),
        room_times_air=random.uniform(1, 2),
    )
    stocks = [None, 60.0, 400.0]
    cupboard = [Stocked(salt(name), random.choice([1.0, 0.9]), random.choice(stocks)) for name in FOUR]
    return request, cupboard


# Rounding of sums of amounts near 1 mmol/L, and what a solver leaves of its rows.
EXACT, ROWS = 1e-9, 1e-6

Way = tuple[TransitionRequest, list[Stocked], Transition]


@cache
def ways() -> tuple[Way, ...]:
    """Those of some drawn requests that arrive and take at least one change."""
    found = []
    for seed in (1, 8):
        random = np.random.default_rng(seed)
        for _ in range(18):
            request, cupboard = drawn(random)
            try:
                made = transition(request, cupboard)
            except NoAnswer:
                continue
            if made.changes:
                found.append((request, cupboard, made))
    return tuple(found)


def count_of(request: TransitionRequest, cupboard: Sequence[Stocked]) -> float:
    """Changes that the request takes; infinite where it never arrives."""
    try:
        return len(transition(request, cupboard).changes)
    except NoAnswer:
        return math.inf


def only(**bands: Band) -> Target:
    """A target of these bands and no others."""
    return replace(Target("own", ANY, ANY), **bands)


# Soft water of a tank [mmol/L, meq/L], a hard tap, and the way from the first to Malawi's.
TANK = replace(SOFT, nitrate_mg_l=0.0)
HARD_TAP = Water(2.0, 0.5, 0.8, 0.06, 1.2, 0.53, 3.6, 0, 0, 0, 0, 25.0)
GOAL = narrow(1.4, 2.4, 0.08)
PLAIN = TransitionRequest(TANK, 400, TANK, 0.25, GOAL, USUAL)


def breaches(request: TransitionRequest, before: Water, after: Water) -> set[str]:
    """Limits of one change that it does not keep, by the equilibrium alone."""
    limits = request.limits
    first, then = at_air(before, request.times_air), at_air(after, request.times_air)
    moved = {
        "hardness": abs(after.hardness_mmol_l - before.hardness_mmol_l) - limits.hardness_mmol_l - ROWS,
        "alkalinity": abs(after.alkalinity_meq_l - before.alkalinity_meq_l) - limits.alkalinity_meq_l - ROWS,
        "ph": abs(then.ph - first.ph) - limits.ph - PH,
        "conductivity": abs(then.conductivity_us_cm / first.conductivity_us_cm - 1)
        - limits.conductivity
        - CONDUCTIVITY,
        "temperature": abs(after.temperature_c - before.temperature_c) - limits.temperature_c - EXACT,
    }
    return {name for name, over in moved.items() if over > 0}
