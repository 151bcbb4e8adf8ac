"""Laws of the rate of nitrate: what a change, a day, a step of a chart and one more reading do to it; and refusals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from keepers import FACTOR, RANGE, STEPS, USUAL, Events, Logged, kit, logs, nitrates, rates, read_as
from scipy.stats import norm

from tapwright.chemistry.change.nitrate.production import Change, Posterior, Reading, chart_reading, production
from tapwright.chemistry.errors import BadInput, NoAnswer


def moved(event: Reading | Change, days: float) -> Reading | Change:
    return replace(event, day=event.day + days)


def of_readings(event: Reading | Change, reading: Callable[[Reading], Reading]) -> Reading | Change:
    return reading(event) if isinstance(event, Reading) else event


some_logs = settings(max_examples=12)


@some_logs
@given(logs())
def test_the_rate_is_found_again_and_leaving_out_the_changes_underestimates_it(log: Logged) -> None:
    low, median, high = rates(log.found())
    assert low < log.rate_mg_l_day < high
    # Readings without an error: what is left is a pull to what tanks usually make, less than the bias.
    assert median == pytest.approx(log.rate_mg_l_day, rel=kit("laboratory", "bias"))
    forgotten = [event for event in log.events if isinstance(event, Reading)]
    assert rates(log.found(forgotten))[1] < median


def test_leaving_out_weekly_changes_hides_most_of_the_rate() -> None:
    # A tank of 2 mg/L a day, 30 % a week, near where it settles: it stands still, and looks as if it made nothing.
    events = [
        event for week in range(8) for event in (read_as(7.0 * week, 46.7, "laboratory"), Change(7.0 * week, 0.3))
    ]
    assert rates(production(events, 0.0, 49.0))[1] == pytest.approx(2.0, rel=0.04)
    forgotten = [event for event in events if isinstance(event, Reading)]
    assert rates(production(forgotten, 0.0, 49.0))[1] < 0.2


@some_logs
@given(logs(), st.sampled_from([-1024.0, 0.25, 730.5]))
def test_only_differences_of_days_count(log: Logged, days: float) -> None:
    here, there = log.found(), production([moved(e, days) for e in log.events], log.refill_mg_l, log.last_day + days)
    assert rates(there) == pytest.approx(rates(here), rel=1e-9)
    assert nitrates(there) == pytest.approx(nitrates(here), rel=1e-9)


@some_logs
@given(logs("drops"))
def test_one_more_reading_does_not_widen_the_range(log: Logged) -> None:
    # A reading without an error, by the same test; a tenth for the grid.
    earlier = log.events[:-1]
    fewer, all_ = (rates(production(events, log.refill_mg_l, log.last_day)) for events in (earlier, log.events))
    assert np.log(all_[2] / all_[0]) < 1.1 * np.log(fewer[2] / fewer[0])


@some_logs
@given(logs(), st.floats(0.1, 1))
def test_a_change_after_the_last_reading_moves_the_tank_and_not_the_rate(log: Logged, share: float) -> None:
    before, after = log.found(), log.found([*log.events, Change(log.last_day, share)])
    assert rates(after) == pytest.approx(rates(before), rel=1e-9)
    left = [nitrate * (1 - share) + log.refill_mg_l * share for nitrate in nitrates(before)]
    assert nitrates(after) == pytest.approx(left, rel=1e-6)
    # Waiting adds its days of the rate to every possibility.
    later = production(log.events, log.refill_mg_l, log.last_day + 5)
    grown = before.nitrate_mg_l + 5 * before.rate_mg_l_day
    assert nitrates(later) == pytest.approx(before.quantile(grown, RANGE), rel=1e-9)


@some_logs
@given(logs(), st.floats(0.5, 9))
def test_all_of_the_water_changed_starts_the_tank_anew(log: Logged, days: float) -> None:
    emptied = [*log.events, Change(log.last_day, 1.0)]
    found = production(emptied, log.refill_mg_l, log.last_day + days)
    np.testing.assert_allclose(found.nitrate_mg_l, log.refill_mg_l + days * found.rate_mg_l_day)


@some_logs
@given(logs())
def test_stretching_days_slows_the_rate_and_stronger_water_raises_it(log: Logged) -> None:
    here = rates(log.found())[1]
    slower = production([replace(e, day=2 * e.day) for e in log.events], log.refill_mg_l, 2 * log.last_day)
    # 2 % for the pull of what is usual, which does not stretch along, and for the floor of the test.
    assert rates(slower)[1] == pytest.approx(here / 2, rel=0.02)
    strong = [
        of_readings(e, lambda r: replace(r, low_mg_l=2 * r.low_mg_l, high_mg_l=2 * r.high_mg_l)) for e in log.events
    ]
    assert rates(log.found(strong, 2 * log.refill_mg_l))[1] == pytest.approx(2 * here, rel=0.02)


@some_logs
@given(logs(), st.floats(0.1, 1))
def test_what_came_before_the_first_reading_does_not_count(log: Logged, share: float) -> None:
    assert rates(log.found([Change(-3.0, share), Change(0.0, share), *log.events])) == rates(log.found())


@some_logs
@given(logs("drops"))
def test_a_narrow_step_is_a_figure_and_an_endless_one_says_nothing(log: Logged) -> None:
    plain = log.found()
    narrow = [of_readings(e, lambda r: replace(r, high_mg_l=r.high_mg_l + 1e-4)) for e in log.events]
    assert rates(log.found(narrow)) == pytest.approx(rates(plain), rel=1e-3)
    endless = log.found([*log.events, Reading(log.last_day, -np.inf, np.inf, "drops")])
    assert rates(endless) == pytest.approx(rates(plain), rel=0.01)  # the grid begins elsewhere
    assert endless.readings == plain.readings + 1


def test_readings_that_say_nothing_leave_what_tanks_usually_make() -> None:
    day_apart = 1e-3
    found = production([Reading(day, -np.inf, 200.0, "strip") for day in (0.0, day_apart)], 0.0, day_apart)
    assert rates(found) == pytest.approx(USUAL * FACTOR ** norm.ppf(RANGE), rel=0.02)


@some_logs
@given(logs("chart"), st.lists(st.floats(0.001, 0.999), min_size=2, max_size=9))
def test_a_posterior_is_one(log: Logged, shares: list[float]) -> None:
    found = log.found()
    assert float(np.sum(found.weights)) == pytest.approx(1)
    assert np.all(found.weights > 0)
    assert np.all(found.rate_mg_l_day > 0)
    assert np.all(found.nitrate_mg_l >= 0)
    assert found.readings == sum(isinstance(event, Reading) for event in log.events)
    asked = sorted(shares)
    told = found.quantile(found.rate_mg_l_day, asked)
    assert told == sorted(told)
    # A quantile is the figure that is not exceeded with that chance, but for the weight of those that share a rate.
    _, sharing = np.unique(found.rate_mg_l_day, return_inverse=True)
    chances = [found.chance(found.rate_mg_l_day <= rate) for rate in told]
    assert chances == pytest.approx(asked, abs=float(np.max(np.bincount(sharing, found.weights))))
    assert found.quantile(np.full(found.weights.shape, 7.0), asked) == pytest.approx([7.0] * len(asked))
    assert found.chance(np.ones(found.weights.shape, dtype=bool)) == pytest.approx(1)
    assert found.chance(np.zeros(found.weights.shape, dtype=bool)) == 0


def test_quantiles_of_three_possibilities() -> None:
    # Each stands for the middle of its weight: 1/8, 1/2 and 7/8; between them a straight line.
    three = Posterior(np.array([3.0, 1.0, 2.0]), np.zeros(3), np.array([0.25, 0.25, 0.5]), 2)
    told = three.quantile(three.rate_mg_l_day, [0.01, 1 / 8, 5 / 16, 1 / 2, 7 / 8, 0.99])
    assert told == pytest.approx([1, 1, 1.5, 2, 3, 3])
    assert three.chance(three.rate_mg_l_day <= 2) == pytest.approx(0.75)


@given(st.floats(-3, 300))
def test_a_step_of_a_chart_is_what_lies_nearest_to_it(shown: float) -> None:
    reading = read_as(4.0, shown, "chart")
    assert reading.low_mg_l <= shown <= reading.high_mg_l
    ends = [chart_reading(0, step, below, above, "chart") for below, step, above in
            zip([None, *STEPS], STEPS, [*STEPS[1:], None], strict=False)]  # fmt: skip
    # No gap and no overlap, from minus infinity to infinity.
    assert [end.high_mg_l for end in ends[:-1]] == [end.low_mg_l for end in ends[1:]]
    assert (ends[0].low_mg_l, ends[-1].high_mg_l) == (-np.inf, np.inf)


# --- refusals -------------------------------------------------------------------------------------------------

TEN, TWENTY = read_as(0.0, 10.0, "drops"), read_as(8.0, 20.0, "drops")


@pytest.mark.parametrize(
    ("events", "now_day", "said"),
    [
        ([TWENTY, TEN], 9.0, "time runs backwards"),
        ([TEN, Change(9.0, 0.3), TWENTY], 9.0, "time runs backwards"),
        ([TEN, TWENTY], 7.0, "time runs backwards"),
        ([TEN, Change(3.0, 0.0), TWENTY], 9.0, "a share of 0% was changed"),
        ([TEN, Change(3.0, -0.1), TWENTY], 9.0, "a share of -10% was changed"),
        ([TEN, Change(3.0, 1.2), TWENTY], 9.0, "a share of 120% was changed"),
        ([Change(-3.0, 30.0), TEN, TWENTY], 9.0, "a share of 3000% was changed"),
    ],
)
def test_logs_that_cannot_be_are_refused(events: Events, now_day: float, said: str) -> None:
    with pytest.raises(BadInput) as refusal:
        production(events, 0.0, now_day)
    (fault,) = refusal.value.faults
    assert said in fault.message
    assert fault.where in ("events", "share")
    assert fault.hint


@pytest.mark.parametrize(
    ("events", "count"),
    [
        ([], 0),
        ([Change(1.0, 0.3)], 0),
        ([TEN], 1),
        ([Change(-1.0, 0.3), TEN, Change(4.0, 0.3)], 1),
        ([TEN, moved(TWENTY, -8.0)], 2),
        ([TEN, moved(TWENTY, -8.0), read_as(0.0, 15.0, "chart"), Change(3.0, 0.4)], 3),
    ],
)
def test_a_rate_takes_two_readings_some_days_apart(events: Events, count: int) -> None:
    with pytest.raises(NoAnswer) as refusal:
        production(events, 0.0, 9.0)
    (fault,) = refusal.value.faults
    assert fault.where == "readings"
    assert fault.message.startswith(f"{count} of nitrate")
    assert "a rate takes two, some days apart" in fault.message
    assert "Test again in a few days" in fault.hint


@pytest.mark.parametrize(
    "reading",
    [
        Reading(0.0, 10.0, 10.0, "litmus"),
        Reading(0.0, 20.0, 10.0, "chart"),
        Reading(0.0, np.nan, np.nan, "drops"),
        Reading(0.0, np.inf, np.inf, "drops"),
    ],
    ids=["unknown kind", "low above high", "no number", "infinite"],
)
@pytest.mark.filterwarnings("ignore:invalid value")
def test_readings_that_cannot_be_are_refused(reading: Reading) -> None:
    with pytest.raises(BadInput):
        production([reading, TWENTY], 0.0, 9.0)


def test_two_readings_on_two_days_are_enough() -> None:
    assert production([TEN, TWENTY], 0.0, 8.0).readings == 2
