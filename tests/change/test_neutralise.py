"""Neutraliser: stoichiometry's laws, published ratios, and what a keeper must be told."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapwright.chemistry.dosing.neutralise import (
    ChlorineReadings,
    LabelDose,
    ammonia_after_mg_n_l,
    ammonia_findings,
    assumptions_of,
    dose_findings,
    neutralise,
    treated,
)
from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.substances import Agent, agent, agents, molar_mass, parse_formula
from tapwright.chemistry.water.composition import Water

DOSABLE = [entry for entry in agents().values() if entry.dose_from == "stoichiometry"]
agents_drawn = st.sampled_from(DOSABLE)
readings = st.tuples(st.floats(0, 5), st.floats(0, 1)).map(
    lambda pair: ChlorineReadings(pair[0], pair[0] * pair[1], 4.0)
)
THIOSULFATE = agent("sodium thiosulfate pentahydrate")


@given(agents_drawn, readings, st.floats(1, 5000), st.floats(0.1, 10))
def test_grams_scale_with_volume_and_are_never_negative(
    entry: Agent, chlorine: ChlorineReadings, volume_l: float, factor: float
) -> None:
    once = neutralise(volume_l, chlorine, entry)
    more = neutralise(factor * volume_l, chlorine, entry)
    assert once.agent_g >= 0
    assert more.agent_g == pytest.approx(factor * once.agent_g)
    assert more.ammonia_mg_n_l == pytest.approx(once.ammonia_mg_n_l)


@given(agents_drawn, st.floats(1, 5000))
def test_no_chlorine_takes_no_agent(entry: Agent, volume_l: float) -> None:
    dose = neutralise(volume_l, ChlorineReadings(0.0, 0.0), entry, excess=0.5)
    assert dose.agent_g == 0
    assert dose.ammonia_mg_n_l == 0
    assert dose.alkalinity_change_meq_l == 0
    assert dose.chlorine_left_mg_l == 0


@given(agents_drawn, readings, st.floats(0, 1), st.floats(0.5, 1))
def test_purity_and_excess_only_raise_the_dose(
    entry: Agent, chlorine: ChlorineReadings, excess: float, purity: float
) -> None:
    plain = neutralise(100, chlorine, entry)
    raised = neutralise(100, chlorine, entry, excess=excess, purity=purity)
    assert raised.agent_g == pytest.approx(plain.agent_g * (1 + excess) / purity)
    assert raised.chlorine_left_mg_l == 0


@given(agents_drawn, readings, st.floats(0, 2))
def test_chlorine_left_is_what_the_dose_falls_short_of(entry: Agent, chlorine: ChlorineReadings, share: float) -> None:
    needed_g = neutralise(250, chlorine, entry).agent_g
    dose = neutralise(250, chlorine, entry, given_g=share * needed_g)
    assert dose.chlorine_left_mg_l == pytest.approx(chlorine.total_mg_l * max(1 - share, 0), abs=1e-9)
    spare_g = max(share - 1, 0) * needed_g
    assert dose.oxygen_demand_mg_l == pytest.approx(spare_g * entry.oxygen_ratio * 1000 / 250, abs=1e-9)


@given(agents_drawn, st.floats(0.01, 5), st.floats(0, 1))
def test_the_products_carry_the_charge_that_alkalinity_gains(entry: Agent, total: float, free_share: float) -> None:
    water = Water(1, 0.5, 1, 0, 1, 0.5, 2, 0, 0, free_share * total, total, 20.0)
    dose = neutralise(100, ChlorineReadings(total, free_share * total, 100.0), entry)
    after = treated(water, dose, entry)

    def unlisted(water: Water) -> float:
        return water.cations_meq_l - water.anions_meq_l

    # All products but tetrathionate are followed; monochloramine's nitrogen comes out as ammonium.
    tetrathionate = 2 * entry.products.get("S4O6", 0.0) * total / molar_mass("Cl2")
    assert unlisted(after) - unlisted(water) == pytest.approx(tetrathionate, abs=1e-9)
    assert after.total_chlorine_mg_l == after.free_chlorine_mg_l == 0


def test_arrays_give_what_scalars_give() -> None:
    volumes, totals = np.array([50.0, 200.0, 400.0]), np.array([0.0, 1.0, 3.0])
    at_once = neutralise(volumes, ChlorineReadings(totals, totals / 4, 4.0), THIOSULFATE, ph=8.4, temperature_c=26.0)
    for index, (volume_l, total) in enumerate(zip(volumes, totals, strict=True)):
        one = neutralise(
            float(volume_l),
            ChlorineReadings(float(total), float(total) / 4, 4.0),
            THIOSULFATE,
            ph=8.4,
            temperature_c=26.0,
        )
        for name in ("agent_g", "chlorine_g", "ammonia_mg_n_l", "ammonia_unionised_mg_n_l", "alkalinity_change_meq_l"):
            assert np.broadcast_to(getattr(at_once, name), 3)[index] == pytest.approx(getattr(one, name), rel=1e-12)


def test_array_readings_of_ammonia_and_ratios() -> None:
    read = ChlorineReadings(np.array([1.0, 2.0]), 0.0, free_ammonia_mg_n_l=np.array([0.0, 0.2]))
    assert ammonia_after_mg_n_l(read)[1] == pytest.approx([0.19756, 0.59512], abs=1e-4)
    ratio = ChlorineReadings(2.0, 0.0, cl2_to_n=np.array([3.0, 4.0]))
    assert ammonia_after_mg_n_l(ratio)[1] == pytest.approx([2 / 3, 0.5])


# mg CaCO3 per mg Cl2, strong-ion difference with HOCl as reference; recomputed from CIAAW abridged weights.
ALKALINITY = [
    ("sodium thiosulfate anhydrous", 0.7058, 1.4115), ("sodium sulfite", -0.7058, 0.0),
    ("sodium bisulfite", -1.4115, -0.7058), ("sodium metabisulfite", -1.4115, -0.7058),
    ("ascorbic acid", -0.7058, 0.0), ("sodium ascorbate", 0.0, 0.7058),
]  # fmt: skip


@pytest.mark.parametrize(("name", "free", "combined"), ALKALINITY)
def test_alkalinity_of_each_agent(name: str, free: float, combined: float) -> None:
    for readings_, expected in ((ChlorineReadings(1.0, 1.0), free), (ChlorineReadings(1.0, 0.0), combined)):
        change = neutralise(100, readings_, agent(name)).alkalinity_change_meq_l
        assert change * 50.043 == pytest.approx(expected, abs=2e-4)


def test_solution_is_the_same_dose_in_millilitres() -> None:
    dose = neutralise(400, ChlorineReadings(2.4, 0.3), THIOSULFATE, solution_g_l=50)
    assert dose.solution_ml == pytest.approx(dose.agent_g / 50 * 1000)
    # 2.4 mg/L in 400 L is 0.96 g of chlorine; 7.00 g of pentahydrate to a gram.
    assert dose.agent_g == pytest.approx(6.72, abs=0.01)


# --- ammonia --------------------------------------------------------------------------------------------------


def test_ammonia_from_the_utilitys_ratio() -> None:
    # Total N = combined chlorine / ratio: 2.1 / 4.
    assert ammonia_after_mg_n_l(ChlorineReadings(2.4, 0.3, cl2_to_n=4))[1] == pytest.approx(0.525)


def test_ammonia_is_never_less_than_the_chloramine_holds() -> None:
    # 14.007 / 70.900 mg N per mg Cl2 as monochloramine; a ratio above 5.06 cannot be all monochloramine.
    low, planned = ammonia_after_mg_n_l(ChlorineReadings(1.0, 0.0, cl2_to_n=7))
    assert low == planned == pytest.approx(0.19756, abs=1e-4)


def test_free_ammonia_read_comes_on_top_of_what_is_bound() -> None:
    low, planned = ammonia_after_mg_n_l(ChlorineReadings(1.0, 0.0, free_ammonia_mg_n_l=0.2))
    assert low == planned == pytest.approx(0.39756, abs=1e-4)


def test_without_a_ratio_the_most_ammonia_in_use_is_planned_and_said() -> None:
    chlorine = ChlorineReadings(1.5)
    assert ammonia_after_mg_n_l(chlorine)[1] == pytest.approx(0.5)
    notes = " ".join(assumptions_of(chlorine))
    assert "3 to 1 taken" in notes
    assert "Free chlorine not read" in notes
    assert assumptions_of(ChlorineReadings(1.0, 1.0)) == []


def test_ammonia_is_held_against_the_published_criteria() -> None:
    # pH 8.5 and 26 degC: acute 0.9046, chronic 0.2362 mg/L N (US EPA 822-R-13-001).
    assert [f.level for f in ammonia_findings(0.23, 8.5, 26.0, "it")] == []
    assert [f.level for f in ammonia_findings(0.25, 8.5, 26.0, "it")] == ["caution"]
    assert [f.level for f in ammonia_findings(0.91, 8.5, 26.0, "it")] == ["stop"]
    assert [f.code for f in ammonia_findings(0.25, None, 26.0, "it")] == ["ammonia_not_judged"]
    assert ammonia_findings(0.0, None, None, "it") == []


# --- findings and refusals --------------------------------------------------------------------------------------


def test_a_short_dose_is_a_stop() -> None:
    dose = neutralise(400, ChlorineReadings(2.4, 0.3), THIOSULFATE, given_g=5)
    (finding,) = dose_findings(dose, THIOSULFATE)
    assert (finding.level, finding.code) == ("stop", "chlorine_left")
    assert finding.value == pytest.approx(2.4 * (1 - 5 / 6.7206), abs=1e-3)


def test_ascorbates_on_chloramine_are_a_caution_and_on_free_chlorine_are_not() -> None:
    entry = agent("ascorbic acid")
    assert [f.code for f in dose_findings(neutralise(100, ChlorineReadings(2, 0.5), entry), entry)] == [
        "agent_on_chloramine"
    ]
    assert dose_findings(neutralise(100, ChlorineReadings(2, 2), entry), entry) == []


def test_an_excess_of_sulfite_takes_oxygen() -> None:
    entry = agent("sodium sulfite")
    dose = neutralise(100, ChlorineReadings(3, 3), entry, excess=1.0)
    # 3 mg/L Cl2 x 1.7777 left over x 0.12694 mg O2 per mg.
    assert dose.oxygen_demand_mg_l == pytest.approx(0.677, abs=1e-3)
    assert [f.code for f in dose_findings(dose, entry)] == ["sulfite_oxygen"]


def test_hydroxymethanesulfonate_has_no_dose_but_its_labels() -> None:
    entry = agent("sodium hydroxymethanesulfonate")
    chlorine = ChlorineReadings(2.0, 0.5)
    with pytest.raises(NoAnswer, match=r"1\.89 g per g of chlorine is only the least"):
        neutralise(400, chlorine, entry)
    dose = neutralise(400, chlorine, entry, label=LabelDose(40, 1.0, amount_ml=5))
    assert dose.agent_g is None
    assert dose.solution_ml == pytest.approx(100)  # ten times the volume, twice the chlorine
    assert "label_dose" in [f.code for f in dose_findings(dose, entry)]
    assert neutralise(400, chlorine, entry, label=LabelDose(40, 1.0, amount_g=5)).agent_g == pytest.approx(100)


@pytest.mark.parametrize(
    "figures",
    [(40, 1, 0), (40, 1, -5), (0, 1, 5), (40, 0, 5)],
    ids=["no amount", "negative", "no volume", "no chlorine"],
)
def test_a_label_that_doses_nothing_is_refused(figures: tuple[float, float, float]) -> None:
    volume_l, chlorine_mg_l, amount = figures
    with pytest.raises(BadInput, match="each above 0"):
        LabelDose(volume_l, chlorine_mg_l, amount_ml=amount)
    with pytest.raises(BadInput, match="takes one amount"):
        LabelDose(40, 1, amount_ml=5, amount_g=5)


def test_criteria_of_chlorine_left_at_their_edge() -> None:
    # 19 ug/L for one hour, US EPA 1984.
    for left, level in ((0.018, "caution"), (0.020, "stop")):
        dose = neutralise(100, ChlorineReadings(1.0, 1.0), THIOSULFATE, given_g=0.1 * 7.00062 * (1 - left))
        assert [(f.code, f.level) for f in dose_findings(dose, THIOSULFATE)] == [("chlorine_left", level)]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"volume_l": 0}, "no volume to dose"),
        ({"volume_l": -5}, "no volume to dose"),
        ({"purity": 0}, "purity"),
        ({"purity": 1.2}, "up to 100 %"),
        ({"excess": -0.1}, "less would leave chlorine"),
        ({"solution_g_l": 0}, "holds nothing"),
        ({"given_g": -1}, "less than nothing"),
        ({"chlorine": ChlorineReadings(1.0, 2.0)}, "more than 1.0 mg/L total"),
        ({"chlorine": ChlorineReadings(-1.0)}, "negative"),
        ({"chlorine": ChlorineReadings(1.0, free_ammonia_mg_n_l=-0.1)}, "negative"),
    ],
)
def test_what_cannot_be_is_refused(changes: dict[str, object], message: str) -> None:
    asked = {"volume_l": 100, "chlorine": ChlorineReadings(2.0, 0.5), "agent": THIOSULFATE, **changes}
    with pytest.raises(BadInput, match=message):
        neutralise(**asked)


@pytest.mark.parametrize("name", sorted(agents()))
def test_what_is_left_over_moves_alkalinity_by_the_charge_it_leaves(name: str) -> None:
    chosen, atoms = agent(name), parse_formula(agents()[name].formula)
    if "ascorb" in name:
        left = atoms.get("Na", 0) - 1  # as ascorbate
    elif "thiosulfate" in name:
        left = atoms["Na"] - 2  # as thiosulfate
    elif chosen.dose_from == "label":
        left = 0  # slow, and not known
    else:
        left = atoms["Na"] - 2 * atoms["S"]  # as sulfate, once oxygen had it
    assert chosen.surplus_alkalinity == left
    if chosen.dose_from == "label":
        return
    free = ChlorineReadings(2.0, 2.0)
    exact = neutralise(100.0, free, chosen)
    surplus = neutralise(100.0, free, chosen, given_g=exact.agent_g + 1.0)
    moved = surplus.alkalinity_change_meq_l - exact.alkalinity_change_meq_l
    assert moved == pytest.approx(left * 10 / chosen.molar_mass_g_mol)  # 1 g in 100 L
