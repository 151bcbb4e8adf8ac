"""The table of the forgotten neutraliser: a straight line between its rows is as good as the engine, and its dose never
less."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator
from dataclasses import replace
from unittest.mock import patch

import numpy as np
import pytest
from conftest import DEMO, Outcome
from houses import HOUSE, NAMES, changed, houses, planned, shares
from hypothesis import given, settings
from hypothesis import strategies as st
from sheets import first_case

from tapwright.chemistry.dosing.neutralise import LabelDose
from tapwright.chemistry.plan.figures.records import Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.late.dose import Case
from tapwright.chemistry.plan.late.from_plan import bottle_of
from tapwright.chemistry.plan.late.table import Row, late_table
from tapwright.chemistry.plan.planner import plan
from tapwright.chemistry.substances import agent

# What the page promises: within 1 % between two rows, which is less than a kit can tell.
WITHIN = 0.01
# Rounding of sums and products in double precision.
SAME = 1e-9


@pytest.fixture(autouse=True, scope="module")
def without_worst_means() -> Iterator[None]:
    """What fish have met over an hour or four days takes most of the engine's time, and no table holds it."""
    with patch("tapwright.chemistry.change.filling.chlorine.worst_mean_mg_l", return_value=0.0):
        yield


def chlorine_at(rows: tuple[Row, ...], minute: float) -> float:
    """A straight line between two rows; the last row after the end."""
    return float(np.interp(minute, [row.minute for row in rows], [row.chlorine_mg_l for row in rows]))


def grams_at(rows: tuple[Row, ...], minute: float) -> float:
    """The larger dose of the two neighbours, nothing for none."""
    place = bisect_right([row.minute for row in rows], minute)
    return max(row.dose.grams or 0.0 for row in rows[max(place - 1, 0) : place + 1])


def millilitres_at(rows: tuple[Row, ...], minute: float) -> float:
    place = bisect_right([row.minute for row in rows], minute)
    return max(row.dose.millilitres or 0.0 for row in rows[max(place - 1, 0) : place + 1])


def case_of(house: Household, share: float | None = None) -> Case | None:
    made = planned(house, share, Jobs())
    return None if made is None else first_case(made.figures)


@settings(max_examples=25)
@given(houses(), shares, st.lists(st.floats(0, 1), min_size=1, max_size=12))
def test_between_rows_a_line_is_as_good_as_the_engine(
    house: Household, share: float | None, parts: list[float]
) -> None:
    made = planned(house, share, Jobs())
    if made is None:
        return
    case = first_case(made.figures)
    assert (case is None) == (house.tap.total_chlorine_mg_l == 0)
    if case is None:
        return
    rows, end = late_table(case), float(case.filling.minutes)
    _rows_are_the_engines(rows, case)
    tap_mg_l, change_l = house.tap.total_chlorine_mg_l, made.figures.change_volume_l
    live_l = made.figures.tank.live_volume_l
    assert end == pytest.approx(made.figures.totes.count * made.figures.pump_minutes.predicted, rel=1e-9)
    for part in parts:
        exact = case.at(part * end).now_mg_l
        # By hand: what came in, at the tap's strength, in all that is there; no ion of it is used up.
        by_hand = tap_mg_l * part * change_l / (live_l - (1 - part) * change_l)
        assert exact == pytest.approx(by_hand, rel=1e-6, abs=1e-12)
        assert chlorine_at(rows, part * end) == pytest.approx(by_hand, rel=WITHIN, abs=1e-12)
        dose = case.at(part * end).dose_now
        assert grams_at(rows, part * end) >= (dose.grams or 0.0) * (1 - SAME)
        assert millilitres_at(rows, part * end) >= (dose.millilitres or 0.0) * (1 - SAME)


def _rows_are_the_engines(rows: tuple[Row, ...], case: Case) -> None:
    minutes = [row.minute for row in rows]
    assert minutes == sorted(set(minutes))
    assert (minutes[0], minutes[-1]) == (0.0, float(case.filling.minutes))
    for row in rows:
        engine = case.at(row.minute)
        assert row.chlorine_mg_l == engine.now_mg_l
        assert row.dose == engine.dose_now


@given(houses(), st.floats(0.05, 0.9))
@settings(max_examples=12)
def test_with_nothing_used_up_the_dose_is_that_of_the_whole_refill(house: Household, share: float) -> None:
    made = planned(house, share, Jobs())
    case = None if made is None else first_case(made.figures)
    if made is None or case is None:
        return
    rows, whole = late_table(case), case.at(0.0).dose_new_water
    step_g = house.scale.resolution_g if whole.millilitres is None else SAME
    for row in rows:
        assert row.dose.millilitres == (None if whole.millilitres is None else pytest.approx(whole.millilitres))
        # A dose on the edge of a step of the scale may fall to either side of it, and so may its sum.
        assert row.dose.grams == pytest.approx(whole.grams, rel=SAME, abs=step_g * 1.001)
    # Every tote is rounded up by itself: the plan's doses together are no less.
    chosen = made.figures.neutraliser
    assert chosen is not None
    if whole.grams is not None and chosen.in_all_g is not None:
        assert whole.grams <= chosen.in_all_g + step_g * (1 + SAME)


@settings(max_examples=20)
@given(st.floats(0.05, 0.9), st.floats(0, 2), st.floats(0, 1))
def test_where_chlorine_is_used_up_the_table_holds_as_well(share: float, demand_per_min: float, part: float) -> None:
    """Not asked for by the sheet, but its table must not be wrong for a case of `late` either."""
    case = DEMO_CASE
    low_l = case.filling.volume_end_l * (1 - share)
    case = replace(case, filling=replace(case.filling, volume_start_l=low_l, demand_per_min=demand_per_min))
    rows, minute = late_table(case), part * float(case.filling.minutes)
    _rows_are_the_engines(rows, case)
    assert chlorine_at(rows, minute) == pytest.approx(case.at(minute).now_mg_l, rel=WITHIN, abs=1e-12)
    assert grams_at(rows, minute) >= (case.at(minute).dose_now.grams or 0.0) * (1 - SAME)


def _case_of_demo() -> Case:
    case = first_case(plan(HOUSE, NAMES[0]).figures)
    assert case is not None
    return case


DEMO_CASE = _case_of_demo()


@settings(max_examples=20)
@given(st.floats(0.05, 0.9))
def test_there_are_enough_rows_and_no_more_than_a_page_can_carry(share: float) -> None:
    low_l = DEMO_CASE.filling.volume_end_l * (1 - share)
    rows = late_table(replace(DEMO_CASE, filling=replace(DEMO_CASE.filling, volume_start_l=low_l)))
    # A row is some 50 letters: 64 of them are 3 kB. Below 4 rows nothing was divided.
    assert 4 <= len(rows) <= 64


def test_a_larger_share_takes_no_fewer_rows() -> None:
    counts = [len(late_table(case)) for share in (0.05, 0.2, 0.4, 0.6, 0.9) if (case := case_of(HOUSE, share))]
    assert counts == sorted(counts)
    assert len(set(counts)) > 1


# --- the case -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tank", NAMES)
@pytest.mark.parametrize("part", [0.0, 0.4, 1.0, 1.5])
def test_the_command_says_the_same(tank: str, part: float, tapwright: Callable[..., Outcome]) -> None:
    figures = plan(HOUSE, tank).figures
    case = first_case(figures)
    assert case is not None
    minute = part * float(case.filling.minutes)
    words = ("late", "--file", DEMO, "--tank", tank, "--after", f"{minute!r} min", "--json")
    said, here = tapwright(*words).json["result"], case.at(minute)
    rows = late_table(case)
    assert said["fill_minutes"] == pytest.approx(float(case.filling.minutes), rel=1e-7)
    for key in ("now_mg_l", "hose_mg_l", "peak_mg_l", "remaining_chlorine_g", "to_come_g", "ammonia_mg_n_l",
                "ammonia_unionised_mg_n_l", "exposure_mg_min_l"):  # fmt: skip
        assert said[key] == pytest.approx(getattr(here, key), rel=1e-6, abs=1e-9), key
    assert (said["dose_now_g"], said["dose_now_ml"]) == (here.dose_now.grams, here.dose_now.millilitres)
    assert said["agent"] == case.bottle.agent.name
    # And what the page makes of the table is what the command says.
    assert chlorine_at(rows, minute) == pytest.approx(said["now_mg_l"], rel=WITHIN, abs=1e-9)
    assert grams_at(rows, minute) == said["dose_now_g"]


def test_the_figures_of_the_demo_by_hand() -> None:
    """1008 L, of which 40 % come new: 766.08 x 0.3 = 229.8 L with 1.9 mg/L, 0.437 g of chlorine."""
    litres = 2 * 6 * 5.7 * 0.84 * 10 * 0.4  # dm of the tank's length, width and water, its live part, and the change
    rows = late_table(DEMO_CASE)
    assert rows[-1].chlorine_mg_l == pytest.approx(0.4 * 1.9)
    # 7.0006 g of thiosulfate for each of chlorine, 10 % more, 99 % pure, on a scale of 1 g.
    assert rows[0].dose.grams == np.ceil(litres * 1.9 / 1000 * 7.0006 * 1.1 / 0.99)
    assert DEMO_CASE.filling.demand_per_min == 0
    assert DEMO_CASE.tote is None and DEMO_CASE.minute is None


def test_without_chlorine_there_is_no_case() -> None:
    assert case_of(changed(HOUSE, tap={"total_chlorine_mg_l": 0.0, "free_chlorine_mg_l": None})) is None


def test_a_label_is_followed_in_millilitres() -> None:
    label = LabelDose(amount_ml=5.0, volume_l=40.0, chlorine_mg_l=2.0)
    by_label = replace(DEMO_CASE.bottle, agent=agent("sodium hydroxymethanesulfonate"), label=label)
    case = replace(DEMO_CASE, bottle=by_label)
    litres, rows = float(case.filling.volume_end_l - case.filling.volume_start_l), late_table(case)
    for row in rows:
        assert row.dose.grams is None
        assert row.dose.millilitres is not None
        # 5 mL for 40 L against 2 mg/L, or more of it.
        assert row.dose.millilitres >= litres / 40 * 5 * 1.9 / 2 * (1 - SAME)


@given(st.none() | st.floats(5, 300), st.floats(0.5, 1), st.floats(0, 1), st.floats(0.01, 5))
def test_the_bottle_is_that_of_the_cupboard(
    strength: float | None, purity: float, excess: float, step_g: float
) -> None:
    house = changed(
        HOUSE,
        neutraliser={"solution_g_l": strength, "purity_given": purity, "excess_given": excess},
        scale={"resolution_g": step_g},
    )
    bottle = bottle_of(house, house.neutralisers[0])
    assert (bottle.agent, bottle.purity, bottle.excess) == (HOUSE.neutralisers[0].substance, purity, excess)
    assert (bottle.solution_g_l, bottle.step_g, bottle.label) == (strength, step_g, None)
