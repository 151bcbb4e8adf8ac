"""Salts by linear programme: bands held after weighing, least grams, order of the cupboard, and an outside solver."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.recipe.bands import standings
from tapwright.chemistry.dosing.recipe.cupboard import Stocked, dissolve
from tapwright.chemistry.dosing.recipe.remineralise import Recipe, RecipeRequest, recipe
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.programmes.linear_programme import Programme, solve
from tapwright.chemistry.substances import ion_charge, salt, salts
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import at_air
from tapwright.chemistry.water.target import Band, Target, lake_names, lake_target


def made_for(
    water: Water, target: Target, cupboard: list[Stocked], volume_l: float, step_g: float = 0.0, parts: int = 1
) -> Recipe:
    """The recipe that takes the target into so much of the water."""
    return recipe(water, cupboard, RecipeRequest(target, volume_l, step_g, parts))


def misses(water: Water, target: Target) -> tuple[object, ...]:
    """Bands the water lies outside of."""
    return tuple(standing for standing in standings(water, target) if not standing.held)


NAMES = ("sodium bicarbonate", "magnesium sulfate heptahydrate", "calcium chloride dihydrate", "potassium chloride",
         "magnesium chloride hexahydrate", "sodium carbonate anhydrous", "calcium sulfate dihydrate")  # fmt: skip
FULL = [Stocked(salt(name)) for name in NAMES]
PURE = Water(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 25.0)
SOFT = Water(0.4, 0.15, 0.4, 0.02, 0.35, 0.15, 0.8, 5, 0, 0, 0, 25.0)

targets = st.builds(
    lambda hardness, alkalinity, width, ratio: Target(
        "drawn",
        Band(hardness, hardness * (1 + width)),
        Band(alkalinity, alkalinity * (1 + width)),
        Band(ratio, 4 * ratio),
    ),
    st.floats(1.2, 4),
    st.floats(0.9, 8),
    st.floats(0.05, 0.5),
    st.floats(0.3, 3),
)


@given(targets, st.floats(20, 2000), st.sampled_from([0.0, 0.1, 1.0]), st.integers(1, 4))
def test_recipes_land_in_every_band_after_weighing_or_say_which_they_miss(
    target: Target, volume_l: float, step_g: float, parts: int
) -> None:
    made = made_for(SOFT, target, FULL, volume_l, step_g=step_g, parts=parts)
    assert all(gram > 0 for gram in made.grams.values())
    assert not made.missed or not made.missed_by_scale
    if not made.missed:
        assert made.missed_by_scale == misses(made.water, target)
    narrowest = min(target.hardness_mmol_l.high - target.hardness_mmol_l.low,
                    target.alkalinity_meq_l.high - target.alkalinity_meq_l.low)  # fmt: skip
    # Seven salts, each off by half a step: where the bands have room for that, nothing is missed.
    room = narrowest > 7 * 20 * step_g * parts / volume_l and step_g * parts / volume_l < 0.001
    assert made.missed == ()
    if room or step_g == 0:
        assert made.missed_by_scale == ()
    if step_g:
        for gram in made.grams.values():
            assert gram / parts / step_g == pytest.approx(round(gram / parts / step_g), abs=1e-6)


@given(targets, st.permutations(FULL))
def test_the_order_of_the_cupboard_decides_nothing(target: Target, cupboard: list[Stocked]) -> None:
    assert made_for(SOFT, target, cupboard, 300).grams == made_for(SOFT, target, FULL, 300).grams


@given(targets, st.floats(0.1, 20))
def test_grams_scale_with_volume(target: Target, factor: float) -> None:
    once, more = made_for(SOFT, target, FULL, 100), made_for(SOFT, target, FULL, 100 * factor)
    assert more.grams == pytest.approx({name: gram * factor for name, gram in once.grams.items()}, rel=1e-6)


def test_a_water_inside_its_bands_takes_nothing() -> None:
    target = Target("as it is", Band(0.5, 0.6), Band(0.7, 0.9), Band(1, 5))
    assert made_for(SOFT, target, FULL, 500, step_g=1).grams == {}


@pytest.mark.parametrize("lake", lake_names())
def test_every_lake_is_reached_from_pure_water(lake: str) -> None:
    made = made_for(PURE, lake_target(lake), FULL, 400, step_g=0.1)
    assert made.missed == ()
    assert made.water.charge_error_percent == pytest.approx(0, abs=1e-6)


def test_hardness_salts_alone_cannot_bring_alkalinity() -> None:
    hard = [Stocked(salt(name)) for name in NAMES[1:4]]
    made = made_for(SOFT, lake_target("malawi"), hard, 300)
    assert "alkalinity_meq_l" in [miss.band for miss in made.missed]


def test_carbonates_stay_in_the_cupboard_where_bicarbonates_do() -> None:
    # A gram of sodium carbonate brings more alkalinity than one of bicarbonate, and lifts pH far with it.
    soda = [Stocked(salt("sodium carbonate anhydrous")), *FULL[1:3]]
    forced = made_for(SOFT, lake_target("malawi"), soda, 300)
    assert forced.harsh == ("sodium carbonate anhydrous",)
    assert forced.missed == ()
    both = made_for(SOFT, lake_target("malawi"), [*soda, FULL[0]], 300)
    assert both.harsh == ()
    assert "sodium bicarbonate" in both.grams


def test_weighed_recipes_against_every_weighable_one() -> None:
    """Every recipe of up to 30 steps of four salts: inside all bands, fewest salts, fewest grams, least sodium."""
    random = np.random.default_rng(4)
    few, volume_l, step_g = FULL[:4], 60.0, 2.0
    counts = np.array(list(product(range(31), range(26), range(21), range(4))))
    per_step = step_g / volume_l
    calcium, magnesium, sodium = (
        getattr(SOFT, f"{ion}_mmol_l")
        + counts @ np.array([item.salt.ions_mmol_per_g().get(symbol, 0.0) for item in few]) * per_step
        for ion, symbol in (("calcium", "Ca"), ("magnesium", "Mg"), ("sodium", "Na"))
    )
    alkaline = SOFT.alkalinity_meq_l + counts @ np.array([item.salt.alkalinity_meq_per_g() for item in few]) * per_step
    compared, calm = 0, reference.value("limits", "calcite_calm")
    for _ in range(150):
        hardness, alkalinity, width = random.uniform(0.8, 2.5), random.uniform(1, 4), random.uniform(0.02, 0.2)
        target = Target(
            "t", Band(hardness, hardness * (1 + width)), Band(alkalinity, alkalinity * (1 + width)), Band(0.3, 3)
        )
        made = made_for(SOFT, target, few, volume_l, step_g=step_g)
        held = (
            (np.abs(calcium + magnesium - hardness * (1 + width / 2)) <= hardness * width / 2)
            & (np.abs(alkaline - alkalinity * (1 + width / 2)) <= alkalinity * width / 2)
            & (calcium >= 0.3 * magnesium)
            & (calcium <= 3 * magnesium)
        )
        if not held.any():
            assert made.missed or made.missed_by_scale
            continue
        assert not made.missed and not made.missed_by_scale
        best = min(
            zip(
                (counts[held] > 0).sum(axis=1),
                counts[held].sum(axis=1),
                sodium[held],
                np.flatnonzero(held),
                strict=True,
            )
        )
        cheapest = dissolve(
            SOFT, [(item.salt, step_g * n / volume_l) for item, n in zip(few, counts[best[3]], strict=True)]
        )
        if at_air(cheapest).si_calcite > calm:  # made clearer where it can be, or it is the least all the same
            assert at_air(made.water).si_calcite <= calm + 0.002 or sum(made.grams.values()) == pytest.approx(
                2 * best[1]
            )
            continue
        compared += 1
        assert len(made.grams) == best[0]
        assert sum(made.grams.values()) == pytest.approx(step_g * best[1])
        assert made.water.sodium_mmol_l == pytest.approx(best[2])
    assert compared > 40


def test_a_miss_is_never_made_worse_for_the_ratio() -> None:
    hard = Water(1.5, 0.02, 0.4, 0, 0.4, 0.2, 2.2, 5, 0, 0, 0, 25.0)  # 8.5 dGH against a band to 4.4
    made = made_for(hard, lake_target("malawi"), FULL, 115, step_g=1)
    assert made.water.hardness_mmol_l == pytest.approx(hard.hardness_mmol_l)
    assert {miss.band for miss in made.missed} == {"hardness_mmol_l", "calcium_to_magnesium"}


def test_a_carbonate_is_no_help_where_nothing_helps() -> None:
    hard = Water(1.5, 0.25, 0.4, 0, 1.5, 0.2, 1.2, 5, 0, 0, 0, 25.0)
    made = made_for(hard, lake_target("malawi"), FULL, 115, step_g=1)
    assert made.harsh == ()
    assert "sodium bicarbonate" in made.grams


def test_water_without_magnesium_misses_the_ratio_in_words() -> None:
    made = made_for(PURE, lake_target("malawi"), [FULL[0], FULL[2]], 100)
    (miss,) = [miss for miss in made.missed if miss.band == "calcium_to_magnesium"]
    assert miss.value == np.inf


def test_a_scale_too_coarse_for_the_bands_is_told_from_a_cupboard_that_cannot() -> None:
    made = made_for(SOFT, lake_target("malawi"), FULL, 20, step_g=10)
    assert made.missed == ()
    assert made.missed_by_scale == misses(made.water, lake_target("malawi")) != ()


def test_a_tap_above_the_band_is_a_miss_that_no_salt_mends() -> None:
    hard = replace(SOFT, calcium_mmol_l=3.0, chloride_mmol_l=5.5)
    (miss,) = [m for m in made_for(hard, lake_target("malawi"), FULL, 300).missed if m.band == "hardness_mmol_l"]
    assert miss.value > miss.limit


def test_stock_is_never_overdrawn_and_misses_are_the_least() -> None:
    cupboard = [Stocked(salt("sodium bicarbonate"), stock_g=10.0)]
    target = Target("own", Band(0.5, 0.6), Band(2.0, 2.2))
    made = made_for(SOFT, target, cupboard, 300, step_g=1, parts=3)
    assert made.grams == {"sodium bicarbonate": pytest.approx(9.0)}
    assert [miss.band for miss in made.missed] == ["alkalinity_meq_l"]


def test_purity_takes_more_of_the_salt() -> None:
    target = Target("own", Band(0.5, 0.6), Band(2.0, 2.2))
    pure = made_for(SOFT, target, [Stocked(salt("sodium bicarbonate"))], 300)
    poor = made_for(SOFT, target, [Stocked(salt("sodium bicarbonate"), purity=0.8)], 300)
    assert poor.grams["sodium bicarbonate"] == pytest.approx(pure.grams["sodium bicarbonate"] / 0.8)
    assert poor.water.alkalinity_meq_l == pytest.approx(pure.water.alkalinity_meq_l)


@given(st.lists(st.tuples(st.sampled_from(list(salts().values())), st.floats(0, 2)), max_size=6))
def test_dissolving_conserves_charge_and_adds_up(doses: list[tuple[object, float]]) -> None:
    made = dissolve(SOFT, doses)
    assert made.cations_meq_l - made.anions_meq_l == pytest.approx(SOFT.cations_meq_l - SOFT.anions_meq_l, abs=1e-9)
    step = SOFT
    for dose in doses:
        step = dissolve(step, [dose])
    assert step.alkalinity_meq_l == pytest.approx(made.alkalinity_meq_l)
    assert made.hardness_mmol_l - SOFT.hardness_mmol_l == pytest.approx(
        sum(entry.hardness_mmol_per_g() * grams for entry, grams in doses), abs=1e-9
    )
    assert all(ion_charge(ion) for entry, _ in doses for ion in entry.ions)


@pytest.mark.parametrize("changes", [{"volume_l": 0}, {"volume_l": -1}, {"step_g": -0.1}, {"parts": 0}])
def test_impossible_batches_are_refused(changes: dict[str, float]) -> None:
    asked = {"volume_l": 100, "step_g": 1.0, "parts": 1, **changes}
    with pytest.raises(BadInput):
        made_for(SOFT, lake_target("malawi"), FULL, **asked)


def test_random_programmes_against_scipy() -> None:
    random = np.random.default_rng(20)
    for _ in range(200):
        rows, columns = random.integers(1, 5), random.integers(1, 6)
        matrix = random.normal(size=(rows, columns))
        middle = random.normal(size=rows)
        low, high = middle - random.random(rows), middle + random.random(rows)
        cost, upper = random.random(columns) + 0.1, random.random(columns) * 5
        ours = solve(Programme(cost, matrix, low, high, upper))
        theirs = linprog(
            cost,
            np.vstack([matrix, -matrix]),
            np.concatenate([high, -low]),
            bounds=list(zip(0 * upper, upper, strict=True)),
        )
        assert (ours is not None) == theirs.success
        if ours is not None:
            assert cost @ ours == pytest.approx(theirs.fun, abs=1e-8)


def test_the_solvers_banner_stays_off_stdout() -> None:
    code = (
        "import numpy as np; from tapwright.chemistry.programmes.linear_programme import Programme, solve; one = np.ones(1); "
        "print(solve(Programme(one, np.ones((1, 1)), one, 2 * one, 5 * one))[0])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "1.0\n"
    assert done.stderr == ""


def test_an_unknown_lake_brings_the_known_ones() -> None:
    with pytest.raises(BadInput, match="'malawi'"):
        lake_target("malavi")
