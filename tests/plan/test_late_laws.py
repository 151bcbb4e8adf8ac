"""The forgotten neutraliser is one truth: `late`, the sheet and the plan fill alike; and no answer of it can do harm."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import pytest
from conftest import DEMO
from houses import HOUSE, NAMES, houses, planned, shares
from hypothesis import given, settings
from hypothesis import strategies as st

from plan.test_late import CASE, THIOSULFATE, Run, asked, result
from tapwright.chemistry.allowed import QUANTITIES
from tapwright.chemistry.change.filling.chlorine import Filling
from tapwright.chemistry.dosing.neutralise import ChlorineReadings, LabelDose
from tapwright.chemistry.plan.figures.records import Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.late.dose import STOP_WATER, Bottle, Late, late, late_findings
from tapwright.chemistry.plan.late.from_plan import forgotten, refill_of, refill_without_plan
from tapwright.chemistry.plan.planner import plan
from tapwright.chemistry.substances import agent
from tapwright.cli.files.household_file import load
from tapwright.cli.pages.late_words import advice
from tapwright.cli.sheet.forgotten import box

__all__ = ["asked"]  # the fixture
SAME = 1e-9  # rounding
ROCK = {"--file": str(DEMO), "--tank": NAMES[0]}


# --- one truth ----------------------------------------------------------------------------------------------------


@settings(max_examples=25)
@given(houses(), shares)
def test_without_a_plan_the_filling_is_the_plans(house: Household, share: float | None) -> None:
    made = planned(house, share, Jobs())
    if made is None:
        return
    refill = refill_without_plan(house, house.tanks[0], share)
    assert refill == refill_of(made.figures)
    if refill is None:
        return
    case, figures = forgotten(refill), made.figures
    count = figures.totes.count
    assert float(case.filling.minutes) == pytest.approx(count * figures.pump_minutes.predicted, rel=SAME)
    assert case.latest_end_min == pytest.approx(count * figures.pump_minutes.late, rel=SAME)
    # The water of the last totes alone ends as the whole does.
    last = forgotten(refill, count - 1)
    assert float(last.filling.minutes) == pytest.approx(figures.pump_minutes.predicted, rel=1e-6)


@pytest.mark.parametrize("tank", NAMES)
def test_the_sheet_and_the_command_tell_the_same_dose_at_every_row(tank: str, asked: Run) -> None:
    made = plan(HOUSE, tank)
    refill = refill_of(made.figures)
    assert refill is not None
    shown = box([forgotten(refill)])
    assert shown.advice[0] == STOP_WATER
    rows = shown.data["from_tote"][0]
    for minute, chlorine, grams, millilitres in rows[:: max(len(rows) // 4, 1)]:
        said = result(asked({"--file": str(DEMO), "--tank": tank, "--after": f"{minute!r} min"}, "--json"))
        assert (said["dose_now_g"], said["dose_now_ml"]) == (grams, millilitres)
        # A minute is rounded to 0.0001 on the page and chlorine to 0.00001; it rises by less than 1 mg/L in a minute.
        assert said["now_mg_l"] == pytest.approx(chlorine, abs=2e-4)
    minutes = made.figures.totes.count * made.figures.pump_minutes.predicted
    assert said["fill_minutes"] == pytest.approx(minutes, rel=1e-7)
    assert rows[-1][0] == pytest.approx(minutes, abs=1e-4)


def timed(tmp_path: Path) -> Path:
    """The demo with a filling that was timed: two totes of 115 L in 19 minutes each."""
    file, text = tmp_path / "house.toml", DEMO.read_text(encoding="utf-8")
    name = f'name = "{NAMES[0]}"\n'
    assert text.count(name) == 1
    file.write_text(text.replace(name, f'{name}timed_fill = {{ volume = "114.912 L", time = "19 min" }}\n'))
    return file


def test_a_filling_that_was_timed_is_filled_as_it_was(asked: Run, tmp_path: Path) -> None:
    """At minute 30 of 38 the pump still runs, however fast the taps are."""
    file = timed(tmp_path)
    figures = plan(load(file), NAMES[0], 0.4).figures
    assert figures.totes.count * figures.pump_minutes.predicted == pytest.approx(38, abs=0.1)
    case = {"--file": str(file), "--tank": NAMES[0], "--change": "40%", "--after": "30 min"}
    done = asked(case, "--json")
    said = result(done)
    assert said["fill_minutes"] == pytest.approx(38, abs=0.1)
    assert (said["first"], said["water_may_run"], done.code) == (STOP_WATER, True, 1)
    assert said["to_come_g"] == pytest.approx(1.9 * 2 * 114.912 / 1000 * 8 / 38, rel=0.02)
    assert "the rest of the water brings" in " ".join(asked(case).out.split())


# --- the water first ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("case", [CASE, ROCK], ids=["options", "file"])
@pytest.mark.parametrize("after", [None, "0 min", "5 min", "19 min", "3 h", "7 d"])
def test_the_first_word_is_to_stop_the_water_unless_it_is_off(
    case: dict[str, Any], after: str | None, asked: Run
) -> None:
    page, document = asked(case, after=after), asked(case, "--json", after=after)
    assert page.out.startswith("Stop the water now")
    assert result(document)["first"] == STOP_WATER
    assert document.json["findings"][0]["code"] == "stop_water"
    assert document.json["findings"][0]["text"] == STOP_WATER
    assert (page.code, document.code) == (1, 1)
    page, document = asked(case, "--water-off", after=after), asked(case, "--water-off", "--json", after=after)
    assert "Stop the water" not in page.out
    assert "stop_water" not in {finding["code"] for finding in document.json["findings"]}
    assert (result(document)["first"][:4], result(document)["water_may_run"]) == ("Put ", False)


@settings(max_examples=30)
@given(st.floats(1, 2), st.floats(0, 3))
def test_water_may_run_until_the_latest_the_filling_can_end(longer: float, part: float) -> None:
    filling = Filling(300.0, 500.0, 10.0, 2.0)
    latest = longer * float(filling.minutes)
    minute = part * float(filling.minutes)
    for water_off in (False, True):
        found = made(filling, minute, Bottle(THIOSULFATE), latest_end_min=latest, water_off=water_off)
        assert found.may_run == (not water_off and minute < latest)


@settings(max_examples=30)
@given(st.floats(1e-3, 0.2), st.floats(1, 2), st.floats(0, 3))
def test_where_the_tank_uses_chlorine_up_a_slow_pump_is_covered(demand: float, longer: float, part: float) -> None:
    """Past the predicted end water may still run: what it brings then is no less for having been expected earlier."""
    filling = Filling(300.0, 500.0, 10.0, 2.0, demand)
    minute, latest = part * float(filling.minutes), longer * float(filling.minutes)
    found = made(filling, minute, Bottle(THIOSULFATE), latest_end_min=latest)
    for flow in (filling.flow_l_min, filling.flow_l_min / longer):
        as_it_runs = made(Filling(300.0, 500.0, flow, 2.0, demand), minute, Bottle(THIOSULFATE))
        assert (found.dose_now.grams or 0.0) >= (as_it_runs.dose_now.grams or 0.0) * (1 - SAME)
    assert (found.dose_now.grams or 0.0) <= (found.dose_new_water.grams or 0.0) * (1 + SAME)


@pytest.mark.parametrize("case", [CASE, ROCK], ids=["options", "file"])
def test_putting_in_half_as_much_again_ends(case: dict[str, Any], asked: Run) -> None:
    """No more than a tank full of tap water takes, however often a stale test or neutraliser asks for more."""
    done, whole = " ".join(asked(case, after="5 min").out.split()), result(asked(case, "--json"))["dose_whole_tank_g"]
    said = re.search(r"twice and no more, and never over (\S+) g of", done)
    assert said is not None
    assert float(said[1]) == pytest.approx(whole, rel=5e-3)


def test_what_may_still_come_is_let_in_last(asked: Run) -> None:
    """Between the predicted and the latest end the rest of the water is still spoken of."""
    case = forgotten(refill_of(plan(HOUSE, NAMES[0]).figures))  # type: ignore[arg-type]
    predicted, latest = float(case.filling.minutes), case.latest_end_min or 0.0
    assert predicted < latest
    steps = [advice(case, case.at(minute)) for minute in (predicted * 0.9, (predicted + latest) / 2, latest + 1)]
    spoken = ["Only then let the rest of the water in" in " ".join(step) for step in steps]
    assert spoken == [True, True, False]


# --- nothing absurd -----------------------------------------------------------------------------------------------


def within(name: str) -> st.SearchStrategy[float]:
    """Everything an option takes of a quantity, evenly in its powers of ten."""
    limits = QUANTITIES[name]
    least = max(limits.low, limits.least, 1e-6)
    return st.floats(math.log(least), math.log(limits.high)).map(math.exp)


LABEL = LabelDose(40.0, 2.0, None, 5.0)
BOTTLES = st.builds(Bottle, st.sampled_from([THIOSULFATE, agent("ascorbic acid")]), st.floats(0.01, 1), st.floats(0, 2),
                    st.none() | within("strength"), st.none(), st.none() | within("mass"))  # fmt: skip
BY_LABEL = st.builds(Bottle, st.just(agent("sodium hydroxymethanesulfonate")), label=st.just(LABEL))


@st.composite
def fillings(draw: st.DrawFn) -> Filling:
    """Every filling the options take."""
    start, more = draw(within("volume")), draw(within("volume"))
    demand = draw(st.just(0.0) | within("demand"))
    return Filling(start, start + more, draw(within("flow")), draw(within("chlorine")), demand)


def made(filling: Filling, minute: float | None, bottle: Bottle, **more: Any) -> Late:
    total = filling.chlorine_mg_l
    return late(filling, ChlorineReadings(total, total), bottle, minute, **more)


@settings(max_examples=150)
@given(fillings(), st.none() | within("elapsed"), BOTTLES | BY_LABEL)
def test_nothing_absurd_comes_of_whatever_the_options_take(
    filling: Filling, minute: float | None, bottle: Bottle
) -> None:
    found = made(filling, minute, bottle)
    tap, whole_g = filling.chlorine_mg_l, filling.volume_end_l * filling.chlorine_mg_l / 1000
    # Never more chlorine in the tank than in the tap, nor more of it than the new water brings.
    assert 0 <= found.now_mg_l <= found.peak_mg_l * (1 + 1e-6) <= tap * (1 + 1e-6)
    assert found.now_mg_l <= tap
    assert found.peak_mg_l <= tap
    assert found.to_come_g >= 0
    assert 0 <= found.remaining_chlorine_g <= whole_g * (1 + SAME)
    assert found.hour_mean_mg_l <= tap * (1 + 1e-6)
    # Where there is chlorine there is a dose; it covers what is there and to come, and no tank takes more than a whole one.
    exact, whole = found.neutralisation, found.dose_whole_tank
    dose = found.dose_now.grams or found.dose_now.millilitres or 0.0
    if found.now_mg_l > 1e-6:
        assert dose > 0
    if exact is not None and exact.agent_g is not None:
        assert (found.dose_now.grams or 0.0) >= exact.agent_g * (1 - SAME)
    for least, most in ((found.dose_now.grams, whole.grams), (found.dose_now.millilitres, whole.millilitres)):
        if least is not None and most is not None:
            assert least <= most * (1 + 1e-6)


@pytest.mark.parametrize("step_g", [10.0, 1e6])
def test_a_scale_too_coarse_for_the_dose_doses_no_more_than_a_whole_tank_takes(step_g: float) -> None:
    # 0.4 g of chlorine of 1 g in a tank full of tap water: 2.8 g needed, 7.0 for a whole tank, 10 and a ton on the scale.
    found = made(Filling(300.0, 500.0, 10.0, 2.0), 5.0, Bottle(THIOSULFATE, step_g=step_g))
    assert found.dose_now.grams == found.dose_whole_tank.grams == pytest.approx(7.0, abs=0.01)
    said = {finding.code: finding.text for finding in late_findings(found)}
    assert "2.8 g are needed" in said["scale_too_coarse"]
    fine = made(Filling(300.0, 500.0, 10.0, 2.0), 5.0, Bottle(THIOSULFATE, step_g=1.0))
    assert fine.dose_now.grams == 3.0
    assert "scale_too_coarse" not in {finding.code for finding in late_findings(fine)}
