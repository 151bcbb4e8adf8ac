"""Solubility of hydrates: values worked out elsewhere from the handbook's, and what must hold of any of them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.solubility import solubility_g_l
from tapwright.chemistry.substances import molar_mass, salt, salts

# g of hydrate in 100 g of added water, from the anhydrous values of the CRC Handbook of Chemistry and Physics, 91st
# edition (2010), pages 8-112 to 8-117, by a balance of the crystal water, worked out apart from this code.
PUBLISHED = (
    ("magnesium sulfate heptahydrate", 20, 105.8),
    ("magnesium sulfate heptahydrate", 25, 116.7),
    ("magnesium chloride hexahydrate", 20, 316.2),
    ("magnesium chloride hexahydrate", 25, 328.4),
    ("calcium chloride dihydrate", 20, 126.3),
    ("calcium chloride dihydrate", 25, 146.2),
    ("calcium chloride hexahydrate", 20, 494.0),
    ("calcium chloride hexahydrate", 25, 769.1),
    ("sodium carbonate decahydrate", 20, 93.52),
    ("sodium carbonate decahydrate", 25, 173.5),
    ("sodium sulfate decahydrate", 20, 57.7),
    ("sodium sulfate decahydrate", 25, 99.07),
    # Without crystal water the handbook's own figures (the same pages).
    ("sodium bicarbonate", 20, 9.565),
    ("potassium bicarbonate", 30, 39.14),
    ("potassium chloride", 10, 30.91),
    ("sodium chloride", 25, 35.96),
    ("calcium chloride anhydrous", 20, 72.8),
)


@pytest.mark.parametrize(("name", "temperature_c", "per_100_g"), PUBLISHED)
def test_published_solubility(name: str, temperature_c: float, per_100_g: float) -> None:
    # Four figures are printed, and what is left over by a hydrate that nearly melts in its own water loses one.
    assert solubility_g_l(salt(name), temperature_c) == pytest.approx(10 * per_100_g, rel=1e-3)


@given(st.sampled_from(list(salts().values())), st.floats(0, 40), st.floats(0, 10))
def test_warmer_water_dissolves_no_less(salt_: object, temperature_c: float, warmer_k: float) -> None:
    # True of every salt of the table between 10 and 30 degC, gypsum among them.
    assert solubility_g_l(salt_, temperature_c + warmer_k) >= solubility_g_l(salt_, temperature_c) > 0  # type: ignore[arg-type]


@pytest.mark.parametrize("what", salts().values(), ids=lambda what: what.name)
def test_the_water_of_a_hydrate_counts_as_water(what: object) -> None:
    """So much of it brings as much anhydrous salt to all of the water as the handbook says."""
    name = what.formula.partition("·")[0]  # type: ignore[attr-defined]
    share = molar_mass(name) / what.molar_mass_g_mol  # type: ignore[attr-defined]
    grams = solubility_g_l(what, 20.0)  # type: ignore[arg-type]
    handbook = float(reference.table("solubilities")[name]["at_20"])
    if math.isfinite(grams):
        anhydrous, water = grams * share, 1000 + grams * (1 - share)
        assert 100 * anhydrous / water == pytest.approx(handbook)
    else:  # its own water is enough
        assert 100 * share / (1 - share) <= handbook


def test_between_the_temperatures_of_the_handbook_it_runs_straight_and_beyond_them_level() -> None:
    soda = salt("sodium bicarbonate")
    assert solubility_g_l(soda, 15) == pytest.approx((solubility_g_l(soda, 10) + solubility_g_l(soda, 20)) / 2)
    assert solubility_g_l(soda, 2) == solubility_g_l(soda, 10)
    assert solubility_g_l(soda, 39) == solubility_g_l(soda, 30)
