"""A recipe and its buckets count on each other: what is poured together lies in the bands the recipe was made for."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tapwright.chemistry.dosing.premix.prepared import prepared, thinned
from tapwright.chemistry.dosing.recipe.bands import standings
from tapwright.chemistry.dosing.recipe.cupboard import Stocked, dissolve
from tapwright.chemistry.dosing.recipe.remineralise import RecipeRequest
from tapwright.chemistry.substances import salt
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import deionised_water
from tapwright.chemistry.water.target import ANY, Band, Target

HARD = Water(2.5, 0.6, 0.8, 0.05, 1.6, 0.7, 4.0, 10, 0.1, 0, 0, 25.0, ph=7.5)
WISH = RecipeRequest(Target("more alkaline", ANY, Band(6.6, 7.2)), 400.0, 0.1, 2)


def test_a_bucket_of_deionised_water_is_counted_in_the_recipe() -> None:
    made = prepared(HARD, [Stocked(salt("sodium bicarbonate"))], WISH)
    (bucket,) = made.premix.buckets
    assert bucket.water == "deionised water"  # else this test says nothing
    tote_l = WISH.volume_l / WISH.parts
    by_hand = thinned(HARD, bucket.volume_l, tote_l)
    finished = dissolve(by_hand, [(salt(name), grams / tote_l) for name, grams in bucket.salts.items()])
    assert all(standing.held for standing in standings(finished, WISH.target))
    assert made.recipe.water.alkalinity_meq_l == pytest.approx(finished.alkalinity_meq_l)
    assert made.recipe.water.calcium_mmol_l == pytest.approx(2.5 * (1 - bucket.volume_l / tote_l))
    assert made.recipe.water.nitrate_mg_l == pytest.approx(10 * (1 - bucket.volume_l / tote_l))


def test_thinning_by_nothing_and_by_all() -> None:
    same = thinned(HARD, 0.0, 100.0)
    assert same.calcium_mmol_l == HARD.calcium_mmol_l and same.carbon_mmol_l is not None
    bare = thinned(HARD, 100.0, 100.0)
    assert bare.hardness_mmol_l == 0
    assert bare.carbon_mmol_l == pytest.approx(deionised_water(25.0).carbon_mmol_l)


def test_a_soft_tap_takes_no_deionised_water() -> None:
    soft = replace(
        HARD, calcium_mmol_l=0.3, magnesium_mmol_l=0.1, alkalinity_meq_l=0.6, chloride_mmol_l=0.3, sulfate_mmol_l=0.1
    )
    assert prepared(soft, [Stocked(salt("sodium bicarbonate"))], WISH).premix.deionised_l == 0
