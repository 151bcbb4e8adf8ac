"""Where there is no recipe: every way out that is named is gone and leads out, and the bands named are the fewest."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from cupboards import GENTLE, HARD, LINEAR, NAMES, PURE, SOFT, amounts_in, effects, ends_of, found, is_found, jars
from scipy.optimize import linprog

from tapwright.chemistry.dosing.recipe.conflicts import Conflict, explained
from tapwright.chemistry.dosing.recipe.cupboard import DEIONISED, Deionised, Stocked
from tapwright.chemistry.dosing.recipe.remineralise import RecipeRequest, recipe
from tapwright.chemistry.dosing.recipe.ways_out import Move
from tapwright.chemistry.substances import salt
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import deionised_water
from tapwright.chemistry.water.target import ANY, Band, Target, measures

Case = tuple[Water, list[Stocked], RecipeRequest]


def around(random: np.random.Generator, middle: float, width: float) -> Band:
    """A band about as high as the middle."""
    middle *= math.exp(random.normal(0, 0.2))
    return Band(middle * (1 - width), middle * (1 + width))


def drawn(random: np.random.Generator, equilibrium: bool) -> Case:
    """A question that often has no answer: few salts, short stocks, bands that pull apart."""
    water = [PURE, SOFT, replace(SOFT, ph=7.6), HARD][random.integers(4)]
    names = sorted(random.choice(NAMES, random.integers(1, 6), replace=False))
    cupboard = [
        Stocked(salt(name), stock_g=float(round(random.uniform(1, 100))) if random.random() < 0.4 else None)
        for name in names
    ]
    volume_l = float(round(random.uniform(30, 1500)))
    stock_l = float(round(random.uniform(0.05, 0.5) * volume_l))
    offer = [None, None, Deionised(), Deionised(stock_l)][random.integers(4)]
    width = random.uniform(0.03, 0.3)
    extra: dict[str, Band] = {}
    if random.random() < 0.3:
        extra["chloride_mmol_l"] = Band(0, random.uniform(0.2, 3))
    if random.random() < 0.3:
        extra["sodium_mmol_l"] = Band(0, random.uniform(0.2, 4))
    if random.random() < 0.5:
        extra["calcium_to_magnesium"] = around(random, 1.0, 0.6)
    if equilibrium:
        extra["conductivity_us_cm"] = around(random, 350, 0.2)
        extra["ph_aerated"] = Band(8.2, 8.6)
    target = Target("drawn", around(random, 1.4, width), around(random, 3.0, width), **extra)
    return water, cupboard, RecipeRequest(target, volume_l, float(random.choice([0, 0, 1, 5])), deionised=offer)


@cache
def conflicts(equilibrium: bool) -> list[tuple[Case, Conflict]]:
    """Questions without an answer and what is said to them."""
    random, cases = np.random.default_rng(1905), []
    for _ in range(12 if equilibrium else 60):
        case = drawn(random, equilibrium)
        conflict = explained(*case, recipe(*case))
        if conflict is None:
            assert is_found(*case)
        else:
            cases.append((case, conflict))
    return cases


def gone(case: Case, move: Move, then: float | None = None) -> Case:
    """The question after the move, or after another one as far as `then`."""
    water, cupboard, request = case
    then = move.then if then is None else then
    if move.kind == "band":
        band, scale = dict(request.target.bands())[move.name], measures()[move.name].scale
        low = math.isclose(move.now or 0.0, band.low * scale) and move.then < (move.now or 0.0)
        moved = Band(then / scale, band.high) if low else Band(band.low, then / scale)
        return water, cupboard, replace(request, target=replace(request.target, **{move.name: moved}))
    if move.name == DEIONISED:
        return water, cupboard, replace(request, deionised=Deionised(then))
    if move.kind == "stock":
        filled = [replace(item, stock_g=then) if item.salt.name == move.name else item for item in cupboard]
        return water, filled, request
    if move.kind == "buy":
        return water, [*cupboard, Stocked(salt(move.name), stock_g=then)], request
    return water, cupboard, replace(request, **{"step_g" if move.kind == "scale" else "volume_l": then})


@pytest.mark.parametrize("equilibrium", [False, True], ids=["linear", "with pH and conductivity"])
def test_every_way_out_leads_out(equilibrium: bool) -> None:
    ways = 0
    for case, conflict in conflicts(equilibrium):
        assert conflict.ways_out or equilibrium
        for way in conflict.ways_out:
            after = case
            for move in way.moves:
                # Of a salt to get, a pack: no band that rests on the equilibrium is drawn to the gram.
                after = gone(after, move, math.inf if equilibrium and move.kind == "buy" else None)
            assert is_found(*after), (case, way.text)
            assert all(move.text in way.text for move in way.moves)
            assert way.text in conflict.advice()
            ways += 1
    assert ways > (10 if equilibrium else 100)


def test_a_smaller_move_does_not_do_it() -> None:
    """Amounts are said in three figures, rounded to the side that works: one and a half of the last figure less fails."""
    kinds = set()
    for case, conflict in conflicts(False):
        for way in conflict.ways_out:
            move = way.moves[0]
            ratio = move.name == "calcium_to_magnesium"  # its least move is sought in amounts, not in the ratio
            if len(way.moves) > 1 or ratio or move.kind not in ("band", "stock", "deionised", "buy"):
                continue
            less = 1.5 * 10.0 ** (math.floor(math.log10(max(move.then, 1.0))) - 2)
            then = move.then - math.copysign(less, move.then - (move.now or 0.0))
            if (then - (move.now or 0.0)) * (move.then - (move.now or 0.0)) <= 0:
                continue
            assert not is_found(*gone(case, move, then)), (case, way.text)
            kinds.add((move.kind, move.name if move.kind == "band" else ""))
    assert {"band", "stock", "deionised", "buy"} == {kind for kind, _ in kinds}
    assert len(kinds) >= 6


def test_several_moves_are_told_only_where_no_single_one_does() -> None:
    together = 0
    for _, conflict in conflicts(False):
        # A finer scale may come on top of any of them.
        moves = [[move.kind for move in way.moves if move.kind != "scale"] for way in conflict.ways_out]
        get = [kinds for kinds in moves if kinds and kinds[0] != "band"]
        bands = [kinds for kinds in moves if kinds and kinds[0] == "band"]
        if any(len(kinds) > 1 for kinds in get):
            assert len(get) == 1
        if any(len(kinds) > 1 for kinds in bands):
            together += 1
            assert len(bands) == 1 and all(len(kinds) > 1 for kinds in get)
    assert together > 5


# --- which bands conflict --------------------------------------------------------------------------------------------


def rules_of(case: Case) -> dict[str, list[tuple[np.ndarray, float]]]:
    """Every end of a band and of a stock by the words it is told in, as rows weights @ x <= limit over grams and litres."""
    water, cupboard, request = case
    names = [item.salt.name for item in cupboard]
    pure = amounts_in(deionised_water(water.temperature_c)) - amounts_in(water)
    matrix = np.column_stack([effects(names, request.volume_l), pure / request.volume_l])
    rules: dict[str, list[tuple[np.ndarray, float]]] = {}
    bands = dict(request.target.bands())
    for name, low, weights, limit in ends_of(request.target):
        measure, sign = measures()[name], -1.0 if low else 1.0
        end = bands[name].low if low else bands[name].high
        words = f"{measure.words} of at {'least' if low else 'most'} {measure.said(end)}"
        rules.setdefault(words, []).append(
            (sign * weights @ matrix, sign * (limit - weights @ amounts_in(water)) + 1e-7)
        )
    stocks = [(item.salt.name, item.stock_g, "g") for item in cupboard]
    stocks.append((DEIONISED, request.deionised.stock_l if request.deionised else None, "L"))
    for place, (name, stock, unit) in enumerate(stocks):
        if stock is not None:
            rules[f"the {stock:g} {unit} of {name} there are"] = [(np.eye(len(stocks))[place], stock)]
    return rules


def holds_together(case: Case, words: list[str]) -> bool:
    """Whether so many of the ends hold at once, by scipy."""
    _, cupboard, request = case
    rows = [row for word in words for row in rules_of(case)[word]]
    bounds = [(0, None)] * len(cupboard) + [(0, request.volume_l if request.deionised else 0)]
    matrix = np.array([row for row, _ in rows]) if rows else None
    answer = linprog(
        np.zeros(len(bounds)), matrix, [limit for _, limit in rows] if rows else None, bounds=bounds, method="highs"
    )
    return bool(answer.status == 0)


def test_the_ends_named_are_a_smallest_set_that_cannot_hold() -> None:
    sizes = set()
    for case, conflict in conflicts(False):
        if conflict.by_scale:
            continue
        words = list(conflict.bands)
        assert words and set(words) <= set(rules_of(case)), (words, list(rules_of(case)))
        assert not holds_together(case, words)
        for word in words:
            assert holds_together(case, [other for other in words if other != word]), (words, word)
            assert word in conflict.sentence()
        sizes.add(len(words))
    assert len(sizes) >= 3


@pytest.mark.parametrize("volume_l", [50.0, 500.0, 4000.0])
@pytest.mark.parametrize("step_g", [0.0, 0.01, 0.1, 1.0])
def test_the_least_move_is_that_whatever_scale_and_volume(volume_l: float, step_g: float) -> None:
    """All of the salt there is goes in: a fine step in a large tote must not make it look not worth its grams."""
    cupboard = [Stocked(salt("magnesium sulfate heptahydrate"), stock_g=0.2 * volume_l), *jars("sodium chloride")]
    request = RecipeRequest(Target("t", Band(1.0, 1.1), ANY, sodium_mmol_l=Band(3.0, 4.0)), volume_l, step_g)
    conflict = explained(PURE, cupboard, request, recipe(PURE, cupboard, request))
    assert conflict is not None
    (move,) = [way.moves[0] for way in conflict.ways_out if way.moves[0].kind == "band"]
    # 0.2 g/L of it is 0.811 mmol/L, 4.55 dGH.
    assert (move.name, move.then) == ("hardness_mmol_l", pytest.approx(4.55, abs=0.006))


def test_a_ratio_without_end_is_no_way_out_and_magnesium_is() -> None:
    cupboard = jars("calcium chloride dihydrate", "sodium bicarbonate")
    request = RecipeRequest(Target("t", Band(0.7, 0.8), Band(1.0, 1.2), Band(1.0, 3.0)), 100.0, 0.1)
    conflict = explained(PURE, cupboard, request, recipe(PURE, cupboard, request))
    assert conflict is not None
    moves = [way.moves[0] for way in conflict.ways_out]
    assert all(move.name != "calcium_to_magnesium" for move in moves)
    bought = [move for move in moves if move.kind == "buy"]
    assert bought and all("magnesium" in move.name for move in bought)
    assert all(is_found(*gone((PURE, cupboard, request), move)) for move in bought)


def test_water_there_is_no_end_of_is_not_among_what_conflicts() -> None:
    hard = replace(SOFT, chloride_mmol_l=2.0, sodium_mmol_l=2.1)
    request = RecipeRequest(Target("t", Band(1.5, 2), ANY, chloride_mmol_l=Band(0, 0.5)), 300.0, deionised=Deionised())
    cupboard = jars("calcium chloride dihydrate")
    conflict = explained(hard, cupboard, request, recipe(hard, cupboard, request))
    assert conflict is not None
    assert conflict.bands == ("hardness of at least 8.412 dGH", "chloride of at most 17.73 mg/L")


# --- charge ----------------------------------------------------------------------------------------------------------


def some_water_lies_inside(target: Target, own_meq_l: float) -> bool:
    """Whether ions, alkalinity and at most the charge the source has left over can lie in the bands, by scipy."""
    rows, limits = [], []
    for _, low, weights, limit in ends_of(target):
        rows.append(-weights if low else weights)
        limits.append(-limit if low else limit)
    charge = np.array([2, 2, 1, 1, -1, -2, -1], dtype=float)
    rows += [charge, -charge]
    limits += [max(own_meq_l, 0.0), -min(own_meq_l, 0.0)]
    return bool(linprog(np.zeros(7), np.array(rows), limits, bounds=[(0, None)] * 7, method="highs").status == 0)


def test_salts_whatever_are_said_to_be_no_help_only_where_charges_forbid_it() -> None:
    random, said = np.random.default_rng(12), {True: 0, False: 0}
    for _ in range(40):
        ions = {
            name: Band(0, random.uniform(0.1, 1.3))
            for name in ("sodium_mmol_l", "potassium_mmol_l", "chloride_mmol_l", "sulfate_mmol_l")
            if random.random() < 0.8
        }
        target = Target("t", around(random, 0.8, 0.3), around(random, 4.5, 0.2), **ions)
        water = [PURE, SOFT][random.integers(2)]
        cupboard, request = jars("magnesium chloride hexahydrate", "sodium bicarbonate"), RecipeRequest(target, 100.0)
        conflict = explained(water, cupboard, request, recipe(water, cupboard, request))
        if conflict is None:
            continue
        possible = some_water_lies_inside(target, water.cations_meq_l - water.anions_meq_l)
        assert (conflict.charge == "") == possible
        said[possible] += 1
        if not possible:
            assert "No salts whatever" in conflict.sentence()
    assert min(said.values()) > 8


@pytest.mark.parametrize("gap_meq_l", [0.05, 0.4, 1.0])
def test_a_small_gap_between_the_charges_is_seen_as_well(gap_meq_l: float) -> None:
    few_anions = Target("t", Band(1.5, 1.6), Band(1.0, 1.2), chloride_mmol_l=Band(0, 1.2 - gap_meq_l),
                        sulfate_mmol_l=Band(0, 0.3))  # fmt: skip
    few_cations = Target("t", Band(0.4, 0.5), Band(2.0 + gap_meq_l, 2.1 + gap_meq_l), sodium_mmol_l=Band(0, 0.7),
                         potassium_mmol_l=Band(0, 0.3))  # fmt: skip
    for target in (few_anions, few_cations):
        request = RecipeRequest(target, 100.0)
        conflict = explained(PURE, jars(*GENTLE), request, recipe(PURE, jars(*GENTLE), request))
        assert conflict is not None and f"at least {gap_meq_l:g} meq/L more" in conflict.charge


def test_the_gap_between_the_charges_is_the_size_that_is_said() -> None:
    # 3 meq of alkalinity against 1 mmol of sodium, no potassium and 0.5 mmol of hardness: 1 meq is missing.
    target = Target("t", Band(0.4, 0.5), Band(3.0, 3.2), sodium_mmol_l=Band(0, 1), potassium_mmol_l=Band(0, 0))
    request = RecipeRequest(target, 100.0)
    conflict = explained(PURE, jars(*GENTLE), request, recipe(PURE, jars(*GENTLE), request))
    assert conflict is not None
    assert "the anions of any such water come to at least 1 meq/L more than its cations" in conflict.charge
    # The other way: 6 meq of hardness, and no anion to go with it.
    bare = Target("t", Band(3.0, 3.2), Band(1.0, 1.2), chloride_mmol_l=Band(0, 1), sulfate_mmol_l=Band(0, 0.5))
    conflict = explained(
        PURE, jars(*GENTLE), RecipeRequest(bare, 100.0), recipe(PURE, jars(*GENTLE), RecipeRequest(bare, 100.0))
    )
    assert conflict is not None
    assert "the cations of any such water come to at least 2.8 meq/L more than its anions" in conflict.charge


def test_bands_that_no_water_has_whatever_its_charge_are_told_so() -> None:
    request = RecipeRequest(Target("t", Band(1, 1.1), ANY, calcium_mmol_l=Band(2, 3)), 100.0)
    conflict = explained(PURE, jars(*GENTLE), request, recipe(PURE, jars(*GENTLE), request))
    assert conflict is not None and "No water at all" in conflict.sentence()


def test_a_water_that_is_there_is_possible_however_far_from_it_the_source_is() -> None:
    """Narrow bands around one real water, asked of pure water and an empty cupboard."""
    there = effects(NAMES, 100.0) @ np.array([30.0, 10.0, 40.0, 20.0, 9.0, 8.0, 25.0, 12.0, 0.0])
    water = replace(PURE, **dict(zip(LINEAR, there, strict=True)))
    bands = {name: Band(0.99 * amount, 1.01 * amount) for name, amount in zip(LINEAR, there, strict=True)}
    conducts = (
        recipe(water, [], RecipeRequest(Target("t", ANY, ANY, conductivity_us_cm=Band(0, 9e9)), 1.0)).reached[0].value
    )
    alkalinity = bands.pop("alkalinity_meq_l")
    request = RecipeRequest(
        Target("t", ANY, alkalinity, conductivity_us_cm=Band(0.998 * conducts, 1.002 * conducts), **bands), 100.0
    )
    assert found(recipe(water, [], request))
    conflict = explained(PURE, [], request, recipe(PURE, [], request))
    assert conflict is not None and conflict.charge == ""


# --- the scale -------------------------------------------------------------------------------------------------------


def test_a_finer_step_or_more_water_does_where_the_scale_is_too_coarse() -> None:
    random, seen = np.random.default_rng(2), set()
    for _ in range(8):
        hardness, alkalinity = random.uniform(0.8, 1.6), random.uniform(1.5, 3.5)
        target = Target("t", Band(hardness, 1.04 * hardness), Band(alkalinity, 1.04 * alkalinity))
        case = (
            SOFT,
            jars(*GENTLE[2:4], "sodium bicarbonate"),
            RecipeRequest(target, 20.0, float(random.choice([1, 2, 5]))),
        )
        made = recipe(*case)
        if found(made):
            continue
        assert made.missed == ()  # any finer scale has an answer: three salts and room in both bands
        conflict = explained(*case, made)
        assert conflict is not None and conflict.by_scale and "scale" in conflict.sentence()
        by_kind = {way.moves[0].kind: way.moves[0] for way in conflict.ways_out if len(way.moves) == 1}
        for kind, move in by_kind.items():
            assert is_found(*gone(case, move)), (kind, move)
        steps = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5)
        step = by_kind["scale"]
        coarser = [one for one in steps if step.then < one < case[2].step_g]
        assert not any(is_found(*gone(case, step, one)) for one in coarser)
        volume = by_kind["volume"]
        assert volume.then > 20.0
        # Whether steps fit goes up and down with the volume: of those that were tried, none smaller does.
        doubled = [20.0 * 2**times for times in range(7) if 20.0 * 2**times < volume.then / 1.02]
        assert not any(is_found(*gone(case, volume, one)) for one in doubled)
        seen |= set(by_kind)
    assert {"scale", "volume"} <= seen


def test_the_miss_is_told_by_the_end_that_is_missed() -> None:
    request = RecipeRequest(Target("t", Band(1.0, 1.02), ANY), 10.0, 5.0)
    cupboard = jars("magnesium sulfate heptahydrate")
    made = recipe(PURE, cupboard, request)
    conflict = explained(PURE, cupboard, request, made)
    assert conflict is not None and conflict.by_scale
    (miss,) = made.missed_by_scale
    side = "least" if miss.value < 1.0 else "most"
    assert conflict.bands == (f"hardness of at {side} {measures()['hardness_mmol_l'].said(miss.limit)}",)
    assert (
        explained(PURE, cupboard, replace(request, step_g=0.01), recipe(PURE, cupboard, replace(request, step_g=0.01)))
        is None
    )
