"""The late neutraliser: a case by hand, an integrator, a filling in small steps, laws, and the command's words.

Beside chemistry/change/filling.py, which has tests of its own, this holds what is made of it: doses, ammonia, findings.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pytest
import typer.main
from conftest import Outcome
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from tapwright.chemistry.change.filling.chlorine import Filling
from tapwright.chemistry.dosing.neutralise import ChlorineReadings, LabelDose
from tapwright.chemistry.errors import NoAnswer
from tapwright.chemistry.plan.late.dose import Bottle, Late, Tote, late, late_findings
from tapwright.chemistry.substances import agent

Run = Callable[..., Outcome]
MADE_ONCE = cache(typer.main.get_command)
SAME = 1e-9  # rounding
STEPS = 400
# Molar masses by CIAAW 2021: Na2S2O3.5H2O 248.17, Cl2 70.90 g/mol; two moles a mole of Cl2 (tetrathionate route).
RATIO, ITS_ROUNDING = 2 * 248.17 / 70.90, 1e-4
THIOSULFATE, VITAMIN_C = agent("sodium thiosulfate pentahydrate"), agent("ascorbic acid")
BY_LABEL = agent("sodium hydroxymethanesulfonate")
# 300 to 500 L at 10 L/min: 20 minutes, and 0.4 g of chlorine in all.
CASE = {"--start-volume": "300 L", "--end-volume": "500 L", "--flow": "10 L/min", "--total-chlorine": "2 mg/L",
        "--free-chlorine": "0.2 mg/L", "--agent": THIOSULFATE.name, "--after": "5 min"}  # fmt: skip
KEYS = ("peak_mg_l", "peak_minute", "exposure_mg_min_l", "remaining_chlorine_g", "dose_now_g", "dose_whole_tank_g",
        "ammonia_mg_n_l", "ammonia_unionised_mg_n_l", "breakthrough_minute")  # fmt: skip


@pytest.fixture
def asked(tapwright: Run, monkeypatch: pytest.MonkeyPatch) -> Run:
    """`late` with the options of a case, some of them changed (None: left out)."""
    # Made anew for every run, the commands and their options would take most of the time.
    monkeypatch.setattr(typer.main, "get_command", MADE_ONCE)

    def call(case: dict[str, Any], *flags: str, **options: object) -> Outcome:
        changed = case | {f"--{name.replace('_', '-')}": value for name, value in options.items()}
        return tapwright("late", *(w for k, v in changed.items() if v is not None for w in (k, v)), *flags)

    return call


def result(done: Outcome) -> Any:
    return done.json["result"]


def flat(done: Outcome) -> str:
    return " ".join(done.out.split())


def scalars(filling: Filling) -> tuple[float, float, float, float]:
    return filling.volume_start_l, filling.flow_l_min, filling.chlorine_mg_l, filling.demand_per_min


def made(filling: Filling, minute: float | None, bottle: Bottle | None = None, **more: Any) -> Late:
    """`late` with all of the chlorine free, unless told otherwise."""
    total = filling.chlorine_mg_l
    readings = more.pop("readings", None) or ChlorineReadings(total, total)
    return late(filling, readings, bottle or Bottle(THIOSULFATE), minute, **more)


@st.composite
def fillings(draw: st.DrawFn, demand: st.SearchStrategy[float]) -> Filling:
    """Tanks of 40 to 2000 L that take from a twentieth to four times as much again; demand: a minute."""
    start_l = draw(st.floats(40, 2000))
    end_l = start_l * (1 + draw(st.floats(0.05, 4)))
    return Filling(start_l, end_l, draw(st.floats(2, 60)), draw(st.floats(0.1, 4)), draw(demand))


demands = st.just(0.0) | st.floats(1e-4, 0.2)
bottles = st.builds(Bottle, st.sampled_from([THIOSULFATE, VITAMIN_C]), st.floats(0.5, 1), st.floats(0, 1))
parts = st.floats(0, 1)  # of the filling, at which the neutraliser goes in


# --- by hand ------------------------------------------------------------------------------------------------------


def test_a_case_by_hand(asked: Run) -> None:
    found = result(asked(CASE, "--json", ph="8.0", temperature="25 degC"))
    assert set(KEYS) <= set(found)
    # 5 minutes at 10 L/min bring 50 L with 0.1 g into 350 L; 150 L with 0.3 g are to come.
    assert (found["minute"], found["fill_minutes"], found["peak_minute"]) == pytest.approx((5, 20, 5))
    assert found["remaining_chlorine_g"] == pytest.approx(0.1)
    assert found["to_come_g"] == pytest.approx(0.3)
    assert found["now_mg_l"] == found["peak_mg_l"] == pytest.approx(100 / 350)
    # The tap over the share of tap water in the tank: 2 (t - V0 / q ln(V / V0)).
    assert found["exposure_mg_min_l"] == pytest.approx(2 * (5 - 30 * math.log(350 / 300)))
    assert found["hour_mean_mg_l"] == pytest.approx(2 * (5 - 30 * math.log(350 / 300)) / 60)
    assert found["hose_mg_l"] == 2.0
    assert found["dose_now_g"] == pytest.approx(0.4 * RATIO, rel=ITS_ROUNDING)
    assert found["dose_new_water_g"] == pytest.approx(found["dose_now_g"])
    assert found["dose_whole_tank_g"] == pytest.approx(1.0 * RATIO, rel=ITS_ROUNDING)
    # 1.8 mg/L bound at 3 to 1 leave 0.6 mg N in each of 200 L of 500; at pH 8 and 25 degC 5.4 % of it is un-ionised
    # (Emerson et al. 1975, table 2: 5.38 %).
    assert found["ammonia_mg_n_l"] == pytest.approx(0.6 * 200 / 500)
    assert found["ammonia_unionised_mg_n_l"] == pytest.approx(0.24 * 0.0538, rel=0.01)
    assert (found["breakthrough_minute"], found["outflow_end_mg_l"]) == (None, None)


@pytest.mark.parametrize(
    ("cl2_to_n", "nitrogen"), [(None, 1.8 / 3), ("4", 1.8 / 4), ("5", 1.8 / 5), ("9", 1.8 * 14.007 / 70.90)]
)
def test_chloramine_leaves_ammonia_by_its_ratio(cl2_to_n: str | None, nitrogen: float, asked: Run) -> None:
    """Never less than the one N that each Cl2 was bound to (14.007 of 70.90 by mass)."""
    done = asked(CASE, "--json", cl2_to_n=cl2_to_n)
    assert result(done)["ammonia_mg_n_l"] == pytest.approx(nitrogen * 200 / 500, rel=1e-3)
    assert any("3 to 1 taken" in said for said in done.json["assumptions"]) == (cl2_to_n is None)
    assert result(asked(CASE, "--json", free_chlorine="2 mg/L"))["ammonia_mg_n_l"] == 0


def test_ammonia_of_the_tank_is_diluted_and_counted() -> None:
    filling = Filling(300.0, 500.0, 10.0, 2.0)
    found = made(filling, 5.0, readings=ChlorineReadings(2.0, 0.2, 4.5), tank_ammonia_mg_n_l=0.5)
    assert found.ammonia_mg_n_l == pytest.approx((0.5 * 300 + 1.8 / 4.5 * 200) / 500)
    assert found.ammonia_unionised_mg_n_l is None  # neither pH nor temperature


# --- against an integrator ----------------------------------------------------------------------------------------


def integrated(filling: Filling, minutes: float) -> Callable[[Any], Any]:
    """Concentration [mg/L] and exposure [mg min/L] at any minute so far, by scipy's DOP853."""
    start_l, flow, chlorine, demand = scalars(filling)
    end = float(filling.minutes)
    courses = []
    for begin, until, inflow in ((0.0, end, flow), (end, max(minutes, end + 1), 0.0)):

        def slope(t: float, state: Any, inflow: float = inflow) -> tuple[float, float]:
            return inflow * chlorine - demand * state[0], state[0] / (start_l + flow * min(t, end))

        state = courses[-1].y[:, -1] if courses else (0.0, 0.0)
        courses.append(solve_ivp(slope, (begin, until), state, "DOP853", dense_output=True, rtol=1e-11, atol=1e-13))

    def at(minute: Any) -> Any:
        minute = np.asarray(minute, dtype=float)
        mg, exposure = np.where(
            minute <= end, courses[0].sol(np.minimum(minute, end)), courses[1].sol(np.maximum(minute, end))
        )
        return mg / (start_l + flow * np.minimum(minute, end)), exposure

    return at


@settings(max_examples=20)
@given(fillings(demands), st.floats(0.1, 1.5))
def test_concentration_peak_and_exposure_are_those_of_an_integrator(filling: Filling, part: float) -> None:
    minute = part * float(filling.minutes)
    found, at = made(filling, minute), integrated(filling, minute)
    now, exposure = at(minute)
    assert found.now_mg_l == pytest.approx(float(now), rel=1e-7)
    assert found.exposure_mg_min_l == pytest.approx(float(exposure), rel=1e-7)
    assert found.remaining_chlorine_g == pytest.approx(float(now) * float(min(
        filling.volume_start_l + filling.flow_l_min * minute, filling.volume_end_l)) / 1000, rel=1e-7)  # fmt: skip
    assert found.peak_mg_l == pytest.approx(float(at(found.peak_minute)[0]), rel=1e-7)
    # It is reached, and nothing is higher: neither on a grid nor at the kink where the water stops.
    grid = np.append(np.linspace(0, minute, 4001), min(minute, float(filling.minutes)))
    assert found.peak_mg_l >= float(np.max(at(grid)[0])) * (1 - 1e-7)
    assert found.peak_minute <= minute


@settings(max_examples=12)
@given(fillings(st.floats(1e-3, 0.1)), parts | st.none())
def test_the_worst_means_are_those_of_every_window_tried(filling: Filling, part: float | None) -> None:
    minute = None if part is None else part * float(filling.minutes)
    found, four_days = made(filling, minute), 4 * 24 * 60.0
    until = float(filling.minutes) + four_days + 60 if minute is None else minute
    at = integrated(filling, until)
    for window, mean in ((60.0, found.hour_mean_mg_l), (four_days, found.four_days_mean_mg_l)):
        ends = np.linspace(0, min(until, float(filling.minutes) + 120), 4001)
        ends = np.concatenate([ends, np.linspace(0, until, 401), [min(window, until)]])
        means = (at(ends)[1] - at(np.maximum(ends - window, 0))[1]) / window
        # A few thousand windows miss the worst by little; none may be worse than it.
        assert np.max(means) <= mean * (1 + 1e-6)
        assert mean == pytest.approx(float(np.max(means)), rel=1e-3)


# --- the dose -----------------------------------------------------------------------------------------------------


@settings(max_examples=40)
@given(fillings(demands), parts | st.none(), bottles)
def test_the_dose_covers_what_is_there_and_what_is_to_come(
    filling: Filling, part: float | None, bottle: Bottle
) -> None:
    found = made(filling, None if part is None else part * float(filling.minutes), bottle)
    per_gram = bottle.agent.mass_ratio * (1 + bottle.excess) / bottle.purity
    assert found.dose_now.grams == pytest.approx((found.remaining_chlorine_g + found.to_come_g) * per_gram, abs=1e-8)
    new_g = (filling.volume_end_l - filling.volume_start_l) * filling.chlorine_mg_l / 1000
    assert found.dose_new_water.grams == pytest.approx(new_g * per_gram)
    assert found.dose_whole_tank.grams == pytest.approx(filling.volume_end_l * filling.chlorine_mg_l / 1000 * per_gram)
    assert found.dose_now.grams <= found.dose_new_water.grams * (1 + SAME)
    assert found.dose_new_water.grams < found.dose_whole_tank.grams


@settings(max_examples=25)
@given(fillings(st.just(0.0)), parts, parts)
def test_without_demand_the_dose_is_the_same_whenever_it_is_remembered(
    filling: Filling, one: float, other: float
) -> None:
    early, late_ = (made(filling, part * 1.5 * float(filling.minutes)).dose_now.grams for part in (one, other))
    assert early == pytest.approx(late_)
    assert early == pytest.approx(made(filling, None).dose_now.grams)


@settings(max_examples=15)
@given(fillings(st.floats(1e-3, 0.1)), st.floats(0.05, 1), st.floats(1.05, 2))
def test_with_demand_it_is_less_and_less(filling: Filling, part: float, later: float) -> None:
    minute = part * float(filling.minutes)
    soon, then = made(filling, minute), made(filling, minute * later)
    assert soon.dose_now.grams < soon.dose_new_water.grams
    assert then.dose_now.grams < soon.dose_now.grams
    thirstier = made(Filling(*scalars_with(filling, 1.5 * filling.demand_per_min)), minute)
    assert thirstier.dose_now.grams < soon.dose_now.grams
    assert thirstier.exposure_mg_min_l < soon.exposure_mg_min_l


def scalars_with(filling: Filling, demand: float) -> tuple[float, float, float, float, float]:
    return filling.volume_start_l, filling.volume_end_l, filling.flow_l_min, filling.chlorine_mg_l, demand


def left_over(filling: Filling, minute: float, dose_g: float, bottle: Bottle) -> tuple[float, float]:
    """Chlorine and neutraliser left at the end [mg of chlorine each], the filling gone through in small steps."""
    _, flow, tap, demand = scalars(filling)
    step = float(filling.minutes) / STEPS
    brought, chlorine, neutraliser = flow * tap * step, 0.0, 0.0
    for number in range(STEPS):
        if number == round(minute / step):
            neutraliser = 1000 * dose_g * bottle.purity / bottle.agent.mass_ratio
        if neutraliser <= 0:  # what meets neutraliser is gone at once, what does not meets the tank's demand
            chlorine = chlorine * math.exp(-demand * step) + brought * math.exp(-demand * step / 2) - brought
        used = min(chlorine + brought, neutraliser)
        chlorine, neutraliser = chlorine + brought - used, neutraliser - used
    return chlorine, neutraliser


@settings(max_examples=30)
@given(fillings(st.just(0.0)), st.just(0.0) | st.floats(0.1, 3), st.integers(1, STEPS - 1), bottles)
def test_a_dose_now_neutralises_all_the_rest_of_the_filling_and_no_less_does(
    filling: Filling, demand: float, step: int, bottle: Bottle
) -> None:
    filling = Filling(*scalars_with(filling, demand / float(filling.minutes)))
    minute, bottle = float(filling.minutes) * step / STEPS, Bottle(bottle.agent, bottle.purity)  # without excess
    grams = made(filling, minute, bottle).dose_now.grams or 0.0
    all_mg = 1000 * grams * bottle.purity / bottle.agent.mass_ratio
    # The steps are good to (k dt)^2 / 24, a few millionths.
    chlorine, neutraliser = left_over(filling, minute, grams * 1.00001, bottle)
    assert chlorine <= SAME * all_mg
    assert neutraliser <= 1e-4 * all_mg
    # A hundredth less leaves a hundredth of the chlorine, of which demand takes at most all but exp(-3) by the end.
    assert left_over(filling, minute, grams * 0.99, bottle)[0] > 1e-4 * all_mg


@pytest.mark.parametrize("step_g", [0.1, 1.0, 5.0])
def test_a_scale_rounds_up(step_g: float) -> None:
    filling = Filling(300.0, 500.0, 10.0, 2.0)
    exact = made(filling, 5.0).dose_now.grams
    shown = made(filling, 5.0, Bottle(THIOSULFATE, step_g=step_g)).dose_now.grams
    assert exact <= shown < exact + step_g
    assert shown / step_g == pytest.approx(round(shown / step_g))
    # What is measured in millilitres is not weighed.
    solved = made(filling, 5.0, Bottle(THIOSULFATE, solution_g_l=50.0, step_g=step_g)).dose_now
    assert (solved.grams, solved.millilitres) == pytest.approx((exact, 20 * exact))


def test_a_solution_is_dosed_in_millilitres_of_the_same_grams(asked: Run) -> None:
    options = {"solution": "50 g/L", "purity": "80%", "excess": "25%"}
    found = result(asked(CASE, "--json", **options))
    assert found["dose_now_g"] == pytest.approx(0.4 * RATIO * 1.25 / 0.8, rel=ITS_ROUNDING)
    assert found["dose_now_ml"] == pytest.approx(found["dose_now_g"] / 50 * 1000)
    assert f"Put 87.5 mL of {THIOSULFATE.name} solution (4.38 g" in flat(asked(CASE, **options))


def test_an_agent_of_the_label_alone_says_so_in_words(asked: Run) -> None:
    done = asked(CASE, agent=BY_LABEL.name)
    assert (done.code, done.out) == (3, "")
    assert "no dose can be computed" in done.err
    filling = Filling(300.0, 500.0, 10.0, 2.0)
    with pytest.raises(NoAnswer, match="no dose can be computed"):
        made(filling, 5.0, Bottle(BY_LABEL))
    # 5 mL do 40 L of 2 mg/L: 0.08 g of chlorine; 0.4 g take 25 mL, and 0.3 of it where 0.1 has gone.
    found = made(filling, 5.0, Bottle(BY_LABEL, label=LabelDose(40.0, 2.0, None, 5.0)))
    assert (found.dose_now.grams, found.dose_now.millilitres) == (None, pytest.approx(25.0))
    assert found.dose_whole_tank.millilitres == pytest.approx(62.5)


# --- never, and after the end -------------------------------------------------------------------------------------


def test_never_given(asked: Run) -> None:
    done = asked(CASE, "--json", after=None)
    found = result(done)
    assert found["minute"] is None
    assert (found["peak_mg_l"], found["peak_minute"]) == pytest.approx((2 * 200 / 500, 20))
    assert found["to_come_g"] == pytest.approx(0, abs=SAME)
    # Until it fills, and one hour more at what it ends with; which stays for good without demand.
    assert found["exposure_mg_min_l"] == pytest.approx(2 * (20 - 30 * math.log(5 / 3)) + 60 * 0.8)
    assert found["hour_mean_mg_l"] == found["four_days_mean_mg_l"] == pytest.approx(0.8)
    assert {"chlorine_hour", "chlorine_four_days"} <= {finding["code"] for finding in done.json["findings"]}
    page = asked(CASE, after=None).out
    assert "never goes in" in page
    assert "until an hour later" in page


def test_remembered_after_the_end(asked: Run) -> None:
    found = result(asked(CASE, "--json", after="50 min"))
    assert (found["now_mg_l"], found["peak_minute"], found["to_come_g"]) == pytest.approx((0.8, 20, 0), abs=SAME)
    assert found["exposure_mg_min_l"] == pytest.approx(2 * (20 - 30 * math.log(5 / 3)) + 30 * 0.8)
    assert found["dose_now_g"] == pytest.approx(0.4 * RATIO, rel=ITS_ROUNDING)
    decayed = result(asked(CASE, "--json", after="50 min", demand="1.2 /h"))
    # 0.02 a minute: (1 - exp(-0.4)) / 0.4 of 0.4 g stand at the end, and exp(-0.6) of those half an hour later.
    assert decayed["remaining_chlorine_g"] == pytest.approx(0.4 * (1 - math.exp(-0.4)) / 0.4 * math.exp(-0.6))
    page = asked(CASE, "--water-off", after="50 min").out
    assert "Stop the water" not in page
    assert "the rest of the water" not in page


# --- findings -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("code", "mean", "limit", "window"), [
    ("chlorine_hour", "hour_mean_mg_l", 0.019, "worst hour"),
    ("chlorine_four_days", "four_days_mean_mg_l", 0.011, "worst four days"),
])  # fmt: skip
def test_the_published_criteria_are_held_over_their_own_times(code: str, mean: str, limit: float, window: str) -> None:
    """19 ug/L over an hour, 11 ug/L over four days: US EPA, Quality Criteria for Water 1986, chlorine."""
    start_l, tap = 300.0, 2.0
    # Means grow with the tap's chlorine: just under the criterion there is nothing to say, just over it there is.
    for until in (3.0, 15.0, None):
        per_mg_l = getattr(made(Filling(start_l, 500.0, 10.0, tap), until), mean) / tap
        for factor in (0.999, 1.001):
            found = made(Filling(start_l, 500.0, 10.0, factor * limit / per_mg_l), until)
            said = {finding.code: finding for finding in late_findings(found)}
            assert (code in said) == (factor > 1)
            if code in said:
                assert window in said[code].text
                assert f"{1000 * limit:g} µg/L" in said[code].text
                assert (said[code].level, said[code].limit, said[code].unit) == ("caution", limit, "mg/L")
                assert "EPA" in said[code].source


def test_a_tote_dosed_once_lets_chlorine_through(asked: Run) -> None:
    # 200 L dosed for 220 L at 10 L/min: 20 ln 1.1 minutes; then 2 mg/L but for what the tote still holds back.
    breaks = 20 * math.log(1.1)
    done = asked(CASE, "--json", tote="200 L", dosed_for="220 L")
    assert result(done)["breakthrough_minute"] == pytest.approx(breaks)
    assert result(done)["outflow_end_mg_l"] == pytest.approx(2 * -math.expm1(-(20 - breaks) / 20))
    said = next(finding for finding in done.json["findings"] if finding["code"] == "tote_breaks_through")
    assert "from minute 2 on, and 1.2 mg/L at the end" in said["text"]
    # 200 e^1.01 L hold for 20.2 of 20 minutes, 200 e^0.99 for 19.8.
    for power, holds in ((1.01, True), (0.99, False)):
        done = asked(CASE, "--json", tote="200 L", dosed_for=f"{200 * math.exp(power):.6f} L")
        assert (result(done)["breakthrough_minute"] is None) == holds
        assert ("tote_breaks_through" not in {finding["code"] for finding in done.json["findings"]}) == holds
    assert "holds to the end" in asked(CASE, tote="200 L", dosed_for="900 L").out
    assert made(Filling(300.0, 500.0, 10.0, 2.0), 5.0, tote=Tote(200.0, 150.0)).breakthrough_minute == 0


def test_ammonia_of_the_filled_tank_is_judged(asked: Run) -> None:
    codes = {finding["code"] for finding in asked(CASE, "--json").json["findings"]}
    assert "ammonia_not_judged" in codes
    done = asked(CASE, "--json", ph="9.2", temperature="28 degC")
    found = {finding["code"]: finding for finding in done.json["findings"]}
    assert found["ammonia"]["level"] in ("caution", "stop")
    assert done.code == (found["ammonia"]["level"] == "stop")
    assert "the filled tank" in found["ammonia"]["text"]
