"""What a warmer or cooler refill does to a tank: against the steam tables (iapws), mixing worked anew, and laws."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from iapws import IAPWS97
from scipy.optimize import brentq

from tapwright.chemistry.change.heat.blending import Blend, Vessel, blend_of_volumes, blend_to_target
from tapwright.chemistry.change.heat.warmth import effects, largest_share, minutes_at_rate, mixed_c, recovery
from tapwright.chemistry.errors import BadInput, OutOfRange

pytestmark = pytest.mark.filterwarnings("error")

HOT_C, COLD_C = 58.0, 11.0
OFF_C, OFF_PERCENT = 0.5, 3.0  # a thermometer as bought, a mark on a tote: tables/kits.csv
TANKS = st.floats(18, 32)
waters = st.floats(5, 45)


@cache
def steam(temperature_c: float) -> Any:
    return IAPWS97(T=temperature_c + 273.15, P=0.101325)


def settled_c(parts: list[tuple[float, float]], vessel: Vessel = Vessel()) -> float:  # noqa: B008
    """Temperature of waters (litres, degC) and a vessel poured together: the root of their heat, by the steam tables."""
    parts = [*parts, (vessel.residual_l, vessel.residual_c)]
    masses_kg = [litres * steam(each_c).rho / 1000 for litres, each_c in parts]
    heat_kj = sum(mass * steam(each_c).h for mass, (_, each_c) in zip(masses_kg, parts, strict=True))

    def excess_kj(t: float) -> float:
        solid_kj = vessel.tub_mass_kg * 1.9 * (t - vessel.tub_c)
        return float(sum(masses_kg) * IAPWS97(T=t + 273.15, P=0.101325).h + solid_kj - heat_kj)

    return float(brentq(excess_kj, 1.0, 90.0, xtol=1e-7))


# --- the tank -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("share", [0.0, 0.1, 0.35, 0.9, 1.0])
@pytest.mark.parametrize(("tank_c", "refill_c"), [(26.0, 18.0), (24.5, 30.0), (26.0, 26.0), (20.0, 45.0)])
def test_a_mixed_tank_by_the_steam_tables(tank_c: float, refill_c: float, share: float) -> None:
    # IF97 and IAPWS-95 differ by 4e-4 in the heat capacity: of the 16 K that the cold part rises at most, a fraction.
    expected = settled_c([(1 - share, tank_c), (share, refill_c)])
    assert mixed_c(tank_c, refill_c, share) == pytest.approx(expected, abs=2e-3)


@settings(max_examples=30)
@given(TANKS, waters, st.floats(0, 1), st.floats(0, 1))
def test_a_mixed_tank_lies_between_and_nearer_what_there_is_more_of(
    tank_c: float, refill_c: float, one: float, other: float
) -> None:
    less, more = (mixed_c(tank_c, refill_c, share) for share in sorted((one, other)))
    assert abs(less - tank_c) <= abs(more - tank_c) + 1e-9 <= abs(refill_c - tank_c) + 2e-9
    # By volume alone it would read up to a third of a kelvin off, between 5 and 45 degC.
    assert less == pytest.approx(tank_c + min(one, other) * (refill_c - tank_c), abs=0.34)
    assert mixed_c(tank_c, refill_c, one) == pytest.approx(mixed_c(refill_c, tank_c, 1 - one), abs=1e-9)


@settings(max_examples=20)
@given(TANKS, waters, st.floats(0.1, 6))
def test_the_largest_share_moves_the_tank_as_far_as_it_may(tank_c: float, refill_c: float, limit_k: float) -> None:
    share = largest_share(tank_c, refill_c, limit_k)
    assert 0 < share <= 1
    if abs(refill_c - tank_c) <= limit_k - 1e-9:
        assert share == 1
    if share < 1:
        assert abs(mixed_c(tank_c, refill_c, share) - tank_c) == pytest.approx(limit_k, abs=1e-9)
        assert abs(mixed_c(tank_c, refill_c, share) - tank_c) <= limit_k
        assert abs(refill_c - tank_c) > limit_k


@settings(max_examples=20)
@given(TANKS, waters, st.floats(0.02, 0.98))
def test_the_largest_share_undoes_the_mixing(tank_c: float, refill_c: float, share: float) -> None:
    assume(abs(refill_c - tank_c) > 0.1)
    step_k = abs(mixed_c(tank_c, refill_c, share) - tank_c)
    assert largest_share(tank_c, refill_c, step_k) == pytest.approx(share, abs=1e-6)


def test_the_largest_share_by_hand() -> None:
    # 26 degC and a refill of 18: 2 K are a quarter of 8 K, by mass; colder water is the denser, by 0.18 %.
    assert largest_share(26.0, 18.0, 2.0) == pytest.approx(0.25, abs=1e-3)
    assert largest_share(26.0, 26.0, 0.001) == largest_share(26.0, 25.0, 1.0) == 1.0


def test_minutes_at_a_rate() -> None:
    assert minutes_at_rate(2.0, 1.0) == 120
    assert minutes_at_rate(-1.5, 2.0) == 45
    assert minutes_at_rate(0.0, 0.5) == 0


@given(st.floats(-10, 10), st.floats(0.05, 5))
def test_the_slowest_fill_keeps_the_rate(step_k: float, rate_k_h: float) -> None:
    assert minutes_at_rate(step_k, rate_k_h) / 60 * rate_k_h == pytest.approx(abs(step_k), abs=1e-12)
    assert minutes_at_rate(step_k, rate_k_h) == minutes_at_rate(-step_k, rate_k_h)


# --- heating back ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("from_c", "to_c"), [(24.0, 26.0), (18.0, 30.0), (25.9, 26.0), (5.0, 45.0)])
def test_heating_back_by_the_steam_tables(from_c: float, to_c: float) -> None:
    back = recovery(500.0, from_c, to_c, 0.3)
    expected_kwh = 500 * steam(from_c).rho / 1000 * (steam(to_c).h - steam(from_c).h) / 3600
    # IF97's heat capacity is 4e-4 below that of IAPWS-95.
    assert back.energy_kwh == pytest.approx(expected_kwh, rel=6e-4)
    assert back.hours == pytest.approx(expected_kwh / 0.3, rel=6e-4)


def test_heating_back_by_hand() -> None:
    # 400 L by 2 K: 400 x 0.997 kg x 4.18 kJ/(kg K) x 2 K = 3334 kJ = 0.926 kWh, 3 h 5 min with 300 W.
    back = recovery(400.0, 24.0, 26.0, 0.3)
    assert back.energy_kwh == pytest.approx(0.926, abs=1e-3)
    assert back.hours == pytest.approx(3.087, abs=4e-3)


@given(st.floats(10, 3000), st.floats(15, 30), st.floats(15, 30), st.floats(0.05, 3))
def test_heating_back_adds_up_and_never_cools(volume_l: float, one: float, other: float, power_kw: float) -> None:
    cool, warm = sorted((one, other))
    whole = recovery(volume_l, cool, warm, power_kw)
    assert recovery(volume_l, warm, cool, power_kw).energy_kwh == 0
    assert recovery(volume_l, warm, cool, power_kw).hours == 0
    assert whole.hours is not None
    assert whole.hours * power_kw == pytest.approx(whole.energy_kwh)
    assert recovery(2 * volume_l, cool, warm, None).energy_kwh == pytest.approx(2 * whole.energy_kwh)
    middle = (cool + warm) / 2
    halves = recovery(volume_l, cool, middle, None).energy_kwh + recovery(volume_l, middle, warm, None).energy_kwh
    # The same litres, weighed at two temperatures: 0.3 % between 15 and 30 degC.
    assert halves == pytest.approx(whole.energy_kwh, rel=3e-3)


def test_without_a_heater_the_hours_are_unknown() -> None:
    assert recovery(400.0, 24.0, 26.0, None).hours is None
    assert recovery(400.0, 24.0, 26.0, None).energy_kwh > 0


# --- what each reading is worth -------------------------------------------------------------------------------

VESSELS = (Vessel(), Vessel(30.0, 16.0, 6.0, 16.0))


@pytest.mark.parametrize("vessel", VESSELS)
@pytest.mark.parametrize("hot_l", [20.0, 64.0, 130.0])
def test_effects_by_mixing_again(hot_l: float, vessel: Vessel) -> None:
    blend = blend_of_volumes(hot_l, 200.0 - hot_l, HOT_C, COLD_C, vessel)
    planned = settled_c([(hot_l, HOT_C), (200 - hot_l, COLD_C)], vessel)
    changed = {
        "hot tap's temperature": (hot_l, HOT_C + OFF_C, 200 - hot_l, COLD_C),
        "cold tap's temperature": (hot_l, HOT_C, 200 - hot_l, COLD_C + OFF_C),
        "litres of hot": (hot_l * 1.03, HOT_C, 200 - hot_l, COLD_C),
        "litres of cold": (hot_l, HOT_C, (200 - hot_l) * 1.03, COLD_C),
    }
    found = effects(blend, HOT_C, COLD_C, vessel)
    assert {effect.reading for effect in found} == set(changed)
    for effect in found:
        one_l, one_c, other_l, other_c = changed[effect.reading]
        moved_k = abs(settled_c([(one_l, one_c), (other_l, other_c)], vessel) - planned)
        # A thousandth of a kelvin is what IF97 and IAPWS-95 differ by; no thermometer shows it.
        assert effect.moves_k == pytest.approx(moved_k, abs=1e-3)
        in_kelvin = effect.reading.endswith("temperature")
        assert (effect.error, effect.unit) == ((OFF_C, "°C") if in_kelvin else (OFF_PERCENT, "%"))


@settings(max_examples=30)
@given(st.floats(40, 70), st.floats(5, 20), st.floats(0.05, 0.95), st.floats(20, 500))
def test_effects_against_the_linear_mixture(hot_c: float, cold_c: float, share: float, litres: float) -> None:
    # T = h hot + (1 - h) cold: a thermometer counts with its share; a litre's error of hot with h (1 - h) times the span,
    # over 1 + 0.03 h for so large a one. Within 6 %: a hot litre weighs up to 2.3 % less, and less with each kelvin.
    blend = blend_of_volumes(share * litres, (1 - share) * litres, hot_c, cold_c)
    cross_k = share * (1 - share) * 0.03 * (hot_c - cold_c)
    expected = {
        "hot tap's temperature": OFF_C * share,
        "cold tap's temperature": OFF_C * (1 - share),
        "litres of hot": cross_k / (1 + 0.03 * share),
        "litres of cold": cross_k / (1 + 0.03 * (1 - share)),
    }
    found = effects(blend, hot_c, cold_c, Vessel())
    assert {effect.reading: effect.moves_k for effect in found} == pytest.approx(expected, rel=0.06)


@settings(max_examples=30)
@given(st.floats(40, 70), st.floats(5, 20), st.floats(0.1, 0.9), st.floats(0, 60), st.floats(0, 10))
def test_effects_come_largest_first_and_a_vessel_damps_them(
    hot_c: float, cold_c: float, share: float, residual_l: float, tub_kg: float
) -> None:
    target_c = cold_c + share * (hot_c - cold_c)
    vessel = Vessel(residual_l, target_c, tub_kg, target_c)
    found, bare = (
        effects(blend_to_target(100.0 + each.residual_l, target_c, hot_c, cold_c, each), hot_c, cold_c, each)
        for each in (vessel, Vessel())
    )
    moves = [effect.moves_k for effect in found]
    assert moves == sorted(moves, reverse=True)
    assert min(moves) > 0
    # What already has the temperature wanted takes its share of every error.
    damped = 100 / (100 + residual_l + tub_kg * 1.9 / 4.17)
    by_name = {effect.reading: effect.moves_k for effect in bare}
    assert moves == pytest.approx([by_name[effect.reading] * damped for effect in found], rel=0.02)


def test_with_one_tap_alone_the_other_counts_for_nothing() -> None:
    found = {
        effect.reading: effect.moves_k for effect in effects(Blend(0.0, 90.0, 11.0, 0.0, 90.0), 58.0, 11.0, Vessel())
    }
    assert found == pytest.approx(
        {
            "hot tap's temperature": 0.0,
            "cold tap's temperature": 0.5,
            "litres of hot": 0.0,
            "litres of cold": 0.0,
        },
        abs=1e-9,
    )


# --- refusals -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("wrong", [0.0, -1.0, math.nan])
def test_limits_and_rates_of_nothing_are_refused(wrong: float) -> None:
    with pytest.raises(BadInput, match=r"limit: .* K\. Give more than 0\."):
        largest_share(26.0, 20.0, wrong)
    with pytest.raises(BadInput, match=r"rate: .* K an hour\. Give more than 0\."):
        minutes_at_rate(2.0, wrong)


def test_what_is_no_liquid_water_is_refused() -> None:
    for ask in (lambda: mixed_c(26.0, 101.0, 0.3), lambda: largest_share(-1.0, 20.0, 2.0)):
        with pytest.raises(OutOfRange, match="outside liquid water"):
            ask()
    with pytest.raises(OutOfRange):
        recovery(100.0, math.nan, 26.0, 0.3)
    with pytest.raises(BadInput, match="not hotter than cold"):
        effects(Blend(10.0, 10.0, 30.0, 0.5, 20.0), 20.0, 30.0, Vessel())


@pytest.mark.parametrize("share", [1.5, -0.5])
def test_shares_beyond_the_tank_are_refused(share: float) -> None:
    with pytest.raises(BadInput):
        mixed_c(26.0, 20.0, share)


def test_taps_nearer_than_a_thermometer_can_tell() -> None:
    assert effects(blend_of_volumes(50.0, 50.0, 20.3, 20.0), 20.3, 20.0, Vessel())
