"""Formulas with hydrates, molar masses against published ones and an independent library, salts and agents."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from molmass import Formula

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.substances import agent, agents, ion_charge, molar_mass, parse_formula, salt, salts

# Molar masses as handbooks print them (CRC Handbook of Chemistry and Physics, Physical Constants of Inorganic
# Compounds; from memory). Handbooks use older weights: 0.01 % covers the difference.
HANDBOOK = {
    "NaHCO3": 84.007, "KHCO3": 100.115, "Na2CO3": 105.989, "Na2CO3·10H2O": 286.142, "CaCO3": 100.087,
    "MgSO4": 120.368, "MgSO4·7H2O": 246.475, "MgCl2·6H2O": 203.302, "CaCl2": 110.984, "CaCl2·2H2O": 147.014,
    "CaSO4·2H2O": 172.171, "CaSO4·0.5H2O": 145.149, "NaCl": 58.443, "KCl": 74.551, "K2SO4": 174.259,
    "Na2S2O3": 158.108, "Na2S2O3·5H2O": 248.184, "Na2SO3": 126.043, "NaHSO3": 104.061, "Na2S2O5": 190.107,
    "C6H8O6": 176.124, "Ca(OH)2": 74.093, "NH2Cl": 51.476, "Cl2": 70.906,
}  # fmt: skip


@pytest.mark.parametrize(("formula", "expected"), HANDBOOK.items())
def test_molar_masses_of_handbooks(formula: str, expected: float) -> None:
    assert molar_mass(formula) == pytest.approx(expected, rel=1e-4)


def test_epsom_salt_is_read_with_all_its_water() -> None:
    assert molar_mass("MgSO4.7H2O") == pytest.approx(246.47, abs=0.01)
    assert molar_mass("MgSO4·7H2O") == molar_mass("MgSO4.7H2O")


def test_a_fraction_of_water_is_no_hydrate_dot() -> None:
    assert molar_mass("CaSO4.0.5H2O") == pytest.approx(145.14, abs=0.01)
    assert molar_mass("CaSO4·½H2O") == molar_mass("CaSO4.0.5H2O")
    assert molar_mass("K2CO3.1.5H2O") == pytest.approx(molar_mass("K2CO3") + 1.5 * molar_mass("H2O"))


ALL = [entry.formula for entry in (*salts().values(), *agents().values())]


@pytest.mark.parametrize("formula", ALL)
def test_molar_masses_of_an_independent_library(formula: str) -> None:
    # molmass reads a hydrate as a sum of parts; a fraction of water it cannot, so twice the formula is given to it.
    twice = sum(
        Formula(part.lstrip("0123456789.") if part[0].isdigit() else part).mass * 2 * _factor(part)
        for part in formula.split("·")
    )
    assert 2 * molar_mass(formula) == pytest.approx(twice, rel=1.2e-4)


def _factor(part: str) -> float:
    digits = part[: len(part) - len(part.lstrip("0123456789."))]
    return float(digits) if digits else 1.0


@given(st.lists(st.sampled_from(["H2O", "Na", "Ca(OH)2", "SO4", "(NH4)2"]), min_size=1, max_size=5), st.integers(1, 9))
def test_parts_add_up_and_coefficients_multiply(parts: list[str], factor: int) -> None:
    whole = molar_mass("".join(parts))
    assert whole == pytest.approx(sum(molar_mass(part) for part in parts))
    assert molar_mass(f"{factor}{''.join(parts)}") == pytest.approx(factor * whole)


@pytest.mark.parametrize(
    ("formula", "message"),
    [("", "holds no element"), ("Mg(OH", "bracket is not closed"), ("OH)2", "never opened"), ("Xy2", "not an element"),
     ("MgSO4·", "nothing follows the dot"), ("mgso4", "an element, a number or a bracket"), ("Na Cl", "character 3")],
)  # fmt: skip
def test_what_cannot_be_read_is_named(formula: str, message: str) -> None:
    with pytest.raises(BadInput, match=message):
        parse_formula(formula)


@pytest.mark.parametrize("entry", salts().values(), ids=lambda entry: entry.name)
def test_salts_are_neutral_and_their_ions_fit_in_their_mass(entry: object) -> None:
    assert sum(number * ion_charge(ion) for ion, number in entry.ions.items()) == 0
    ions_g = sum(number * molar_mass(ion) for ion, number in entry.ions.items())
    water = entry.molar_mass_g_mol - ions_g
    hydrate = float(entry.formula.split("·")[1].removesuffix("H2O") or 1) if "·" in entry.formula else 0.0
    assert water == pytest.approx(hydrate * molar_mass("H2O"), abs=1e-6)


# What one gram adds; recomputed by hand from CIAAW abridged weights.
PER_GRAM = [
    ("sodium bicarbonate", 0.0, 11.904), ("sodium carbonate anhydrous", 0.0, 18.870),
    ("potassium bicarbonate", 0.0, 9.9886),
    ("magnesium sulfate heptahydrate", 4.0574, 0.0), ("calcium chloride dihydrate", 6.8024, 0.0),
    ("calcium sulfate hemihydrate", 6.8898, 0.0), ("magnesium chloride hexahydrate", 4.9190, 0.0),
]  # fmt: skip


@pytest.mark.parametrize(("name", "hardness", "alkalinity"), PER_GRAM)
def test_hardness_and_alkalinity_of_one_gram(name: str, hardness: float, alkalinity: float) -> None:
    assert salt(name).hardness_mmol_per_g() == pytest.approx(hardness, rel=2e-4)
    assert salt(name).alkalinity_meq_per_g() == pytest.approx(alkalinity, rel=2e-4)


def test_names_are_found_by_formula_other_spelling_and_trade_name() -> None:
    assert salt("Epsom salt") is salt("MgSO4.7H2O") is salt("Magnesium Sulphate heptahydrate")
    assert agent("Na2S2O3·5H2O").name == "sodium thiosulfate pentahydrate"


def test_an_unknown_name_brings_the_nearest() -> None:
    with pytest.raises(BadInput, match="'magnesium sulfate heptahydrate'"):
        salt("magnesium sulfate hexahydrate")
    with pytest.raises(BadInput, match="'sodium thiosulfate pentahydrate'"):
        agent("thiosulphate pentahydrate")


@pytest.mark.parametrize(
    ("find", "name"),
    [
        (agent, "sodium thiosulphate"),
        (salt, "magnesium sulfate"),
        (salt, "calcium chloride"),
        (salt, "sodium carbonate"),
    ],
)
def test_a_name_without_its_hydrate_is_refused(find: object, name: str) -> None:
    # Anhydrous taken for crystals would leave a third of the chlorine.
    with pytest.raises(BadInput, match=r"does not say which hydrate.*anhydrous"):
        find(name)
