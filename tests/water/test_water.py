"""Composition, reconstruction, conductivity, heat and mixing: laws first, then measured waters."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from iapws import IAPWS95

from tapwright.chemistry.errors import BadInput, OutOfRange
from tapwright.chemistry.water.ammonia import acute_criterion_mg_n_l, chronic_criterion_mg_n_l, unionised_share
from tapwright.chemistry.water.composition import CONSERVED, Water
from tapwright.chemistry.water.mixing import mix, mix_heat
from tapwright.chemistry.water.properties import density_kg_l, enthalpy_kj_kg, heat_capacity_kj_kg_k, viscosity_mpa_s
from tapwright.chemistry.water.reconstruction import Readings, conductivity_us_cm, described

amounts = st.floats(0, 15)
waters = st.builds(
    Water,
    **dict.fromkeys(CONSERVED, amounts),
    temperature_c=st.floats(2, 40),
)
volumes = st.floats(0.5, 1000)


@given(waters, waters, volumes, volumes)
def test_mixing_conserves_every_amount_and_heat(first: Water, second: Water, first_l: float, second_l: float) -> None:
    mixed, volume_l = mix([first, second], [first_l, second_l])
    for name in CONSERVED:
        before = getattr(first, name) * first_l + getattr(second, name) * second_l
        assert getattr(mixed, name) * volume_l == pytest.approx(before, rel=1e-12, abs=1e-12)
    heat_kj = sum(
        v * density_kg_l(w.temperature_c) * enthalpy_kj_kg(w.temperature_c)
        for w, v in ((first, first_l), (second, second_l))
    )
    assert volume_l * density_kg_l(mixed.temperature_c) * enthalpy_kj_kg(mixed.temperature_c) == pytest.approx(
        heat_kj, rel=1e-9, abs=1e-6
    )
    assert volume_l * density_kg_l(mixed.temperature_c) == pytest.approx(
        first_l * density_kg_l(first.temperature_c) + second_l * density_kg_l(second.temperature_c), rel=1e-12
    )


@given(waters, volumes, volumes)
def test_a_water_mixed_with_itself_stays_as_it_is(water: Water, first_l: float, second_l: float) -> None:
    mixed, _ = mix([water, water], [first_l, second_l])
    for field in fields(Water):
        if field.name not in ("ph", "carbon_mmol_l"):
            assert getattr(mixed, field.name) == pytest.approx(getattr(water, field.name), rel=1e-9, abs=1e-9)


@given(waters, waters, waters, volumes, volumes, volumes)
def test_mixing_takes_any_order(a: Water, b: Water, c: Water, va: float, vb: float, vc: float) -> None:
    at_once, _ = mix([a, b, c], [va, vb, vc])
    ab, vab = mix([b, a], [vb, va])
    in_turn, _ = mix([c, ab], [vc, vab])
    for name in (*CONSERVED, "temperature_c"):
        assert getattr(in_turn, name) == pytest.approx(getattr(at_once, name), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(("count", "volumes_l"), [(0, []), (1, [1.0, 2.0]), (2, [-1.0, 2.0]), (2, [0.0, 0.0])])
def test_mixing_refuses_what_makes_no_mixture(count: int, volumes_l: list[float]) -> None:
    water = Water(*[1.0] * len(CONSERVED), temperature_c=20)
    with pytest.raises(BadInput):
        mix([water] * count, volumes_l)


def test_arrays_give_what_scalars_give() -> None:
    temperatures = np.linspace(1, 60, 50)
    for function in (density_kg_l, enthalpy_kj_kg, heat_capacity_kj_kg_k, viscosity_mpa_s):
        assert function(temperatures) == pytest.approx([function(float(t)) for t in temperatures], rel=1e-13)
    ph = np.linspace(6, 9.5, 50)
    for criterion in (unionised_share, acute_criterion_mg_n_l, chronic_criterion_mg_n_l):
        singly = [criterion(float(p), float(t)) for p, t in zip(ph, temperatures, strict=True)]
        assert criterion(ph, temperatures) == pytest.approx(singly, rel=1e-13)
    hot = mix_heat([temperatures, 100.0], [55.0, 12.0])[0]
    singly = [mix_heat([float(v), 100.0], [55.0, 12.0])[0] for v in temperatures]
    assert hot == pytest.approx(singly, rel=1e-12)


@pytest.mark.parametrize("temperature_c", [1, 15, 26, 45, 60, 95])
def test_water_against_the_reference_equation_of_state(temperature_c: float) -> None:
    # SR6-08 fits IAPWS-95 at 0.1 MPa; a part in 100 000 of density and 0.02 % of heat are far below any tap's error.
    reference = IAPWS95(T=temperature_c + 273.15, P=0.1)
    assert density_kg_l(float(temperature_c)) == pytest.approx(reference.rho / 1000, rel=1e-5)
    assert heat_capacity_kj_kg_k(float(temperature_c)) == pytest.approx(reference.cp, rel=2e-4)
    assert enthalpy_kj_kg(float(temperature_c)) == pytest.approx(reference.h, abs=0.02)
    assert viscosity_mpa_s(float(temperature_c)) == pytest.approx(1000 * reference.mu, rel=5e-3)


@given(st.floats(0.1, 99))
def test_heat_capacity_is_the_slope_of_enthalpy(temperature_c: float) -> None:
    slope = (enthalpy_kj_kg(temperature_c + 0.05) - enthalpy_kj_kg(temperature_c - 0.05)) / 0.1
    assert slope == pytest.approx(heat_capacity_kj_kg_k(temperature_c), rel=1e-5)


@pytest.mark.parametrize("temperature_c", [-1.0, 101.0, float("nan")])
def test_what_is_not_liquid_is_refused(temperature_c: float) -> None:
    with pytest.raises(OutOfRange, match="0 to 100"):
        density_kg_l(temperature_c)


@given(st.floats(5, 9.5), st.floats(5, 9.5), st.floats(2, 35))
def test_unionised_share_rises_with_ph_and_stays_a_share(low: float, high: float, temperature_c: float) -> None:
    assume(low < high)
    assert 0 < unionised_share(low, temperature_c) < unionised_share(high, temperature_c) < 1
    assert unionised_share(low, temperature_c) < unionised_share(low, temperature_c + 1)


def test_pka_of_ammonia_is_emersons() -> None:
    # Emerson et al. 1975 at 25 degC: pKa 9.246; the misprinted coefficient 2727.92 would give 9.240.
    assert unionised_share(9.24638, 25.0) == pytest.approx(0.5, abs=2e-5)


# --- conductivity against measured waters ------------------------------------------------------------------


@given(waters, st.sampled_from(["sodium_mmol_l", "calcium_mmol_l", "chloride_mmol_l"]))
def test_more_ions_conduct_more(water: Water, name: str) -> None:
    more = replace(water, **{name: getattr(water, name) + 0.5})
    assert conductivity_us_cm(more) > conductivity_us_cm(water)


# --- reconstruction -----------------------------------------------------------------------------------------

given_readings = st.builds(
    Readings,
    temperature_c=st.floats(5, 35),
    hardness_mmol_l=st.floats(0.01, 5),
    alkalinity_meq_l=st.floats(0.05, 10),
    ph=st.none() | st.floats(6.5, 9),
    conductivity_us_cm=st.none() | st.floats(50, 2000),
    nitrate_mg_l=st.floats(0, 100),
    ammonia_mg_n_l=st.none() | st.floats(0, 1),
)


@given(given_readings)
def test_drop_tests_become_a_balanced_water_that_keeps_its_readings(readings: Readings) -> None:
    found = described(readings, "tap")
    water = found.water
    assert water.charge_error_percent == pytest.approx(0, abs=1e-9)
    assert water.hardness_mmol_l == pytest.approx(readings.hardness_mmol_l)
    assert water.alkalinity_meq_l == readings.alkalinity_meq_l
    assert all(getattr(water, name) >= 0 for name in CONSERVED)
    # Three to one by amount where neither is known (common practice).
    assert water.calcium_mmol_l == pytest.approx(3 * water.magnesium_mmol_l)
    assert any("calcium to magnesium taken as 3 to 1" in note for note in found.assumptions)


@given(given_readings)
def test_a_conductivity_above_the_least_possible_is_met(readings: Readings) -> None:
    assume(readings.conductivity_us_cm is not None)
    bare = described(replace(readings, conductivity_us_cm=None), "tap").water
    least = conductivity_us_cm(bare)
    found = described(readings, "tap")
    if least < readings.conductivity_us_cm:
        assert conductivity_us_cm(found.water) == pytest.approx(readings.conductivity_us_cm, rel=1e-6)
    elif least > 1.2 * readings.conductivity_us_cm:
        assert "conductivity_misfit" in [finding.code for finding in found.findings]


REPORT = Readings(
    12.0, alkalinity_meq_l=2.0, calcium_mg_l=40, magnesium_mg_l=6, sodium_mg_l=12, potassium_mg_l=2, chloride_mg_l=20,
    sulfate_mg_l=17.9, nitrate_mg_l=8, ammonia_mg_n_l=0,
)  # fmt: skip


def test_a_report_that_balances_is_taken_as_it_is() -> None:
    found = described(REPORT, "tap")
    assert not found.findings
    assert not found.assumptions
    assert abs(found.water.charge_error_percent) < 1


def test_a_report_that_does_not_balance_says_by_how_much_and_which_ion_would_explain_it() -> None:
    # One mmol of sodium struck out: 23 mg/L are missing.
    spoiled = replace(REPORT, sodium_mg_l=12 - 11.5, chloride_mg_l=20 + 17.7)
    (finding,) = described(spoiled, "tap").findings
    assert finding.code == "charge_imbalance"
    assert finding.level == "caution"
    assert "1.00 meq/L of cations are missing" in finding.text
    assert "23 mg/L more sodium" in finding.text
    assert "35.5 mg/L less chloride" in finding.text


def test_an_ion_that_was_not_reported_is_named_first() -> None:
    spoiled = replace(REPORT, potassium_mg_l=None, chloride_mg_l=70)
    (finding,) = described(spoiled, "tap").findings
    assert finding.text.index("more potassium (not given)") < finding.text.index("more sodium")


def test_alkalinity_follows_from_a_report_that_gives_everything_else() -> None:
    found = described(replace(REPORT, alkalinity_meq_l=None), "tap")
    assert found.water.charge_error_percent == pytest.approx(0, abs=1e-9)
    assert found.water.alkalinity_meq_l == pytest.approx(2.0, abs=0.05)
    assert any("alkalinity taken as what balances" in note for note in found.assumptions)
    with pytest.raises(BadInput, match="leave no room for it"):
        described(replace(REPORT, alkalinity_meq_l=None, chloride_mg_l=200), "tap")


def test_an_imbalance_just_past_the_limit_is_said_and_just_under_it_is_not() -> None:
    # 5 % of 6.2 meq/L of ions in all are 0.31 meq/L, 11 mg/L of chloride.
    assert described(replace(REPORT, chloride_mg_l=20 + 9), "tap").findings == ()
    assert [f.code for f in described(replace(REPORT, chloride_mg_l=20 + 14), "tap").findings] == ["charge_imbalance"]


def test_a_water_of_arrays_conducts_as_its_waters_do() -> None:
    sodium, ph = np.array([0.5, 1.0, 2.0]), np.array([7.0, 8.5, 9.5])
    together = Water(1.0, 0.5, sodium, 0.1, sodium, 0.2, 2.6 + 0 * sodium, 5.0, 0.1, 0, 0, 25.0, ph)
    singly = [
        conductivity_us_cm(Water(1.0, 0.5, float(s), 0.1, float(s), 0.2, 2.6, 5.0, 0.1, 0, 0, 25.0, float(p)))
        for s, p in zip(sodium, ph, strict=True)
    ]
    assert conductivity_us_cm(together) == pytest.approx(singly)
    mixed, volume_l = mix([together, together], [np.array([1.0, 2.0, 3.0]), 2.0])
    assert mixed.sodium_mmol_l == pytest.approx(sodium)
    assert volume_l == pytest.approx([3, 4, 5])


def test_ions_and_hardness_that_disagree_are_a_caution() -> None:
    (finding,) = described(replace(REPORT, hardness_mmol_l=2.5), "tap").findings
    assert finding.code == "hardness_misfit"


@pytest.mark.parametrize(
    ("readings", "message"),
    [
        (Readings(12, hardness_mmol_l=1), "tap.alkalinity: not given, nor every other ion"),
        (Readings(12, alkalinity_meq_l=1), "tap.hardness"),
        (Readings(12, hardness_mmol_l=1, calcium_mg_l=80, alkalinity_meq_l=1), "more than the hardness"),
    ],
)
def test_what_cannot_be_guessed_is_asked_for(readings: Readings, message: str) -> None:
    with pytest.raises(BadInput, match=message):
        described(readings, "tap")
