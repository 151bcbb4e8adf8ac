"""Waters poured together and doses put in: totals and carbon are kept, pH follows from them and is no mean."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tapwright.chemistry.dosing.neutralise import ChlorineReadings, neutralise, treated
from tapwright.chemistry.dosing.recipe.cupboard import dissolve
from tapwright.chemistry.errors import BadInput, OutOfRange
from tapwright.chemistry.substances import agent, agents, salt
from tapwright.chemistry.water.composition import CONSERVED, Water
from tapwright.chemistry.water.equilibrium import at_air, at_ph, closed, equilibrium_of
from tapwright.chemistry.water.mixing import mix, mixture, nitrified, with_alkalinity
from tapwright.chemistry.water.spread import MODEL_PH, closed_ph_spread

amounts = st.floats(0.01, 5)
# Alkalinity from 1 meq/L: less, at the highest of these pH, is no water.
tested = st.builds(
    Water,
    **dict.fromkeys(CONSERVED, amounts) | {"alkalinity_meq_l": st.floats(1, 8)},
    temperature_c=st.floats(5, 30),
    ph=st.floats(6.5, 9),
)
volumes = st.floats(1, 500)
# The solver meets ionic strength to 5e-4, which moves a closed pH by less than this where alkalinity buffers it.
SAME_PH = 0.002


def ph_of(water: Water) -> float:
    found = equilibrium_of(water)
    assert found is not None
    return float(found.ph)


@given(tested, tested, volumes, volumes)
def test_carbon_is_conserved_and_every_order_gives_the_same_ph(a: Water, b: Water, va: float, vb: float) -> None:
    one, volume_l = mix([a, b], [va, vb])
    other, _ = mix([b, a], [vb, va])
    carbon = at_ph(a).carbon_mmol_l * va + at_ph(b).carbon_mmol_l * vb
    assert one.carbon_mmol_l is not None
    assert one.carbon_mmol_l * volume_l == pytest.approx(carbon, rel=1e-9)
    assert ph_of(one) == pytest.approx(ph_of(other), abs=1e-9)


@given(tested, tested, tested, volumes, volumes, volumes)
def test_mixing_in_turn_is_mixing_at_once(a: Water, b: Water, c: Water, va: float, vb: float, vc: float) -> None:
    at_once, _ = mix([a, b, c], [va, vb, vc])
    ab, vab = mix([a, b], [va, vb])
    in_turn, _ = mix([ab, c], [vab, vc])
    assert in_turn.carbon_mmol_l == pytest.approx(at_once.carbon_mmol_l, rel=1e-9)
    assert ph_of(in_turn) == pytest.approx(ph_of(at_once), abs=SAME_PH)


@given(tested, volumes, volumes)
def test_a_water_mixed_with_itself_keeps_its_ph(water: Water, va: float, vb: float) -> None:
    mixed = mixture([water, water], [va, vb])
    assert mixed.at_once is not None
    assert mixed.at_once.ph == pytest.approx(water.ph, abs=SAME_PH)
    assert mixed.aerated.ph == pytest.approx(at_air(water).ph, abs=SAME_PH)


@given(tested, tested, st.floats(0.05, 0.95))
def test_the_ph_of_a_mixture_at_rest_lies_between_its_parts_at_rest(a: Water, b: Water, share: float) -> None:
    # At rest pH is set by alkalinity above all, which mixes; ionic strength bends it by less than 0.05.
    b = replace(b, temperature_c=a.temperature_c)
    low, high = sorted(float(at_air(water).ph) for water in (a, b))
    found = mixture([a, b], [share, 1 - share]).aerated
    assert low - 0.05 <= found.ph <= high + 0.05


def test_a_mixture_is_neither_the_mean_ph_nor_the_mean_of_its_acid() -> None:
    acid = Water(0.2, 0.1, 0.3, 0.05, 0.3, 0.2, 0.25, 0, 0, 0, 0, 25.0, 6.0)
    hard = Water(0.5, 1.5, 4.0, 0.5, 1.0, 0.3, 6.9, 0, 0, 0, 0, 25.0, 9.0)
    mixed = mixture([acid, hard], [1, 1]).at_once
    assert mixed is not None
    mean_acid = -np.log10((10**-6.0 + 10**-9.0) / 2)
    assert abs(mixed.ph - 7.5) > 0.3
    assert abs(mixed.ph - mean_acid) > 0.3


def test_a_part_without_ph_leaves_the_first_ph_open_but_not_the_last() -> None:
    known = Water(1, 0.5, 1, 0.1, 0.8, 0.3, 2.7, 0, 0, 0, 0, 20.0, 7.5)
    mixed = mixture([known, replace(known, ph=None)], [1, 1], 2.0)
    assert mixed.at_once is None
    assert mixed.water.carbon_mmol_l is None
    assert mixed.aerated.co2_times_air == pytest.approx(2.0)


def test_arrays_of_shares_mix_as_each_alone() -> None:
    cold = Water(1, 0.5, 1, 0.1, 0.8, 0.3, 2.7, 5, 0.1, 0, 0, 10.0, 7.5)
    warm = Water(0.5, 1.5, 4.0, 0.5, 1.0, 0.3, 6.9, 30, 0, 0, 0, 26.0, 8.8)
    shares = np.linspace(0.05, 0.95, 7)
    together = mixture([cold, warm], [shares, 1 - shares]).at_once
    singly = [mixture([cold, warm], [float(share), float(1 - share)]).at_once for share in shares]
    assert together is not None
    assert together.ph == pytest.approx([one.ph for one in singly if one], abs=1e-6)


def test_a_ph_that_no_such_water_has_is_refused_when_it_is_mixed() -> None:
    with pytest.raises(OutOfRange, match="without any carbon"):
        mix([Water(*[0.0] * 11, temperature_c=25.0, ph=9.8)] * 2, [1, 1])


@given(tested, st.floats(-0.5, 2))
def test_acid_lowers_ph_and_base_raises_it_while_carbon_stays(water: Water, change_meq_l: float) -> None:
    assume(abs(change_meq_l) > 0.01)
    dosed = with_alkalinity(water, change_meq_l)
    assert dosed.carbon_mmol_l == at_ph(water).carbon_mmol_l
    assert dosed.alkalinity_meq_l == water.alkalinity_meq_l + change_meq_l
    assert (ph_of(dosed) > ph_of(closed(water))) == (change_meq_l > 0)


def test_nitrification_takes_the_published_alkalinity() -> None:
    # 7.14 mg CaCO3 per mg N (stoichiometry: two equivalents a mole; 7.146 with CIAAW weights).
    water = Water(1, 0.5, 1, 0.1, 0.8, 0.3, 2.7, 5, 2.0, 0, 0, 25.0, 8.0)
    after = nitrified(water, 1.0)
    caco3_mg = (water.alkalinity_meq_l - after.alkalinity_meq_l) * 100.086 / 2
    assert caco3_mg == pytest.approx(7.14, abs=0.01)
    assert after.ammonia_mg_n_l == 1.0
    assert after.nitrate_mg_l - water.nitrate_mg_l == pytest.approx(4.4268, abs=1e-3)  # 62.0049 / 14.0067
    # What was cation has become anion: charges move by as much as the alkalinity.
    assert after.charge_error_percent == pytest.approx(water.charge_error_percent, abs=0.2)
    assert ph_of(after) < ph_of(closed(water))
    with pytest.raises(BadInput, match="up to the ammonia"):
        nitrified(water, 2.5)


@given(tested, st.sampled_from(["sodium bicarbonate", "sodium carbonate anhydrous", "calcium chloride dihydrate"]))
def test_salts_bring_the_carbon_of_their_formula(water: Water, name: str) -> None:
    made = dissolve(water, [(salt(name), 0.1)])
    per_formula = {"sodium bicarbonate": 1, "sodium carbonate anhydrous": 1, "calcium chloride dihydrate": 0}[name]
    brought = per_formula * 100 / salt(name).molar_mass_g_mol
    assert made.carbon_mmol_l == pytest.approx(at_ph(water).carbon_mmol_l + brought, rel=1e-9)
    assert dissolve(replace(water, ph=None), [(salt(name), 0.1)]).carbon_mmol_l is None


def test_fresh_bicarbonate_reads_low_at_once_and_rises_in_air() -> None:
    # 1 g/L into deionised water: bicarbonate alone stands near pH 8.3 whatever there is of it (its two constants:
    # (6.35 + 10.33) / 2), and well above 9 in outdoor air.
    bare = replace(Water(*[0.0] * 11, temperature_c=25.0), carbon_mmol_l=0.0)
    made = dissolve(bare, [(salt("sodium bicarbonate"), 1.0)])
    assert ph_of(made) == pytest.approx(8.3, abs=0.1)
    assert at_air(made).ph > 9.0


@pytest.mark.parametrize("name", sorted(agents()))
def test_the_acid_of_a_neutraliser_goes_through_the_same_totals(name: str) -> None:
    water = Water(0.5, 0.2, 0.6, 0.1, 0.4, 0.2, 1.3, 5, 0, 2.0, 2.0, 15.0, 7.6)
    chosen = agent(name)
    chlorine = ChlorineReadings(2.0, 2.0)
    if chosen.dose_from == "label":
        pytest.skip("dosed by its label")
    dose = neutralise(100.0, chlorine, chosen)
    after = treated(water, dose, chosen)
    assert after.ph is None
    assert after.carbon_mmol_l == at_ph(water).carbon_mmol_l
    assert after.alkalinity_meq_l - water.alkalinity_meq_l == pytest.approx(dose.alkalinity_change_meq_l)
    if abs(dose.alkalinity_change_meq_l) < 1e-6:  # its ions alone hardly move pH
        assert ph_of(after) == pytest.approx(7.6, abs=0.005)
    else:
        assert (ph_of(after) > 7.6) == (dose.alkalinity_change_meq_l > 0)


def test_the_spread_of_a_closed_ph_grows_where_little_buffers_it() -> None:
    water = Water(0.5, 0.3, 0.8, 0.1, 1.2, 0.2, 1.4, 0, 0, 0, 0, 25.0, 7.0)
    # An untouched water is known no better and no worse than its own reading.
    assert closed_ph_spread(closed(water), [(1.0, water)]) == pytest.approx(np.hypot(0.1, MODEL_PH), abs=0.01)
    # Soda that takes up its free CO2 leaves bicarbonate alone, near pH 8.3, where next to nothing buffers.
    free = at_ph(water).carbon_mmol_l - at_ph(water).bicarbonate_mmol_l - at_ph(water).carbonate_mmol_l
    bare = with_alkalinity(water, free)
    assert ph_of(bare) == pytest.approx(8.3, abs=0.2)
    spread = closed_ph_spread(bare, [(1.0, water)])
    assert spread is not None
    assert spread > 0.3


def test_a_spread_adds_the_errors_of_its_parts() -> None:
    acid = Water(0.2, 0.1, 0.3, 0.05, 0.3, 0.2, 0.8, 0, 0, 0, 0, 25.0, 6.6)
    hard = Water(0.5, 1.5, 4.0, 0.5, 1.0, 0.3, 6.9, 0, 0, 0, 0, 25.0, 8.9)
    mixed, _ = mix([acid, hard], [0.8, 0.2])
    both = closed_ph_spread(mixed, [(0.8, acid), (0.2, hard)])
    each = [closed_ph_spread(mixed, [part]) for part in ((0.8, acid), (0.2, hard))]
    assert both is not None
    squares = sum(one**2 - MODEL_PH**2 for one in each if one is not None)
    assert both == pytest.approx(np.sqrt(squares + MODEL_PH**2), rel=1e-6)


def test_shapes_that_do_not_go_together_are_refused_and_lists_are_taken() -> None:
    water = Water(0.5, 0.3, 0.8, 0.1, 1.2, 0.2, np.array([1.4, 2.0, 3.0]), 0, 0, 0, 0, 25.0)
    with pytest.raises(BadInput, match=r"shapes \(3,\), \(2,\)"):
        at_ph(water, np.array([7.0, 8.0]))
    assert at_ph(replace(water, alkalinity_meq_l=1.4), [7, 8]).ph == pytest.approx([7, 8])
