"""Shares and intervals: the table, tanks lived through day by day, and what a posterior can and cannot hold."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from keepers import Array, read_as

from tapwright.chemistry.change.nitrate.production import Change, Posterior, production
from tapwright.chemistry.change.nitrate.schedule import (
    INTERVALS_DAYS,
    SHARES,
    Regime,
    regime,
    schedules,
    share_that_holds,
)
from tapwright.chemistry.errors import BadInput, NoAnswer

REFILL, CEILING, CONFIDENCE = 5.0, 40.0, 0.9


def known_from_a_log() -> Posterior:
    """A tank of about 2 mg/L a day, tested with drops and changed twice."""
    figures = ((0.0, 15.0), (7.0, 29.0), (13.0, 31.0), (20.0, 36.0))
    events = [*(read_as(day, figure, "drops") for day, figure in figures), Change(7.5, 0.3), Change(14.0, 0.25)]
    return production(sorted(events, key=lambda event: event.day), REFILL, 21.0)


KNOWN = known_from_a_log()


@st.composite
def posteriors(draw: st.DrawFn) -> Posterior:
    """Possibilities of any rate about a middle, of uneven weight."""
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    rates = draw(st.floats(0.2, 4)) * np.exp(draw(st.floats(0.02, 0.8)) * rng.standard_normal(150))
    weights = rng.exponential(1, 150)
    return Posterior(rates, 20 + 5 * rates, weights / np.sum(weights), 5)


refills = st.floats(0, 20)
rooms = st.floats(5, 40)
confidences = st.floats(0.55, 0.98)
shares = st.floats(0.05, 1)
intervals = st.floats(1, 30)


def heaviest(known: Posterior) -> float:
    """What one possibility can move a chance by; nothing told by chances is sharper."""
    return float(np.max(known.weights)) + 1e-12


def lived_peaks(rates: Array, nitrate: Array, share: float, interval_days: int) -> Array:
    """Nitrate before the last change of tanks that are lived through day by day until they have settled."""
    # The distance to where it settles falls by the share at each change: down to a millionth.
    changes = 1 if share >= 1 else int(np.ceil(np.log(1e-6) / np.log(1 - share)))
    for day in range(1, (changes + 1) * interval_days + 1):
        nitrate = nitrate + rates
        peak = nitrate
        if day % interval_days == 0:
            nitrate = nitrate * (1 - share) + REFILL * share
    return peak


# --- the smallest share ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("interval_days", "confidence"), [(3, 0.9), (7, 0.9), (7, 0.6), (10, 0.95), (14, 0.8)])
def test_tanks_lived_through_stay_under_the_ceiling_as_often_as_asked(interval_days: int, confidence: float) -> None:
    share = share_that_holds(KNOWN, REFILL, CEILING, confidence, interval_days)
    rng = np.random.default_rng(7)
    at = rng.choice(KNOWN.weights.size, 4000, p=KNOWN.weights)
    rates, nitrate = KNOWN.rate_mg_l_day[at], KNOWN.nitrate_mg_l[at]
    # Three standard deviations of a share of 4000 tanks.
    sampling = 3 * np.sqrt(confidence * (1 - confidence) / 4000)
    exceeding = np.mean(lived_peaks(rates, nitrate, share, interval_days) > CEILING)
    assert exceeding <= 1 - confidence + sampling
    less = share - 0.05
    if less > 0.001:
        breaking = np.mean(lived_peaks(rates, nitrate, less, interval_days) > CEILING)
        assert breaking >= 1 - confidence - sampling
    told = regime(KNOWN, REFILL, CEILING, confidence, share, interval_days)
    assert 1 - exceeding == pytest.approx(told.chance, abs=sampling)


@given(posteriors(), refills, rooms, confidences, intervals)
def test_the_share_that_holds_is_the_first_of_the_table_that_does(
    known: Posterior, refill: float, room: float, confidence: float, interval: float
) -> None:
    table = schedules(known, refill, refill + room, confidence, [0.05 * n for n in range(1, 21)], [interval])
    holding = [one.share for one in table if one.holds]
    if not holding:
        with pytest.raises(NoAnswer, match="no share holds it"):
            share_that_holds(known, refill, refill + room, confidence, interval)
        return
    assert share_that_holds(known, refill, refill + room, confidence, interval) == pytest.approx(holding[0])
    # And more holds too.
    assert [one.holds for one in table] == sorted(one.holds for one in table)


@given(posteriors(), refills, rooms, confidences, intervals, st.floats(1, 1.5))
def test_more_is_asked_of_longer_intervals_lower_ceilings_and_surer_keepers(
    known: Posterior, refill: float, room: float, confidence: float, interval: float, times: float
) -> None:
    def share(room: float = room, confidence: float = confidence, interval: float = interval) -> float:
        try:
            return share_that_holds(known, refill, refill + room, confidence, interval)
        except NoAnswer:
            return np.inf

    here = share()
    assert here > 0
    assert share(interval=interval * times) >= here
    assert share(room=room * times) <= here
    assert share(confidence=1 - (1 - confidence) / times) >= here


def test_where_no_share_holds_the_interval_that_would_is_named() -> None:
    # A tank of 4 mg/L a day, known exactly; 35 mg/L of room: 8.75 days with all of the water.
    known = Posterior(np.full(3, 4.0), np.full(3, 20.0), np.full(3, 1 / 3), 5)
    assert share_that_holds(known, REFILL, CEILING, CONFIDENCE, 8.75) == 1
    with pytest.raises(NoAnswer) as refusal:
        share_that_holds(known, REFILL, CEILING, CONFIDENCE, 10.0)
    (fault,) = refusal.value.faults
    assert fault.where == "interval"
    assert fault.message == "in 10 days nitrate may rise by 40 mg/L, and there is room for 35: no share holds it."
    assert "oftener than every 8.8 days" in fault.hint
    assert share_that_holds(known, REFILL, CEILING, CONFIDENCE, 8.7) == 1
    assert share_that_holds(known, REFILL, CEILING, CONFIDENCE, 7.0) == pytest.approx(0.8)  # 28 of 35: a whole step
    assert share_that_holds(known, REFILL, CEILING, CONFIDENCE, 7.1) == pytest.approx(0.85)


# --- one schedule ---------------------------------------------------------------------------------------------


@given(posteriors(), refills, rooms, confidences, shares, intervals)
def test_what_a_schedule_comes_to(
    known: Posterior, refill: float, room: float, confidence: float, share: float, interval: float
) -> None:
    ceiling = refill + room
    told = regime(known, refill, ceiling, confidence, share, interval)
    assert (told.share, told.interval_days) == (share, interval)
    # The chance, counted possibility by possibility: peaks satisfy P = (P (1 - s) + R s) + r T.
    under = sum(
        float(weight)
        for rate, weight in zip(known.rate_mg_l_day, known.weights, strict=True)
        if refill * share + rate * interval <= ceiling * share
    )
    assert told.chance == pytest.approx(under, abs=heaviest(known))
    # The peak is not exceeded at the confidence: so is the ceiling where the peak is at or under it.
    at_peak = sum(known.weights[refill + known.rate_mg_l_day * interval / share <= told.peak_mg_l])
    assert at_peak == pytest.approx(confidence, abs=heaviest(known))
    assert told.holds == (told.peak_mg_l <= ceiling)
    assert told.chance >= confidence - heaviest(known) if told.holds else told.chance <= confidence + heaviest(known)
    assert told.trough_mg_l == pytest.approx(told.peak_mg_l * (1 - share) + refill * share)


@given(posteriors(), refills, rooms, confidences, shares, intervals, st.floats(1, 2))
def test_chances_fall_with_the_interval_and_rise_with_ceiling_and_share(
    known: Posterior, refill: float, room: float, confidence: float, share: float, interval: float, times: float
) -> None:
    here = regime(known, refill, refill + room, confidence, share, interval)
    longer = regime(known, refill, refill + room, confidence, share, interval * times)
    higher = regime(known, refill, refill + room * times, confidence, share, interval)
    larger = regime(known, refill, refill + room, confidence, min(share * times, 1.0), interval)
    assert longer.chance <= here.chance + 1e-9
    assert longer.peak_mg_l >= here.peak_mg_l
    assert higher.chance >= here.chance - 1e-9
    assert higher.peak_mg_l == here.peak_mg_l
    assert larger.chance >= here.chance - 1e-9
    assert larger.peak_mg_l <= here.peak_mg_l
    surer = regime(known, refill, refill + room, 1 - (1 - confidence) / times, share, interval)
    assert surer.chance == here.chance
    assert surer.peak_mg_l >= here.peak_mg_l


@settings(max_examples=20)
@given(posteriors(), refills, rooms, confidences, st.floats(0.5, 3))
def test_only_rise_over_room_counts(
    known: Posterior, refill: float, room: float, confidence: float, times: float
) -> None:
    stronger = replace(known, rate_mg_l_day=known.rate_mg_l_day * times)
    for share, interval in ((0.3, 7.0), (0.5, 14.0)):
        here = regime(known, refill, refill + room, confidence, share, interval)
        there = regime(stronger, 0.0, room * times, confidence, share, interval)
        assert there.peak_mg_l == pytest.approx((here.peak_mg_l - refill) * times)
        assert there.chance == pytest.approx(here.chance, abs=heaviest(known))


def test_the_table_has_every_share_at_every_interval() -> None:
    table = schedules(KNOWN, REFILL, CEILING, CONFIDENCE)
    assert [(one.share, one.interval_days) for one in table] == list(itertools.product(SHARES, INTERVALS_DAYS))
    for one in table:
        assert one == regime(KNOWN, REFILL, CEILING, CONFIDENCE, one.share, one.interval_days)
    assert {one.holds for one in table} == {True, False}
    asked = schedules(KNOWN, REFILL, CEILING, CONFIDENCE, [0.25], [7.0, 6.0])
    assert [(one.share, one.interval_days) for one in asked] == [(0.25, 7.0), (0.25, 6.0)]


def test_the_middle_of_what_is_known_holds_the_ceiling_half_of_the_time() -> None:
    # A schedule sized from the median alone: why the confidence is asked.
    median = KNOWN.quantile(KNOWN.rate_mg_l_day, [0.5])[0]
    told = regime(KNOWN, REFILL, CEILING, CONFIDENCE, median * 7 / (CEILING - REFILL), 7.0)
    assert told.chance == pytest.approx(0.5, abs=0.02)
    assert not told.holds


# --- refusals -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("refill", [CEILING, CEILING + 10])
@pytest.mark.parametrize(
    "ask",
    [
        lambda refill: regime(KNOWN, refill, CEILING, CONFIDENCE, 0.3, 7.0),
        lambda refill: schedules(KNOWN, refill, CEILING, CONFIDENCE),
        lambda refill: share_that_holds(KNOWN, refill, CEILING, CONFIDENCE, 7.0),
    ],
    ids=["regime", "schedules", "share"],
)
def test_a_refill_at_the_ceiling_has_no_schedule(ask: Callable[[float], object], refill: float) -> None:
    with pytest.raises(NoAnswer) as refusal:
        ask(refill)
    (fault,) = refusal.value.faults
    assert fault.where == "nitrate_ceiling"
    assert f"no schedule works: the refill has {refill:.0f} mg/L NO3 and the ceiling is 40" in fault.message
    assert "deionised" in fault.hint


def refused(ask: Callable[[], Regime | float], where: str, said: str) -> None:
    with pytest.raises(BadInput) as refusal:
        ask()
    (fault,) = refusal.value.faults
    assert fault.where == where
    assert said in fault.message
    assert fault.hint


@pytest.mark.parametrize(
    ("confidence", "share", "interval_days", "where", "said"),
    [
        (0.0, 0.3, 7.0, "confidence", "0%; more than 0 % and less than 100 % is allowed"),
        (1.0, 0.3, 7.0, "confidence", "100%; more than 0 %"),
        (90.0, 0.3, 7.0, "confidence", "9000%"),
        (0.9, 0.3, 0.0, "interval", "0 days from one change to the next"),
        (0.9, 0.3, -7.0, "interval", "-7 days"),
        (0.9, 0.3, float("nan"), "interval", "nan days"),
        (0.9, 0.0, 7.0, "share", "a share of 0"),
        (0.9, 1.01, 7.0, "share", "a share of 1.01"),
    ],
)
def test_schedules_that_cannot_be_are_refused(
    confidence: float, share: float, interval_days: float, where: str, said: str
) -> None:
    refused(lambda: regime(KNOWN, REFILL, CEILING, confidence, share, interval_days), where, said)
    refused(lambda: schedules(KNOWN, REFILL, CEILING, confidence, [share], [interval_days])[0], where, said)


@pytest.mark.parametrize(
    ("confidence", "interval_days", "where"),
    [(0.0, 7.0, "confidence"), (1.0, 7.0, "confidence"), (90.0, 7.0, "confidence"), (0.9, 0.0, "interval"),
     (0.9, -7.0, "interval")],
)  # fmt: skip
def test_a_share_is_not_found_for_what_cannot_be(confidence: float, interval_days: float, where: str) -> None:
    refused(lambda: share_that_holds(KNOWN, REFILL, CEILING, confidence, interval_days), where, "")
