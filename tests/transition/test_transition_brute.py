"""The fewest changes against breadth-first search over every tank that whole steps of one or two salts can make."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np
import pytest
from cupboards import LINEAR, amounts_in, jars, mmol_per_g
from transition_requests import (
    CALCIUM,
    CALM,
    CONDUCTIVITY,
    EPSOM,
    INDEX,
    PH,
    PLAIN,
    SODA,
    TANK,
    USUAL,
    at_rest,
    count_of,
    drawn_water,
    narrow,
    only,
)

from tapwright.chemistry.dosing.recipe.cupboard import Deionised, Stocked
from tapwright.chemistry.dosing.transition.request import Transition, TransitionRequest
from tapwright.chemistry.dosing.transition.transition import transition
from tapwright.chemistry.substances import salt
from tapwright.chemistry.water.target import Band

HARDNESS, ALKALINITY = np.array([1.0, 1, 0, 0, 0, 0, 0]), np.array([0.0, 0, 0, 0, 0, 0, 1])
ROWS = 1e-6
# A search this deep is enough, and no wider: what is left open then is left out.
DEEPEST, WIDEST = 4, 500_000


def fewest(request: TransitionRequest, cupboard: Sequence[Stocked], edge: float) -> float | None:
    """Fewest changes by trying all; infinite where more than DEEPEST, None where there is too much to try.

    edge: parts of what no pen sees (PH, CONDUCTIVITY, INDEX) by which a limit may be passed.  Nitrate is left out: the
    requests here have none.
    """
    share, limits, target = request.share, request.limits, request.target
    effects, stock, most = _columns(request, cupboard)
    source = amounts_in(request.source)
    topping = request.evaporated_share * source * (request.top_off == "source")
    tanks, used = amounts_in(request.tank)[np.newaxis], np.zeros((1, len(effects)))
    for change in range(1, DEEPEST + 1):
        tanks = tanks + topping * (change > 1)
        units = _units(tanks, source, effects, most, request)
        if len(tanks) * len(units) > WIDEST:
            return None
        refills = np.maximum(source + units @ effects, 0.0)
        clear = at_rest(request.source, refills, request.room_times_air).si_calcite <= CALM + edge * INDEX
        units, refills = units[clear], refills[clear]
        after, total = (1 - share) * tanks[:, None] + share * refills, used[:, None] + units
        moved = after - tanks[:, None]
        kept = (np.abs(moved @ HARDNESS) <= limits.hardness_mmol_l + ROWS) & np.all(total <= stock + ROWS, axis=-1)
        kept &= np.abs(moved @ ALKALINITY) <= limits.alkalinity_meq_l + ROWS
        if not kept.any():
            return math.inf
        was = np.nonzero(kept)[0]
        here, then = (at_rest(request.tank, waters, request.times_air) for waters in (tanks, after[kept]))
        near = np.abs(then.ph - here.ph[was]) <= limits.ph + edge * PH
        ratio = then.conductivity_us_cm / here.conductivity_us_cm[was]
        near &= np.abs(ratio - 1) <= limits.conductivity + edge * CONDUCTIVITY
        tanks, used = after[kept][near], total[kept][near]
        hardness, alkalinity = tanks @ HARDNESS, tanks @ ALKALINITY
        ends = ((hardness, target.hardness_mmol_l), (alkalinity, target.alkalinity_meq_l))
        if np.any(np.all([(value >= band.low - ROWS) & (value <= band.high + ROWS) for value, band in ends], axis=0)):
            return change
        if len(tanks) == 0:
            return math.inf
        _, first = np.unique(np.round(np.hstack([tanks, used]), 9), axis=0, return_index=True)
        tanks, used = tanks[first], used[first]
    return math.inf


def _columns(request: TransitionRequest, cupboard: Sequence[Stocked]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What a step of each salt, and a step of deionised water last, does to a refill; steps in stock; steps in one refill."""
    refill_l = request.volume_l * request.share
    effects = [
        request.step_g / refill_l * item.purity * np.array([mmol_per_g(item.salt.name, what) for what in LINEAR])
        for item in cupboard
    ]
    stock = [math.inf if item.stock_g is None else math.floor(item.stock_g / request.step_g) for item in cupboard]
    most = [math.inf] * len(effects)
    if request.deionised is not None:
        litre = 1.0 if refill_l >= 50 else 0.1
        effects.append(-litre / refill_l * amounts_in(request.source))
        stock.append(math.inf)
        most.append(math.floor(refill_l / litre + 1e-9))
    return np.array(effects).reshape(-1, len(LINEAR)), np.array(stock), np.array(most)


def _units(
    tanks: np.ndarray, source: np.ndarray, effects: np.ndarray, most: np.ndarray, request: TransitionRequest
) -> np.ndarray:
    """Every number of steps of every column that no limit of hardness or alkalinity rules out by itself."""
    ranges = []
    thinned = source * (1 if np.isfinite(most).any() else 0)
    for effect, end in zip(effects, most, strict=True):
        ends = [end]
        for weights, limit in (
            (HARDNESS, request.limits.hardness_mmol_l),
            (ALKALINITY, request.limits.alkalinity_meq_l),
        ):
            if weights @ effect > 0:
                room = limit / request.share + (tanks @ weights).max() - weights @ (source - thinned)
                ends.append(math.floor(room / (weights @ effect)) + 1)
        ranges.append(range(int(max(min(ends), 0)) + 1))
    return np.array(list(product(*ranges)), dtype=float).reshape(math.prod(map(len, ranges)), len(effects))


Case = tuple[TransitionRequest, list[Stocked]]


def _drawn(random: np.random.Generator) -> Case:
    """A request with one or two salts, in steps that move the tank's alkalinity by 0.05 to 0.3 meq/L."""
    source = drawn_water(random, 0.2, 1.2, 0.0)
    tank = source if random.random() < 0.3 else drawn_water(random, 0.3, 1.8, 0.0)
    volume_l = float(random.choice([120.0, 400.0, 900.0]))
    soda = Stocked(salt(SODA), stock_g=random.choice([None, volume_l * random.uniform(0.02, 0.15)]))
    hard = Stocked(salt(random.choice([CALCIUM, EPSOM])), random.choice([1.0, 0.9]))
    cupboard = [[soda], [hard], [soda, hard], [soda, hard]][random.integers(4)]
    hardness, alkalinity = random.uniform(0.5, 1.2), random.uniform(0.6, 1.6)
    target = narrow(
        tank.hardness_mmol_l + (hardness if hard in cupboard else 0),
        tank.alkalinity_meq_l + (alkalinity if soda in cupboard else 0),
        random.uniform(0.03, 0.12),
    )
    if len(cupboard) == 1:  # the quantity that its salt does not move is left open
        (item,) = cupboard
        target = only(hardness_mmol_l=target.hardness_mmol_l) if item is hard else only(
            alkalinity_meq_l=target.alkalinity_meq_l
        )  # fmt: skip
    request = TransitionRequest(
        replace(tank, temperature_c=25.0),
        volume_l,
        replace(source, temperature_c=25.0),
        share=float(random.choice([0.15, 0.25, 0.4, 0.5])),
        target=target,
        limits=USUAL,
        step_g=round(random.uniform(0.05, 0.3) * 0.084 * volume_l, 1),
        evaporated_share=0.03 if random.random() < 0.3 else 0.0,
        top_off=str(random.choice(["source", "deionised"])),
    )
    return request, cupboard


@cache
def searched() -> tuple[tuple[TransitionRequest, list[Stocked], Transition, float, float], ...]:
    """Drawn cases that arrive, the engine's way, and the fewest changes where limits may be passed by what no pen sees, and
    where not at all.
    """
    random = np.random.default_rng(7)
    found = []
    for _ in range(32):
        request, cupboard = _drawn(random)
        without = fewest(request, cupboard, 0.0)
        if without is not None and math.isfinite(without):
            with_edge = fewest(request, cupboard, 1.0) or 0.0
            found.append((request, cupboard, transition(request, cupboard), with_edge, without))
    return tuple(found)


def test_whole_steps_take_the_fewest_changes_that_any_take() -> None:
    counts = []
    for _, _, made, with_edge, without in searched():
        assert with_edge <= len(made.changes) <= without
        counts.append(len(made.changes))
    # Enough of them are a search: one change is seen at a glance.
    assert sum(count > 1 for count in counts) >= 12
    assert {2, 3} <= set(counts)


def test_any_amount_takes_no_more_changes_than_whole_steps_of_any_size() -> None:
    fewer = 0
    for request, cupboard, made, _, without in searched():
        fine = count_of(replace(request, step_g=0.0), cupboard)
        assert fine <= without
        assert made.by_scale == (fine < len(made.changes))
        fewer += made.by_scale
    assert fewer  # steps do cost changes now and then, or the bound says nothing


def test_each_quantity_by_itself_is_too_few_where_salts_bring_conductivity() -> None:
    """Hardness alone would take 2 changes; the chloride it brings lifts conductivity, and that takes two more."""
    request = replace(PLAIN, target=only(hardness_mmol_l=Band(0.99, 1.11)), share=0.5, step_g=3.0)
    made = transition(request, jars(CALCIUM))
    assert made.each_alone == 2
    assert len(made.changes) == fewest(request, jars(CALCIUM), 0.0) == 4
    loose = replace(request, limits=replace(USUAL, conductivity=9.0))
    assert len(transition(loose, jars(CALCIUM)).changes) == fewest(loose, jars(CALCIUM), 0.0) == 2


def test_each_quantity_by_itself_is_too_few_where_refills_must_stay_clear() -> None:
    """A small share needs a strong refill, and that would cloud."""
    request = replace(PLAIN, tank=TANK, share=0.1, target=only(alkalinity_meq_l=Band(1.9, 2.1)), step_g=3.0)
    request = replace(request, limits=replace(USUAL, conductivity=9.0))
    made = transition(request, jars(SODA))
    assert made.each_alone == 2
    assert len(made.changes) == fewest(request, jars(SODA), 0.0) > 2


@pytest.mark.parametrize(("ph", "changes"), [(0.5, 1), (0.2, 2), (0.1, 3)])
def test_the_limit_of_ph_where_it_alone_binds(ph: float, changes: int) -> None:
    request = replace(PLAIN, share=0.4, target=only(alkalinity_meq_l=Band(1.4, 1.5)), step_g=2.0)
    request = replace(request, limits=replace(USUAL, ph=ph, conductivity=9.0))
    assert count_of(request, jars(SODA)) == fewest(request, jars(SODA), 0.0) == changes
    assert count_of(replace(request, step_g=0.0), jars(SODA)) == changes


@pytest.mark.parametrize("deionised", [None, Deionised()])
def test_thinning_with_deionised_water_alone(deionised: Deionised | None) -> None:
    hard = replace(TANK, calcium_mmol_l=0.9, chloride_mmol_l=1.35)
    request = replace(PLAIN, tank=hard, source=hard, volume_l=20, step_g=1.0, deionised=deionised)
    request = replace(request, target=only(hardness_mmol_l=Band(0.6, 0.62)))
    count = fewest(request, [], 0.0)
    assert count_of(request, []) == count == (math.inf if deionised is None else 3)


def test_a_stock_that_just_does() -> None:
    request = replace(PLAIN, volume_l=200, share=0.4, target=only(alkalinity_meq_l=Band(1.7, 1.8)), step_g=4.0)
    counts = {stock_g: fewest(request, [Stocked(salt(SODA), stock_g=stock_g)], 0.0) for stock_g in (200.0, 28.0, 24.0)}
    assert counts == {200.0: 4, 28.0: 4, 24.0: math.inf}
    made = transition(request, [Stocked(salt(SODA), stock_g=28.0)])
    assert len(made.changes) == 4
    assert sum(change.grams.get(SODA, 0.0) for change in made.changes) <= 28 + ROWS
