"""Blending: conservation, closed forms, bounds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapwright.chemistry.change.heat.blending import Vessel, blend_of_volumes, blend_to_target, scald_findings
from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.units import read

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
