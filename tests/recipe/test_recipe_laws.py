"""Laws of recipes: what must not decide, what scales, what can only help, and that every band is really held."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from cupboards import (
    FULL,
    GENTLE,
    HARD,
    LINEAR,
    NAMES,
    PURE,
    SOFT,
    SOURCES,
    amounts_in,
    calm_targets,
    effects,
    found,
    is_found,
    jars,
    mmol_per_g,
)
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tapwright.chemistry.dosing.recipe.choice import ORDER, Rows, choose
from tapwright.chemistry.dosing.recipe.conflicts import explained
from tapwright.chemistry.dosing.recipe.cupboard import Deionised, Stocked, columns
from tapwright.chemistry.dosing.recipe.remineralise import Recipe, RecipeRequest, recipe
from tapwright.chemistry.errors import BadInput, TapwrightError
from tapwright.chemistry.substances import salt
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import at_air, at_carbon, closed, deionised_water
from tapwright.chemistry.water.mixing import mix
from tapwright.chemistry.water.target import ANY, Band, Target

PRICES = st.floats(0.5, 40)
some_jars = st.lists(
    st.builds(
        lambda name, purity, stock_g, price: Stocked(salt(name), purity, stock_g, price),
        st.sampled_from(NAMES),
        st.floats(0.7, 1),
        st.none() | st.floats(1, 200),
        PRICES,
    ),
    unique_by=lambda item: item.salt.name,
    max_size=8,
)
priced = st.tuples(*[PRICES] * len(GENTLE)).map(
    lambda prices: [Stocked(salt(name), price_per_kg=price) for name, price in zip(GENTLE, prices, strict=True)]
)
offers = st.none() | st.builds(Deionised, st.none() | st.floats(1, 300))


def by_hand(water: Water, cupboard: list[Stocked], made: Recipe, volume_l: float) -> Water:
    """The refill from grams and litres alone, without the engine's columns."""
    start, share = closed(water), made.deionised_l / volume_l
    purity = {item.salt.name: item.purity for item in cupboard}
    pure = deionised_water(water.temperature_c)

    def amount(what: str) -> float | None:
        own, other = getattr(start, what), getattr(pure, what)
        if own is None:
            return None
        brought = sum(purity[name] * gram * mmol_per_g(name, what) for name, gram in made.grams.items())
        return (1 - share) * own + share * other + brought / volume_l

    thinned = {what: (1 - share) * getattr(start, what) for what in ("nitrate_mg_l", "ammonia_mg_n_l")}
    return replace(start, **{what: amount(what) for what in (*LINEAR, "carbon_mmol_l")}, **thinned)


def rank(made: Recipe, order: str = "salts") -> float:
    """What a word of the order counts."""
    return {
        "salts": float(len(made.grams)),
        "cost": made.cost or 0.0,
        "sodium": made.water.sodium_mmol_l,
        "water": made.deionised_l,
    }[order]


@settings(max_examples=30)
@given(some_jars, st.randoms(use_true_random=False), calm_targets, offers, st.sampled_from([0.0, 0.5]))
def test_the_order_of_the_cupboard_decides_nothing(
    cupboard: list[Stocked], random: object, target: Target, offer: Deionised | None, step_g: float
) -> None:
    shuffled = list(cupboard)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    request = RecipeRequest(target, 120.0, step_g, deionised=offer)
    assert recipe(SOFT, cupboard, request) == recipe(SOFT, shuffled, request)


@settings(max_examples=25)
@given(some_jars, calm_targets, st.sampled_from([0.5, 2.0, 8.0]))
def test_twice_the_water_takes_twice_of_everything(cupboard: list[Stocked], target: Target, factor: float) -> None:
    # By a power of two, so that rounding of floats is the same on both sides; litres come in steps of their own.
    more = [replace(item, stock_g=item.stock_g and item.stock_g * factor) for item in cupboard]
    once = recipe(SOFT, cupboard, RecipeRequest(target, 100.0, 0.25))
    many = recipe(SOFT, more, RecipeRequest(target, 100.0 * factor, 0.25 * factor))
    assert many.steps == once.steps
    assert many.water == once.water
    assert many.grams == {name: gram * factor for name, gram in once.grams.items()}


@settings(max_examples=25)
@given(some_jars, calm_targets, st.integers(2, 5))
def test_batches_are_one_volume_with_coarser_steps(cupboard: list[Stocked], target: Target, parts: int) -> None:
    one = recipe(SOFT, cupboard, RecipeRequest(target, 100.0 * parts, 0.5 * parts))
    several = recipe(SOFT, cupboard, RecipeRequest(target, 100.0 * parts, 0.5, parts))
    assert several.steps == {name: parts * steps for name, steps in (one.steps or {}).items()}
    assert replace(several, steps=one.steps) == one


@settings(max_examples=25)
@given(priced, calm_targets, st.floats(0, 0.3), st.sampled_from([0.0, 0.5]))
def test_wider_bands_never_take_more(cupboard: list[Stocked], target: Target, wider: float, step_g: float) -> None:
    narrow = recipe(SOFT, cupboard, RecipeRequest(target, 150.0, step_g))
    assume(found(narrow))
    wide = {name: Band(band.low * (1 - wider), band.high * (1 + wider)) for name, band in target.bands()}
    easy = recipe(SOFT, cupboard, RecipeRequest(replace(target, **wide), 150.0, step_g))
    assert found(easy)
    assert rank(easy) <= rank(narrow)
    if rank(easy) == rank(narrow):
        assert rank(easy, "cost") <= rank(narrow, "cost") * (1 + 1e-6) + 1e-9


@settings(max_examples=20)
@given(some_jars, st.sampled_from(NAMES), calm_targets, st.sampled_from([0.0, 0.5]), st.floats(1, 5))
def test_more_stock_or_one_more_salt_never_loses_a_recipe(
    cupboard: list[Stocked], name: str, target: Target, step_g: float, factor: float
) -> None:
    request = RecipeRequest(target, 150.0, step_g)
    before = recipe(SOFT, cupboard, request)
    assume(found(before))
    filled = [replace(item, stock_g=item.stock_g and item.stock_g * factor) for item in cupboard]
    assert found(after := recipe(SOFT, filled, request))
    assert rank(after) <= rank(before)
    if all(item.salt.name != name for item in cupboard):
        assert found(richer := recipe(SOFT, [*cupboard, Stocked(salt(name), price_per_kg=3.0)], request))
        assert rank(richer) <= rank(before) or (before.harsh and not richer.harsh)


@settings(max_examples=15)
@given(priced, calm_targets, st.sampled_from([0.0, 0.5]))
def test_what_is_preferred_is_least(cupboard: list[Stocked], target: Target, step_g: float) -> None:
    words = ("salts", "cost", "sodium", "water")
    offer = Deionised(price_per_l=0.01)
    by_word = {
        word: recipe(SOFT, cupboard, RecipeRequest(target, 80.0, step_g, deionised=offer, prefer=(word,)))
        for word in words
    }
    assume(all(found(made) for made in by_word.values()))
    for word in words:
        least = min(rank(made, word) for made in by_word.values())
        assert rank(by_word[word], word) == pytest.approx(least, rel=1e-5, abs=2e-6)


def test_the_second_word_settles_what_the_first_leaves_open() -> None:
    target = Target("own", Band(0.5, 0.6), Band(1.5, 1.6))
    dear = [replace(item, price_per_kg=9.0) for item in jars("sodium bicarbonate")]
    cheap = [replace(item, price_per_kg=2.0) for item in jars("potassium bicarbonate")]
    assert set(recipe(SOFT, [*dear, *cheap], RecipeRequest(target, 100.0)).grams) == {"potassium bicarbonate"}
    by_grams = [*jars("sodium bicarbonate"), *cheap]  # one price is missing: grams count
    assert set(recipe(SOFT, by_grams, RecipeRequest(target, 100.0)).grams) == {"sodium bicarbonate"}
    sparing = RecipeRequest(target, 100.0, prefer=("sodium",))
    assert set(recipe(SOFT, jars("sodium bicarbonate", "potassium bicarbonate"), sparing).grams) == {
        "potassium bicarbonate"
    }


@settings(max_examples=30)
@given(some_jars, st.sampled_from(SOURCES), calm_targets, st.floats(20, 900), st.sampled_from([0.0, 0.5]), offers)
def test_the_water_is_what_source_salts_and_deionised_water_make(
    cupboard: list[Stocked], water: Water, target: Target, volume_l: float, step_g: float, offer: Deionised | None
) -> None:
    made = recipe(water, cupboard, RecipeRequest(target, volume_l, step_g, deionised=offer))
    expected = by_hand(water, cupboard, made, volume_l)
    assert amounts_in(made.water) == pytest.approx(amounts_in(expected), abs=1e-9)
    assert made.water.nitrate_mg_l == pytest.approx(expected.nitrate_mg_l, abs=1e-9)
    assert made.water.ammonia_mg_n_l == pytest.approx(expected.ammonia_mg_n_l, abs=1e-9)
    if expected.carbon_mmol_l is not None:
        assert made.water.carbon_mmol_l == pytest.approx(expected.carbon_mmol_l, abs=1e-9)
    # Salts are neutral: the charge error of a report is thinned, never added to.
    charge, own = ((w.cations_meq_l - w.anions_meq_l) for w in (made.water, water))
    assert charge == pytest.approx(own * (1 - made.deionised_l / volume_l), abs=1e-9)
    for item in cupboard:
        assert made.grams.get(item.salt.name, 0.0) <= (item.stock_g or math.inf) + 1e-6
    assert made.deionised_l <= min(volume_l, (offer and offer.stock_l) or volume_l) * bool(offer) + 1e-6
    # The same by the mixing of waters.
    if made.deionised_l > 0:
        thin, _ = mix([water, deionised_water(water.temperature_c)], [volume_l - made.deionised_l, made.deionised_l])
        rest = amounts_in(thin) + effects([*made.grams], volume_l) @ [
            gram * next(item.purity for item in cupboard if item.salt.name == name) for name, gram in made.grams.items()
        ]
        assert amounts_in(made.water) == pytest.approx(rest, abs=1e-7)


@settings(max_examples=40)
@given(
    st.sampled_from([SOFT, replace(SOFT, ph=7.6), HARD, PURE]),
    st.lists(st.sampled_from(NAMES), min_size=3, max_size=7, unique=True),
    st.lists(st.floats(0, 0.4), min_size=7, max_size=7),
    st.floats(0, 0.6),
    st.lists(st.floats(0.01, 0.3), min_size=5, max_size=5),
    st.sampled_from([1.0, 2.4]),
)
def test_bands_that_rest_on_the_equilibrium_are_found_and_really_held(
    water: Water, names: list[str], grams_l: list[float], share: float, widths: list[float], times_air: float
) -> None:
    """Bands drawn around a water that can be made: it is found, or another inside all of them."""
    volume_l, cupboard = 200.0, jars(*names)
    witness = Recipe(
        {name: gram * volume_l for name, gram in zip(names, grams_l, strict=False)},
        water, (), (), deionised_l=share * volume_l,
    )  # fmt: skip
    there = by_hand(water, cupboard, witness, volume_l)
    assume(there.alkalinity_meq_l > 0.5)  # below, pH is not a matter of alkalinity
    rest = at_air(there, times_air)
    once = at_carbon(there, there.carbon_mmol_l) if there.carbon_mmol_l is not None else rest

    def around(value: float, width: float) -> Band:
        return Band(value * (1 - width), value * (1 + width / 2))

    ph, conductivity = float(rest.ph), float(once.conductivity_us_cm)
    target = Target(
        "drawn",
        around(there.hardness_mmol_l, widths[0]) if there.hardness_mmol_l > 0 else ANY,
        around(there.alkalinity_meq_l, widths[1]),
        conductivity_us_cm=around(conductivity, widths[2]),
        ph_aerated=Band(ph - widths[3] / 3, ph + widths[3] / 5),
        ph_at_once=None
        if there.carbon_mmol_l is None
        else Band(float(once.ph) - widths[4] / 2, float(once.ph) + widths[4]),
    )
    made = recipe(water, cupboard, RecipeRequest(target, volume_l, deionised=Deionised(), times_air=times_air))
    # One in some hundreds of such narrow bands is missed, by less than any meter tells.
    assert all(at.band == "ph_aerated" and abs(at.value - at.limit) < 0.01 for at in made.missed), made.missed
    if made.missed:
        return
    assert found(made)
    got = by_hand(water, cupboard, made, volume_l)
    aired = at_air(got, times_air)
    closed_state = at_carbon(got, got.carbon_mmol_l) if got.carbon_mmol_l is not None else aired
    # A fiftieth of what a pen resolves; conductivity to a tenth of its last digit.
    assert target.ph_aerated is not None and target.ph_aerated.holds(float(aired.ph), 0.0021)
    assert target.conductivity_us_cm is not None
    assert target.conductivity_us_cm.holds(float(closed_state.conductivity_us_cm), 0.051)
    assert target.ph_at_once is None or target.ph_at_once.holds(float(closed_state.ph), 0.0021)
    assert target.hardness_mmol_l.holds(got.hardness_mmol_l, 1e-6)
    assert target.alkalinity_meq_l.holds(got.alkalinity_meq_l, 1e-6)


def test_sodium_counts_before_deionised_water_and_any_order_can_be_asked_for() -> None:
    """Two salts of one price: the one without sodium, though it wants a litre of water."""
    shelf = replace(
        columns(PURE, jars("potassium bicarbonate", "sodium bicarbonate"), 10.0, step_g=1.0, deionised=Deionised()),
        cost=np.array([1.0, 1.0, 0.0]), sodium=np.array([0.0, 1.0, 0.0]), priced=True,
    )  # fmt: skip
    one_of_both = np.array([[1.0, 1.0, 0.0], [-10.0, 0.0, 1.0]])  # ten steps of water with each of the first
    rows = Rows(one_of_both, np.array([1.0, -1e-9]), np.array([1.0, np.inf]))
    by_default = choose(rows, shelf)
    assert by_default is not None and by_default.tolist() == [1, 0, 10]
    kept = {order: choose(rows, shelf, order) for order in permutations(ORDER)}
    for order, amounts in kept.items():
        assert amounts is not None
        first = "sodium" if order.index("sodium") < order.index("water") else "water"
        sodium_free = first == "sodium" if order.index("name") > order.index(first) else True
        assert amounts.tolist() == ([1, 0, 10] if sodium_free else [0, 1, 0])


@pytest.mark.parametrize(
    ("target", "names", "volume_l", "times_air"),
    [
        (Target("t", Band(0.4, 0.648), Band(2.571, 4.113), conductivity_us_cm=Band(395.497, 598.8)),
         ("sodium bicarbonate", "calcium chloride dihydrate", "calcium sulfate dihydrate", "potassium bicarbonate"),
         211.255, 1.0),
        (Target("t", Band(1.15322, 1.58781), Band(2.54237, 3.66738), conductivity_us_cm=Band(596.9046, 851.376)),
         ("magnesium sulfate heptahydrate", "potassium chloride", "magnesium chloride hexahydrate",
          "calcium sulfate dihydrate", "potassium bicarbonate", "sodium chloride"), 88.3263, 2.4),
    ],
)  # fmt: skip
def test_conductivity_is_found_where_two_recipes_would_swing_for_ever(
    target: Target, names: tuple[str, ...], volume_l: float, times_air: float
) -> None:
    assert is_found(PURE, jars(*names), RecipeRequest(target, volume_l, times_air=times_air))


def test_the_air_of_the_room_counts_for_ph_at_rest() -> None:
    target = Target("own", Band(0.5, 0.7), ANY, ph_aerated=Band(8.30, 8.35))
    outdoor, stuffy = (recipe(SOFT, FULL, RecipeRequest(target, 100.0, times_air=times)) for times in (1.0, 2.4))
    assert found(outdoor) and found(stuffy)
    # At one pH, alkalinity goes with the pressure of CO2; ion pairs and activities take a few percent.
    assert stuffy.water.alkalinity_meq_l / outdoor.water.alkalinity_meq_l == pytest.approx(2.4, rel=0.06)


def test_all_of_it_may_be_deionised() -> None:
    nothing = Target("pure", Band(0, 0), Band(0, 0), sodium_mmol_l=Band(0, 0))
    for volume_l, step_g in ((49.0, 1.0), (115.0, 0.0), (67.0, 1.0), (134.0, 1.0), (333.3, 0.0)):
        # 0.6 - 0.6 / 67 * 67 is less than 0 in floats: what is left of the tap must not be.
        made = recipe(HARD, [], RecipeRequest(nothing, volume_l, step_g, deionised=Deionised()))
        assert made.deionised_l == pytest.approx(volume_l)
        assert found(made)
        assert min(*amounts_in(made.water), made.water.nitrate_mg_l) >= 0
        assert float(at_air(made.water).ph) == pytest.approx(float(at_air(deionised_water(20.0)).ph), abs=0.01)


@pytest.mark.parametrize("volume_l", [30.0, 120.0])
def test_deionised_water_is_measured_in_litres_that_can_be_told_apart(volume_l: float) -> None:
    step_l = 0.1 if volume_l < 50 else 1.0  # marks on a bucket and on a tote
    made = recipe(
        HARD, FULL, RecipeRequest(Target("own", Band(1.0, 1.3), Band(1.5, 2.5)), volume_l, 0.1, deionised=Deionised())
    )
    assert found(made) and made.deionised_l > 0
    assert made.deionised_l / step_l == pytest.approx(round(made.deionised_l / step_l), abs=1e-9)


def test_a_ratio_is_one_of_calcium_to_some_magnesium() -> None:
    made = recipe(PURE, FULL, RecipeRequest(Target("ratio", ANY, Band(1.0, 1.2), Band(1.0, 3.0)), 100.0, 0.1))
    assert found(made)
    assert 1.0 <= made.water.calcium_mmol_l / made.water.magnesium_mmol_l <= 3.0


def test_a_carbonate_is_taken_where_the_scale_leaves_no_other_way() -> None:
    cupboard = [*jars("sodium bicarbonate"), replace(*jars("sodium carbonate anhydrous"), stock_g=50.0)]
    # 9 to 10 meq in 1 L by steps of 0.5 g: bicarbonate has 5.95 meq a step, carbonate 9.43.
    request = RecipeRequest(Target("own", ANY, Band(9.0, 10.0)), 1.0, 0.5)
    assert recipe(PURE, cupboard, request).steps == {"sodium carbonate anhydrous": 1}
    assert recipe(PURE, cupboard, replace(request, step_g=0.1)).harsh == ()


def test_spoons_are_whole_and_the_scale_serves_the_rest() -> None:
    spooned = replace(*jars("sodium bicarbonate"), step_g=4.6)
    made = recipe(SOFT, [spooned, *jars("magnesium sulfate heptahydrate")], RecipeRequest(
        Target("own", Band(0.9, 1.0), Band(2.0, 2.4)), 150.0, 0.5))  # fmt: skip
    assert found(made) and made.steps is not None
    assert made.grams["sodium bicarbonate"] == pytest.approx(4.6 * made.steps["sodium bicarbonate"])
    assert made.grams["magnesium sulfate heptahydrate"] == pytest.approx(
        0.5 * made.steps["magnesium sulfate heptahydrate"]
    )


def test_an_empty_cupboard_is_an_answer_with_what_to_get() -> None:
    request = RecipeRequest(Target("own", Band(1.0, 1.2), Band(2.0, 2.2)), 100.0, 0.1)
    made = recipe(SOFT, [], request)
    assert made.grams == {} and {miss.band for miss in made.missed} == {"hardness_mmol_l", "alkalinity_meq_l"}
    conflict = explained(SOFT, [], request, made)
    assert conflict is not None and "get " in conflict.advice()
    assert is_found(SOFT, jars(*(move.name for move in conflict.ways_out[0].moves)), request)


BAD = {
    "no volume": (lambda: RecipeRequest(Target("t", ANY, ANY), 0.0), "0 L is read"),
    "a volume below nothing": (lambda: RecipeRequest(Target("t", ANY, ANY), -5.0), "-5 L is read"),
    "no number": (lambda: RecipeRequest(Target("t", ANY, ANY), math.nan), "nan L is read"),
    "purity over 100 %": (lambda: Stocked(salt("NaCl"), 1.2), "its purity is 120%"),
    "no purity": (lambda: Stocked(salt("NaCl"), 0.0), "its purity is 0%"),
    "an unknown hydrate": (lambda: salt("magnesium sulfate"), "which hydrate"),
    "bands that contradict": (lambda: RecipeRequest(Target("t", Band(2, 1), ANY), 9.0), "runs from 11.22 dGH to 5.608 dGH"),
    "a stock of zero": (lambda: Stocked(salt("NaCl"), stock_g=0.0), "its stock is 0 g"),
    "no deionised water": (lambda: Deionised(0.0), "its stock is 0 L"),
    "a price below nothing": (lambda: Deionised(price_per_l=-1), "its price is -1"),
    "a price of salt below nothing": (lambda: Stocked(salt("NaCl"), price_per_kg=-1), "its price is -1"),
    "a spoon without end": (lambda: Stocked(salt("NaCl"), step_g=math.inf), "its measure holds inf g"),
    "a salt twice": (lambda: recipe(SOFT, [*FULL, FULL[0]], RecipeRequest(Target("t", ANY, ANY), 9.0)), "stands twice"),
    "an unknown preference": (lambda: RecipeRequest(Target("t", ANY, ANY), 9.0, prefer=("grams",)), "'grams' is read"),
    "a preference twice": (lambda: RecipeRequest(Target("t", ANY, ANY), 9.0, prefer=("cost", "cost")), "'cost' is read"),
    "pH at once of a water without pH": (
        lambda: recipe(SOFT, FULL, RecipeRequest(Target("t", ANY, ANY, ph_at_once=Band(7, 8)), 9.0)), "carbon"),
}  # fmt: skip


@pytest.mark.parametrize("why", BAD)
def test_bad_input_gets_one_clear_message(why: str) -> None:
    call, said = BAD[why]
    with pytest.raises(BadInput) as refused:
        call()
    error: TapwrightError = refused.value
    assert len(error.faults) == 1
    assert said in error.faults[0].message
    assert error.faults[0].where and error.faults[0].hint
