"""The rules that the steps keep in every plan, whatever the house."""

from __future__ import annotations

from typing import Any

import pytest
from conftest import DEMO
from houses import HOUSE, NAMES, changed, codes, houses, jobs, planned, shares
from hypothesis import given, settings
from hypothesis import strategies as st

from tapwright.chemistry import reference
from tapwright.chemistry.errors import NoAnswer
from tapwright.chemistry.plan.figures.records import Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import Plan, plan
from tapwright.chemistry.substances import salt
from tapwright.cli.files.household_file import load

# --- rules of the steps, for every plan --------------------------------------------------------------------------


@settings(max_examples=120)
@given(houses(), shares, jobs)
def test_the_rules_of_the_steps_hold_for_every_plan(house: Household, share: float | None, jobs_: Jobs) -> None:
    made = planned(house, share, jobs_)
    if made is None:
        return
    order = [step.id for step in made.steps]
    at = {step.id: step for step in made.steps}
    assert len(set(order)) == len(order)
    _runs_in_order(made)
    _heaters_are_cold_before_the_level_falls(made)
    _ends_of_hoses_are_secured_before_a_pump_runs(order, at)
    _no_tote_is_pumped_before_it_is_neutralised_and_checked(order, at, made)
    _someone_stands_at_the_tank(at, made)
    _what_was_switched_off_is_switched_on(order, at)
    _looks_follow_at_15_60_120(at)
    _filter_and_substrate_keep_their_distance(order, made, jobs_)


def _runs_in_order(made: Plan) -> None:
    seen: set[str] = set()
    end = 0.0
    for step in made.steps:
        assert step.minutes >= 0
        assert set(step.after) <= seen, f"{step.id} waits for a later step"
        assert step.start_minute >= end - 1e-9
        assert step.text
        seen.add(step.id)
        end = step.end_minute
    # Every step but the first waits for the one before it, so a hold keeps all that follow.
    for before, step in zip(made.steps, made.steps[1:], strict=False):
        assert before.id in step.after


def _heaters_are_cold_before_the_level_falls(made: Plan) -> None:
    at = {step.id: step for step in made.steps}
    cooling = reference.value("practice", "cooling_minutes")
    assert at["heater_off"].hold and at["heater_cooled"].hold
    assert at["drain_start"].start_minute >= at["heater_off"].end_minute + cooling
    assert at["heater_on"].start_minute >= at["fill_end"].end_minute


def _ends_of_hoses_are_secured_before_a_pump_runs(order: list[str], at: dict[str, Any]) -> None:
    assert at["outflow_secured"].hold and at["inflow_secured"].hold
    assert order.index("outflow_secured") < order.index("drain_start")
    assert order.index("inflow_secured") < min(order.index(id) for id in order if id.endswith("_pump"))


def _no_tote_is_pumped_before_it_is_neutralised_and_checked(order: list[str], at: dict[str, Any], made: Plan) -> None:
    count = made.figures.totes.count
    pumps = [id for id in order if id.endswith("_pump")]
    assert pumps == [f"tote_{number}_pump" for number in range(1, count + 1)]
    for number in range(1, count + 1):
        dosed = ["neutralise"] * (made.figures.household.tap.total_chlorine_mg_l > 0)
        parts = ["fill", *dosed, *(["salts"] if made.figures.salts_per_tote_g else []), "check", "pump"]
        places = [order.index(f"tote_{number}_{part}") for part in parts]
        assert places == sorted(places)
        assert all(at[f"tote_{number}_{part}"].hold for part in parts[1:-1])
        if dosed:
            assert "NEUTRALISER" in at[f"tote_{number}_neutralise"].text
    # The first tote is ready before the tank is touched.
    assert order.index("tote_1_check") < order.index("drain_start")


def _someone_stands_at_the_tank(at: dict[str, Any], made: Plan) -> None:
    for start, end, minutes in (
        ("drain_start", "drain_end", made.figures.drain_minutes),
        (f"tote_{made.figures.totes.count}_pump", "fill_end", made.figures.pump_minutes),
    ):
        assert at[end].hold
        assert "Stand at the tank" in at[end].text
        # There before the earliest end, and until the predicted one.
        assert at[end].start_minute <= at[start].start_minute + minutes.early
        assert at[end].end_minute == pytest.approx(at[start].start_minute + minutes.predicted)


def _what_was_switched_off_is_switched_on(order: list[str], at: dict[str, Any]) -> None:
    for thing in ("heater", "filter"):
        assert (
            order.index(f"{thing}_off") < order.index("fill_end") < order.index(f"{thing}_on") < order.index("all_on")
        )
        assert at[f"{thing}_on"].hold
        assert "heck" in at[f"{thing}_on"].text
    assert at["all_on"].hold


def _looks_follow_at_15_60_120(at: dict[str, Any]) -> None:
    for minutes in (15, 60, 120):
        due = at["fill_end"].end_minute + minutes
        assert due - 1e-9 <= at[f"look_{minutes}"].start_minute <= due + 5


def _filter_and_substrate_keep_their_distance(order: list[str], made: Plan, jobs_: Jobs) -> None:
    gap = reference.value("practice", "filter_gap_days")
    codes = [finding.code for finding in made.findings]
    assert not ("filter_service" in order and "substrate_clean" in order)
    if "filter_service" in order:
        assert jobs_.service_filter
        assert jobs_.days_since_substrate is None or jobs_.days_since_substrate >= gap
    elif jobs_.service_filter:
        assert "filter_held_back" in codes
    if "substrate_clean" in order:
        assert jobs_.clean_substrate
        assert jobs_.days_since_filter is None or jobs_.days_since_filter >= gap
    elif jobs_.clean_substrate:
        assert "substrate_held_back" in codes


def test_every_caution_of_the_table_is_shown_with_some_step() -> None:
    named = {key for step in plan(HOUSE, NAMES[0]).steps for key in step.cautions}
    assert named == set(reference.table("cautions"))


def test_a_stop_is_the_first_step_and_holds_all_others() -> None:
    made = plan(HOUSE.model_copy(update={"salts": []}), "Shell bay")
    first = made.steps[0]
    assert first.id == "resolve" and first.hold
    assert first.text.startswith("STOP: do not begin.")
    assert "hardness" in first.text
    assert all("resolve" not in step.id for step in plan(HOUSE, "Shell bay").steps)


def test_waiting_for_hot_water_is_a_step_of_its_own_with_its_time() -> None:
    made = plan(changed(HOUSE, hot_water={"store_l": 42.0}), NAMES[0])
    waits = {step.id: step.minutes for step in made.steps if step.id.endswith("_reheat")}
    # 80 L in two totes of 40 L from a store of 42 L: the first has enough, the second lacks what the first took.
    assert list(waits) == ["tote_2_reheat"]
    assert waits["tote_2_reheat"] == pytest.approx(made.figures.hot_waits_min[1])
    with pytest.raises(NoAnswer, match="its heater has no power"):
        plan(changed(HOUSE, hot_water={"store_l": 42.0, "heater_power_kw": 0.0}), NAMES[0])


def test_a_filter_that_stands_still_for_long_is_said() -> None:
    assert "filter_off_long" not in codes(plan(HOUSE, NAMES[0]))
    slow = plan(changed(HOUSE, tote={"volume_l": 40.0}), NAMES[0])
    assert codes(slow)["filter_off_long"] == "caution"
    assert "pour away the water in it" in next(step.text for step in slow.steps if step.id == "filter_on")


def test_a_refill_as_cold_as_the_tap_needs_no_hot_water() -> None:
    house = HOUSE.model_copy(update={"room_temperature_c": None})  # a warm tub would make it unreachable
    made = plan(changed(house, tank={"refill_temperature_c": HOUSE.tap.temperature_c}), NAMES[0])
    assert made.figures.blend.hot_l == pytest.approx(0, abs=1e-6)
    assert "more cold" not in next(step.text for step in made.steps if step.id == "tote_1_check")


def test_an_overflow_at_the_usual_level_is_said() -> None:
    made = plan(changed(HOUSE, tank={"overflow_height_m": HOUSE.tanks[0].water_height_m}), NAMES[0])
    assert codes(made)["overflow_margin"] == "caution"
    assert "do not look away" in next(step.text for step in made.steps if step.id == "fill_end")


def test_a_tap_without_chlorine_needs_no_neutraliser() -> None:
    bare = changed(HOUSE, tap={"total_chlorine_mg_l": 0.0, "free_chlorine_mg_l": None}).model_copy(
        update={"neutralisers": []}
    )
    made = plan(bare, NAMES[0])
    assert made.figures.neutraliser is None
    assert not any("neutralise" in step.id for step in made.steps)
    assert any("ammonia not given" in note for note in made.assumptions)
    assert "neutraliser" not in next(step.text for step in made.steps if step.id == "lay_out")


@given(st.floats(0.05, 5), st.floats(20, 2000), st.sampled_from([None, 5.0, 50.0, 200.0]), st.floats(0.01, 5))
def test_a_neutraliser_is_never_rounded_down(
    total: float, live_l: float, strength: float | None, step_g: float
) -> None:
    house = changed(
        HOUSE.model_copy(update={"salts": []}),  # no salt is asked for, and the search for them takes most of a plan
        tap={"total_chlorine_mg_l": total, "free_chlorine_mg_l": 0.0},
        neutraliser={"solution_g_l": strength, "stock_g": None},
        scale={"resolution_g": step_g},
        tank={"volume_l": live_l, "length_m": None, "width_m": None},
    )
    made = planned(house, 0.4, Jobs())
    assert made is not None
    chosen = made.figures.neutraliser
    assert chosen.dose.chlorine_left_mg_l == 0
    assert chosen.per_tote_g >= chosen.dose.agent_g * (1 - 1e-9)
    if strength:
        assert chosen.per_tote_ml >= chosen.dose.solution_ml * (1 - 1e-9)
        assert chosen.per_tote_ml * 10 == pytest.approx(round(chosen.per_tote_ml * 10))
    else:
        assert chosen.per_tote_g / step_g == pytest.approx(round(chosen.per_tote_g / step_g))


def test_what_was_not_said_about_the_cupboard_is_listed() -> None:
    house = changed(HOUSE, neutraliser={"purity_given": None, "excess_given": None})
    notes = " ".join(plan(house, NAMES[0]).assumptions)
    assert "purity not given, taken as 100 %" in notes
    assert "excess not given, none added" in notes
    assert "Purity not given, taken as 100 %: potassium chloride." in notes


def test_a_carbonate_that_must_be_used_is_a_stop() -> None:
    soda = load(DEMO).salts[0].model_copy(update={"name": salt("sodium carbonate anhydrous")})
    made = plan(HOUSE.model_copy(update={"salts": [soda, *HOUSE.salts[1:]]}), "Shell bay")
    assert codes(made)["harsh_salt"] == "stop"


@pytest.mark.parametrize("tote_l", [80.0, 115.0, 220.0, 400.0])
@pytest.mark.parametrize("salts", [True, False])
def test_totes_stand_as_long_as_their_losses_are_counted(tote_l: float, salts: bool) -> None:
    house = changed(HOUSE, tote={"volume_l": tote_l})
    made = plan(house if salts else house.model_copy(update={"salts": []}), NAMES[0])
    figures, at = made.figures, {step.id: step for step in made.steps}
    totes = range(1, figures.totes.count + 1)
    stood = [at[f"tote_{n}_pump"].start_minute - at[f"tote_{n}_fill"].end_minute for n in totes]
    paused = [
        at.get(f"tote_{n + 1}_reheat", at[f"tote_{n + 1}_fill"]).start_minute - at[f"tote_{n}_fill"].end_minute
        for n in totes[:-1]
    ]
    times = figures.heat.times
    assert times.standing_min == pytest.approx(stood)
    for counted, is_paused in zip(times.pauses_min, paused, strict=True):
        assert is_paused - 6 <= counted <= is_paused  # the heater is not counted on for longer than it surely has
