"""Salts by linear programme: bands held after weighing, least grams, order of the cupboard, and an outside solver."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog

from chemistry.dosing.linear_programme import Programme, solve
from chemistry.dosing.remineralise import Stocked, dissolve, misses, recipe
from chemistry.errors import BadInput
from chemistry.substances import ion_charge, salt, salts
from chemistry.water.composition import Water
from chemistry.water.target import Band, Target, lake_names, lake_target

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
    made = recipe(SOFT, target, FULL, volume_l, step_g=step_g, parts=parts)
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
    assert recipe(SOFT, target, cupboard, 300).grams == recipe(SOFT, target, FULL, 300).grams


@given(targets, st.floats(0.1, 20))
def test_grams_scale_with_volume(target: Target, factor: float) -> None:
    once, more = recipe(SOFT, target, FULL, 100), recipe(SOFT, target, FULL, 100 * factor)
    assert more.grams == pytest.approx({name: gram * factor for name, gram in once.grams.items()}, rel=1e-6)


def test_a_water_inside_its_bands_takes_nothing() -> None:
    target = Target("as it is", Band(0.5, 0.6), Band(0.7, 0.9), Band(1, 5))
    assert recipe(SOFT, target, FULL, 500, step_g=1).grams == {}


@pytest.mark.parametrize("lake", lake_names())
def test_every_lake_is_reached_from_pure_water(lake: str) -> None:
    made = recipe(PURE, lake_target(lake), FULL, 400, step_g=0.1)
    assert made.missed == ()
    assert made.water.charge_error_percent == pytest.approx(0, abs=1e-6)


def test_hardness_salts_alone_cannot_bring_alkalinity() -> None:
    hard = [Stocked(salt(name)) for name in NAMES[1:4]]
    made = recipe(SOFT, lake_target("malawi"), hard, 300)
    assert "alkalinity" in [miss.band for miss in made.missed]


def test_carbonates_stay_in_the_cupboard_where_bicarbonates_do() -> None:
    # A gram of sodium carbonate brings more alkalinity than one of bicarbonate, and lifts pH far with it.
    soda = [Stocked(salt("sodium carbonate anhydrous")), *FULL[1:3]]
    forced = recipe(SOFT, lake_target("malawi"), soda, 300)
    assert forced.harsh == ("sodium carbonate anhydrous",)
    assert forced.missed == ()
    both = recipe(SOFT, lake_target("malawi"), [*soda, FULL[0]], 300)
    assert both.harsh == ()
    assert "sodium bicarbonate" in both.grams


def test_weighed_recipes_against_every_weighable_one() -> None:
    random = np.random.default_rng(4)
    few = [FULL[0], FULL[1], FULL[2]]
    inside = 0
    for _ in range(60):
        hardness, alkalinity, width = random.uniform(0.8, 2.5), random.uniform(1, 4), random.uniform(0.02, 0.2)
        target = Target(
            "t", Band(hardness, hardness * (1 + width)), Band(alkalinity, alkalinity * (1 + width)), Band(0.3, 3)
        )
        made = recipe(SOFT, target, few, 60, step_g=2)
        counts = range(31)
        best = min(
            (
                2 * (a + b + c)
                for a in counts
                for b in counts
                for c in counts
                if not misses(
                    dissolve(SOFT, [(few[0].salt, a / 30), (few[1].salt, b / 30), (few[2].salt, c / 30)]), target
                )
            ),
            default=None,
        )
        if best is None:
            assert made.missed or made.missed_by_scale
        else:
            inside += 1
            assert not made.missed and not made.missed_by_scale
            assert sum(made.grams.values()) == pytest.approx(best)
    assert inside > 15


def test_a_miss_is_never_made_worse_for_the_ratio() -> None:
    hard = Water(1.5, 0.02, 0.4, 0, 0.4, 0.2, 2.2, 5, 0, 0, 0, 25.0)  # 8.5 dGH against a band to 4.4
    made = recipe(hard, lake_target("malawi"), FULL, 115, step_g=1)
    assert made.water.hardness_mmol_l == pytest.approx(hard.hardness_mmol_l)
    assert {miss.band for miss in made.missed} == {"hardness", "calcium to magnesium"}


def test_a_carbonate_is_no_help_where_nothing_helps() -> None:
    hard = Water(1.5, 0.25, 0.4, 0, 1.5, 0.2, 1.2, 5, 0, 0, 0, 25.0)
    made = recipe(hard, lake_target("malawi"), FULL, 115, step_g=1)
    assert made.harsh == ()
    assert "sodium bicarbonate" in made.grams


def test_water_without_magnesium_misses_the_ratio_in_words() -> None:
    made = recipe(PURE, lake_target("malawi"), [FULL[0], FULL[2]], 100)
    (miss,) = [miss for miss in made.missed if miss.band == "calcium to magnesium"]
    assert miss.reached == np.inf


def test_a_scale_too_coarse_for_the_bands_is_told_from_a_cupboard_that_cannot() -> None:
    made = recipe(SOFT, lake_target("malawi"), FULL, 20, step_g=10)
    assert made.missed == ()
    assert made.missed_by_scale == misses(made.water, lake_target("malawi")) != ()


def test_a_tap_above_the_band_is_a_miss_that_no_salt_mends() -> None:
    hard = replace(SOFT, calcium_mmol_l=3.0, chloride_mmol_l=5.5)
    (miss,) = [m for m in recipe(hard, lake_target("malawi"), FULL, 300).missed if m.band == "hardness"]
    assert miss.reached > miss.limit


def test_stock_is_never_overdrawn_and_misses_are_the_least() -> None:
    cupboard = [Stocked(salt("sodium bicarbonate"), stock_g=10.0)]
    target = Target("own", Band(0.5, 0.6), Band(2.0, 2.2))
    made = recipe(SOFT, target, cupboard, 300, step_g=1, parts=3)
    assert made.grams == {"sodium bicarbonate": pytest.approx(9.0)}
    assert [miss.band for miss in made.missed] == ["alkalinity"]


def test_purity_takes_more_of_the_salt() -> None:
    target = Target("own", Band(0.5, 0.6), Band(2.0, 2.2))
    pure = recipe(SOFT, target, [Stocked(salt("sodium bicarbonate"))], 300)
    poor = recipe(SOFT, target, [Stocked(salt("sodium bicarbonate"), purity=0.8)], 300)
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
        recipe(SOFT, lake_target("malawi"), FULL, **asked)


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
        "import numpy as np; from chemistry.dosing.linear_programme import Programme, solve; one = np.ones(1); "
        "print(solve(Programme(one, np.ones((1, 1)), one, 2 * one, 5 * one))[0])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "1.0\n"
    assert done.stderr == ""


def test_an_unknown_lake_brings_the_known_ones() -> None:
    with pytest.raises(BadInput, match="'malawi'"):
        lake_target("malavi")
