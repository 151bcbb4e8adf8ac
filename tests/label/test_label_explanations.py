"""Every confusion of a label, built forwards by hand and found again."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from labels import (
    BICARBONATE,
    CACL2_2,
    CACO3,
    CL2,
    DGH,
    DKH,
    EFFECTS,
    EPSOM_DRY,
    SALTPETRE,
    THIOSULFATE_5,
    codes,
    forward,
    label,
    mixtures,
    per_gram,
    stated,
)

from tapwright.chemistry.dosing.label.claims import RAISED, contained, effect_of
from tapwright.chemistry.dosing.label.reading import content_of, dose_of
from tapwright.chemistry.dosing.label.verdict import Judgement, Label, judge
from tapwright.chemistry.dosing.spoons import level_spoon_g
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.substances import agents, hydrates_of, named, nitrates, salt, salts
from tapwright.chemistry.units import figure

# --- every confusion, built forwards and found again -----------------------------------------------------------------


def in_front(judged: Judgement, code: str, most: int = 3) -> None:
    """The confusion stands among the first, and in front where nothing else comes as close."""
    ratios = [abs(entry.ratio_after - 1) for entry in judged.explanations if entry.codes == (code,)]
    assert ratios, codes(judged)
    assert (code,) in codes(judged)[:most], codes(judged)
    assert min(ratios) < 0.006  # what four digits leave


@given(mixtures(), st.integers(1, 500), st.sampled_from([("°fH", 0.5602882), ("°eH", 0.7986217)]))
def test_other_degrees(
    mixture: tuple[str, list[tuple[str, float, float | None]]], grams: int, degree: tuple[str, float]
) -> None:
    # French: 10 mg CaCO3 a litre, 56.077 / 100.086; English: 1 grain of CaCO3 in an imperial gallon. DIN, HB 44.
    effect, parts = mixture
    _unit, ratio = degree
    parts = [(name, percent, purity or 0.99) for name, percent, purity in parts]
    degrees = forward(effect, grams, 100, parts) / ratio
    judged = judge(stated(effect, f"{figure(degrees, 4)} {EFFECTS[effect][0]}", f"{grams} g", "100 L", parts))
    assume(judged.verdict != "agrees")  # percents of one digit forgive an English degree
    assert judged.verdict == "overstates"
    assert judged.ratio == pytest.approx(ratio, rel=1e-3)
    in_front(judged, "degree")


HYDRATES = [
    (one.name, other.name)
    for entry in [*salts().values(), *agents().values(), *nitrates().values()]
    for one, other in itertools.permutations(hydrates_of(entry), 2)
    if one is entry
]


@pytest.mark.parametrize(("stands", "reckoned"), HYDRATES)
def test_another_hydrate(stands: str, reckoned: str) -> None:
    one, other = named(stands)[0], named(reckoned)[0]
    if stands in agents():
        effect, unit, does = "chlorine", "mg/L", 1000 / other.mass_ratio
    elif "carbonate" in stands:
        effect, unit, does = "alkalinity", "dKH", other.alkalinity_meq_per_g() / DKH
    elif stands.startswith("sodium"):
        effect, unit, does = "sodium", "mg/L", 1000 * 22.990 * other.ions["Na"] / other.molar_mass_g_mol
    else:
        effect, unit, does = "hardness", "dGH", other.hardness_mmol_per_g() / DGH
    by = f"{figure(3 * does / 100, 5)} {unit}"
    judged = judge(label(effect, by, "3 g", "100 L", (stands, "100%", "99.9%")))
    assert judged.ratio == pytest.approx(0.999 * other.molar_mass_g_mol / one.molar_mass_g_mol, rel=1e-3)
    in_front(judged, "hydrate")
    assert any(reckoned in entry.text for entry in judged.explanations[:3])


def test_anhydrous_for_heptahydrate_by_hand() -> None:
    # 5 g of MgSO4·7H2O reckoned as MgSO4 in 100 L: 5 / 120.361 mol in place of 5 / 246.466, 120.361 / 246.466 = 0.488.
    by = f"{1000 * 5 / EPSOM_DRY / 100 / DGH:.2f} dGH"
    judged = judge(label("hardness", by, "5 g", "100 L", ("magnesium sulfate heptahydrate", "100%")))
    assert judged.ratio == pytest.approx(0.4884, abs=0.001)
    assert codes(judged) == [("hydrate",)]
    assert "magnesium sulfate anhydrous" in judged.explanations[0].text


@pytest.mark.parametrize(
    ("effect", "claim", "code", "ratio"),
    [  # 10 g of CaCl2·2H2O in 100 L: 0.68024 mmol/L, 27.262 mg/L of calcium, 68.082 mg/L as CaCO3
        ("calcium", "68.08 mg/L", "counted_as", 1 / 2.497),
        ("hardness", "27.26 mg/L CaCO3", "counted_as", 2.497),
        ("hardness", "100.0 mg/L CaCO3", "counted_as", 0.6808),
        ("hardness", "1.3604 mmol/L", "equivalents", 0.5),
        ("hardness", "0.6802 meq/L", "equivalents", 2.0),
    ],
)
def test_what_a_figure_counts(effect: str, claim: str, code: str, ratio: float) -> None:
    judged = judge(label(effect, claim, "10 g", "100 L", ("calcium chloride dihydrate", "100%", "100%")))
    assert judged.ratio == pytest.approx(ratio, rel=1e-3)
    in_front(judged, code, 1)


def test_alkalinity_as_bicarbonate_and_as_carbonate() -> None:
    # One meq is 61.016 mg of HCO3 and 50.043 mg of CaCO3; 10 g of NaHCO3 in 100 L give 100 / 84.006 meq/L.
    meq = 100 / BICARBONATE
    judged = judge(label("alkalinity", f"{61.016 * meq:.2f} mg/L CaCO3", "10 g", "100 L", ("baking soda", "100%")))
    assert (judged.verdict, judged.ratio) == ("overstates", pytest.approx(0.8202, abs=1e-4))  # Hem 1985, 0.8202
    in_front(judged, "counted_as", 1)


@given(st.integers(20, 900), st.integers(1, 50), st.booleans())
def test_nitrate_as_nitrogen(strength_g_l: int, millilitres: int, reckoned_as_nitrogen: bool) -> None:
    nitrate_mg_l = millilitres * strength_g_l / 100 * 62.004 / SALTPETRE
    if reckoned_as_nitrogen:  # sold as N what is NO3
        by, ratio = f"{figure(nitrate_mg_l, 5)} mg/L N", 14.007 / 62.004
    else:
        by, ratio = f"{figure(nitrate_mg_l * 14.007 / 62.004, 5)} mg/L NO3", 62.004 / 14.007
    judged = judge(label("nitrate", by, f"{millilitres} mL", "100 L", ("KNO3", f"{strength_g_l} g/L", "99%")))
    assert judged.ratio == pytest.approx(0.99 * ratio, rel=1e-3)
    in_front(replace(judged, explanations=_freed_of(judged, 0.99)), "nitrogen")


def _freed_of(judged: Judgement, purity: float) -> tuple[object, ...]:
    """The explanations with a known purity taken out, so that only rounding is left."""
    return tuple(replace(entry, ratio_after=entry.ratio_after / purity) for entry in judged.explanations)


def test_nitrate_in_the_product_itself() -> None:
    # 61 g/L of KNO3 hold 37.4 g/L of NO3 and 8.45 g/L of N.
    for by, verdict in (("37.4 g/L NO3", "agrees"), ("8.45 g/L N", "agrees"), ("37.4 g/L N", "overstates")):
        judged = judge(_contains("nitrate", by, ("potassium nitrate", "61.0 g/L")))
        assert (judged.verdict, judged.unit) == (verdict, "mg/mL")
    assert codes(judged) == [("nitrogen",)]
    open_ = judge(_contains("nitrate", "37.4 g/L", ("potassium nitrate", "61.0 g/L")))
    assert (open_.verdict, open_.missing) == ("cannot be judged", ("what the figure is counted as",))
    percent = judge(_contains("magnesium", "9.9 %", ("Epsom salt", "100%")))  # 24.305 / 246.466
    assert (percent.verdict, percent.unit, percent.computed) == ("agrees", "mg/g", pytest.approx(98.61, abs=0.01))
    with pytest.raises(BadInput, match="no more than 100 %"):
        contained(effect_of("magnesium", RAISED), "120 %")
    with pytest.raises(BadInput, match="NO3 or N is wanted"):
        contained(effect_of("nitrate", RAISED), "3 g/L KNO3")


def _contains(ion: str, by: str, content: tuple[str, str]) -> Label:
    claims = contained(effect_of(ion, RAISED), by)
    unit = "g" if claims[0].by_product == "g" else "mL"
    return Label(claims, (content_of(*content),), dose_of(f"1 {unit}", "1 L"))


@given(st.integers(1, 400), st.integers(2, 500), st.booleans())
def test_the_other_gallon(grams: int, gallons: int, stands_us: bool) -> None:
    litres = gallons * (4.54609 if stands_us else 3.785411784)  # reckoned with the gallon that does not stand there
    by = f"{figure(1000 * grams / BICARBONATE / litres / DKH, 4)} dKH"
    unit = "gal" if stands_us else "imp gal"
    judged = judge(label("alkalinity", by, f"{grams} g", f"{gallons} {unit}", ("baking soda", "100%", "100%")))
    assert judged.verdict == ("understates" if stands_us else "overstates")
    assert judged.ratio == pytest.approx(1.20095 if stands_us else 1 / 1.20095, rel=1e-3)
    in_front(judged, "gallon")


def test_litres_are_no_gallons() -> None:
    judged = judge(label("alkalinity", "3.67 dKH", "10 g", "75.708 L", ("baking soda", "100%", "100%")))
    assert ("gallon",) not in codes(judged)


@pytest.mark.parametrize("name", ["sodium bicarbonate", "calcium sulfate dihydrate", "magnesium sulfate heptahydrate"])
def test_a_teaspoon_taken_for_five_grams(name: str) -> None:
    low, middle, high = level_spoon_g("teaspoon", name)
    effect = "alkalinity" if "carb" in name else "hardness"
    by = f"{figure(2 * 5 * per_gram(salt(name), effect) / 100 / EFFECTS[effect][1], 4)} {EFFECTS[effect][0]}"
    judged = judge(label(effect, by, "2 teaspoons", "100 L", (name, "100%", "100%")))
    assert judged.ratio == pytest.approx(middle / 5, rel=1e-3)
    spread = (high - low) / (2 * middle)
    if abs(middle / 5 - 1) <= middle / 5 * (spread + 0.01):
        assert judged.verdict == "agrees"  # the powder can lie that heavily
        return
    in_front(judged, "spoon")


def test_grams_that_were_a_spoon() -> None:
    # A level teaspoon of bicarbonate: 0.69 to 0.88 kg/L, 3.925 g in the middle; a label that weighed it as "5 g".
    by = f"{1000 * 3.925 / BICARBONATE / 50 / DKH:.3f} dKH"
    judged = judge(label("alkalinity", by, "5 g", "50 L", ("sodium bicarbonate", "100%", "100%")))
    assert judged.verdict == "understates"
    assert ("spoon",) in codes(judged)


@pytest.mark.parametrize("content", ["sodium thiosulfate pentahydrate", "sodium thiosulfate anhydrous"])
@given(st.integers(1, 100), st.integers(10, 1000))
def test_the_short_route(content: str, grams: int, litres: int) -> None:
    # To sulfate one mole takes up four of chlorine, to tetrathionate half a mole: eight times as much.
    molar = THIOSULFATE_5 if "penta" in content else 158.107
    by = f"{figure(1000 * grams / molar * 4 * CL2 / litres, 4)} mg/L"
    judged = judge(label("chlorine", by, f"{grams} g", f"{litres} L", (content, "100%", "100%")))
    assert (judged.verdict, judged.ratio) == ("overstates", pytest.approx(1 / 8, rel=1e-3))
    assert judged.explanations[0].codes == ("short_route",)
    assert "tapwright neutralise" in judged.explanations[0].text


@given(st.floats(1.08, 1.45), st.integers(5, 60), st.booleans())
def test_percent_by_volume_and_by_mass(density: float, percent: int, by_volume: bool) -> None:
    text = f"{density:.3f} kg/L"
    density = float(text.split()[0])
    # By volume: percent x 10 mL / 100 g of dihydrate in 100 L; by mass the density comes on top.
    mmol_l = percent / 10 * 1000 / CACL2_2 / 100
    by = f"{figure(mmol_l / DGH if by_volume else mmol_l * density / DGH, 5)} dGH"
    content = ("CaCl2·2H2O", f"{percent}.00%" if by_volume else f"{percent * 10}.0 g/L", "100%")
    judged = judge(label("hardness", by, "10 mL", "100 L", content, density=text))
    assert judged.ratio == pytest.approx(density if by_volume else 1 / density, rel=1e-3)
    in_front(judged, "percent")


def test_chloramine_counted_as_itself() -> None:
    # 1 mg of chlorine is 51.473 / 70.900 mg of monochloramine.
    stated_g = 7.00028 * 0.1  # for 1 mg/L Cl2 in 100 L
    judged = judge(
        label("chloramine", "0.726 mg/L NH2Cl", f"{stated_g:.4f} g", "100 L", ("Na2S2O3·5H2O", "100%", "100%"))
    )
    assert judged.verdict == "agrees"
    judged = judge(label("chloramine", "0.726 mg/L", f"{stated_g:.4f} g", "100 L", ("Na2S2O3·5H2O", "100%", "100%")))
    assert (judged.verdict, codes(judged)[0]) == ("understates", ("counted_as",))


def test_two_confusions_only_where_no_single_one_does() -> None:
    # Anhydrous and French at once: 0.4884 x 0.5603 = 0.2736.
    degrees = 1000 * 5 / EPSOM_DRY / 100 * CACO3 / 10
    judged = judge(label("hardness", f"{degrees:.2f} dGH", "5 g", "100 L", ("Epsom salt", "100%", "100%")))
    assert judged.ratio == pytest.approx(0.2736, abs=2e-4)
    assert sorted(judged.explanations[0].codes) == ["degree", "hydrate"]
    assert all(len(entry.codes) == 2 for entry in judged.explanations)
    assert len(judged.explanations) <= 5
    alone = judge(label("hardness", f"{degrees * 0.4884:.2f} dGH", "5 g", "100 L", ("Epsom salt", "100%", "100%")))
    assert all(len(entry.codes) == 1 for entry in alone.explanations)


def test_what_nothing_explains_has_no_explanation() -> None:
    judged = judge(label("hardness", "90.0 dGH", "5 g", "100 L", ("potassium chloride", "50%"), ("gypsum", "1%")))
    assert (judged.verdict, judged.explanations) == ("overstates", ())
