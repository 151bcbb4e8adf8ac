"""The equilibrium engine against the geochemical reference code, on 20 000 random waters and all three questions.

The committed output is compared in full, so that the check runs where the binding has no wheel; where it has one, a
sample is run anew and must be what was committed.
"""

from __future__ import annotations

import numpy as np
import pytest
from reference_program import OUTPUT, Array, Waters, as_water, stored, three_answers

from tapwright.chemistry.water.equilibrium import Equilibrium, at_air, at_carbon, at_ph, outdoor_air_ppm
from tapwright.chemistry.water.properties import density_kg_l

QUESTIONS = ("ph", "co2", "carbon")


@pytest.fixture(scope="module")
def both() -> dict[str, tuple[Equilibrium, dict[str, Array], Waters]]:
    """By question: our answers, theirs and the waters, without those that they find no answer for."""
    waters, theirs = stored()
    found = {}
    for question in QUESTIONS:
        rows = np.isfinite(theirs[question][:, 0])
        assert rows.sum() > 0.98 * rows.size
        asked, answer = waters.rows(rows), dict(zip(OUTPUT, theirs[question][rows].T, strict=True))
        water = as_water(asked)
        if question == "ph":
            ours = at_ph(water, asked.ph)
        elif question == "co2":
            ours = at_air(water, asked.co2_atm * 1e6 / outdoor_air_ppm())
        else:
            ours = at_carbon(water, 1000 * answer["carbon"] * density_kg_l(asked.temperature_c))
        found[question] = ours, answer, asked
    return found


Both = dict[str, tuple[Equilibrium, dict[str, Array], Waters]]


def within(difference: Array, usual: float, worst: float) -> None:
    """The 99.9th percentile and the largest of the differences."""
    size = np.abs(difference)
    assert np.percentile(size, 99.9) <= usual
    assert size.max() <= worst


@pytest.mark.parametrize("question", QUESTIONS)
def test_ph(both: Both, question: str) -> None:
    ours, theirs, _ = both[question]
    within(ours.ph - theirs["ph"], 0.002, 0.01)


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("mineral", ["calcite", "aragonite", "dolomite", "gypsum"])
def test_saturation(both: Both, question: str, mineral: str) -> None:
    ours, theirs, _ = both[question]
    computed, expected = getattr(ours, f"si_{mineral}"), theirs[f"si_{mineral}"]
    there = expected > -99  # below stands for an ion that is missing
    assert np.all(computed[~there] == -np.inf)
    within(computed[there] - expected[there], 0.005, 0.02)


@pytest.mark.parametrize("question", QUESTIONS)
def test_unionised_ammonia(both: Both, question: str) -> None:
    ours, theirs, waters = both[question]
    share = 1000 * theirs["nh3"] / waters.nh4
    within(ours.unionised_ammonia_share / share - 1, 0.005, 0.005)


@pytest.mark.parametrize("question", QUESTIONS)
def test_carbon_its_pressure_and_ionic_strength(both: Both, question: str) -> None:
    ours, theirs, waters = both[question]
    carbon = ours.carbon_mmol_l / density_kg_l(waters.temperature_c) / 1000
    # The dimer of CO2, left out here, is 0.2 % of the carbon of a water with 10 meq/L at pH 5.5.
    within(carbon / theirs["carbon"] - 1, 0.004, 0.01)
    within(np.log10(ours.co2_pressure_atm) - theirs["si_co2"], 0.002, 0.01)
    within(ours.ionic_strength_mol_kg / theirs["ionic_strength"] - 1, 0.001, 0.005)


def test_what_was_kept_is_what_the_program_says_today() -> None:
    pytest.importorskip("phreeqpython")
    waters, kept = stored()
    sample = slice(0, None, 50)
    for question, answer in three_answers(waters.rows(sample)).items():
        np.testing.assert_allclose(answer[:, :7], kept[question][sample, :7], rtol=1e-5, atol=6e-5)
        np.testing.assert_allclose(answer[:, 7:], kept[question][sample, 7:], rtol=1e-4)
