"""What a plan looks ahead to: a filling that keeps heat and chlorine, and nitrate that keeps its own recurrence."""

from __future__ import annotations

from itertools import pairwise

import pytest
from houses import HOUSE, NAMES, changed, houses, planned, shares
from hypothesis import given, settings
from hypothesis import strategies as st
from iapws import IAPWS97  # type: ignore[import-untyped]
from sheets import first_case

from tapwright.chemistry.plan.courses import filling_course, nitrate_ahead
from tapwright.chemistry.plan.figures.records import Figures, Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import plan

# What a tank's thermometer shows; the laws below hold far closer.
THERMOMETER_K = 0.05
# Fresh water between 5 and 40 degC: its heat capacity varies by 0.6 %, its density by 0.8 %.
HEAT_SHARE = 1e-3
SAME = 1e-9
MPA = 0.101325


@st.composite
def warm_and_cold(draw: st.DrawFn) -> Household:
    """Refills warmer, cooler and as warm as the tank, which no other test of the plan asks for."""
    house = draw(houses())
    refill_c = draw(st.none() | st.floats(20.0, 33.0))
    return changed(house, tank={"refill_temperature_c": refill_c})


@settings(max_examples=25)
@given(warm_and_cold(), shares)
def test_the_filling_keeps_heat_volume_and_chlorine(house: Household, share: float | None) -> None:
    made = planned(house, share, Jobs())
    if made is None:
        return
    figures = made.figures
    moments = filling_course(figures, first_case(figures))
    _time_runs_evenly_to_the_end(figures, [moment.minute for moment in moments])
    _heat_is_kept(figures, [moment.temperature_c for moment in moments])
    _chlorine_is_kept(figures, [(moment.minute, moment.forgotten_mg_l) for moment in moments])


def _time_runs_evenly_to_the_end(figures: Figures, minutes: list[float]) -> None:
    assert minutes[0] == 0.0
    assert minutes[-1] == pytest.approx(figures.totes.count * figures.pump_minutes.predicted, rel=SAME)
    steps = [later - earlier for earlier, later in pairwise(minutes)]
    assert len(steps) >= 20  # or the curve has corners
    assert min(steps) == pytest.approx(max(steps), rel=1e-6)


def _heat_is_kept(figures: Figures, temperatures: list[float]) -> None:
    """From the tank's own towards the refill's, never past it; ends where the plan says the tank ends."""
    tank_c, refill_c = figures.tank.readings.temperature_c, figures.heat.arrives_c
    assert temperatures[0] == pytest.approx(tank_c, abs=1e-6)
    assert temperatures[-1] == pytest.approx(float(figures.waters.tank_after.temperature_c), abs=THERMOMETER_K)
    rising = refill_c >= tank_c
    for earlier, later in pairwise(temperatures):
        assert (later >= earlier - 1e-6) if rising else (later <= earlier + 1e-6)
    low, high = sorted((tank_c, refill_c))
    assert all(low - 1e-6 <= temperature_c <= high + 1e-6 for temperature_c in temperatures)
    # Heat above 0 degC of what is in the tank: what was left in it and what came in, both of one heat capacity.
    low_l = figures.tank.live_volume_l - figures.change_volume_l
    for part, temperature_c in enumerate(temperatures):
        brought_l = figures.change_volume_l * part / (len(temperatures) - 1)
        mixed_c = (low_l * tank_c + brought_l * refill_c) / (low_l + brought_l)
        assert temperature_c == pytest.approx(mixed_c, abs=HEAT_SHARE * abs(refill_c - tank_c) + 1e-6)


def _chlorine_is_kept(figures: Figures, forgotten: list[tuple[float, float]]) -> None:
    """All that the tap brings is in the tank: share times the tap's, once it is full."""
    tap_mg_l = figures.household.tap.total_chlorine_mg_l
    low_l, end = figures.tank.live_volume_l - figures.change_volume_l, forgotten[-1][0]
    assert forgotten[0][1] == 0.0
    assert forgotten[-1][1] == pytest.approx(figures.change_share * tap_mg_l, rel=1e-6)
    levels = [level for _, level in forgotten]
    assert levels == sorted(levels)
    for minute, level in forgotten:
        brought_l = figures.change_volume_l * minute / end
        assert level * (low_l + brought_l) == pytest.approx(tap_mg_l * brought_l, rel=1e-6, abs=1e-9)


def test_the_filling_against_steam_tables() -> None:
    """Mass and enthalpy of IAPWS-97, another program: a cold refill of half a warm tank, to a hundredth of a kelvin."""
    figures = plan(changed(HOUSE, tank={"refill_temperature_c": 21.0}), NAMES[0], 0.5).figures

    def water(celsius: float) -> tuple[float, float]:
        state = IAPWS97(T=celsius + 273.15, P=MPA)
        return state.rho, state.h

    (tank_rho, tank_h), (refill_rho, refill_h) = water(figures.tank.readings.temperature_c), water(21.0)
    low_l = figures.tank.live_volume_l - figures.change_volume_l
    moments = filling_course(figures, None)
    for part, moment in enumerate(moments):
        tank_kg = low_l * tank_rho / 1000
        refill_kg = figures.change_volume_l * part / (len(moments) - 1) * refill_rho / 1000
        enthalpy = (tank_kg * tank_h + refill_kg * refill_h) / (tank_kg + refill_kg)
        assert moment.temperature_c == pytest.approx(IAPWS97(h=enthalpy, P=MPA).T - 273.15, abs=0.01)


def test_without_chlorine_there_is_none_to_forget() -> None:
    bare = changed(HOUSE, tap={"total_chlorine_mg_l": 0.0, "free_chlorine_mg_l": None})
    figures = plan(bare, NAMES[0]).figures
    assert {moment.forgotten_mg_l for moment in filling_course(figures, first_case(figures))} == {0.0}


def test_the_course_is_of_the_forgotten_case_and_of_no_other() -> None:
    figures = plan(HOUSE, NAMES[0]).figures
    assert {moment.forgotten_mg_l for moment in filling_course(figures, None)} == {0.0}
    levels = [moment.forgotten_mg_l for moment in filling_course(figures, first_case(figures))]
    assert levels[-1] == pytest.approx(0.4 * 1.9)  # of the demo: 40 % of 1.9 mg/L


# --- nitrate ------------------------------------------------------------------------------------------------------


def _nitrate(house: Household, **tank: float | None) -> Household:
    readings = house.tanks[0].readings.model_copy(update={"nitrate_mg_l": tank.pop("reads", 38.0)})
    return changed(house, tank={"readings": readings, **tank})


@settings(max_examples=20)
@given(st.floats(0, 120), st.floats(0, 30), st.floats(0, 40), st.floats(0.05, 0.9))
def test_nitrate_keeps_its_recurrence_and_settles(reads: float, tap: float, rise: float, share: float) -> None:
    house = changed(_nitrate(HOUSE, reads=reads, nitrate_rise_mg_l=rise), tap={"nitrate_mg_l": tap})
    figures = plan(house, NAMES[0], share).figures
    turns = nitrate_ahead(figures)
    assert turns is not None
    assert [turn.number for turn in turns] == list(range(len(turns)))
    assert len(turns) > 4
    # Turn 0 is this change.
    assert turns[0].before_mg_l == pytest.approx(reads, abs=1e-9)
    assert turns[0].after_mg_l == pytest.approx(figures.course.after_mg_l, abs=1e-9)
    assert turns[0].after_mg_l == pytest.approx(float(figures.waters.tank_after.nitrate_mg_l), rel=1e-3, abs=1e-3)
    for turn in turns:
        assert turn.after_mg_l == pytest.approx(turn.before_mg_l * (1 - share) + tap * share, abs=1e-9)
    for earlier, later in pairwise(turns):
        assert later.before_mg_l == pytest.approx(earlier.after_mg_l + rise, abs=1e-9)
    # Each change leaves 1 - share of what is still missing to the settled peak.
    settled = tap + rise / share
    for turn in turns:
        assert turn.before_mg_l - settled == pytest.approx((reads - settled) * (1 - share) ** turn.number, abs=1e-6)
    assert figures.course.settled_peak_mg_l == pytest.approx(settled)


def test_who_gives_no_rise_is_shown_none() -> None:
    figures = plan(_nitrate(HOUSE, nitrate_rise_mg_l=None), NAMES[0], 0.4).figures
    assert nitrate_ahead(figures) is None
