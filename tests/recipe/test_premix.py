"""Buckets, their water and their order: what goes in comes out, it dissolves, and the order pours the calmest."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from cupboards import GENTLE, HARD, LINEAR, NAMES, PURE, SOFT, effects, jars
from hypothesis import given, settings
from hypothesis import strategies as st

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.premix.pouring import pouring, premix_findings, tote_findings
from tapwright.chemistry.dosing.premix.premix import Bucket, Premix, premixed
from tapwright.chemistry.dosing.recipe.remineralise import RecipeRequest, recipe
from tapwright.chemistry.dosing.solubility import solubility_g_l
from tapwright.chemistry.substances import salt
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import at_air, at_carbon, closed, deionised_water
from tapwright.chemistry.water.target import lake_names, lake_target

VERY_HARD = replace(HARD, calcium_mmol_l=3.5, alkalinity_meq_l=6.2)
waters = st.sampled_from([PURE, SOFT, HARD, VERY_HARD, replace(SOFT, ph=7.2)])
recipes = st.dictionaries(st.sampled_from(NAMES), st.floats(0.02, 1.2), min_size=1, max_size=5)
volumes = st.sampled_from([10.0, 20.0, 60.0, 115.0, 400.0, 1000.0])
PURITY = 0.9


def mixed(water: Water, grams_per_l: dict[str, float], volume_l: float) -> tuple[dict[str, float], Premix]:
    """The grams for the volume, and how they get in."""
    grams = {name: gram * volume_l for name, gram in grams_per_l.items()}
    return grams, premixed(water, grams, dict.fromkeys(grams, PURITY), volume_l, 1.0)


def start_of(water: Water) -> Water:
    """The tote before anything is in it, by its carbon."""
    water = closed(water)
    return water if water.carbon_mmol_l is not None else replace(water, carbon_mmol_l=at_air(water).carbon_mmol_l)


def totals(water: Water) -> np.ndarray:
    """What mixing conserves, carbon and nitrogen included."""
    names = (*LINEAR, "carbon_mmol_l", "nitrate_mg_l", "ammonia_mg_n_l")
    return np.array([getattr(water, name) for name in names], dtype=float)


def as_water(amounts: np.ndarray, temperature_c: float) -> Water:
    """Back again; one water or a row of them."""
    return Water(*amounts[:7], *amounts[8:10], 0.0, 0.0, temperature_c, carbon_mmol_l=amounts[7])


def brought(bucket: Bucket, litres: float) -> np.ndarray:
    """What the bucket's salts bring to so much water, from formulas alone."""
    names, grams = [*bucket.salts], np.array([*bucket.salts.values()]) * PURITY
    carbon = sum(
        gram * effects([name], litres)[6, 0] / (2 if salt(name).formula == "Na2CO3" else 1)
        for name, gram in zip(names, grams, strict=True)
    )
    return np.concatenate([effects(names, litres) @ grams, [carbon, 0, 0]])


def poured(water: Water, buckets: tuple[Bucket, ...], volume_l: float) -> tuple[float, np.ndarray, float]:
    """The worst index of any plume, the tote in the end and its litres, by totals and the equilibrium."""
    start, pure = totals(start_of(water)), totals(deionised_water(water.temperature_c))
    tote, tote_l = start, volume_l - sum(b.volume_l for b in buckets)
    worst = -math.inf
    for bucket in buckets:
        if bucket.strewn:
            tote = tote + brought(bucket, tote_l)
            continue
        strong = (pure if bucket.water == "deionised water" else start) + brought(bucket, bucket.volume_l)
        parts = np.logspace(-3.5, 0, 60)[:, None]
        plume = (parts * strong + (1 - parts) * tote).T
        worst = max(worst, float(np.max(at_carbon(as_water(plume, water.temperature_c), plume[7]).si_calcite)))
        tote = (strong * bucket.volume_l + tote * tote_l) / (bucket.volume_l + tote_l)
        tote_l += bucket.volume_l
    return worst, tote, tote_l


@settings(max_examples=20)
@given(waters, recipes, volumes)
def test_every_gram_is_in_one_bucket_and_the_bucket_dissolves_it(
    water: Water, grams_per_l: dict[str, float], volume_l: float
) -> None:
    grams, premix = mixed(water, grams_per_l, volume_l)
    names = [name for bucket in premix.buckets for name in bucket.salts]
    assert sorted(names) == sorted(grams)
    assert {name: gram for bucket in premix.buckets for name, gram in bucket.salts.items()} == grams
    for bucket in premix.buckets:
        if bucket.strewn:
            # What takes more than a bucket, or than a quarter of the tote, at half of what water can hold.
            for name, gram in bucket.salts.items():
                assert gram / (0.5 * solubility_g_l(salt(name), water.temperature_c)) > min(10, volume_l / 4)
            assert bucket is premix.buckets[0]
            continue
        full = sum(gram / solubility_g_l(salt(name), water.temperature_c) for name, gram in bucket.salts.items())
        assert full <= 0.5 * bucket.volume_l * (1 + 1e-9) or bucket.volume_l == pytest.approx(volume_l / 4)
        assert full <= bucket.volume_l
        assert bucket.volume_l <= volume_l / 4 + 1e-9
        assert bucket.loads == max(math.ceil(bucket.volume_l / 10 - 1e-9), 1)


@settings(max_examples=20)
@given(waters, recipes, volumes)
def test_the_tote_holds_what_went_into_it_and_its_saturation_is_of_that(
    water: Water, grams_per_l: dict[str, float], volume_l: float
) -> None:
    _, premix = mixed(water, grams_per_l, volume_l)
    _, tote, tote_l = poured(water, premix.buckets, volume_l)
    pure_l = sum(bucket.volume_l for bucket in premix.buckets if bucket.water == "deionised water")
    assert tote_l == pytest.approx(volume_l)
    everything = sum(brought(bucket, 1.0) for bucket in premix.buckets)
    # A bucket of deionised water takes the place of as much tote water.
    own, pure = totals(start_of(water)), totals(deionised_water(water.temperature_c))
    went_in = own * (volume_l - pure_l) + pure * pure_l + everything
    assert tote * tote_l == pytest.approx(went_in, rel=1e-9, abs=1e-9)
    said = {place.where: place.si_calcite for place in premix.saturations}
    final = as_water(went_in / tote_l, water.temperature_c)
    # To 1e-6 of an index: both are computed by the same equilibrium.
    assert said["tote at once"] == pytest.approx(float(at_carbon(final, final.carbon_mmol_l).si_calcite), abs=1e-6)
    assert said["tote in air"] == pytest.approx(float(at_air(final).si_calcite), abs=1e-6)


@settings(max_examples=20)
@given(waters, recipes, volumes)
def test_no_other_order_has_a_calmer_plume(water: Water, grams_per_l: dict[str, float], volume_l: float) -> None:
    _, premix = mixed(water, grams_per_l, volume_l)
    strewn = tuple(bucket for bucket in premix.buckets if bucket.strewn)
    rest = tuple(bucket for bucket in premix.buckets if not bucket.strewn)
    worst = [poured(water, (*strewn, *order), volume_l)[0] for order in permutations(rest)]  # its own order first
    # A hundredth of the index decides nothing.
    assert worst[0] <= min(worst) + 0.01
    plumes = [place.si_calcite for place in premix.saturations if place.where.startswith("plume")]
    assert max(plumes, default=-math.inf) == pytest.approx(worst[0], abs=1e-6)
    assert premix.other_order == (pytest.approx(min(worst[1:]), abs=1e-6) if worst[1:] else None)


@settings(max_examples=20)
@given(waters, recipes, volumes)
def test_deionised_water_only_where_tote_water_would_cloud_the_bucket(
    water: Water, grams_per_l: dict[str, float], volume_l: float
) -> None:
    _, premix = mixed(water, grams_per_l, volume_l)
    calm = reference.value("limits", "bucket_calm")
    for bucket in premix.buckets:
        if bucket.strewn:
            continue
        in_tote_water = as_water(totals(start_of(water)) + brought(bucket, bucket.volume_l), water.temperature_c)
        index = float(at_carbon(in_tote_water, in_tote_water.carbon_mmol_l).si_calcite)
        assert (bucket.water == "deionised water") == (index > calm)
        said = {place.where: place for place in premix.saturations}[f"bucket: {bucket.name}"]
        assert said.si_calcite <= calm or bucket.water == "deionised water"
        # Aragonite lies 0.14 above calcite in its solubility, at any temperature of a tank.
        assert math.isinf(said.si_calcite) or said.si_calcite - said.si_aragonite == pytest.approx(0.144, abs=0.004)


@settings(max_examples=30)
@given(waters, recipes, volumes)
def test_carbonates_stand_apart_from_hardness_and_worst_comes_first(
    water: Water, grams_per_l: dict[str, float], volume_l: float
) -> None:
    _, premix = mixed(water, grams_per_l, volume_l)
    for bucket in premix.buckets:
        kinds = {"CO3" in salt(name).formula for name in bucket.salts}
        hard = any("Ca" in salt(name).formula or "Mg" in salt(name).formula for name in bucket.salts)
        assert kinds == {False} or not hard or bucket.strewn
    indices = [round(place.si_calcite, 2) for place in premix.saturations]  # closer than that, none is worse
    assert indices == sorted(indices, reverse=True)
    assert premix.worst == premix.saturations[0]
    for place in premix.saturations:
        kind = place.where.partition(":")[0]
        limit = kind if kind in ("bucket", "plume") else "calcite"
        caution, cloud = (reference.value("limits", f"{limit}_{word}") for word in ("calm", "cloud"))
        expected = "cloud" if place.si_calcite > cloud else "caution" if place.si_calcite > caution else "calm"
        assert place.level == expected


def gypsum_index(water: Water, grams: dict[str, float], litres: float) -> float:
    """Saturation of the bucket with gypsum."""
    made = as_water(totals(start_of(water)) + brought(Bucket("", grams, litres), litres), water.temperature_c)
    return float(at_carbon(made, made.carbon_mmol_l).si_gypsum)


def test_calcium_and_sulfates_go_apart_where_gypsum_would_come_out() -> None:
    lot = {"calcium chloride dihydrate": 90.0, "magnesium sulfate heptahydrate": 150.0}
    premix = premixed(SOFT, lot, dict.fromkeys(lot, PURITY), 300.0, 1.0)
    assert {bucket.name: tuple(bucket.salts) for bucket in premix.buckets} == {
        "calcium": ("calcium chloride dihydrate",),
        "sulfates": ("magnesium sulfate heptahydrate",),
    }
    assert gypsum_index(SOFT, lot, 4.0) > 0
    thin = {name: gram / 60 for name, gram in lot.items()}
    premix = premixed(SOFT, thin, dict.fromkeys(lot, PURITY), 300.0, 1.0)
    assert [tuple(bucket.salts) for bucket in premix.buckets] == [tuple(lot)]
    assert gypsum_index(SOFT, thin, premix.buckets[0].volume_l) < 0


@settings(max_examples=20)
@given(waters, recipes, volumes)
def test_no_bucket_together_sets_with_gypsum(water: Water, grams_per_l: dict[str, float], volume_l: float) -> None:
    _, premix = mixed(water, grams_per_l, volume_l)
    for bucket in premix.buckets:
        calcium, sulfate = (any(ion in salt(name).ions for name in bucket.salts) for ion in ("Ca", "SO4"))
        both = any({"Ca", "SO4"} <= set(salt(name).ions) for name in bucket.salts)
        if calcium and sulfate and not both and not bucket.strewn:
            tote_water = bucket.water == "tote water"
            source = start_of(water) if tote_water else deionised_water(water.temperature_c)
            assert gypsum_index(source, dict(bucket.salts), bucket.volume_l) <= 1e-9


def test_much_gypsum_is_strewn_first_and_stirred_to_the_last_grain() -> None:
    lot = {"calcium sulfate dihydrate": 150.0, "sodium bicarbonate": 60.0}
    premix = premixed(SOFT, lot, dict.fromkeys(lot, 1.0), 400.0, 1.0)
    assert [(bucket.name, bucket.strewn) for bucket in premix.buckets] == [("strewn", True), ("alkalinity", False)]
    first, second = pouring(premix)
    assert first.startswith("Strew 150 g calcium sulfate dihydrate into the moving tote")
    assert "60 g sodium bicarbonate" in second and "until no grain is left" in second


@settings(max_examples=25)
@given(waters, recipes, volumes)
def test_the_sentences_name_every_salt_and_water(water: Water, grams_per_l: dict[str, float], volume_l: float) -> None:
    grams, premix = mixed(water, grams_per_l, volume_l)
    sentences = pouring(premix)
    assert len(sentences) == len(premix.buckets)
    for bucket, sentence in zip(premix.buckets, sentences, strict=True):
        assert all(name in sentence for name in bucket.salts)
        assert bucket.strewn or bucket.water in sentence
        assert ("fizzes" in sentence) == any("CO3" in salt(name).formula for name in bucket.salts)
        assert f"({bucket.loads} bucketfuls)" in sentence or bucket.loads == 1
    assert all(any(name in sentence for sentence in sentences) for name in grams)
    places = {place.where: place for place in premix.saturations}
    worried = [place for where, place in places.items() if not where.startswith("tote") and place.level != "calm"]
    assert [finding.value for finding in premix_findings(premix)] == [place.si_calcite for place in worried]
    rest = max(places["tote at once"].si_calcite, places["tote in air"].si_calcite)
    assert [finding.value for finding in tote_findings(premix)] == (
        [rest] if rest > reference.value("limits", "calcite_calm") else []
    )
    assert not any("dolomite" in finding.text for finding in (*premix_findings(premix), *tote_findings(premix)))


@pytest.mark.parametrize("source", [PURE, SOFT], ids=["pure", "soft"])
@pytest.mark.parametrize("lake", lake_names())
@pytest.mark.parametrize("volume_l", [60.0, 500.0])
def test_lakes_go_in_calmly(lake: str, source: Water, volume_l: float) -> None:
    made = recipe(source, jars(*GENTLE), RecipeRequest(lake_target(lake), volume_l, 0.1))
    if made.missed:  # the soft tap is harder than the softest lake
        assert lake == "victoria" and source is SOFT
        return
    premix = premixed(source, made.grams, dict.fromkeys(made.grams, 1.0), volume_l, 1.0)
    assert all(place.level == "calm" for place in premix.saturations)
    assert all(bucket.water == "tote water" for bucket in premix.buckets)


def test_gypsum_that_a_third_of_a_small_tote_cannot_dissolve_is_strewn() -> None:
    premix = mixed(PURE, {"calcium sulfate dihydrate": 1.1, "magnesium chloride hexahydrate": 0.9}, 10.0)[1]
    assert [(tuple(bucket.salts), bucket.strewn) for bucket in premix.buckets] == [
        (("calcium sulfate dihydrate",), True),
        (("magnesium chloride hexahydrate",), False),
    ]


def test_nothing_to_dissolve_needs_no_bucket_and_the_tote_is_judged() -> None:
    premix = premixed(HARD, {}, {}, 100.0, 1.0)
    assert premix.buckets == () and pouring(premix) == []
    assert [place.where for place in premix.saturations] == ["tote in air", "tote at once"]


def test_the_wrong_order_is_what_clouds() -> None:
    """Soda into hard water: which bucket goes first decides by how much, and the reason says both."""
    lot = {"sodium carbonate anhydrous": 40.0, "calcium chloride dihydrate": 40.0}
    premix = premixed(SOFT, lot, dict.fromkeys(lot, PURITY), 100.0, 1.0)
    assert premix.other_order is not None
    worst = max(place.si_calcite for place in premix.saturations if place.where.startswith("plume"))
    assert worst > reference.value("limits", "plume_calm")
    assert f"{worst:+.1f}" in premix.reason
    assert premix_findings(premix)
