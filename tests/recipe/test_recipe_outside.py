"""Recipes against the outside: scipy's HiGHS for the choice, brute force, the geochemical reference code, published lakes."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

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
    effects,
    ends_of,
    found,
    jars,
)
from reference_program import OUTPUT, Array, Waters, answers
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.premix.pouring import premix_findings, tote_findings
from tapwright.chemistry.dosing.premix.premix import premixed
from tapwright.chemistry.dosing.recipe.cupboard import Deionised, Stocked
from tapwright.chemistry.dosing.recipe.remineralise import Recipe, RecipeRequest, recipe
from tapwright.chemistry.substances import molar_mass, salt
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import at_air, at_carbon, closed, deionised_water, outdoor_air_ppm
from tapwright.chemistry.water.properties import density_kg_l
from tapwright.chemistry.water.target import ANY, Band, Target, lake_names, lake_target, lake_water

VOLUME_L = 100.0


def problem(random: np.random.Generator, names: tuple[str, ...] = GENTLE) -> tuple[Water, list[Stocked], Target]:
    """A random cupboard of 5 to 8 priced salts, some short, and bands that it can often meet and that never cloud."""
    picks = sorted(random.choice(len(names), random.integers(5, len(names) + 1), replace=False))
    cupboard = [
        Stocked(
            salt(names[pick]),
            float(random.uniform(0.8, 1)),
            float(random.uniform(1, 20)) if random.random() < 0.4 else None,
            float(random.uniform(1, 20)),
        )
        for pick in picks
    ]
    water = [PURE, SOFT][random.integers(2)]

    def around(middle: float, width: float) -> Band:
        return Band(middle * (1 - width), middle * (1 + width))

    width = random.uniform(0.02, 0.12)
    extra = {"sodium_mmol_l": Band(0, random.uniform(0.5, 2.5)), "chloride_mmol_l": Band(0, random.uniform(0.4, 2.5))}
    target = Target(
        "drawn",
        around(random.uniform(0.6, 0.9), width),
        around(random.uniform(0.9, 2.2), width),
        around(random.uniform(0.5, 3), 0.3) if random.random() < 0.6 else None,
        **{name: band for name, band in extra.items() if random.random() < 0.5},
    )
    return water, cupboard, target


def constraint(water: Water, cupboard: list[Stocked], target: Target, per_unit_g: float = 1.0) -> LinearConstraint:
    """The bands over units of each salt, written from formulas alone."""
    effect = effects([item.salt.name for item in cupboard], VOLUME_L) * [item.purity for item in cupboard]
    ends = ends_of(target)
    matrix = np.array([weights @ effect for _, _, weights, _ in ends]) * per_unit_g
    rest = np.array([limit - weights @ amounts_in(water) for _, _, weights, limit in ends])
    low = np.array([low for _, low, _, _ in ends])
    return LinearConstraint(matrix, np.where(low, rest, -np.inf), np.where(low, np.inf, rest))


def in_stages(rules: LinearConstraint, most: Array, costs: list[Array], whole: bool) -> list[float] | None:
    """Fewest columns by binaries, then each cost in turn with all before held; None where nothing lies inside."""
    count = len(most)
    zero = np.zeros((len(rules.lb), count))
    held = [
        LinearConstraint(np.hstack([rules.A, zero]), rules.lb, rules.ub),
        LinearConstraint(np.hstack([np.eye(count), -np.diag(most)]), -np.inf, 0.0),
    ]
    bounds = Bounds(np.zeros(2 * count), np.concatenate([most, np.ones(count)]))
    kind = np.concatenate([np.full(count, int(whole)), np.ones(count)])
    least = []
    for weights in [np.repeat([0.0, 1.0], count), *(np.concatenate([cost, np.zeros(count)]) for cost in costs)]:
        answer = milp(weights, constraints=held, bounds=bounds, integrality=kind, options={"mip_rel_gap": 0.0})
        if not answer.success:
            return None
        least.append(float(answer.fun))
        held.append(LinearConstraint(weights, -np.inf, answer.fun + 1e-7 * max(1.0, abs(answer.fun))))
    return least


@pytest.mark.parametrize(("step_g", "count"), [(0.0, 60), (0.5, 25), (2.0, 60)])
def test_the_order_of_choice_is_that_of_staged_integer_programmes(step_g: float, count: int) -> None:
    random = np.random.default_rng(1947)
    met = 0
    for _ in range(count):
        water, cupboard, target = problem(random)
        made = recipe(water, cupboard, RecipeRequest(target, VOLUME_L, step_g))
        unit_g = step_g or 1.0
        stock_g = np.array([item.stock_g or 60.0 for item in cupboard])  # 60 g is twice what any of these bands takes
        most = np.floor(stock_g / unit_g + 1e-9) if step_g else stock_g
        price = np.array([item.price_per_kg or 0.0 for item in cupboard]) / 1000
        sodium = effects([item.salt.name for item in cupboard], VOLUME_L)[2] * [item.purity for item in cupboard]
        theirs = in_stages(
            constraint(water, cupboard, target, unit_g), most, [price * unit_g, sodium * unit_g], bool(step_g)
        )
        assert found(made) == (theirs is not None)
        if theirs is None:
            continue
        met += 1
        assert len(made.grams) == round(theirs[0])
        # Both lie outside by what a solver allows itself, 1e-7 mmol/L, which is worth a hundred-thousandth of a gram.
        assert made.cost == pytest.approx(theirs[1], rel=2e-5, abs=1e-7)
        assert made.water.sodium_mmol_l - water.sodium_mmol_l == pytest.approx(theirs[2], abs=2e-5)
    assert 0.2 * count < met < count


def test_the_cheapest_unrounded_recipe_against_a_linear_programme() -> None:
    random = np.random.default_rng(1963)
    met = 0
    for _ in range(80):
        water, cupboard, target = problem(random)
        made = recipe(water, cupboard, RecipeRequest(target, VOLUME_L, prefer=("cost",)))
        rules = constraint(water, cupboard, target)
        price = np.array([item.price_per_kg or 0.0 for item in cupboard]) / 1000
        theirs = linprog(
            price,
            np.vstack([rules.A, -rules.A])[np.isfinite(np.concatenate([rules.ub, -rules.lb]))],
            np.concatenate([rules.ub, -rules.lb])[np.isfinite(np.concatenate([rules.ub, -rules.lb]))],
            bounds=[(0, item.stock_g) for item in cupboard],
            method="highs",
        )
        assert theirs.status in (0, 2)
        assert found(made) == (theirs.status == 0)
        if theirs.status == 0:
            met += 1
            assert made.cost == pytest.approx(theirs.fun, rel=2e-5, abs=1e-7)
    assert 25 < met < 80


def test_rounding_the_cheapest_recipe_leaves_a_band_and_ours_never_does() -> None:
    random = np.random.default_rng(90)
    step_g, left, rounded = 0.5, 0, 0
    for _ in range(120):
        water, cupboard, target = problem(random)
        cheapest = recipe(water, cupboard, RecipeRequest(target, VOLUME_L, prefer=("cost",)))
        ours = recipe(water, cupboard, RecipeRequest(target, VOLUME_L, step_g))
        if not found(ours) or not cheapest.grams:
            continue
        names = [item.salt.name for item in cupboard]
        purity = np.array([item.purity for item in cupboard])

        def outside(made: Recipe, names=names, purity=purity, water=water, target=target) -> bool:  # type: ignore[no-untyped-def]
            steps = np.round(np.array([made.grams.get(name, 0.0) for name in names]) / step_g)
            amounts = amounts_in(water) + effects(names, VOLUME_L) @ (purity * steps * step_g)
            return any(
                (weights @ amounts < limit - 1e-6) if low else (weights @ amounts > limit + 1e-6)
                for _, low, weights, limit in ends_of(target)
            )

        rounded += 1
        left += outside(cheapest)
        assert not outside(ours)
    assert rounded > 50
    assert left / rounded > 0.7  # nine in ten with seven salts; fewer where the cheapest has but two


def test_a_share_of_deionised_water_against_every_recipe_there_is() -> None:
    """Two salts by 1 g and water by 0.1 L in 10 L: fewest salts, fewest grams, least sodium, least water."""
    random = np.random.default_rng(7)
    names = ("sodium bicarbonate", "magnesium sulfate heptahydrate")
    units = np.array(list(product(range(16), range(16), range(101))), dtype=float)
    pure = amounts_in(deionised_water(HARD.temperature_c))
    thinned = (1 - units[:, 2:] / 100) * amounts_in(HARD) + units[:, 2:] / 100 * pure
    waters = thinned + units[:, :2] @ effects(names, 10.0).T
    met = 0
    for _ in range(40):
        hardness, alkalinity, width = random.uniform(0.3, 1.2), random.uniform(1.0, 2.0), random.uniform(0.02, 0.3)
        target = Target(
            "t", Band(hardness, hardness * (1 + width)), Band(alkalinity, alkalinity * (1 + width)),
            sodium_mmol_l=Band(0, random.uniform(0.5, 2)),
        )  # fmt: skip
        made = recipe(HARD, jars(*names), RecipeRequest(target, 10.0, 1.0, deionised=Deionised()))
        inside = np.ones(len(units), dtype=bool)
        for _, low, weights, limit in ends_of(target):
            inside &= (waters @ weights >= limit - 1e-8) if low else (waters @ weights <= limit + 1e-8)
        assert found(made) == bool(inside.any())
        if not inside.any():
            continue
        met += 1
        # Sodium that deionised water takes away does not count: what the salts bring does.
        brought = units[:, 0] * effects(names, 10.0)[2, 0]
        best = min(
            (int((unit[:2] > 0).sum()), unit[:2].sum(), round(sodium, 9), unit[2])
            for unit, sodium in zip(units[inside], brought[inside], strict=True)
        )
        assert (len(made.grams), sum(made.grams.values()), made.deionised_l) == pytest.approx(
            (best[0], best[1], best[3] / 10)
        )
    assert met > 8


# --- the reference code ----------------------------------------------------------------------------------------------


def as_waters(waters: list[Water]) -> Waters:
    """Waters of the engine as the program takes them, per kilogram."""
    kg_l = np.array([density_kg_l(water.temperature_c) for water in waters])
    ions = np.array([amounts_in(water) for water in waters]).T / kg_l
    return Waters(
        *ions[:6],
        no3=np.array([water.nitrate_mg_l for water in waters]) / molar_mass("NO3") / kg_l,
        nh4=np.array([water.ammonia_mg_n_l for water in waters]) / molar_mass("N") / kg_l,
        alkalinity=np.maximum(ions[6], 1e-5),  # the program takes 0 for not given, and keeps the pH it starts from
        temperature_c=np.array([water.temperature_c for water in waters]),
        ph=np.full(len(waters), 8.0),
        co2_atm=np.full(len(waters), outdoor_air_ppm() * 1e-6),
    )


def lake_like(random: np.random.Generator) -> tuple[Water, Target]:
    """Any of the waters, and bands as wide as those of the lakes."""
    hardness, alkalinity = random.uniform(0.5, 2.5), random.uniform(1.0, 6.5)
    bands = (Band(0.85 * middle, 1.15 * middle) for middle in (hardness, alkalinity))
    return SOURCES[random.integers(3)], Target("drawn", *bands, Band(0.4, 4.0))


def test_final_waters_against_the_reference_code() -> None:
    pytest.importorskip("phreeqpython")
    random = np.random.default_rng(30)
    made = []
    while len(made) < 30:
        water, target = lake_like(random)
        one = recipe(water, FULL, RecipeRequest(target, 200.0, 0.1, deionised=Deionised()))
        made += [one] if found(one) else []
    theirs = dict(zip(OUTPUT, answers(as_waters([one.water for one in made]), "co2").T, strict=True))
    for row, one in enumerate(made):
        ours = at_air(one.water)
        # As far apart as the two programs ever are on random waters (test_equilibrium_authority.py).
        assert float(ours.ph) == pytest.approx(theirs["ph"][row], abs=0.01)
        assert float(ours.si_calcite) == pytest.approx(theirs["si_calcite"][row], abs=0.02)
        assert float(ours.si_aragonite) == pytest.approx(theirs["si_aragonite"][row], abs=0.02)


def mixed(one: Water, other: Water, part: Array) -> Water:
    """So large parts of one water in another, by totals."""
    names = (*LINEAR, "carbon_mmol_l", "nitrate_mg_l", "ammonia_mg_n_l")
    amounts = {name: part * getattr(one, name) + (1 - part) * getattr(other, name) for name in names}
    return Water(**amounts, free_chlorine_mg_l=0.0, total_chlorine_mg_l=0.0, temperature_c=other.temperature_c)


def with_salts(water: Water, grams: dict[str, float], litres: float) -> Water:
    """The water with salts in it, from formulas alone."""
    brought = effects([*grams], litres) @ [*grams.values()]
    carbon = sum(gram * effects([name], litres)[6, 0] for name, gram in grams.items() if "bicarbonate" in name)
    values = {name: getattr(water, name) + more for name, more in zip(LINEAR, brought, strict=True)}
    return replace(water, **values, carbon_mmol_l=water.carbon_mmol_l + carbon)


@pytest.mark.parametrize("source", SOURCES, ids=["pure", "soft", "hard"])
@pytest.mark.parametrize("lake", lake_names())
def test_buckets_plumes_and_tote_against_the_reference_code(source: Water, lake: str) -> None:
    """What is poured is mixed here by totals, from a drop to all of it, and the program finds the worst of it."""
    pytest.importorskip("phreeqpython")
    start = closed(source)
    if start.carbon_mmol_l is None:
        start = replace(start, carbon_mmol_l=float(at_air(start).carbon_mmol_l))
    request = RecipeRequest(lake_target(lake), 200.0, 0.1, deionised=Deionised())
    made = recipe(PURE if lake == "tanganyika" else source, jars(*GENTLE), request)
    grams = dict(made.grams) or {"sodium bicarbonate": 5.0}
    premix = premixed(source, grams, dict.fromkeys(grams, 1.0), 200.0, 1.0)
    pure = deionised_water(source.temperature_c)
    drawn_l = sum(bucket.volume_l for bucket in premix.buckets if bucket.water == "tote water")
    tote, tote_l = start, 200.0 - drawn_l
    said = {place.where: place.si_calcite for place in premix.saturations}
    for bucket in premix.buckets:
        strong = with_salts(pure if bucket.water == "deionised water" else start, dict(bucket.salts), bucket.volume_l)
        parts = np.logspace(-3.5, 0, 25)
        plume = mixed(strong, tote, parts)
        rows = [mixed(strong, tote, part) for part in parts]
        found_si = answers(as_waters(rows), "carbon", plume.carbon_mmol_l / density_kg_l(source.temperature_c))
        si = np.where(found_si[:, 3] < -90, -np.inf, found_si[:, 3])
        # Activities of both stay together to 0.02 in strong water; a coarser row of mixtures misses 0.01 of the worst.
        assert said[f"plume: {bucket.name}"] == pytest.approx(si.max(), abs=0.04)
        assert said[f"bucket: {bucket.name}"] == pytest.approx(si[-1], abs=0.03)
        tote = mixed(strong, tote, np.float64(bucket.volume_l / (tote_l + bucket.volume_l)))
        tote_l += bucket.volume_l
    rest = answers(as_waters([tote]), "co2")[0, 3]
    once = answers(as_waters([tote]), "carbon", np.array([tote.carbon_mmol_l]) / density_kg_l(20.0))[0, 3]
    assert said["tote in air"] == pytest.approx(rest, abs=0.02)
    assert said["tote at once"] == pytest.approx(once, abs=0.02)


# --- lakes -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("lake", lake_names())
def test_every_lake_is_made_from_deionised_water_inside_its_bands_and_calm(lake: str) -> None:
    made = recipe(deionised_water(25.0), FULL, RecipeRequest(lake_target(lake), 400.0, 0.1))
    assert found(made) and made.harsh == ()
    published = {
        ion: reference.value("lakes", f"{lake}.{ion}") / molar_mass(symbol)
        for ion, symbol in (("calcium", "Ca"), ("magnesium", "Mg"))
    }
    alkalinity, width = reference.value("lakes", f"{lake}.alkalinity"), 0.15 + 1e-6
    assert made.water.hardness_mmol_l == pytest.approx(sum(published.values()), rel=width)
    assert made.water.alkalinity_meq_l == pytest.approx(alkalinity, rel=width)
    ratio = made.water.calcium_mmol_l / made.water.magnesium_mmol_l * published["magnesium"] / published["calcium"]
    assert 1 / 2.5 - 1e-4 <= ratio <= 2.5 + 1e-3
    premix = premixed(deionised_water(25.0), made.grams, dict.fromkeys(made.grams, 1.0), 400.0, 1.0)
    assert [place for place in premix.saturations if place.level != "calm"] == []
    assert premix_findings(premix) == tote_findings(premix) == []


@pytest.mark.parametrize("lake", lake_names())
def test_the_lakes_themselves_are_calm_though_dolomite_is_far_above_saturation(lake: str) -> None:
    water = lake_water(lake, 25.0).water
    state = at_air(water)
    assert float(state.si_calcite) < reference.value("limits", "calcite_calm")
    premix = premixed(water, {}, {}, 400.0, 1.0)
    assert all(place.level == "calm" for place in premix.saturations)
    assert tote_findings(premix) == []
    if lake == "tanganyika":
        assert float(state.si_dolomite) > 2  # three powers of ten above any alarm that went by it


def test_a_tote_that_will_cloud_is_said_to() -> None:
    hard = replace(HARD, calcium_mmol_l=4.0, chloride_mmol_l=4.0, temperature_c=26.0)
    premix = premixed(hard, {"sodium bicarbonate": 60.0}, {"sodium bicarbonate": 1.0}, 200.0, 1.0)
    after = with_salts(closed(hard), {"sodium bicarbonate": 60.0}, 200.0)
    assert float(at_air(after).si_calcite) > reference.value("limits", "calcite_cloud")
    (finding,) = tote_findings(premix)
    assert "tote in air" in finding.text and "cloud" in finding.text
    assert float(at_carbon(after, after.carbon_mmol_l).si_calcite) < float(at_air(after).si_calcite)


def test_every_salt_of_the_cupboard_has_its_use() -> None:
    """Bands that only one salt of the full cupboard can meet alone bring that one."""
    for name in NAMES:
        gram = 20.0
        only = amounts_in(PURE) + effects([name], VOLUME_L)[:, 0] * gram
        bands = {what: Band(0.99 * value, 1.01 * value + 1e-9) for what, value in zip(LINEAR, only, strict=True)}
        alkalinity = bands.pop("alkalinity_meq_l")
        ph = float(at_carbon(
            with_salts(deionised_water(25.0), {name: gram}, VOLUME_L), 1.0).ph) if "carbonate" in name else None  # fmt: skip
        assert ph is None or ph > 4
        made = recipe(
            deionised_water(25.0), jars(name), RecipeRequest(Target("one", ANY, alkalinity, **bands), VOLUME_L, 0.1)
        )
        assert made.grams == {name: pytest.approx(gram, rel=0.011)}
