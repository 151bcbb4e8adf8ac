"""Journeys drawn at random, and the same changes done by hand: what the tests of transitions share."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from cupboards import LINEAR, PURE, mmol_per_g

from chemistry.dosing.course import Limits
from chemistry.dosing.cupboard import Deionised, Stocked
from chemistry.dosing.journey import Journey, Transition, default_limits
from chemistry.substances import salt
from chemistry.water.composition import Water
from chemistry.water.target import Band, Target

# What thins with every change besides the ions: nitrate and ammonia conduct, and are charge.
BESIDES = ("nitrate_mg_l", "ammonia_mg_n_l")
DGH, DKH = 1 / 5.608, 2 / 5.608  # mmol/L and meq/L to a degree: 56.08 g of CaO to a mole, 10 mg/L to a degree
USUAL = default_limits()
BOUNDLESS = Limits(1e3, 1e3, 10.0, 1e3, 40.0)
# Medium water of a tank, and a harder tap [mmol/L, meq/L].
TANK = Water(1.0, 0.4, 1.2, 0.1, 1.2, 0.5, 1.9, 0, 0, 0, 0, 25.0)
TAP = Water(1.3, 0.35, 0.8, 0.06, 0.9, 0.5, 2.26, 0, 0, 0, 0, 25.0)
FOUR = ("calcium chloride dihydrate", "magnesium sulfate heptahydrate", "potassium chloride", "sodium bicarbonate")


@dataclass(frozen=True)
class Step:
    """One change by hand: waters at rest with their air, without carbon."""

    before: Water
    refill: Water
    after: Water


def plus(water: Water, **added: float) -> Water:
    """The water with so much more of some of its figures."""
    return replace(water, **{name: getattr(water, name) + amount for name, amount in added.items()})


def by_hand(journey: Journey, cupboard: Sequence[Stocked], done: Transition) -> Iterator[Step]:
    """Every change again, from grams, litres, share and top-off alone."""
    purity = {item.salt.name: item.purity for item in cupboard}
    refill_l, tank, source = journey.volume_l * journey.share, journey.tank, journey.source
    topping = source if journey.top_off == "source" else PURE
    degrees_c = tank.temperature_c
    for number, change in enumerate(done.changes):
        own = 1 - change.deionised_l / refill_l
        given = {name: getattr(source, name) * own for name in (*LINEAR, *BESIDES)}
        for name, gram in change.grams.items():
            for what in LINEAR:
                given[what] += gram * purity[name] * mmol_per_g(name, what) / refill_l
        refill = replace(source, ph=None, carbon_mmol_l=None, temperature_c=change.refill_temperature_c, **given)
        gathered = journey.evaporated_share if number else 0.0
        before = {name: getattr(tank, name) + gathered * getattr(topping, name) for name in (*LINEAR, *BESIDES)}
        after = {name: (1 - journey.share) * before[name] + journey.share * given[name] for name in before}
        warmed_c = (1 - journey.share) * degrees_c + journey.share * change.refill_temperature_c
        tank = replace(journey.tank, ph=None, carbon_mmol_l=None, temperature_c=degrees_c, **before)
        yield Step(tank, refill, tank := replace(tank, temperature_c=warmed_c, **after))
        degrees_c = warmed_c


def far(water: Water, target: Water, width: float, **bands: Band) -> Target:
    """Bands of a width around hardness and alkalinity of a water."""
    hardness, alkalinity = target.hardness_mmol_l, target.alkalinity_meq_l
    ends = (1 - width, 1 + width)
    return Target("drawn", Band(*(hardness * end for end in ends)), Band(*(alkalinity * end for end in ends)), **bands)


def drawn(random: np.random.Generator) -> tuple[Journey, list[Stocked]]:
    """A journey such as keepers make, with all that may come with one now and then."""

    def now_and_then(part: float) -> bool:
        return bool(random.random() < part)

    def water(low: float, high: float) -> Water:
        hardness, alkalinity, sodium = (
            random.uniform(low, high),
            random.uniform(low, 2 * high),
            random.uniform(0.1, 1.5),
        )
        magnesium, potassium = random.uniform(0.15, 0.5) * hardness, random.uniform(0, 0.1)
        anions = 2 * hardness + sodium + potassium - alkalinity
        sodium += max(0.2 - anions, 0.0)
        anions = max(anions, 0.2)
        sulfate = anions * random.uniform(0.1, 0.4)
        calcium, chloride = hardness - magnesium, anions - 2 * sulfate
        return Water(calcium, magnesium, sodium, potassium, chloride, sulfate, alkalinity, 0, 0, 0, 0, 25.0)

    source = water(0.2, 1.2)
    tank = source if now_and_then(0.3) else water(0.3, 1.8)
    hardness, alkalinity = random.uniform(0.6, 2.4), random.uniform(0.8, 4.0)
    wide = random.uniform(0.03, 0.15)
    bands = {}
    if now_and_then(0.4):
        ratio = random.uniform(0.5, 2)
        bands["calcium_to_magnesium"] = Band(ratio, 4 * ratio)
    target = Target(
        "drawn",
        Band(hardness * (1 - wide), hardness * (1 + wide)),
        Band(alkalinity * (1 - wide), alkalinity * (1 + wide)),
        **bands,
    )
    cupboard = [
        Stocked(salt(name), purity=random.choice([1.0, 0.9]), stock_g=random.choice([None, 400.0])) for name in FOUR
    ]
    journey = Journey(
        tank,
        volume_l=float(random.choice([120.0, 400.0, 900.0])),
        source=source,
        share=float(random.choice([0.15, 0.25, 0.4, 0.5])),
        target=target,
        limits=USUAL,
        step_g=float(random.choice([0.0, 0.1, 1.0])),
        deionised=Deionised() if now_and_then(0.5) else None,
        evaporated_share=0.03 if now_and_then(0.3) else 0.0,
        top_off=str(random.choice(["source", "deionised"])),
    )
    return journey, cupboard
