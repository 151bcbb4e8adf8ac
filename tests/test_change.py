"""Blending, dilution and flow: conservation, closed forms, bounds, and independent programs."""

from __future__ import annotations

import fluids
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from chemistry.change.blending import Vessel, blend_of_volumes, blend_to_target, reheat_minutes, scald_findings
from chemistry.change.dilution import after_change, course, settled_peak, share_for_ceiling
from chemistry.change.flow import (
    Hose,
    Pump,
    friction_factor,
    hose_loss_m,
    minutes_to_move,
    operating_flow_l_min,
)
from chemistry.errors import BadInput, NoAnswer
from chemistry.units import read
from chemistry.water.properties import density_kg_l, viscosity_mpa_s

# --- blending -------------------------------------------------------------------------------------------------

hot = st.floats(45, 75)
cold = st.floats(3, 22)
share = st.floats(0, 1)


@given(hot, cold, share, st.floats(20, 1000))
def test_blend_to_target_undoes_blend_of_volumes(hot_c: float, cold_c: float, hot_share: float, litres: float) -> None:
    poured = blend_of_volumes(hot_share * litres, (1 - hot_share) * litres, hot_c, cold_c)
    asked = blend_to_target(poured.volume_l, poured.temperature_c, hot_c, cold_c)
    assert asked.hot_l == pytest.approx(hot_share * litres, abs=1e-5 * litres)
    assert asked.cold_l == pytest.approx((1 - hot_share) * litres, abs=1e-5 * litres)


@given(hot, cold, share, st.floats(0, 50), st.floats(5, 30), st.floats(0, 30))
def test_what_stands_in_the_tote_takes_its_share_of_heat(
    hot_c: float, cold_c: float, hot_share: float, residual_l: float, residual_c: float, tub_kg: float
) -> None:
    vessel = Vessel(residual_l, residual_c, tub_kg, residual_c)
    poured = blend_of_volumes(60 * hot_share, 60 * (1 - hot_share), hot_c, cold_c, vessel)
    asked = blend_to_target(poured.volume_l, poured.temperature_c, hot_c, cold_c, vessel)
    assert asked.hot_l == pytest.approx(60 * hot_share, abs=1e-4)
    ends = (hot_c, cold_c, residual_c)
    assert min(ends) - 1e-9 <= poured.temperature_c <= max(ends) + 1e-9


def test_the_volume_rule_reads_warm() -> None:
    # 60 L at 55 and 140 L at 12 degC: volumes alone give 24.90, mass and enthalpy 24.76.
    assert pytest.approx(24.90) == (60 * 55 + 140 * 12) / 200
    assert blend_of_volumes(60.0, 140.0, 55.0, 12.0).temperature_c == pytest.approx(24.76, abs=0.005)


def test_a_cold_tub_cools_200_litres_by_a_tenth() -> None:
    # 6 kg of polyethylene at 18 degC in 200 L at 26: 0.108 K (11.4 kJ/K against 834 kJ/K).
    warm = blend_of_volumes(200.0, 1e-9, 26.0, 12.0)
    tub = blend_of_volumes(200.0, 1e-9, 26.0, 12.0, Vessel(tub_mass_kg=6, tub_c=18))
    assert warm.temperature_c - tub.temperature_c == pytest.approx(0.108, abs=0.002)


def test_gallons_and_fahrenheit_give_the_same_blend() -> None:
    metric = blend_to_target(read("120 L", "volume"), 26.0, 58.0, 11.0)
    american = blend_to_target(
        read("31.70064628 gal", "volume"), read("78.8 F", "temperature"), read("136.4 F", "temperature"), 11.0
    )
    assert american.hot_l == pytest.approx(metric.hot_l, rel=1e-8)


def test_blends_broadcast() -> None:
    targets = np.array([20.0, 24.0, 28.0])
    at_once = blend_to_target(100.0, targets, 58.0, 11.0)
    assert at_once.hot_l == pytest.approx([blend_to_target(100.0, float(t), 58.0, 11.0).hot_l for t in targets])


def test_a_target_out_of_reach_says_what_can_be_reached() -> None:
    with pytest.raises(NoAnswer, match=r"11\.0 to 58\.0 °C can"):
        blend_to_target(100.0, 60.0, 58.0, 11.0)
    with pytest.raises(NoAnswer, match="with what stands in the tote"):
        blend_to_target(100.0, 10.5, 58.0, 11.0, Vessel(10, 20))
    assert blend_to_target(100.0, 11.0, 58.0, 11.0).hot_l == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(
    "call",
    [
        lambda: blend_to_target(100.0, 20.0, 10.0, 11.0),
        lambda: blend_to_target(0.0, 20.0, 58.0, 11.0),
        lambda: blend_to_target(5.0, 20.0, 58.0, 11.0, Vessel(10, 20)),
        lambda: blend_of_volumes(-1.0, 5.0, 58.0, 11.0),
        lambda: blend_of_volumes(0.0, 0.0, 58.0, 11.0),
        lambda: blend_of_volumes(1.0, 5.0, 58.0, 11.0, Vessel(tub_mass_kg=-1)),
    ],
)
def test_blends_that_cannot_be_are_refused(call: object) -> None:
    with pytest.raises(BadInput):
        call()


def test_scalding_is_said_from_49_degrees_with_its_times() -> None:
    # US CPSC 5098: 5 min at 120 F, 30 s at 130 F, 6 s at 140 F, 2 s at 150 F.
    assert scald_findings(48.9) == []
    assert "5 minutes at 49 °C" in scald_findings(49.0)[0].text
    assert "30 s at 54 °C and 6 s at 60 °C" in scald_findings(58.0)[0].text
    assert "2 s at 66 °C" in scald_findings(75.0)[0].text
    assert "CPSC" in scald_findings(58.0)[0].source


def test_reheating_from_first_principles() -> None:
    # 100 L from 10 to 60 degC: 98.3 kg x 4.18 kJ/(kg K) x 50 K / 3 kW = 114 min; "4.5 kW at 50 K gives 77.5 L/h".
    assert reheat_minutes(100, 60.0, 10.0, 3.0) == pytest.approx(114, abs=1)
    assert reheat_minutes(77.5, 60.0, 10.0, 4.5) == pytest.approx(60, rel=0.02)
    assert reheat_minutes(100, 60.0, 10.0, 0.0) == np.inf


# --- dilution -------------------------------------------------------------------------------------------------

nitrates = st.floats(0, 100)


@given(st.floats(0, 30), st.floats(0.5, 20), st.floats(5, 60), nitrates)
def test_the_share_holds_the_ceiling_now_and_for_good(refill: float, rise: float, room: float, before: float) -> None:
    ceiling = refill + room
    share_ = share_for_ceiling(before, refill, rise, ceiling)
    assume(share_ <= 1)
    peak, nitrate = before, before
    for _ in range(60):
        nitrate = after_change(nitrate, refill, share_) + rise
        peak = max(peak, nitrate)
        assert nitrate <= ceiling + 1e-9
    assert peak <= max(before, ceiling) + 1e-9


@given(nitrates, st.floats(0, 20), st.floats(0.1, 20), st.floats(0.05, 1))
def test_the_settled_peak_is_where_the_sawtooth_ends(before: float, refill: float, rise: float, share_: float) -> None:
    nitrate = before
    for _ in range(2000):
        nitrate = after_change(nitrate, refill, share_) + rise
    assert nitrate == pytest.approx(settled_peak(refill, rise, share_), rel=1e-9)


@given(nitrates, nitrates, st.floats(0.01, 0.5), st.floats(0.01, 0.5))
def test_more_change_brings_nitrate_nearer_the_refill(before: float, refill: float, less: float, extra: float) -> None:
    some, more = after_change(before, refill, less), after_change(before, refill, less + extra)
    assert abs(more - refill) <= abs(some - refill) + 1e-9


def test_a_smaller_share_would_break_the_ceiling() -> None:
    share_ = share_for_ceiling(38.0, 5.0, 14.0, 40.0)
    assert share_ == pytest.approx(0.4)  # 14 / (40 - 5) for good, above 12 / 33 for now
    assert settled_peak(5.0, 14.0, share_ - 0.01) > 40
    assert course(38.0, 5.0, 14.0, share_).settled_peak_mg_l == pytest.approx(40)


def test_a_refill_at_the_ceiling_has_no_answer() -> None:
    with pytest.raises(NoAnswer, match="no change brings the tank under it"):
        share_for_ceiling(60.0, 40.0, 10.0, 40.0)


# --- flow -----------------------------------------------------------------------------------------------------

PUMP, HOSE = Pump(50.0, 3.0), Hose(0.0191, 5.0)


@given(st.floats(1, 200_000), st.floats(0.0005, 0.01))
def test_friction_against_an_independent_library(reynolds: float, roughness: float) -> None:
    ours = float(friction_factor(np.array([reynolds]), roughness)[0])
    if reynolds <= 2000:
        assert ours == pytest.approx(64 / reynolds)
    elif reynolds >= 4000:
        # Swamee & Jain against Colebrook: within 3 % over hoses.
        assert ours == pytest.approx(fluids.friction.Colebrook(reynolds, roughness), rel=0.03)


def test_friction_nowhere_jumps() -> None:
    factors = friction_factor(np.geomspace(100, 1e5, 20_000), 0.002)
    assert np.max(np.abs(np.diff(factors) / factors[1:])) < 2e-3


def test_crane_example_7_1() -> None:
    # Crane TP 410, 7-1: water at 30 degC, 200 L/min in 52.5 mm smooth pipe: Re 100 600, f 0.0179.
    velocity = 0.2 / 60 / (np.pi / 4 * 0.0525**2)
    reynolds = 1e6 * density_kg_l(30.0) * velocity * 0.0525 / viscosity_mpa_s(30.0)
    assert reynolds == pytest.approx(100_600, rel=0.01)
    assert friction_factor(np.array([reynolds]), 0.0)[0] == pytest.approx(0.0179, rel=0.02)


@given(st.floats(-1.0, 2.8), st.floats(0.008, 0.04), st.floats(1, 30))
def test_the_operating_point_lies_where_pump_and_hose_meet(lift: float, bore: float, length: float) -> None:
    hose = Hose(bore, length)

    def spare(flow: float) -> float:
        return 3.0 * (1 - (flow / 50.0) ** 2) - lift - float(hose_loss_m(np.array([flow]), hose)[0])

    ours = float(operating_flow_l_min(PUMP, hose, np.array([lift]))[0])
    assert ours == pytest.approx(brentq(spare, 1e-9, 200.0), rel=1e-4)


def test_operating_point_of_a_textbook_pump() -> None:
    # 3 m, 3000 L/h, lift 1.2 m, 5 m of 19.1 mm with K 2: 1580.6 L/h on the parabola, 1208.0 on the straight line; our
    # hose is a little rougher and its K is 1.5.
    for straight, expected in ((False, 1580.6), (True, 1208.0)):
        flow = operating_flow_l_min(PUMP, HOSE, np.array([1.2]), straight=straight)[0]
        assert flow * 60 == pytest.approx(expected, rel=0.025)


@given(st.floats(1, 2000), st.floats(-0.5, 2.0), st.floats(0, 0.8), st.floats(0.01, 0.03), st.floats(1, 20))
def test_times_are_bracketed_and_grow_with_volume(
    volume_l: float, lift: float, fall: float, bore: float, length: float
) -> None:
    hose = Hose(bore, length)
    once = minutes_to_move(volume_l, PUMP, hose, lift, lift + fall)
    twice = minutes_to_move(2 * volume_l, PUMP, hose, lift, lift + fall)
    assert 0 < once.early <= once.predicted * (1 + 1e-9)
    assert once.predicted <= once.late * (1 + 1e-6)
    assert twice.predicted == pytest.approx(2 * once.predicted)
    # A tenth more flow, head and bore are worth at most a third of the time here.
    assert once.early >= 0.6 * once.predicted


def test_nothing_to_move_takes_no_time() -> None:
    assert minutes_to_move(0.0, PUMP, HOSE, 0.5, 0.5).predicted == 0


def test_a_lift_above_the_head_is_refused_even_when_only_the_end_is() -> None:
    with pytest.raises(NoAnswer, match=r"cannot lift 3\.00 m"):
        minutes_to_move(100, PUMP, HOSE, 0.5, 3.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: Pump(0, 3),
        lambda: Pump(50, 0),
        lambda: Hose(0, 5),
        lambda: Hose(0.02, 0),
        lambda: minutes_to_move(-1, PUMP, HOSE, 0, 0),
    ],
)
def test_pumps_and_hoses_that_cannot_be_are_refused(call: object) -> None:
    with pytest.raises(BadInput):
        call()
