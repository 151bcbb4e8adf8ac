"""Questions that end: work is counted, never timed; more of it never does worse, and what is not proven is never called so."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from cupboards import HARD, PURE, SOFT, jars
from hypothesis import given, settings
from hypothesis import strategies as st
from transition.test_transition import FOUR, PLAIN, narrow

from tapwright.chemistry.dosing.recipe.bands import standings
from tapwright.chemistry.dosing.recipe.choice import ORDER
from tapwright.chemistry.dosing.recipe.conflicts import explained
from tapwright.chemistry.dosing.recipe.cupboard import Stocked
from tapwright.chemistry.dosing.recipe.remineralise import Recipe, RecipeRequest, recipe
from tapwright.chemistry.dosing.transition.transition import transition
from tapwright.chemistry.errors import NotInTime
from tapwright.chemistry.programmes.budget import Budget, OutOfWork, current, question, rungs
from tapwright.chemistry.programmes.linear_programme import Programme, solve
from tapwright.chemistry.programmes.whole_numbers import solve_whole
from tapwright.chemistry.substances import salts
from tapwright.chemistry.water.target import Band, lake_target

GENTLE = [salt for salt in salts().values() if salt.gentle]
# What the largest call can do before it looks at what is left: one round of pivots, a programme passed on, a few waters.
ONE_CALL = 0.1e6

hard_wishes = st.builds(
    lambda lake, every_ion, ph, width, step_g, parts: RecipeRequest(
        replace(lake_target(lake, every_ion=every_ion), ph_aerated=Band(ph, ph + width) if width else None),
        40.0 * parts,
        step_g,
        parts,
    ),
    st.sampled_from(["malawi", "tanganyika"]),
    st.booleans(),
    st.floats(8.1, 8.8),
    st.sampled_from([0.0, 0.002, 0.1]),
    st.sampled_from([0.01, 0.1, 1.0]),
    st.integers(1, 3),
)
cupboards = st.lists(st.sampled_from(GENTLE), min_size=2, max_size=12, unique_by=lambda salt: salt.name).map(
    lambda chosen: [Stocked(salt) for salt in chosen]
)
sources = st.sampled_from([SOFT, HARD, PURE])
patiences = st.sampled_from([0.02, 0.1, 0.25, 0.5])


def asked(water: object, cupboard: list[Stocked], request: RecipeRequest, patience_s: float) -> tuple[Recipe, Budget]:
    """The recipe within so much patience, and the budget it leaves."""
    with question(patience_s) as budget:
        return recipe(water, cupboard, request), budget  # type: ignore[arg-type]


def rank(made: Recipe) -> tuple[float, ...]:
    """Bands lost, and the number of salts."""
    return len(made.missed), bool(made.missed_by_scale), len(made.grams)


@settings(max_examples=25, deadline=None)
@given(sources, cupboards, hard_wishes, patiences)
def test_the_same_question_has_the_same_answer_and_ends(
    water: object, cupboard: list[Stocked], request: RecipeRequest, patience_s: float
) -> None:
    made, budget = asked(water, cupboard, request, patience_s)
    assert budget.done <= budget.whole + ONE_CALL
    again, other = asked(water, cupboard, request, patience_s)
    assert again == made
    assert other.done == budget.done


@settings(max_examples=25, deadline=None)
@given(sources, cupboards, hard_wishes)
def test_what_is_found_lies_in_its_bands_and_above_its_bound(
    water: object, cupboard: list[Stocked], request: RecipeRequest
) -> None:
    made, _ = asked(water, cupboard, request, 0.1)
    assert (made.bound is not None) == (made.found and not made.proven)
    if made.found:
        assert all(at.held for at in standings(made.water, request.target, request.times_air))
    if made.bound is not None:
        assert len(made.grams) >= made.bound.salts
        assert sum(made.grams.values()) >= made.bound.cost * (1 - 1e-6) - 1e-6
        best, _ = asked(water, cupboard, request, 5.0)
        assert len(best.grams) >= made.bound.salts
        assert sum(best.grams.values()) >= made.bound.cost * (1 - 1e-6) - 1e-6


@settings(max_examples=20, deadline=None)
@given(sources, cupboards, hard_wishes)
def test_more_patience_never_does_worse(water: object, cupboard: list[Stocked], request: RecipeRequest) -> None:
    tries = [asked(water, cupboard, request, patience_s)[0] for patience_s in (0.1, 0.4, 2.0)]
    for less, more in pairwise(tries):
        if less.found:
            assert more.found
            assert more.proven or not less.proven
            assert rank(more) <= rank(less)
        if less.proven:
            assert (more.grams if more.found else more.found) == (less.grams if less.found else less.found)


def test_attempts_of_a_larger_budget_are_those_of_a_smaller_and_more() -> None:
    budgets = [1e4, 5e4, 1.5e6, 1.6e6, 3e7]
    ladders = [[*rungs(units)] for units in budgets]
    for units, ladder in zip(budgets, ladders, strict=True):
        assert sum(ladder) <= units
    for less, more in pairwise(ladders):
        assert more[: len(less)] == less
    assert ladders[0] == []


def test_one_budget_is_shared_by_all_that_is_asked_within() -> None:
    with question(1.0) as outer:
        with question(50.0) as inner:
            assert inner is outer is current()
        with outer.at_most(10.0):
            outer.take(11.0)
            with pytest.raises(OutOfWork):
                outer.ask()
        outer.ask()
    assert current() is not outer


def _knapsack() -> Programme:
    """Many near-equal ways to come within a hair of a sum: no search settles it at once."""
    weights = np.array([[12223.0, 12224.0, 36674.0, 61119.0, 85569.0]])  # a Frobenius number lies above the demand
    return Programme(np.ones(5), weights, np.array([89643481.0]), np.array([89643481.0]), np.full(5, 1e6), 5)


def test_a_programme_that_is_cut_short_is_never_told_as_impossible_or_least() -> None:
    for ask in (solve, solve_whole):
        with question(0.1) as budget:
            with pytest.raises(OutOfWork) as end:
                for _ in range(1000):
                    ask(_knapsack())
            assert budget.done <= budget.whole + ONE_CALL
        if end.value.best is not None:
            assert np.abs(_knapsack().matrix @ end.value.best - 89643481.0) <= 1e-3


def test_a_recipe_that_is_not_found_in_time_is_not_called_impossible() -> None:
    target = replace(lake_target("malawi", every_ion=True), ph_aerated=Band(8.3, 8.5))
    request = RecipeRequest(target, 40.0, 0.1)
    cupboard = [Stocked(salt) for salt in GENTLE]
    with question(1e-4):
        made = recipe(SOFT, cupboard, request)
        assert not made.proven
        conflict = explained(SOFT, cupboard, request, made)
    assert made.missed
    assert conflict is not None
    assert "there may be one" in conflict.sentence()
    assert "more patience" in conflict.advice().lower()
    assert conflict.not_sought


def test_a_way_that_is_not_found_in_time_is_not_called_impossible() -> None:
    request = replace(PLAIN, step_g=0.1, target=narrow(1.0, 1.6, 0.05))
    with question(1e-3), pytest.raises(NotInTime, match=r"there may be one.*patience"):
        transition(request, jars(*FOUR))
    usual = transition(request, jars(*FOUR))
    for patience_s in (0.3, 0.8, 2.0):
        with question(patience_s) as budget:
            try:
                made = transition(request, jars(*FOUR))
            except NotInTime:
                continue
            assert budget.done <= budget.whole + ONE_CALL
        assert len(made.changes) >= len(usual.changes)
        if made.proven:
            assert made == usual
        else:
            assert made.at_least is not None
            assert made.at_least[0] <= len(usual.changes)


def test_twenty_one_salts_that_cannot_are_refused_without_going_through_their_sets() -> None:
    """Two million sets of twenty-one: that none can is seen from all of them together."""
    request = RecipeRequest(replace(lake_target("malawi"), conductivity_us_cm=Band(0.0, 100.0)), 100.0, 0.1)
    made, budget = asked(PURE, [Stocked(salt) for salt in salts().values()], request, 2.0)
    assert made.proven
    assert [at.band for at in made.missed]
    assert budget.done < budget.whole


def test_the_order_of_preference_is_kept_by_what_is_best_so_far() -> None:
    request = RecipeRequest(replace(lake_target("malawi", every_ion=True)), 40.0, 0.01)
    for word in ORDER:
        made, _ = asked(PURE, [Stocked(salt) for salt in GENTLE], replace(request, prefer=(word,)), 0.1)
        assert made.bound is None or made.bound.salts == 0 or word == "salts"
