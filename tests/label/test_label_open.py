"""Labels that leave something open or do not say what is in them, and what a keeper is told beside the verdict."""

from __future__ import annotations

from dataclasses import replace

import pytest
from labels import DGH, EPSOM, THIOSULFATE_5, codes, label

from tapwright.chemistry.dosing.label.claims import claims_of
from tapwright.chemistry.dosing.label.contents import soluble_g_l
from tapwright.chemistry.dosing.label.findings import assumptions_of, findings_of
from tapwright.chemistry.dosing.label.verdict import Label, judge
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.substances import agent, agents, nitrates, salt, salts

# --- what a label leaves open ----------------------------------------------------------------------------------------


def test_a_hydrate_left_open_is_judged_each_way() -> None:
    # 5 mL of 112 g/L are 0.56 g: 80 mg of chlorine as pentahydrate (7.00), 2 mg/L in 40 L; 126 mg as anhydrous (4.46).
    judged = judge(label("chlorine", "2.0 mg/L", "5 mL", "40 L", ("sodium thiosulfate", "112 g/L")))
    assert (judged.verdict, judged.computed, judged.ratio) == ("cannot be judged", None, None)
    assert judged.missing == ("which hydrate of sodium thiosulfate it is",)
    assert [entry.text for entry in judged.explanations] == ["It holds with sodium thiosulfate pentahydrate."]
    verdicts = {entry.text: entry.verdict for entry in judged.readings}
    assert verdicts == {"sodium thiosulfate pentahydrate": "agrees", "sodium thiosulfate anhydrous": "understates"}
    # Where neither does it, the verdict stands whichever it is.
    short = judge(label("chlorine", "2.0 mg/L", "5 mL", "40 L", ("sodium thiosulfate", "14.0 g/L")))
    assert short.verdict == "overstates"
    assert short.ratio == pytest.approx(14 * 5 / 4.4596 / 40 / 2, rel=1e-3)
    assert ("short_route",) in codes(short)


def test_ppm_left_open() -> None:
    judged = judge(label("hardness", "120 ppm", "7 g", "40 L", ("CaCl2·2H2O", "100%")))
    # 7 g in 40 L: 1.19040 mmol/L, 119.1 mg/L as CaCO3, 47.7 of calcium, 175 of the salt.
    assert (judged.verdict, judged.claimed, judged.unit) == ("cannot be judged", 120, "ppm")
    assert judged.missing == ("what the figure is counted as",)
    assert [entry.text for entry in judged.explanations] == ["It holds with the figure in mg/L as CaCO3."]
    found = {entry.text.removeprefix("the figure in "): entry.computed for entry in judged.readings}
    assert found == {
        "mg/L as CaCO3": pytest.approx(1.19041, rel=1e-4),
        "mg/L of calcium": pytest.approx(47.709, rel=1e-4),
        "mg/L of the dissolved salt itself": pytest.approx(175.0),
    }
    unnamed = judge(label(None, "175 ppm", "7 g", "40 L", ("CaCl2·2H2O", "100%")))
    assert unnamed.missing == ("what it is that the figure counts",)
    assert unnamed.explanations[0].text == "It holds with the figure in mg/L of the dissolved salt itself."
    with pytest.raises(BadInput, match="does not say what is raised"):
        claims_of(None, "3 dGH")


def test_a_liquid_in_percent_without_its_density() -> None:
    # 10 mL of 38 % Epsom salt: 3.8 g as by volume give 0.865 dGH in 100 L; 1.0 dGH takes 1.157 kg/L.
    open_ = label("hardness", "1.00 dGH", "10 mL", "100 L", ("Epsom salt", "38.0%", "100%"))
    judged = judge(open_)
    assert judged.missing == ("the density of the liquid, or grams per litre",)
    assert [entry.text for entry in judged.explanations] == ["It holds if a litre weighs 1.16 kg."]
    assert judge(replace(open_, density_kg_l=1 / (3.8 / EPSOM * 10 / DGH))).ratio == pytest.approx(1, abs=1e-4)
    # Whatever a liquid weighs, 38 % in 10 mL cannot do 3 dGH.
    assert judge(label("hardness", "3.00 dGH", "10 mL", "100 L", ("Epsom salt", "38.0%"))).verdict == "overstates"
    light = judge(label("hardness", "0.865 dGH", "10 mL", "100 L", ("Epsom salt", "38.0%", "100%")))
    assert light.explanations[0].text == "It holds with the percentage as grams in 100 mL."
    # Grams of a liquid in g/L: the lighter it is, the more mL they are.
    weighed = judge(label("hardness", "0.721 dGH", "10 g", "100 L", ("Epsom salt", "380.0 g/L", "100%")))
    assert [entry.text for entry in weighed.explanations] == ["It holds if a litre weighs 1.2 kg."]


def test_a_label_that_lacks_its_dose_or_its_water() -> None:
    whole = label("hardness", "3 dGH", "5 g", "100 L", ("gypsum", "90%"))
    judged = judge(replace(whole, dose=None, unstated=("how much water a dose is for",)))
    assert (judged.verdict, judged.missing) == ("cannot be judged", ("how much water a dose is for",))
    assert judged.claimed == pytest.approx(3 * DGH)


# --- labels that do not say what is in it --------------------------------------------------------------------------


def test_plausible_contents_of_a_powder() -> None:
    # 10 g in 100 L for 3.0 dGH: 0.53498 mmol/L, 53.5 mmol: 9.21 g of gypsum (172.164), 7.86 g of CaCl2·2H2O.
    judged = judge(label("hardness", "3.0 dGH", "10 g", "100 L"))
    assert (judged.verdict, judged.missing) == ("cannot be judged", ("what is in it",))
    strengths = {
        entry.text.split(" of ")[-1].split(" would")[0]: entry.strength_percent for entry in judged.explanations
    }
    assert strengths["calcium sulfate dihydrate"] == pytest.approx(92.1, abs=0.1)
    assert strengths["calcium chloride dihydrate"] == pytest.approx(78.65, abs=0.1)
    assert "magnesium sulfate heptahydrate" not in strengths  # 13.2 g would be needed
    assert not any("nitrate" in name or "bicarbonate" in name for name in strengths)
    assert all(entry.ratio_after <= 1 for entry in judged.explanations)


@pytest.mark.parametrize("effect_by", [("hardness", "3.0 dGH"), ("alkalinity", "2.0 dKH"), ("chlorine", "2.0 mg/L"),
                                       ("nitrate", "1.00 mg/L NO3"), ("calcium", "9.0 mg/L")])  # fmt: skip
@pytest.mark.parametrize("dose", ["20 g", "25 mL", "2 teaspoons"])
def test_every_plausible_content_makes_the_label_true(effect_by: tuple[str, str], dose: str) -> None:
    judged = judge(label(*effect_by, dose, "100 L"))
    if dose == "2 teaspoons" and effect_by[0] == "nitrate":  # how nitrates lie in a spoon is not known
        assert judged.explanations == ()
        return
    assert judged.explanations
    for entry in judged.explanations:
        name = next(
            name for name in sorted((*salts(), *nitrates(), *agents()), key=len, reverse=True) if name in entry.text
        )
        amount = f"{entry.strength_g_l:.6f} g/L" if entry.strength_g_l else f"{entry.strength_percent:.6f}%"
        again = judge(label(*effect_by, dose, "100 L", (name, amount)))
        assert again.verdict == "agrees", entry


def test_a_solution_is_never_stronger_than_water_takes_up() -> None:
    # CRC 91st ed.: 9.565 g of NaHCO3 and 68.35 g of Na2S2O3 in 100 g of water at 20 degC.
    assert soluble_g_l(salt("baking soda")) == pytest.approx(95.65)
    assert soluble_g_l(agent("Na2S2O3·5H2O")) == pytest.approx(683.5 * THIOSULFATE_5 / 158.107, rel=1e-4)
    # 1 dKH in 100 L takes 2.996 g of bicarbonate: in 30 mL 99.9 g/L, too much; in 35 mL 85.6 g/L.
    for millilitres, held in ((30, False), (35, True)):
        judged = judge(label("alkalinity", "1.0 dKH", f"{millilitres} mL", "100 L"))
        assert any("sodium bicarbonate" in entry.text for entry in judged.explanations) is held


def test_a_claim_beyond_anything() -> None:
    # 1 g, were it all magnesium: 1 / 24.305 mol in 100 L, 0.41144 mmol/L, 2.307 dGH.
    judged = judge(label("hardness", "5.0 dGH", "1 g", "100 L"))
    assert (judged.verdict, judged.computed) == ("overstates", pytest.approx(0.41144, abs=1e-4))
    assert judge(label("hardness", "2.2 dGH", "1 g", "100 L")).verdict == "cannot be judged"
    assert judge(label("calcium", "11 mg/L", "1 g", "100 L")).verdict == "overstates"  # 10 mg/L is all of it
    assert judge(label("alkalinity", "20 dKH", "1 g", "100 L", ("baking soda",))).verdict == "overstates"
    dissolved = label("alkalinity", "9.0 dKH", "1 mL", "100 L")
    assert [finding.code for finding in findings_of(dissolved, judge(dissolved))] == ["no_known_content"]


def test_a_substance_without_its_amount() -> None:
    # 2 mg/L in 40 L are 80 mg of chlorine: 0.1987 g of ascorbic acid, 39.7 g/L in 5 mL.
    judged = judge(label("chlorine", "2.0 mg/L", "5 mL", "40 L", ("ascorbic acid",)))
    assert judged.missing == ("how much ascorbic acid is in it",)
    (only,) = judged.explanations
    assert only.strength_g_l == pytest.approx(39.74, abs=0.01)


# --- findings ----------------------------------------------------------------------------------------------------------


def finding_levels(asked: Label) -> dict[str, str]:
    return {finding.code: finding.level for finding in findings_of(asked, judge(asked))}


def test_what_a_keeper_is_told_about_neutralisers() -> None:
    short = label("chlorine", "2.0 mg/L", "5 mL", "40 L", ("Na2S2O3·5H2O", "14.0 g/L"))
    assert finding_levels(short) == {"label_leaves_chlorine": "stop", "label_ammonia": "note", "chemicals": "note"}
    (left,) = [entry for entry in findings_of(short, judge(short)) if entry.code == "label_leaves_chlorine"]
    assert left.value == pytest.approx(1.75, abs=0.001)  # an eighth of 2 mg/L is taken up
    honest = label("chloramine", "2.0 mg/L", "5 mL", "40 L", ("Na2S2O3·5H2O", "112 g/L"))
    assert finding_levels(honest) == {"label_ammonia": "caution", "chemicals": "note"}
    (ammonia,) = [entry for entry in findings_of(honest, judge(honest)) if entry.code == "label_ammonia"]
    assert ammonia.value == pytest.approx(2 / 3)  # at 3 to 1, the most ammonia utilities use
    vitamin = label("chloramine", "2.0 mg/L", "1 g", "200 L", ("vitamin C", "100%"))
    assert finding_levels(vitamin)["agent_on_chloramine"] == "caution"
    # Ten times the sulfite: 9 x 2 mg/L x 1.7776 left over, 0.12694 g of oxygen a gram.
    spare = label("chlorine", "2.0 mg/L", "35.55 g", "1000 L", ("sodium sulfite", "100%", "100%"))
    (oxygen,) = [entry for entry in findings_of(spare, judge(spare)) if entry.code == "sulfite_oxygen"]
    assert oxygen.value == pytest.approx(18 * 1.7776 * 0.12694, rel=1e-3)
    unsure = label("chlorine", "2.0 mg/L", "5 g", "40 L", ("sodium hydroxymethanesulfonate", "50%"))
    assert finding_levels(unsure)["label_dose"] == "caution"
    assert any("route that needs most" in note for note in assumptions_of(honest, judge(honest)))


def test_agents_dosed_by_label_can_only_be_shown_to_fall_short() -> None:
    # 1.8911 g per g of chlorine is the least: 0.1 g in 1000 L cannot take 1 mg/L.
    short = judge(label("chlorine", "1.0 mg/L", "0.1 g", "1000 L", ("sodium hydroxymethanesulfonate", "100%")))
    assert (short.verdict, short.ratio) == ("overstates", pytest.approx(0.1 / 1.8911, rel=1e-3))


def test_nothing_in_it_does_what_is_claimed() -> None:
    salt_only = label("hardness", "3.0 dGH", "5 g", "100 L", ("table salt", "100%"))
    judged = judge(salt_only)
    assert (judged.verdict, judged.computed, judged.times_the_dose) == ("overstates", 0, None)
    assert finding_levels(salt_only) == {"no_effect": "caution"}


def test_a_coarse_label_is_said_to_be_one() -> None:
    assert finding_levels(label("hardness", "1 dGH", "4.4 g", "100 L", ("Epsom salt", "100%"))) == {
        "coarse_label": "note"
    }
