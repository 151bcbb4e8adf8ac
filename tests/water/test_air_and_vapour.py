"""Vapour and dissolved oxygen: the steam tables, published tables, two independent ways to evaporation, and laws."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from iapws import IAPWS97

from tapwright.chemistry.errors import OutOfRange
from tapwright.chemistry.water.oxygen import oxygen_mg_l, warmed_saturation
from tapwright.chemistry.water.vapour import evaporation_kg_m2_h, saturation_kpa, vaporisation_kj_kg

pytestmark = pytest.mark.filterwarnings("error")

# What Shah's formula misses measurements by, on the mean (Shah 2002, HVAC&R Research 8(1), 125): 18.2 %.
SCATTER = 0.182
STEP = 35 / 40  # Shah's factor where the air's densities come 0.02 kg/m3 apart
ANCHORS = ((26, 0.153), (30, 0.262), (40, 0.676), (60, 2.551))  # over a room of 22 degC and 50 %

temperatures = st.floats(0, 60)
rooms = st.tuples(st.floats(10, 35), st.floats(0.05, 1))


def steam(temperature_c: float, quality: int) -> Any:
    return IAPWS97(T=temperature_c + 273.15, x=quality)


def their_kpa(temperature_c: float) -> float:
    """Pressure of saturated vapour [kPa] by Magnus's formula: Alduchov & Eskridge 1996 (from memory), within 0.4 %."""
    return 0.61094 * math.exp(17.625 * temperature_c / (temperature_c + 243.04))


def lift_kg_m3(surface_c: float, room_c: float, humidity: float) -> float:
    """How much denser the room's air is than the air on the water: ideal gases of 287.04 and 461.5 J/(kg K)."""

    def density(temperature_c: float, vapour_kpa: float) -> float:
        return ((101.325 - vapour_kpa) / 0.28704 + vapour_kpa / 0.4615) / (temperature_c + 273.15)

    return density(room_c, humidity * their_kpa(room_c)) - density(surface_c, their_kpa(surface_c))


def by_analogy_kg_m2_h(surface_c: float, room_c: float, humidity: float) -> float:
    """Evaporation by free convection over a warm plate facing up, mass for heat: Sh = 0.14 (Gr Sc)^(1/3).

    The plate's 0.14 is common to the textbooks; diffusivity of vapour by Sherwood & Pigford 1952, viscosity of air by
    Sutherland's formula, Stefan's flow by the logarithmic mean of the dry air (all from memory).
    """
    kelvin, here, there = (surface_c + room_c) / 2 + 273.15, their_kpa(surface_c), humidity * their_kpa(room_c)
    density = 101.325 / 0.28704 / kelvin
    diffusivity = 0.926e-6 / 101.325 * kelvin**2.5 / (kelvin + 245)
    viscosity = 1.458e-6 * kelvin**1.5 / (kelvin + 110.4) / density
    grashof_schmidt = 9.81 * lift_kg_m3(surface_c, room_c, humidity) / density / (viscosity * diffusivity)
    vapour_kg_m3 = here / 0.4615 / (surface_c + 273.15) - there / 0.4615 / (room_c + 273.15)
    dry = (here - there) / math.log((101.325 - there) / (101.325 - here))
    return 3600 * 0.14 * diffusivity * grashof_schmidt ** (1 / 3) * vapour_kg_m3 * 101.325 / dry


# --- vapour against the steam tables --------------------------------------------------------------------------


@pytest.mark.parametrize("temperature_c", [0.01, 5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 99])
def test_saturation_against_the_steam_tables(temperature_c: float) -> None:
    # The two formulations, SR1-86 and IF97, differ by up to 1e-4 of the pressure.
    assert saturation_kpa(temperature_c) == pytest.approx(1000 * steam(temperature_c, 0).P, rel=1.5e-4)


@pytest.mark.parametrize("temperature_c", [0.01, 5, 10, 15, 20, 25, 30, 40, 50, 60])
def test_the_heat_of_vaporisation_against_the_steam_tables(temperature_c: float) -> None:
    there = steam(temperature_c, 1).h - steam(temperature_c, 0).h
    assert vaporisation_kj_kg(temperature_c) == pytest.approx(there, rel=1e-3)  # what its docstring promises
    if temperature_c <= 40:  # where totes are, the line is nearer than the pressure above
        assert vaporisation_kj_kg(temperature_c) == pytest.approx(there, rel=1e-4)


def test_vapour_at_25_degrees_as_published() -> None:
    # IAPWS-95: 3.16993 kPa and 2441.68 kJ/kg; the line is rounded to 0.1 kJ/kg.
    assert saturation_kpa(25.0) == pytest.approx(3.16993, rel=5e-5)
    assert vaporisation_kj_kg(25.0) == pytest.approx(2441.68, abs=0.05)


def test_water_boils_at_a_hundred_degrees() -> None:
    # 99.974 degC at one atmosphere (IAPWS-95, from memory).
    assert saturation_kpa(99.974) == pytest.approx(101.325, rel=2e-5)


@settings(max_examples=30)
@given(temperatures, temperatures)
def test_warmer_water_has_more_vapour_and_takes_less_heat(one: float, other: float) -> None:
    assume(abs(one - other) > 1e-6)
    cool, warm = sorted((one, other))
    assert saturation_kpa(cool) < saturation_kpa(warm)
    assert vaporisation_kj_kg(cool) > vaporisation_kj_kg(warm)


@given(st.floats(1, 59))
def test_pressure_and_heat_go_together(temperature_c: float) -> None:
    # Clausius and Clapeyron, with steam as an ideal gas and water of no volume: together within 0.6 % up to 60 degC.
    slope = (saturation_kpa(temperature_c + 0.01) - saturation_kpa(temperature_c - 0.01)) / 0.02
    kelvin = temperature_c + 273.15
    ideal = vaporisation_kj_kg(temperature_c) * saturation_kpa(temperature_c) / (0.461523 * kelvin**2)
    assert slope == pytest.approx(ideal, rel=6e-3)
    assert slope > ideal  # real steam is the denser


# --- evaporation ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("surface_c", "expected"), ANCHORS)
def test_evaporation_of_a_tote_as_computed_elsewhere(surface_c: float, expected: float) -> None:
    # Shah's formula worked independently to three decimals.
    assert evaporation_kg_m2_h(surface_c, 22.0, 0.5) == pytest.approx(expected, abs=6e-4)


@pytest.mark.parametrize("room_c", [15.0, 18.0, 22.0, 26.0, 30.0])
@pytest.mark.parametrize("humidity", [0.3, 0.5, 0.7])
def test_evaporation_against_free_convection_over_a_plate(room_c: float, humidity: float) -> None:
    # Below a lift of 0.002 kg/m3 the plate's law itself has no rising plume to describe.
    surfaces = [each for each in np.linspace(10, 60, 101) if lift_kg_m3(each, room_c, humidity) > 0.002]
    assert len(surfaces) > 60
    for surface_c in surfaces:
        theirs = by_analogy_kg_m2_h(surface_c, room_c, humidity)
        assert evaporation_kg_m2_h(surface_c, room_c, humidity) == pytest.approx(theirs, rel=SCATTER)


def test_evaporation_against_the_form_for_pools() -> None:
    # Carrier 1918 as ASHRAE has it, 0.089 (p_w - p_a) / Y kg/(m2 s) without draught, half of it for a quiet surface (from
    # memory). Half meets a tote of 26 degC within Shah's scatter; it knows nothing of the plume that hotter water raises,
    # so there evaporation lies between the quiet and the full form, with a tenth of the latter at 60 degC.
    def theirs(surface_c: float) -> float:
        return 3600 * 0.089 * (their_kpa(surface_c) - 0.5 * their_kpa(22.0)) / (2500.9 - 2.37 * surface_c)

    assert evaporation_kg_m2_h(26.0, 22.0, 0.5) == pytest.approx(theirs(26.0) / 2, rel=SCATTER)
    for surface_c in np.linspace(25, 60, 36):
        assert theirs(surface_c) / 2 < evaporation_kg_m2_h(surface_c, 22.0, 0.5) < 1.1 * theirs(surface_c)


@given(st.floats(1, 60), st.floats(0.1, 30))
def test_nothing_evaporates_into_air_that_is_saturated_and_warmer(surface_c: float, warmer_k: float) -> None:
    assert evaporation_kg_m2_h(surface_c, surface_c + warmer_k, 1.0) == 0
    assert evaporation_kg_m2_h(surface_c, surface_c, 1.0) == 0


@given(st.floats(1, 60), st.floats(0.1, 20), st.floats(0, 1))
def test_cold_water_under_light_air_gives_nothing_and_takes_nothing(
    surface_c: float, warmer_k: float, humidity: float
) -> None:
    room_c = surface_c + warmer_k
    assume(abs(lift_kg_m3(surface_c, room_c, humidity)) > 5e-4)  # the two formulae for pressure differ by 0.4 %
    there = evaporation_kg_m2_h(surface_c, room_c, humidity)
    damper = humidity * their_kpa(room_c) > 1.01 * their_kpa(surface_c)
    assert there >= 0
    if lift_kg_m3(surface_c, room_c, humidity) < 0 or damper:
        assert there == 0


@given(rooms, st.floats(1, 60), st.floats(1, 60))
def test_warmer_water_evaporates_faster(room: tuple[float, float], one: float, other: float) -> None:
    cool, warm = sorted((one, other))
    assume(warm - cool > 0.01)
    less, more = (float(evaporation_kg_m2_h(each, *room)) for each in (cool, warm))
    if (lift_kg_m3(cool, *room) < 0.02) == (lift_kg_m3(warm, *room) < 0.02):
        assert less < more or less == more == 0
    assert STEP * less <= more * (1 + 1e-9)  # Shah's factor falls by an eighth where the lift reaches 0.02 kg/m3


@given(st.floats(1, 60), st.floats(10, 35), st.floats(0, 1), st.floats(0, 1))
def test_damper_air_takes_up_less(surface_c: float, room_c: float, one: float, other: float) -> None:
    dry, damp = sorted((one, other))
    more, less = (float(evaporation_kg_m2_h(surface_c, room_c, each)) for each in (dry, damp))
    if (lift_kg_m3(surface_c, room_c, dry) < 0.02) == (lift_kg_m3(surface_c, room_c, damp) < 0.02):
        assert less <= more * (1 + 1e-12)
    assert STEP * less <= more * (1 + 1e-9)


def test_shahs_factor_changes_where_the_lift_is_two_hundredths() -> None:
    # Over 22 degC and 50 %: at 24.97 degC, and the rate falls by an eighth there, not more.
    fine = np.linspace(24.5, 25.5, 10_001)
    rates = evaporation_kg_m2_h(fine, 22.0, 0.5)
    falls = np.flatnonzero(np.diff(rates) < 0)
    assert len(falls) == 1
    assert rates[falls[0] + 1] / rates[falls[0]] == pytest.approx(STEP, rel=1e-3)
    assert lift_kg_m3(fine[falls[0]], 22.0, 0.5) == pytest.approx(0.02, abs=2e-4)


@settings(max_examples=30)
@given(st.lists(temperatures, min_size=1, max_size=5), st.floats(10, 30), st.floats(0, 1))
def test_vapour_broadcasts(surfaces: list[float], room_c: float, humidity: float) -> None:
    array = np.array(surfaces)
    for figure in (saturation_kpa, vaporisation_kj_kg, lambda t: evaporation_kg_m2_h(t, room_c, humidity)):
        np.testing.assert_allclose(figure(array), [float(figure(each)) for each in surfaces], rtol=1e-13)
    grid = evaporation_kg_m2_h(array[:, None], np.array([18.0, 24.0]), humidity)
    assert grid.shape == (len(surfaces), 2)
    assert grid[-1, 1] == pytest.approx(float(evaporation_kg_m2_h(surfaces[-1], 24.0, humidity)), rel=1e-13)


# --- oxygen ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("temperature_c", "expected"),
    [(10, 11.288), (15, 10.084), (20, 9.092), (24, 8.418), (25, 8.263), (26, 8.114), (28, 7.828), (30, 7.559)],
)
def test_oxygen_as_tabulated(temperature_c: float, expected: float) -> None:
    # Benson & Krause 1984, table for fresh water at one atmosphere.
    assert oxygen_mg_l(temperature_c) == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize(
    ("height_m", "expected", "factor"),
    [(500, 7.77, 0.9403), (1000, 7.30, 0.8834), (1500, 6.852, 0.8293), (2000, 6.427, 0.7777)],
)
def test_oxygen_at_altitude(height_m: float, expected: float, factor: float) -> None:
    # Pressure of the ICAO standard atmosphere; the factor of Standard Methods 4500-O at 25 degC.
    pressure_atm = (1 - 2.25577e-5 * height_m) ** 5.25588
    assert oxygen_mg_l(25.0, pressure_atm) == pytest.approx(expected, abs=0.01)
    assert oxygen_mg_l(25.0, pressure_atm) / oxygen_mg_l(25.0) == pytest.approx(factor, abs=6e-5)  # four decimals


@pytest.mark.parametrize("temperature_c", [0.0, 5.0, 10.0, 20.0, 25.0, 30.0, 40.0])
def test_oxygen_against_two_other_fits(temperature_c: float) -> None:
    kelvin = temperature_c + 273.15
    # Weiss 1970, equation 4 (from memory), mL/L; 1.429 mg/mL. An older set of measurements: 0.2 % lower at 25 degC.
    weiss = -173.4292 + 249.6339 * 100 / kelvin + 143.3483 * math.log(kelvin / 100) - 21.8492 * kelvin / 100
    assert oxygen_mg_l(temperature_c) == pytest.approx(1.429 * math.exp(weiss), rel=0.01)
    # Garcia & Gordon 1992 fitted Benson & Krause's measurements with another form (from memory), mL/L.
    scaled = math.log((298.15 - temperature_c) / kelvin)
    fit = sum(a * scaled**n for n, a in enumerate((2.00907, 3.22014, 4.05010, 4.94457, -0.256847, 3.88767)))
    assert oxygen_mg_l(temperature_c) == pytest.approx(1.42903 * math.exp(fit), abs=0.003)


@settings(max_examples=30)
@given(st.floats(0, 40), st.floats(0, 40), st.floats(0.6, 1.1), st.floats(0.6, 1.1))
def test_warmer_water_and_thinner_air_hold_less(one: float, other: float, here: float, there: float) -> None:
    cool, warm = sorted((one, other))
    thin, thick = sorted((here, there))
    assume(warm - cool > 1e-6 and thick - thin > 1e-6)
    assert oxygen_mg_l(warm, here) < oxygen_mg_l(cool, here)
    assert oxygen_mg_l(one, thin) < oxygen_mg_l(one, thick)
    # Henry's law on the dry air, within the half per cent that theta, a gas's departure from ideal, is worth.
    vapour_atm = their_kpa(one) / 101.325
    share = (thin - vapour_atm) / (1 - vapour_atm)
    assert oxygen_mg_l(one, thin) == pytest.approx(share * oxygen_mg_l(one), rel=5e-3)


@pytest.mark.parametrize(
    "temperature_c", [-0.01, 40.01, float("nan"), np.array([20.0, 41.0]), np.array([np.nan, 20.0])]
)
def test_oxygen_outside_its_range_is_refused(temperature_c: Any) -> None:
    with pytest.raises(OutOfRange, match=r"temperature: .* degC\. Give 0 to 40 degC\."):
        oxygen_mg_l(temperature_c)
    with pytest.raises(OutOfRange):
        warmed_saturation(10.0, temperature_c)


@settings(max_examples=30)
@given(st.lists(st.floats(0, 40), min_size=1, max_size=5), st.floats(0.7, 1))
def test_oxygen_broadcasts(temperatures_c: list[float], pressure_atm: float) -> None:
    array = np.array(temperatures_c)
    each = [oxygen_mg_l(temperature_c, pressure_atm) for temperature_c in temperatures_c]
    # The exponent is a sum whose terms reach 900, and powers of arrays and of floats differ in their last digits.
    np.testing.assert_allclose(oxygen_mg_l(array, np.full(len(each), pressure_atm)), each, rtol=1e-11)


@given(st.floats(0, 40), st.floats(0, 40), st.floats(0, 40))
def test_warming_overfills_and_steps_multiply(cold_c: float, middle_c: float, warm_c: float) -> None:
    assert warmed_saturation(cold_c, cold_c) == 1
    if warm_c > cold_c + 1e-9:
        assert warmed_saturation(cold_c, warm_c) > 1 > warmed_saturation(warm_c, cold_c)
    steps = warmed_saturation(cold_c, middle_c) * warmed_saturation(middle_c, warm_c)
    assert steps == pytest.approx(warmed_saturation(cold_c, warm_c), rel=1e-12)


def test_ten_degrees_warmed_to_twenty_six_as_tabulated() -> None:
    assert warmed_saturation(10.0, 26.0) == pytest.approx(11.288 / 8.114, rel=3e-4)
