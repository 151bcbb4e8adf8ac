"""Nitrate through changes: the sawtooth day by day, its closed forms, their round trips; alkalinity that goes with it."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tapwright.chemistry.change.nitrate.dilution import (
    after_change,
    alkalinity_loss,
    changes_to_settle,
    course,
    peak_after_changes,
    settled_peak,
    settled_trough,
    share_for_ceiling,
)
from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.units import read
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.mixing import nitrified

nitrates = st.floats(0, 100)
refills = st.floats(0, 30)
rises = st.floats(0.5, 20)
shares = st.floats(0.05, 1)
few = st.integers(0, 40)


def day_by_day(
    before: float, refill: float, rate: float, share: float, interval_days: int, days: int
) -> list[tuple[float, float]]:
    """Nitrate before and after each change of a tank that is looked at every day: changed first on day 0."""
    nitrate, changes = before, []
    for day in range(days + 1):
        if day % interval_days == 0:
            after = nitrate - nitrate * share + refill * share  # taken out, put in
            changes.append((nitrate, after))
            nitrate = after
        nitrate += rate
    return changes


# --- shares and ceilings --------------------------------------------------------------------------------------


@given(refills, rises, st.floats(5, 60), nitrates)
def test_the_share_holds_the_ceiling_now_and_for_good(refill: float, rise: float, room: float, before: float) -> None:
    ceiling = refill + room
    share = share_for_ceiling(before, refill, rise, ceiling)
    assume(share <= 1)
    peak, nitrate = before, before
    for _ in range(60):
        nitrate = after_change(nitrate, refill, share) + rise
        peak = max(peak, nitrate)
        assert nitrate <= ceiling + 1e-9
    assert peak <= max(before, ceiling) + 1e-9


@given(nitrates, nitrates, st.floats(0.01, 0.5), st.floats(0.01, 0.5))
def test_more_change_brings_nitrate_nearer_the_refill(before: float, refill: float, less: float, extra: float) -> None:
    some, more = after_change(before, refill, less), after_change(before, refill, less + extra)
    assert abs(more - refill) <= abs(some - refill) + 1e-9


def test_a_smaller_share_would_break_the_ceiling() -> None:
    share = share_for_ceiling(38.0, 5.0, 14.0, 40.0)
    assert share == pytest.approx(0.4)  # 14 / (40 - 5) for good, above 12 / 33 for now
    assert settled_peak(5.0, 14.0, share - 0.01) > 40
    assert course(38.0, 5.0, 14.0, share).settled_peak_mg_l == pytest.approx(40)


def test_a_refill_at_the_ceiling_has_no_answer() -> None:
    with pytest.raises(NoAnswer, match="no change brings the tank under it"):
        share_for_ceiling(60.0, 40.0, 10.0, 40.0)


# --- the sawtooth ---------------------------------------------------------------------------------------------


@given(nitrates, refills, st.floats(0.1, 3), shares, st.integers(1, 14))
def test_the_sawtooth_ends_between_the_settled_peak_and_trough(
    before: float, refill: float, rate: float, share: float, interval_days: int
) -> None:
    # 400 changes of 5 % leave 1e-9 of the distance.
    peak, trough = day_by_day(before, refill, rate, share, interval_days, 400 * interval_days)[-1]
    rise = rate * interval_days
    assert peak == pytest.approx(settled_peak(refill, rise, share), rel=1e-6)
    assert trough == pytest.approx(settled_trough(refill, rise, share), rel=1e-6)


@given(nitrates, refills, st.floats(0.1, 3), shares, st.integers(1, 14), few)
def test_every_peak_on_the_way_is_that_of_the_closed_form(
    before: float, refill: float, rate: float, share: float, interval_days: int, changes: int
) -> None:
    peaks = [peak for peak, _ in day_by_day(before, refill, rate, share, interval_days, changes * interval_days)]
    rise = rate * interval_days
    told = [peak_after_changes(before, refill, rise, share, n) for n in range(changes + 1)]
    assert told == pytest.approx(peaks, rel=1e-9)


@given(nitrates, refills, rises, shares)
def test_peak_and_trough_hold_each_other(before: float, refill: float, rise: float, share: float) -> None:
    peak, trough = settled_peak(refill, rise, share), settled_trough(refill, rise, share)
    assert after_change(peak, refill, share) == pytest.approx(trough, abs=1e-9)
    assert trough + rise == pytest.approx(peak)
    assert rise / (peak - refill) == pytest.approx(share)
    assert trough >= refill - 1e-9
    # Once there, always there; and a change more leads from any peak to the next.
    assert peak_after_changes(peak, refill, rise, share, 7) == pytest.approx(peak)
    assert peak_after_changes(before, refill, rise, share, 1) == pytest.approx(
        course(before, refill, rise, share).before_next_mg_l
    )


@given(nitrates, refills, rises, shares, few, few)
def test_changes_add_up(before: float, refill: float, rise: float, share: float, some: int, more: int) -> None:
    halfway = peak_after_changes(before, refill, rise, share, some)
    at_once = peak_after_changes(before, refill, rise, share, some + more)
    assert peak_after_changes(halfway, refill, rise, share, more) == pytest.approx(at_once, rel=1e-9)
    assert peak_after_changes(before, refill, rise, share, 0) == pytest.approx(before, abs=1e-9)


@given(nitrates, refills, rises, shares, st.floats(0.1, 10))
def test_changes_to_settle_are_the_fewest_that_come_near(
    before: float, refill: float, rise: float, share: float, near: float
) -> None:
    settled = settled_peak(refill, rise, share)
    changes, nitrate = 0, before
    while abs(nitrate - settled) > near * (1 + 1e-7):
        nitrate = after_change(nitrate, refill, share) + rise
        changes += 1
    assert changes_to_settle(before, refill, rise, share, near) == changes


def test_changes_to_settle_at_its_edges() -> None:
    # 60 mg/L above a peak of 40, halved by each change: 30, 15, 7.5 above.
    assert changes_to_settle(100.0, 20.0, 10.0, 0.5, 7.5) == 3
    assert changes_to_settle(100.0, 20.0, 10.0, 0.5, 7.4) == 4
    assert changes_to_settle(100.0, 20.0, 10.0, 0.5, 60.0) == 0
    assert changes_to_settle(0.0, 20.0, 10.0, 0.5, 5.0) == 3  # from below: 40, 20, 10, 5
    assert changes_to_settle(100.0, 20.0, 10.0, 1.0, 0.1) == 1  # everything at once


@given(refills, st.lists(st.tuples(rises, shares, nitrates, few), min_size=1, max_size=6))
def test_arrays_are_scalars_one_by_one(refill: float, rows: list[tuple[float, float, float, int]]) -> None:
    rise, share, before, changes = (np.array(column) for column in zip(*rows, strict=True))
    assert settled_peak(refill, rise, share) == pytest.approx([settled_peak(refill, r, s) for r, s, _, _ in rows])
    assert settled_trough(refill, rise, share) == pytest.approx([settled_trough(refill, r, s) for r, s, _, _ in rows])
    assert peak_after_changes(before, refill, rise, share, changes) == pytest.approx(
        [peak_after_changes(b, refill, r, s, n) for r, s, b, n in rows]
    )
    losses = alkalinity_loss(before)
    assert losses.least_meq_l == pytest.approx([alkalinity_loss(b).least_meq_l for _, _, b, _ in rows])
    assert losses.most_meq_l == pytest.approx([alkalinity_loss(b).most_meq_l for _, _, b, _ in rows])


@pytest.mark.parametrize("share", [0.0, -0.1, 1.001, np.array([0.3, 0.0]), np.array([0.3, 1.2])], ids=str)
@pytest.mark.parametrize(
    "ask",
    [
        lambda share: settled_peak(5.0, 10.0, share),
        lambda share: settled_trough(5.0, 10.0, share),
        lambda share: peak_after_changes(30.0, 5.0, 10.0, share, 3),
        lambda share: changes_to_settle(30.0, 5.0, 10.0, share, 1.0),
        lambda share: course(30.0, 5.0, 10.0, share),
    ],
    ids=["peak", "trough", "after changes", "to settle", "course"],
)
def test_a_share_that_cannot_be_is_refused_in_one_sentence(ask: Callable[[object], object], share: object) -> None:
    with pytest.raises(BadInput) as refusal:
        ask(share)
    (fault,) = refusal.value.faults
    assert fault.where == "share"
    assert str(share) in fault.message
    assert "more than 0 and at most 1" in fault.message
    assert fault.hint == "Give more than 0 % and up to 100 %."


@pytest.mark.parametrize("near", [0.0, -1.0])
def test_nothing_settles_to_within_nothing(near: float) -> None:
    with pytest.raises(BadInput):
        changes_to_settle(30.0, 5.0, 10.0, 0.3, near)


def test_all_of_the_water_is_a_share() -> None:
    assert settled_peak(5.0, 10.0, 1.0) == 15.0
    assert settled_trough(5.0, 10.0, 1.0) == 5.0
    assert peak_after_changes(90.0, 5.0, 10.0, 1.0, 1) == 15.0


# --- alkalinity -----------------------------------------------------------------------------------------------


def test_alkalinity_lost_to_nitrification() -> None:
    # Two equivalents a mole of N: 7.14 mg CaCO3 per mg N, the figure of every text; 7.146 with CIAAW weights.
    nitrogen = alkalinity_loss(read("1 mg/L N", "nitrate"))
    # One in the last digit of 7.146: atomic weights are given with so many digits.
    assert nitrogen.most_meq_l == pytest.approx(
        read("7.146 mg/L CaCO3", "alkalinity"), abs=read("0.001 mg/L CaCO3", "alkalinity")
    )
    # 10 mg/L NO3 is 0.1613 mmol/L: 0.3226 meq/L, 0.904 dKH.
    ten = alkalinity_loss(10.0)
    assert ten.most_meq_l == pytest.approx(read("0.904 dKH", "alkalinity"), abs=0.0005 * read("1 dKH", "alkalinity"))
    # Food that was protein gives one of the two back.
    assert ten.least_meq_l == pytest.approx(10 / 62.005, rel=1e-4)


@given(nitrates)
def test_most_is_what_ammonia_of_the_tap_does_to_a_water(nitrate_made: float) -> None:
    nitrogen = nitrate_made * 14.007 / 62.004
    water = Water(1, 0.5, 1, 0.1, 0.8, 0.3, 12.0, 5, nitrogen + 1, 0, 0, 25.0, 8.0)
    after = nitrified(water, nitrogen)
    loss = alkalinity_loss(after.nitrate_mg_l - water.nitrate_mg_l)
    assert loss.most_meq_l == pytest.approx(water.alkalinity_meq_l - after.alkalinity_meq_l, abs=1e-9)
    assert loss.least_meq_l == pytest.approx(loss.most_meq_l / 2, abs=1e-12)


@given(nitrates)
def test_least_is_what_charges_leave_of_bicarbonate(nitrate_made: float) -> None:
    # Every nitrate that stays, and nothing else that came in, takes the place of one bicarbonate: HCO3 61.017 g/mol.
    replaced_mg_l = nitrate_made / 62.005 * 61.017
    assert math.isclose(
        alkalinity_loss(nitrate_made).least_meq_l,
        read(f"{replaced_mg_l:.9f} mg/L HCO3", "alkalinity"),
        rel_tol=1e-4,
        abs_tol=1e-9,
    )
