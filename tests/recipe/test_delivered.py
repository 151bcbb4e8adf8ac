"""How far the refill may lie off: shares, their sum of squares, and a Monte Carlo of the same errors."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from cupboards import HARD, PURE, SOFT, calm_targets, jars, mmol_per_g
from hypothesis import given, settings
from hypothesis import strategies as st

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.recipe import delivered
from tapwright.chemistry.dosing.recipe.cupboard import Deionised, Stocked
from tapwright.chemistry.dosing.recipe.delivered import delivered_spread
from tapwright.chemistry.dosing.recipe.remineralise import Recipe, RecipeRequest, recipe
from tapwright.chemistry.substances import molar_mass
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.target import Band, Target

NAMES = ("sodium bicarbonate", "potassium bicarbonate", "calcium chloride dihydrate", "magnesium sulfate heptahydrate")
TARGET = Target("own", Band(1.0, 1.1), Band(2.0, 2.2), Band(0.8, 1.2), sodium_mmol_l=Band(0.9, 1.1))


def case(
    step_g: float = 0.5, parts: int = 2, spooned: bool = True
) -> tuple[Water, list[Stocked], RecipeRequest, Recipe]:
    """A recipe of four salts, one of them by the spoon."""
    cupboard = [replace(item, purity=0.95) for item in jars(*NAMES)]
    if spooned:
        cupboard[2] = replace(cupboard[2], step_g=1.1)
    request = RecipeRequest(TARGET, 150.0, step_g, parts)
    return SOFT, cupboard, request, recipe(SOFT, cupboard, request)


@settings(max_examples=25)
@given(calm_targets, st.sampled_from([0.0, 0.1, 1.0]), st.integers(1, 3), st.sampled_from([PURE, SOFT, HARD]))
def test_shares_add_to_one_and_squares_to_the_whole(target: Target, step_g: float, parts: int, water: Water) -> None:
    cupboard, request = jars(*NAMES), RecipeRequest(target, 90.0, step_g, parts, Deionised())
    for spread in delivered_spread(water, cupboard, request, recipe(water, cupboard, request)).values():
        if not spread.shares:
            assert spread.give_or_take == 0 and spread.largest == ""
            continue
        assert sum(spread.shares.values()) == pytest.approx(1)
        assert all(share > 0 for share in spread.shares.values())
        assert spread.shares[spread.largest] == max(spread.shares.values())
        assert spread.give_or_take > 0


def test_every_error_by_hand() -> None:
    water, cupboard, request, made = case()
    assert made.grams.keys() == set(NAMES)
    spread = delivered_spread(water, cupboard, request, made)["alkalinity_meq_l"]
    per_g = [mmol_per_g(name, "alkalinity_meq_l") * 0.95 / 150 for name in NAMES[:2]]
    each = [made.grams[name] * one for name, one in zip(NAMES[:2], per_g, strict=True)]
    kit = 0.5 * 20 / molar_mass("CaO")  # half a degree of carbonate hardness
    scale = 0.5 * math.sqrt(2) * math.hypot(*per_g)  # a step for each of two batches
    volume, purity = 0.03 * sum(each), 0.02 * math.hypot(*each)
    whole = math.sqrt(kit**2 + scale**2 + volume**2 + purity**2)
    assert spread.give_or_take == pytest.approx(whole)
    by_hand = {"test kit": kit, "scale": scale, "volume": volume, "purity": purity}
    assert spread.shares == pytest.approx({name: (error / whole) ** 2 for name, error in by_hand.items()})
    hardness = delivered_spread(water, cupboard, request, made)["hardness_mmol_l"]
    spoon = 0.15 * made.grams[NAMES[2]] * mmol_per_g(NAMES[2], "calcium_mmol_l") * 0.95 / 150
    assert hardness.shares["spoon"] * hardness.give_or_take**2 == pytest.approx(spoon**2)


def test_the_same_by_throwing_dice() -> None:
    """100 000 refills with every error drawn for itself, and put through the making of it: same give or take."""
    water, cupboard, request, made = case()
    random, count = np.random.default_rng(5), 100_000

    def error(size: float) -> np.ndarray:
        return size * random.standard_normal(count)

    litres = 150 * (1 + error(0.03))
    whole = {
        "hardness_mmol_l": water.hardness_mmol_l + error(0.5 * 10 / molar_mass("CaO")),
        "alkalinity_meq_l": water.alkalinity_meq_l + error(0.5 * 20 / molar_mass("CaO")),
    }
    for item in cupboard:
        name, grams = item.salt.name, made.grams[item.salt.name]
        off = error(0.15 * grams) if item.step_g else sum(error(0.5) for _ in range(2))
        brought = (grams + off) * item.purity * (1 + error(0.02)) / litres
        whole["hardness_mmol_l"] = whole["hardness_mmol_l"] + brought * item.salt.hardness_mmol_per_g()
        whole["alkalinity_meq_l"] = whole["alkalinity_meq_l"] + brought * mmol_per_g(name, "alkalinity_meq_l")
    for quantity, spread in delivered_spread(water, cupboard, request, made).items():
        # First order against the full product: 1 %, and 0.3 % of noise in a deviation of so many throws.
        assert spread.give_or_take == pytest.approx(whole[quantity].std(), rel=0.02)


@pytest.mark.parametrize(
    ("key", "error", "quantity"),
    [
        ("hardness", "test kit", "hardness_mmol_l"),
        ("alkalinity", "test kit", "alkalinity_meq_l"),
        ("scale", "scale", "alkalinity_meq_l"),
        ("spoon", "spoon", "hardness_mmol_l"),
        ("volume", "volume", "alkalinity_meq_l"),
        ("purity", "purity", "hardness_mmol_l"),
    ],
)
def test_a_larger_error_takes_a_larger_share(
    monkeypatch: pytest.MonkeyPatch, key: str, error: str, quantity: str
) -> None:
    def with_factor(factor: float) -> Callable[[str, str], float]:
        return lambda table, name: reference.value(table, name) * (factor if name == key else 1)

    shares, sizes = [], []
    for factor in (0.5, 1.0, 3.0):
        monkeypatch.setattr(delivered, "reference", SimpleNamespace(value=with_factor(factor)))
        spread = delivered_spread(*case())[quantity]
        shares.append(spread.shares[error])
        sizes.append(spread.give_or_take)
    assert shares == sorted(shares) and shares[0] < shares[2]
    assert sizes == sorted(sizes) and sizes[0] < sizes[2]


def test_batches_average_out_and_no_scale_is_no_error() -> None:
    one, four = (delivered_spread(*case(0.25 * 4 / parts, parts, False)) for parts in (1, 4))
    for quantity in one:
        by_scale = [spread[quantity].shares["scale"] * spread[quantity].give_or_take ** 2 for spread in (one, four)]
        # The same steps in all, but each weighed in four goes whose errors go both ways: half of it.
        assert by_scale[1] == pytest.approx(by_scale[0] / 4, rel=1e-6)
    assert "scale" not in delivered_spread(*case(0.0, 1, False))["hardness_mmol_l"].shares


def test_deionised_water_thins_the_doubt_of_the_test_too() -> None:
    request = RecipeRequest(Target("own", Band(0.8, 0.9), Band(1.1, 1.3)), 100.0, 0.1, deionised=Deionised())
    made = recipe(HARD, jars(*NAMES), request)
    assert made.deionised_l > 50
    spread = delivered_spread(HARD, jars(*NAMES), request, made)["hardness_mmol_l"]
    kit = math.sqrt(spread.shares["test kit"]) * spread.give_or_take
    assert kit == pytest.approx((1 - made.deionised_l / 100) * 0.5 * 10 / molar_mass("CaO"))
    # Pure water is not tested: there is nothing to be wrong about.
    request = RecipeRequest(TARGET, 100.0, 0.1)
    pure = delivered_spread(PURE, jars(*NAMES), request, recipe(PURE, jars(*NAMES), request))
    assert all("test kit" not in spread.shares for spread in pure.values())
