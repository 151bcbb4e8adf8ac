"""Many small linear programmes at once: an outside solver on every kind of them, laws, recipes, and the ways out."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import linprog

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.programmes import many_programmes
from tapwright.chemistry.programmes.many_programmes import Answers, solve_many
from tapwright.chemistry.substances import salt

Array = NDArray[np.float64]
Batch = tuple[
    Array, Array, Array, Array, Array
]  # cost (n,), matrix (m, n) or (B, m, n), row_low, row_high, upper (B, .)

CUPBOARD = ("sodium bicarbonate", "potassium bicarbonate", "sodium carbonate anhydrous", "magnesium sulfate heptahydrate",
            "magnesium chloride hexahydrate", "calcium chloride dihydrate", "calcium sulfate dihydrate",
            "potassium chloride")  # fmt: skip


def largest(matrix: Array, axis: int) -> Array:
    """Largest coefficient of every row or column; 1 where there is none but 0."""
    size = np.abs(matrix).max(axis=axis, initial=0.0)
    return np.where(size > 0, size, 1.0)


def one_of(batch: Batch, lane: int) -> Batch:
    cost, matrix, low, high, upper = batch
    return cost, matrix if matrix.ndim == 2 else matrix[lane], low[lane], high[lane], upper[lane]


TIGHT = {"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10}


def theirs(cost: Array, matrix: Array, low: Array, high: Array, upper: Array) -> float | None:
    """The least cost by scipy's HiGHS, None where infeasible; its tolerances are absolute, so rows come with size 1."""
    size = largest(matrix, axis=1)
    matrix, low, high = matrix / size[:, None], low / size, high / size
    above, below = np.isfinite(high), np.isfinite(low)
    rows, ends = np.vstack([matrix[above], -matrix[below]]), np.concatenate([high[above], -low[below]])
    bounds = np.column_stack([np.zeros_like(upper), upper])
    for method in ("highs", "highs-ipm"):  # one may not know where the other does
        found = linprog(cost, rows, ends, bounds=bounds, method=method, options=TIGHT)
        if found.status in (0, 2):
            return float(found.fun) if found.status == 0 else None
    raise AssertionError(found.message)


def check(batch: Batch, answers: Answers) -> None:
    """Status and cost against theirs; amounts inside bounds and rows; nan and a row named where there is no answer.

    Cost to 1e-9 (below 1e-3, where the rest is rounding, 1e-12); rows to 1e-9 of their terms and of the largest demand.
    """
    for lane, feasible in enumerate(answers.feasible):
        cost, matrix, low, high, upper = programme = one_of(batch, lane)
        amounts, paid, expected = answers.amounts[lane], answers.cost[lane], theirs(*programme)
        assert feasible == (expected is not None), lane
        assert answers.stuck_row[lane] in ([-1] if feasible else range(len(low))), lane
        if expected is None:
            assert np.isnan([paid, *amounts]).all(), lane
            continue
        size, reached = largest(matrix, axis=1), matrix @ amounts
        room = 1e-9 * (np.abs(matrix) @ amounts + size * (np.maximum(low, -high) / size).max(initial=0.0))
        assert np.all((reached >= low - room) & (reached <= high + room)), lane
        assert np.all((amounts >= 0) & (amounts <= upper)), lane
        assert paid == pytest.approx(expected, rel=1e-9, abs=1e-12), lane
        assert paid == pytest.approx(cost @ amounts, rel=1e-12, abs=0), lane


def same(one: Answers, other: Answers, factor: float = 1.0, rel: float = 1e-12) -> None:
    """Same status and cost, the other's times the factor; as the costs here are about 1, only rounding is between."""
    assert np.array_equal(one.feasible, other.feasible)
    np.testing.assert_allclose(other.cost, factor * one.cost, rtol=rel, atol=factor * rel)


KINDS = ("plain", "own matrices", "whole numbers", "equalities", "mixed scales", "duplicates", "nearly parallel")


def drawn(kind: str, random: np.random.Generator, count: int) -> Batch:
    """2 to 14 rows, 3 to 21 columns; bands around what random amounts reach, moved so far that some have no answer."""
    rows, columns = random.integers(2, 15), random.integers(3, 22)
    matrix = random.normal(size=(count, rows, columns) if kind == "own matrices" else (rows, columns))
    if kind == "whole numbers":  # ties in every ratio, vertices where many rows meet
        matrix = np.round(matrix)
    if kind == "mixed scales":
        matrix *= 10 ** random.uniform(-4, 4, (rows, 1)) * 10 ** random.uniform(-3, 3, columns)
    if kind == "duplicates":  # and a row and a column of zeros
        matrix[-1], matrix[:, -1] = matrix[0], matrix[:, 0]
        matrix[rows // 2], matrix[:, columns // 2] = 0.0, 0.0
    if kind == "nearly parallel":
        matrix[-1] = matrix[0] + 1e-5 * matrix[-1]
    row_size, column_size = largest(matrix, axis=-1), largest(matrix, axis=-2)
    amounts = random.random((count, columns)) * (random.random((count, columns)) < 0.5) / column_size
    upper = 3 * random.random((count, columns)) / column_size
    upper[random.random((count, columns)) < 0.3] = np.inf
    upper[random.random((count, columns)) < 0.1] = 0.0
    reached = (matrix @ amounts[..., None])[..., 0]
    middle = reached + 0.1 * row_size * random.normal(size=(count, rows))
    width = row_size * random.random((count, rows)) * (random.random((count, rows)) < 0.7)
    low, high = middle - width, middle + width * random.random((count, rows))
    low[random.random((count, rows)) < 0.2] = -np.inf
    high[random.random((count, rows)) < 0.2] = np.inf
    cost = random.random(columns) * (random.random(columns) < 0.8)
    if kind == "whole numbers":
        return np.round(2 * cost), matrix, np.round(low), np.round(high), np.round(upper)
    if kind == "equalities":
        exact, upper = random.random((count, rows)) < 0.5, np.where(upper > 0, np.maximum(upper, amounts), 0.0)
        low = np.where(exact, reached, np.minimum(low, reached))
        high = np.where(exact, reached, np.maximum(high, reached))
    return cost, matrix, low, high, upper


def batches(kind: str, seed: int, number: int = 12, count: int = 12) -> list[Batch]:
    random = np.random.default_rng(seed)
    return [drawn(kind, random, count) for _ in range(number)]


@pytest.fixture
def handed_over(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """The programmes that went to HiGHS."""
    seen: list[Any] = []
    solve = many_programmes.solve
    monkeypatch.setattr(many_programmes, "solve", lambda programme: (seen.append(programme), solve(programme))[1])
    return seen


@pytest.mark.parametrize("kind", KINDS)
def test_random_programmes_against_scipy(kind: str, handed_over: list[Any]) -> None:
    feasible: list[bool] = []
    for batch in batches(kind, seed=1):
        answers = solve_many(*batch)
        check(batch, answers)
        feasible += answers.feasible.tolist()
    assert 5 < sum(feasible) < len(feasible) - 5  # both sorts are among them
    assert not handed_over


@pytest.mark.parametrize("kind", KINDS)
def test_blands_rule_alone_finds_the_same(kind: str, monkeypatch: pytest.MonkeyPatch, handed_over: list[Any]) -> None:
    drawn_batches = batches(kind, seed=3, number=30)
    usual = [solve_many(*batch) for batch in drawn_batches]
    monkeypatch.setattr(many_programmes, "_PIVOTS", 0)
    for batch, expected in zip(drawn_batches, usual, strict=True):
        same(expected, solve_many(*batch), rel=1e-9)
    assert not handed_over


def test_what_is_not_settled_in_time_goes_to_highs(monkeypatch: pytest.MonkeyPatch, handed_over: list[Any]) -> None:
    drawn_batches = [*batches("plain", seed=4), *batches("own matrices", seed=4)]
    usual = [solve_many(*batch) for batch in drawn_batches]
    monkeypatch.setattr(many_programmes, "_PIVOTS", 3)
    monkeypatch.setattr(many_programmes, "_BLAND_PIVOTS", 0)
    for batch, expected in zip(drawn_batches, usual, strict=True):
        same(expected, solve_many(*batch), rel=1e-6)  # HiGHS's own tolerance is 1e-7 of each row
    assert 50 < len(handed_over) < 2 * 12 * 12 - 50


ASTRAY = {
    "values": (1.0, 1, 1.001),
    "values that cost nothing": (0.0, 1, 1.001),
    "weights": (1.0, (2, slice(None, -1)), 1.001),
    "no cost in the proof": (1.0, (2, -1), 0.0),
}


@pytest.mark.parametrize("spoilt", ASTRAY)
def test_a_search_gone_astray_is_found_out(
    spoilt: str, monkeypatch: pytest.MonkeyPatch, handed_over: list[Any]
) -> None:
    search, (money, where, factor) = many_programmes._search, ASTRAY[spoilt]

    def astray(batch: Any) -> Array:
        ends = search(batch)
        ends[where] *= factor
        return ends

    ((cost, *rest),) = batches("equalities", seed=5, number=1, count=60)
    usual = solve_many(money * cost, *rest)
    monkeypatch.setattr(many_programmes, "_search", astray)
    same(usual, solve_many(money * cost, *rest), rel=1e-6)
    assert len(handed_over) > 30


@st.composite
def programmes(draw: st.DrawFn) -> Batch:
    """Batches of small whole numbers, where ties and vertices with many rows are the rule."""
    rows, columns, count = draw(st.integers(1, 4)), draw(st.integers(1, 5)), draw(st.integers(1, 4))

    def numbers(least: int, most: int, *shape: int, infinite: bool = False) -> Array:
        values, size = st.integers(least, most).map(float), int(np.prod(shape))
        value = st.one_of(values, st.just(np.inf)) if infinite else values
        return np.array(draw(st.lists(value, min_size=size, max_size=size)), dtype=float).reshape(shape)

    low = -numbers(-6, 4, count, rows, infinite=True)
    high = np.where(np.isinf(low), numbers(-4, 6, count, rows, infinite=True), low) + numbers(0, 3, count, rows)
    upper = numbers(0, 4, count, columns, infinite=True)
    return numbers(0, 4, columns), numbers(-3, 3, rows, columns), low, high, upper


@given(programmes())
def test_small_whole_numbers_against_scipy(batch: Batch) -> None:
    check(batch, solve_many(*batch))


@given(programmes(), st.floats(1e-9, 1e9), st.floats(1e-15, 1e15), st.floats(1e-9, 1e9))
def test_no_unit_decides_anything(batch: Batch, money: float, amount: float, row: float) -> None:
    cost, matrix, low, high, upper = batch
    other = solve_many(money * cost, row * matrix, row * amount * low, row * amount * high, amount * upper)
    same(solve_many(*batch), other, factor=money * amount)


@given(programmes(), st.randoms(use_true_random=False))
def test_no_order_decides_anything(batch: Batch, random: Any) -> None:
    cost, matrix, low, high, upper = batch
    columns, rows = random.sample(range(len(cost)), len(cost)), random.sample(range(len(matrix)), len(matrix))
    turned = solve_many(cost[columns], matrix[np.ix_(rows, columns)], low[:, rows], high[:, rows], upper[:, columns])
    same(solve_many(*batch), turned)


@given(programmes(), st.floats(0, 2))
def test_a_looser_band_never_costs_more(batch: Batch, slack: float) -> None:
    cost, matrix, low, high, upper = batch
    tight, loose = solve_many(*batch), solve_many(cost, matrix, low - slack, high + slack, upper + slack)
    assert loose.feasible[tight.feasible].all()
    assert np.all((loose.cost <= tight.cost * (1 + 1e-9) + 1e-12)[tight.feasible])


@given(programmes(), st.integers(0, 4))
def test_an_upper_bound_of_0_is_the_column_left_out(batch: Batch, column: int) -> None:
    cost, matrix, low, high, upper = batch
    column, closed = column % len(cost), upper.copy()
    closed[:, column] = 0.0
    without = [np.delete(each, column, axis=-1) for each in (cost, matrix, closed)]
    same(solve_many(cost, matrix, low, high, closed), solve_many(without[0], without[1], low, high, without[2]))


@given(programmes())
def test_a_row_written_again_upside_down_changes_nothing(batch: Batch) -> None:
    cost, matrix, low, high, upper = batch
    rows = np.vstack([matrix, -2 * matrix]), np.hstack([low, -2 * high]), np.hstack([high, -2 * low])
    same(solve_many(*batch), solve_many(cost, *rows, upper))


@given(programmes(), st.integers(0, 3))
def test_the_only_row_with_bounds_is_the_one_that_is_stuck(batch: Batch, row: int) -> None:
    cost, matrix, low, high, upper = batch
    others = np.arange(len(matrix)) != row % len(matrix)
    answers = solve_many(cost, matrix, np.where(others, -np.inf, low), np.where(others, np.inf, high), upper)
    assert np.all(answers.stuck_row[~answers.feasible] == row % len(matrix))


@pytest.mark.parametrize("kind", ["plain", "own matrices"])
def test_a_batch_equals_its_programmes_one_by_one(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for batch in batches(kind, seed=6, number=4, count=30):
        together = solve_many(*batch)
        with monkeypatch.context() as patch:
            patch.setattr(many_programmes, "_ROUND", 7)  # five rounds, the last of two programmes
            np.testing.assert_array_equal(solve_many(*batch).amounts, together.amounts)
        alone = [solve_many(*one_of(batch, lane)) for lane in range(30)]
        np.testing.assert_allclose([each.amounts[0] for each in alone], together.amounts, rtol=1e-12, atol=1e-12)
        assert [each.stuck_row[0] for each in alone] == together.stuck_row.tolist()


def test_every_argument_may_be_shared_or_given_per_programme() -> None:
    shared = one_of(batches("plain", seed=7, number=1)[0], 0)
    expected = np.repeat(solve_many(*shared).cost, 5)
    assert expected[0] > 0
    for chosen in range(5):
        repeated = (np.repeat(each[None], 5, axis=0) if at == chosen else each for at, each in enumerate(shared))
        np.testing.assert_array_equal(solve_many(*repeated).cost, expected)


def test_no_programmes_no_columns_no_rows() -> None:
    none = solve_many([1.0, 2.0], [[1.0, 1.0]], np.zeros((0, 1)), np.ones(1), np.ones(2))
    assert none.amounts.shape == (0, 2)
    assert none.feasible.shape == none.cost.shape == none.stuck_row.shape == (0,)
    free = solve_many([1.0, 2.0], np.zeros((0, 2)), np.zeros((3, 0)), np.zeros((3, 0)), [1.0, 1.0])
    assert free.amounts.tolist() == [[0.0, 0.0]] * 3
    bare = solve_many([], np.zeros((2, 0)), [[0.0, 0.0], [-1.0, 1.0]], [1.0, 2.0], [])
    assert bare.stuck_row.tolist() == [-1, 1]
    assert np.array_equal(bare.cost, [0.0, np.nan], equal_nan=True)


def test_a_band_upside_down_is_infeasible_at_once(handed_over: list[Any]) -> None:
    low, high = [[0, 2], [np.inf, 0], [0, 0], [0, 1]], [[9, 1], [np.inf, 1], [9, -np.inf], [9, 1]]
    answers = solve_many([1.0], [[1.0], [1.0]], low, high, [5.0])
    assert answers.stuck_row.tolist() == [1, 0, 1, -1]
    assert not handed_over


FAR_APART = {
    "demands": ([1, 1], np.eye(2), [1, 1e-9], [1, 1e-9]),
    "rows": ([1], [[1e6], [1e-6]], [1e6, 1.5e-6], [1.5]),
    "columns": ([1, 1e-13], [[1e6, 1e-6]], [1], [0, 1e6]),
}


@pytest.mark.parametrize("what", FAR_APART)
def test_sizes_far_apart_all_count(what: str, handed_over: list[Any]) -> None:
    cost, matrix, low, amounts = FAR_APART[what]
    found = solve_many(cost, matrix, low, np.full(len(low), np.inf), np.full(len(cost), np.inf))
    assert found.amounts[0] == pytest.approx(amounts, rel=1e-12, abs=0)
    assert not handed_over


@pytest.mark.parametrize("wide", [1e6, 1e9, 1e12, 1e20, 1e30])
def test_bounds_so_wide_that_they_mean_none(wide: float, handed_over: list[Any]) -> None:
    for cost, matrix, low, high, upper in batches("plain", seed=8):
        ends = np.clip(low, -wide, None), np.clip(high, None, wide), np.clip(upper, None, wide)
        same(solve_many(cost, matrix, low, high, upper), solve_many(cost, matrix, *ends))
    assert not handed_over


def test_the_best_by_a_second_cost_among_the_best_by_a_first(handed_over: list[Any]) -> None:
    # A band 1e-9 wide around an optimum must be neither lost nor overdrawn.
    for cost, matrix, low, high, upper in batches("plain", seed=9, number=20):
        first = solve_many(cost, matrix, low, high, upper)
        best = first.feasible
        limit = np.where(best, first.cost, 0.0)[:, None] * (1 + 1e-9)
        second = solve_many(
            np.ones_like(cost),
            np.vstack([matrix, cost]),
            np.hstack([low, np.full_like(limit, -np.inf)]),
            np.hstack([high, limit]),
            upper,
        )
        assert np.array_equal(second.feasible, best)
        assert np.all(second.amounts[best] @ cost <= limit[best, 0] * (1 + 1e-10) + 1e-12)
        assert np.all(second.cost[best] <= first.amounts[best].sum(axis=1) * (1 + 1e-9))
    assert not handed_over


FINE = {"cost": [1.0, 2.0], "matrix": [[1.0, 1.0]], "row_low": [1.0], "row_high": [2.0], "upper": [3.0, 3.0]}
REFUSED = [
    ({"cost": [1.0, -2.0]}, ["cost"]),
    ({"upper": [[1.0, 1.0], [1.0, -1.0]]}, ["upper"]),
    ({"matrix": [[1.0, np.inf]]}, ["matrix"]),
    ({"matrix": [[1.0, 1.0, 1.0]]}, ["cost", "upper"]),
    ({"row_low": [[1.0]] * 2, "row_high": [[2.0]] * 3}, ["row_high"]),
    ({"cost": [-1.0, 1.0], "row_low": 1.0, "row_high": [np.nan]}, ["cost", "row_low", "row_high"]),
]


@pytest.mark.parametrize(("changes", "where"), REFUSED)
def test_what_cannot_be_meant_is_refused_all_at_once(changes: dict[str, Any], where: list[str]) -> None:
    assert solve_many(**FINE).cost.tolist() == [1.0]
    with pytest.raises(BadInput) as refused:
        solve_many(**{**FINE, **changes})
    assert [fault.where for fault in refused.value.faults] == where
    assert all(fault.hint for fault in refused.value.faults)


def recipes(count: int, seed: int) -> Batch:
    """Grams per litre of eight salts that bring random waters into one target's bands; a fifth is too hard already.

    Rows: hardness [mmol/L], alkalinity [meq/L], and two for a band of calcium to magnesium without a quotient.
    """
    random = np.random.default_rng(seed)
    shelf = [salt(name) for name in CUPBOARD]
    calcium, magnesium = (np.array([each.ions_mmol_per_g().get(ion, 0.0) for each in shelf]) for ion in ("Ca", "Mg"))
    alkalinity = [each.alkalinity_meq_per_g() for each in shelf]
    has_calcium, has_magnesium = random.uniform(0.05, 1.4, count), random.uniform(0.02, 0.4, count)
    has_hardness, has_alkalinity = has_calcium + has_magnesium, random.uniform(0.1, 2, count)
    free = np.full(count, np.inf)
    matrix = np.array([calcium + magnesium, alkalinity, calcium - 0.6 * magnesium, 2.4 * magnesium - calcium])
    ratio_low = [0.6 * has_magnesium - has_calcium, has_calcium - 2.4 * has_magnesium]
    low = np.array([1.3 - has_hardness, 3.0 - has_alkalinity, *ratio_low]).T
    high = np.array([1.6 - has_hardness, 3.7 - has_alkalinity, free, free]).T
    return np.ones(len(shelf)), matrix, low, high, np.full((count, len(shelf)), np.inf)


def test_recipes_for_many_waters(handed_over: list[Any]) -> None:
    answers = solve_many(*recipes(200, seed=10))
    check(recipes(200, seed=10), answers)
    assert 120 < answers.feasible.sum() < 190
    assert not handed_over


def test_recipes_from_every_choice_of_salts(handed_over: list[Any]) -> None:
    cost, matrix, low, high, _ = recipes(1, seed=11)
    count = 2 ** len(cost)
    taken = np.arange(count)[:, None] >> np.arange(len(cost)) & 1
    low, high = np.repeat(low, count, axis=0), np.repeat(high, count, axis=0)
    batch = cost, matrix, low, high, 0.25 * taken  # g/L, so little that one bicarbonate alone does not last
    answers = solve_many(*batch)
    check(batch, answers)
    assert 10 < answers.feasible.sum() < count - 10
    assert not handed_over
    least = np.where(answers.feasible, answers.cost, np.inf)
    for index in range(len(cost)):  # a salt more to choose from never makes a recipe dearer
        without = np.flatnonzero(taken[:, index] == 0)
        assert np.all(least[without | (1 << index)] <= least[without] * (1 + 1e-9))
