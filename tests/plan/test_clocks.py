"""The clocks of a change: each belongs to steps of its plan, runs as long as they do, and calls before it is too late."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest
from houses import HOUSE, NAMES, changed, houses, jobs, planned, shares
from hypothesis import given, settings
from hypothesis import strategies as st

from tapwright.chemistry import reference
from tapwright.chemistry.plan.figures.records import Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import Plan, plan
from tapwright.chemistry.plan.steps.clocks import Alarm, Clock, clocks_of
from tapwright.chemistry.plan.steps.step import Step, alone_minutes, be_there_minute, tote_named

LONGEST_NAME = 60  # letters: two lines of a phone
SAME_MIN = 1e-6  # sums of minutes, by another way
WALK_MIN = reference.value("practice", "small_minutes")
TOLD = re.compile(r"Be at the tank (\d+) minutes after")


@st.composite
def variants(draw: st.DrawFn) -> Household:
    """Households as elsewhere, some with a siphon, some whose refill must be aired, some with a tote for everything."""
    house = draw(houses())
    if draw(st.booleans()):
        house = changed(house, hose={"siphon": True, "drain_lift_m": draw(st.floats(-2.0, -0.7))})
    if draw(st.integers(0, 3)) == 0:
        alkaline = house.tanks[0].readings.model_copy(update={"ph": 8.8})
        house = changed(house, tank={"readings": alkaline}, tap={"ph": 6.5})
    return house


def clocks_by_id(made: Plan) -> dict[str, Clock]:
    return {clock.id: clock for clock in clocks_of(made.figures, made.steps)}


@settings(max_examples=40)
@given(variants(), shares, jobs)
def test_the_rules_of_the_clocks_hold_for_every_plan(house: Household, share: float | None, jobs_: Jobs) -> None:
    made = planned(house, share, jobs_)
    if made is None:
        return
    clocks = clocks_of(made.figures, made.steps)
    at = {step.id: step for step in made.steps}
    _belong_to_steps_in_order(clocks, made)
    _every_flow_has_one(clocks, made)
    _every_wait_has_one(clocks, made)
    _run_as_long_as_their_steps(clocks, made)
    _call_in_time(clocks, at)
    _after_care_follows_the_filling(clocks)
    _names_are_short_and_no_two_alike([(step.id, step.name) for step in made.steps])
    _names_are_short_and_no_two_alike([(clock.id, clock.name) for clock in clocks])
    for step in made.steps:
        if (tote := re.match(r"tote_(\d+)_(?!reheat)", step.id)) is not None:
            assert tote_named(int(tote[1]), made.figures.totes.count) in step.name.lower()


def _belong_to_steps_in_order(clocks: tuple[Clock, ...], made: Plan) -> None:
    order = [step.id for step in made.steps]
    assert len({clock.id for clock in clocks}) == len(clocks)
    assert all(order.index(clock.starts) <= order.index(clock.ends) for clock in clocks)
    begun = [(order.index(clock.starts), order.index(clock.ends)) for clock in clocks]
    assert begun == sorted(begun)
    for clock in clocks:
        assert clock.name and clock.alarms
        assert all(alarm.text.endswith(".") for alarm in clock.alarms)


def _every_flow_has_one(clocks: tuple[Clock, ...], made: Plan) -> None:
    figures, count = made.figures, made.figures.totes.count
    (drain,) = [clock for clock in clocks if clock.kind == "drain"]
    assert (drain.starts, drain.ends, drain.minutes) == ("drain_start", "drain_end", figures.drain_minutes)
    fills = [clock for clock in clocks if clock.kind == "fill"]
    draws = [clock for clock in clocks if clock.kind == "draw"]
    assert [clock.starts for clock in fills] == [f"tote_{number}_pump" for number in range(1, count + 1)]
    assert [clock.ends for clock in fills] == [*[clock.starts for clock in fills[:-1]], "fill_end"]
    assert all(clock.minutes == figures.pump_minutes for clock in fills)
    assert [clock.starts for clock in draws] == [f"tote_{number}_fill" for number in range(1, count + 1)]
    for number, clock in enumerate([*draws, *fills]):
        # Who has several totes is told which one.
        assert count == 1 or re.search(rf"\b{number % count + 1}\b", clock.name)


def _every_wait_has_one(clocks: tuple[Clock, ...], made: Plan) -> None:
    """A step that waits for more than the one before it, and one that is nothing but waiting."""
    waits = [clock for clock in clocks if clock.kind == "wait"]
    across = [clock.ends for clock in waits if clock.starts != clock.ends]
    assert across == sorted({step.id for step in made.steps if len(step.after) > 1}, key=across.index)
    within = [clock.starts for clock in waits if clock.starts == clock.ends]
    endings = ("_reheat", "_neutralise", "_air")
    assert sorted(within) == sorted(step.id for step in made.steps if step.id.endswith(endings))
    assert all(clock.minutes.early == clock.minutes.predicted == clock.minutes.late for clock in waits)


def _run_as_long_as_their_steps(clocks: tuple[Clock, ...], made: Plan) -> None:
    """Flows and what is done within a step take its minutes; a wait is the gap that the plan keeps, unless other work
    already filled it."""
    at = {step.id: step for step in made.steps}
    before = {step.id: earlier for earlier, step in zip(made.steps, made.steps[1:], strict=False)}
    for clock in clocks:
        first, last, minutes = at[clock.starts], at[clock.ends], clock.minutes
        assert 0 < minutes.early <= minutes.predicted <= minutes.late
        if clock.kind == "wait" and first is not last:
            due = max(before[last.id].end_minute, first.end_minute + minutes.predicted)
            assert last.start_minute == pytest.approx(due, abs=SAME_MIN)
        else:
            assert last.end_minute - first.start_minute == pytest.approx(minutes.predicted, abs=SAME_MIN)


def _call_in_time(clocks: tuple[Clock, ...], at: dict[str, Step]) -> None:
    for clock in clocks:
        first, last = clock.alarms[0], clock.alarms[-1]
        minutes = [alarm.minute for alarm in clock.alarms]
        assert minutes == sorted(set(minutes))
        if clock.kind == "wait":
            assert (last.minute, clock.stopped) == (clock.minutes.predicted, "")
            assert not any(alarm.last for alarm in clock.alarms)
            continue
        # Only the last call is answered by ending the flow; it comes when the flow has ended for sure, or may do harm.
        assert [alarm.last for alarm in clock.alarms] == [False] * (len(clock.alarms) - 1) + [True]
        assert clock.minutes.predicted <= last.minute <= clock.minutes.late
        assert clock.stopped
        if clock.kind != "draw":  # from its early bound on it is to be watched
            assert [alarm.minute for alarm in clock.alarms[1:-1]] == [clock.minutes.early]
        # Two minutes to spare before the earliest end, or half of what there is; no sooner, or nobody heeds it.
        there = math.floor(clock.minutes.early - WALK_MIN)
        assert first.minute == (there if there >= 2 else clock.minutes.early / 2) < clock.minutes.early
        _says_when(first, clock)
        told = TOLD.search(at[clock.starts].text)
        if told:
            assert first.minute <= int(told[1]) < clock.minutes.early
        elif clock.kind == "drain" or clock.ends == "fill_end":
            assert "Stay at the tank." in at[clock.starts].text
            assert first.minute == clock.minutes.early / 2


def _says_when(first: Alarm, clock: Clock) -> None:
    """The first call tells the minutes left, never fewer at the latest nor more at the earliest than there are."""
    told = re.search(r"in (?:(\d+) to )?(\d+) minutes\.$", first.text)
    assert told
    assert first.text.startswith("Be at ")
    assert int(told[1] or told[2]) <= max(clock.minutes.early - first.minute, int(told[2]))
    assert clock.minutes.late - first.minute <= int(told[2]) < clock.minutes.late - first.minute + 1


def _after_care_follows_the_filling(clocks: tuple[Clock, ...]) -> None:
    due = [reference.value("practice", f"{which}_look") for which in ("first", "second", "third")]
    looks = [clock for clock in clocks if clock.ends.startswith("look_")]
    assert [clock.minutes.predicted for clock in looks] == due == [15, 60, 120]
    assert {clock.starts for clock in looks} == {"fill_end"}
    assert [clock.ends for clock in looks] == [f"look_{minutes:.0f}" for minutes in due]


def _names_are_short_and_no_two_alike(named: list[tuple[str, str]]) -> None:
    """Of steps or clocks by id; those of hot water have a test of their own below."""
    names = [name for id, name in named if not id.endswith("_reheat")]
    assert len(set(names)) == len(names)
    for _, name in named:
        assert 0 < len(name) <= LONGEST_NAME
        assert name == name.strip() and name.isprintable() and not name.endswith(".")


# --- chosen houses ------------------------------------------------------------------------------------------------


def _clocks(house: Household, tank: str = NAMES[0], share: float | None = None) -> dict[str, Clock]:
    return clocks_by_id(plan(house, tank, share))


def test_a_siphon_is_stopped_and_a_pump_unplugged() -> None:
    siphon = changed(HOUSE, hose={"siphon": True, "drain_lift_m": -0.8})
    assert [alarm.text for alarm in _clocks(siphon)["drain"].alarms][-1].startswith("Stop the siphon: ")
    assert "plug" not in " ".join(alarm.text for alarm in _clocks(siphon)["drain"].alarms)
    assert _clocks(siphon)["drain"].stopped == "The siphon is stopped"
    assert [alarm.text for alarm in _clocks(HOUSE)["drain"].alarms][-1].startswith("Unplug the pump: ")


def test_one_tote_needs_no_number() -> None:
    found = _clocks(changed(HOUSE, tote={"volume_l": 400.0}))
    assert [id for id in found if id.startswith("tote_")] == [
        "tote_1_fill", "tote_1_neutralise", "tote_1_pump"]  # fmt: skip
    assert all("tote 1" not in clock.name.lower() for clock in found.values())
    assert found["tote_1_pump"].ends == "fill_end"


def test_forty_totes_have_their_clocks_each() -> None:
    litres = HOUSE.tanks[0].live_volume_l * 0.4
    made = plan(changed(HOUSE, tote={"volume_l": litres / 40 + 1e-3}), NAMES[0], 0.4)
    found = clocks_by_id(made)
    assert made.figures.totes.count == 40
    for part in ("fill", "neutralise", "pump"):
        assert sum(clock.id.endswith(f"_{part}") for clock in found.values()) == 40


def test_several_waits_for_hot_water_can_be_told_apart() -> None:
    """In the list of clocks, on the button that takes a tick back, and in the record."""
    made = plan(changed(HOUSE, hot_water={"store_l": 20.0, "heater_power_kw": 1.0}, tote={"volume_l": 60.0}), NAMES[0])
    steps = [step.name for step in made.steps if step.id.endswith("_reheat")]
    clocks = [clock.name for clock in clocks_of(made.figures, made.steps) if clock.id.endswith("_reheat")]
    assert len(steps) == len(clocks) >= 2
    assert len(set(steps)) == len(steps) and len(set(clocks)) == len(clocks)


@pytest.mark.parametrize(("store_l", "about_min"), [(42.0, 5.5), (46.0, 1.2)])
def test_a_cold_store_has_its_clock_and_a_warm_one_none(store_l: float, about_min: float) -> None:
    cold = plan(changed(HOUSE, hot_water={"store_l": store_l}), NAMES[0])
    assert cold.figures.hot_waits_min == pytest.approx((0, about_min), abs=0.5)
    clock = clocks_by_id(cold)["tote_2_reheat"]
    assert clock.minutes.predicted == pytest.approx(cold.figures.hot_waits_min[1])
    assert not any(id.endswith("_reheat") for id in _clocks(HOUSE))


def test_airing_has_its_clock_where_the_steps_ask_for_it() -> None:
    alkaline = HOUSE.tanks[0].readings.model_copy(update={"ph": 8.8})
    aired = _clocks(changed(HOUSE, tank={"readings": alkaline}, tap={"ph": 6.4}), share=0.8)
    assert {clock.minutes.predicted for id, clock in aired.items() if id.endswith("_air")} == {
        reference.value("practice", "airing_minutes")
    }
    assert not any(id.endswith("_air") for id in _clocks(HOUSE))


@pytest.mark.parametrize(("total", "free", "key"), [
    (1.9, 0.2, "contact_minutes_chloramine"), (1.9, 1.9, "contact_minutes")])  # fmt: skip
def test_stirring_goes_by_what_is_neutralised(total: float, free: float, key: str) -> None:
    found = _clocks(changed(HOUSE, tap={"total_chlorine_mg_l": total, "free_chlorine_mg_l": free}))
    assert found["tote_1_neutralise"].minutes.predicted == reference.value("practice", key)
    assert "test chlorine" in found["tote_1_neutralise"].alarms[-1].text


def test_without_chlorine_nothing_is_stirred() -> None:
    found = _clocks(changed(HOUSE, tap={"total_chlorine_mg_l": 0.0, "free_chlorine_mg_l": None}))
    assert not any("neutralise" in id for id in found)
    assert {"drain", "tote_1_fill", "tote_1_pump", "cooling"} <= set(found)


def test_a_stop_takes_no_clock_away() -> None:
    stopped = plan(HOUSE.model_copy(update={"salts": []}), "Shell bay")
    assert stopped.steps[0].id == "resolve"
    assert {clock.starts for clock in clocks_by_id(stopped).values()}.isdisjoint({"resolve"})
    assert set(clocks_by_id(stopped)) == set(_clocks(HOUSE, "Shell bay"))


def test_a_clock_whose_steps_are_not_there_is_left_out() -> None:
    made = plan(HOUSE, NAMES[0])
    kept = [step for step in made.steps if step.id not in ("heater_on", "drain_start")]
    there = {clock.id for clock in clocks_of(made.figures, kept)}
    assert set(clocks_by_id(made)) - there == {"heaters_covered", "drain"}
    assert clocks_of(made.figures, []) == ()


def test_a_slow_hose_calls_later_than_a_fast_one() -> None:
    bores = [0.012, 0.015, 0.019, 0.025, 0.038]
    calls = [_clocks(changed(HOUSE, hose={"bore_m": bore}))["drain"].alarms[0].minute for bore in bores]
    assert calls == sorted(calls, reverse=True)
    assert calls[0] > 2 > calls[-1] > 0


def test_who_is_told_to_stay_is_not_called_to_come() -> None:
    """The text of an inner tote's pump, and of every filling, says 'Stay with it': its clock calls from the start then."""
    made = plan(changed(HOUSE, tap={"flow_l_min": 5.0}, hose={"bore_m": 0.013}), NAMES[0])
    at = {step.id: step for step in made.steps}
    stays = [clock for clock in clocks_of(made.figures, made.steps) if "Stay with it" in at[clock.starts].text]
    assert stays
    assert not any(alarm.text.startswith("Go to") for clock in stays for alarm in clock.alarms)


# --- the words and minutes they share -----------------------------------------------------------------------------


@given(st.floats(0, 600), st.floats(0, 600))
def test_nobody_is_called_later_than_two_minutes_before_the_earliest_end(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert alone_minutes(one) == pytest.approx(max(one - 2, 0))
    minute = be_there_minute(one)
    assert isinstance(minute, int) and minute != 1
    assert 0 <= minute <= alone_minutes(one)
    assert minute > alone_minutes(one) - 1 or alone_minutes(one) < 2
    assert be_there_minute(low) <= be_there_minute(high)


def test_a_tote_is_named_by_its_number_only_among_others() -> None:
    assert tote_named(1, 1) == "the tote"
    assert [tote_named(number, 3) for number in (1, 2, 3)] == ["tote 1", "tote 2", "tote 3"]


def test_a_sheet_finds_its_steps_and_their_ends() -> None:
    step = plan(HOUSE, NAMES[0]).steps[0]
    assert step.end_minute == step.start_minute + step.minutes
    assert replace(step, minutes=7.0).end_minute == step.start_minute + 7
