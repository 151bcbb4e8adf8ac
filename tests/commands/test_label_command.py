"""`tapwright label`: every demo label by hand arithmetic, its page, and each fault of a file or an option in one message."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import ROOT, Outcome
from labels import BICARBONATE, CACL2_2, CACL2_6, CACO3, CL2, DGH, DKH, EPSOM, EPSOM_DRY, SALTPETRE, THIOSULFATE_5

from tapwright.cli.app import run

FOLDER = ROOT / "demo" / "labels"
US_GAL = 3.785411784

# (file, verdict, computed to claimed by hand, first explanation); the reason stands beside each.
DEMO: list[tuple[str, str, float | None, tuple[str, ...] | None]] = [
    # 4.9 g of MgSO4·7H2O in 100 L: 1.115 dGH, and 1.1 is that figure rounded.
    ("hardness-honest", "agrees", 1000 * 4.9 / EPSOM / 100 / DGH / 1.1, None),
    # 2.33 dGH is what 5 g of MgSO4 would do; the crystals are half water: 120.361 / 246.466.
    ("anhydrous-for-hydrate", "overstates", EPSOM_DRY / EPSOM, ("hydrate",)),
    # 3.81 dGH is what the dihydrate would do: 147.008 / 219.068.
    ("another-hydrate", "overstates", CACL2_2 / CACL2_6, ("hydrate",)),
    # 0.680 mmol/L are 3.81 dGH and 6.81 °fH: a French degree is 0.5603 German ones.
    ("french-degrees", "overstates", 56.077 / CACO3, ("degree",)),
    # ... and 4.78 °eH: an English degree, 64.79891 mg of CaCO3 in 4.54609 L, is 0.7986 German ones.
    ("english-degrees", "overstates", 64.79891 / 4.54609 / CACO3 / DGH, ("degree",)),
    # 10 g of CaCl2·2H2O in 100 L: 27.3 mg/L of calcium, 68.1 mg/L as CaCO3: 40.078 / 100.086.
    ("ppm-as-carbonate", "overstates", 40.078 / CACO3, ("counted_as",)),
    # 119 mg/L as CaCO3, 47.7 of calcium, 84.4 of chloride, 175 of salt: only the first is 120.
    ("ppm-left-open", "cannot be judged", None, ("open",)),
    # 81.5 mg of KNO3 in 50 L: 1.00 mg/L of NO3, 0.226 of N.
    ("nitrate-as-nitrogen", "overstates", 81.5 / 50 * 14.007 / SALTPETRE, ("nitrogen",)),
    # 3.67 dKH in 20 imperial gallons are 4.41 in 20 US ones.
    ("imperial-gallon", "understates", 1000 * 10 / BICARBONATE / (20 * US_GAL) / DKH / 3.67, ("gallon",)),
    # A level teaspoon of bicarbonate holds 3.45 to 4.40 g, not 5: 3.925 / 5.
    ("teaspoon-as-water", "overstates", 3.925 / 5, ("spoon",)),
    # 3.0 g in 10 mL by volume, 3.6 g by mass of a liquid of 1.20 kg/L.
    ("percent-by-volume", "understates", 1000 * 3.6 / CACL2_2 / 100 / DGH / 1.14, ("percent",)),
    # 0.56 g take up half a mole of chlorine a mole: 80.0 mg, 2.0 mg/L in 40 L.
    ("thiosulfate-honest", "agrees", 560 / THIOSULFATE_5 / 2 * CL2 / 40 / 2.0, None),
    # 0.070 g take up four moles a mole on the short route, half a mole on the safe one.
    ("thiosulfate-short-route", "overstates", 70 / THIOSULFATE_5 / 2 * CL2 / 40 / 2.0, ("short_route",)),
    # 80.0 mg of chlorine as pentahydrate, 125.6 as anhydrous salt.
    ("thiosulfate-without-hydrate", "cannot be judged", None, ("open",)),
    # 0.99 g of C6H8O6 (176.124) take up one mole a mole: 1.99 mg/L in 200 L.
    ("vitamin-c-honest", "agrees", 990 / 176.124 * CL2 / 200 / 2.0, None),
    # 35.7 meq: 3.00 g of NaHCO3 in 10 mL is more than water takes up, 1.89 g of Na2CO3 is not.
    ("without-contents", "cannot be judged", None, ("contents",)),
    # 1 g of magnesium itself is 41.1 mmol: 2.31 dGH in 100 L.
    ("too-good", "overstates", 1000 / 24.305 / 100 / DGH / 5.0, None),
    # Anhydrous and French at once.
    ("two-confusions", "overstates", EPSOM_DRY / EPSOM * 56.077 / CACO3, ("degree", "hydrate")),
    # 4 g of CaCl2·2H2O and 14 g of MgSO4·7H2O in 50 US gallons: 2.49 dGH.
    ("dry-mix-honest", "agrees", 1000 * (4 / CACL2_2 + 14 / EPSOM) / (50 * US_GAL) / DGH / 2.4, None),
]  # fmt: skip


def test_every_demo_label_is_expected_here() -> None:
    assert sorted(path.stem for path in FOLDER.glob("*.toml")) == sorted(name for name, *_ in DEMO)
    assert len(DEMO) >= 12


@pytest.mark.parametrize(("name", "verdict", "ratio", "first"), DEMO, ids=[name for name, *_ in DEMO])
def test_demo_labels(
    name: str,
    verdict: str,
    ratio: float | None,
    first: tuple[str, ...] | None,
    tapwright: Callable[..., Outcome],
) -> None:
    done = tapwright("label", FOLDER / f"{name}.toml", "--json")
    result = done.json["result"]
    assert result["verdict"] == verdict
    # The figures of a label have two or three digits: half of the last is up to half a percent.
    assert result["ratio"] == (None if ratio is None else pytest.approx(ratio, rel=5e-3))
    explanations = [tuple(entry["codes"]) for entry in result["explanations"]]
    assert (explanations[0] if explanations else None) == first
    assert all({"text", "ratio_after"} <= set(entry) for entry in result["explanations"])
    assert bool(result["missing"]) == (verdict == "cannot be judged")
    left = any(finding["code"] == "label_leaves_chlorine" for finding in done.json["findings"])
    assert done.code == int(left)


def test_what_is_named_in_demo_explanations(tapwright: Callable[..., Outcome]) -> None:
    def said(name: str) -> list[str]:
        result = tapwright("label", FOLDER / f"{name}.toml", "--json").json["result"]
        return [entry["text"] for entry in result["explanations"]]

    assert (
        "with magnesium sulfate anhydrous, while the label states magnesium sulfate heptahydrate"
        in said("anhydrous-for-hydrate")[0]
    )
    assert "with calcium chloride dihydrate, while" in said("another-hydrate")[0]
    assert "in French degrees, not in German degrees: 6.8 °fH is 3.81 dGH" in said("french-degrees")[0]
    assert "in English degrees" in said("english-degrees")[0]
    assert "mg/L as CaCO3, not in mg/L of calcium" in said("ppm-as-carbonate")[0]
    assert "imperial, not US: 90.9 L in place of 75.7 L" in said("imperial-gallon")[0]
    assert said("thiosulfate-without-hydrate") == ["It holds with sodium thiosulfate pentahydrate."]
    assert not any("sodium bicarbonate" in text for text in said("without-contents"))
    assert any(text.startswith("189 g/L of sodium carbonate anhydrous") for text in said("without-contents"))


PAGES = [name for name, *_ in DEMO]


@pytest.mark.parametrize("name", PAGES)
def test_pages_keep_to_80_columns(name: str, tapwright: Callable[..., Outcome]) -> None:
    for line in tapwright("label", FOLDER / f"{name}.toml").out.splitlines():
        assert len(line) <= 80
        assert line == line.rstrip()


def test_the_page_says_verdict_figures_explanations_and_what_to_do_in_this_order(
    tapwright: Callable[..., Outcome],
) -> None:
    page = tapwright("label", FOLDER / "thiosulfate-short-route.toml").out
    order = ["overstates, what is in it does 88 % less", "Claimed", "Computed", "Ratio", "What would explain it",
             "What to do", "STOP", "Taken for granted"]  # fmt: skip
    places = [page.index(word) for word in order]
    assert places == sorted(places)
    flat = " ".join(page.split())
    assert "Do not dose by this label: it takes 8 times its dose to be sure." in flat
    assert "goggles and gloves" in flat
    assert "the route that needs most, to tetrathionate" in flat
    honest = " ".join(tapwright("label", FOLDER / "thiosulfate-honest.toml").out.split())
    assert "Breaking that much chloramine leaves 0.4 to 0.67 mg/L N of ammonia" in honest


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--raises", "hardness", "--by", "5.0 dGH", "--dose", "1 g", "--in", "100 L"), "overstates, whatever is in it"),
        (("--raises", "hardness", "--by", "3.0 dGH", "--dose", "5 g", "--in", "100 L", "--content", "table salt 100%"),
         "Do not use it for this."),
        (("--raises", "GH", "--by", "1.0 dGH", "--dose", "9 g", "--in", "100 L", "--content", "Epsom salt 100%"),
         "0.488 times the label's dose does what it claims. Begin with that"),
        (("--neutralises", "chlorine", "--by", "1.0 mg/L", "--dose", "2 g", "--in", "100 L", "--content",
          "ascorbic acid 100%"), "More than that is spare"),
        (("--contains", "nitrate", "--by", "50 g/L NO3", "--content", "potassium nitrate 61 g/L"),
         "Reckon with the computed figure"),
        (("--by", "175 ppm", "--dose", "2 tbsp", "--in", "171 L", "--content", "Epsom salt 100%"),
         "2 tablespoons in 171 L gives 175 ppm"),
        (("--neutralises", "chlorine", "--by", "2 mg/L", "--dose", "5 mL", "--in", "40 L", "--content",
          "sodium hydroxymethanesulfonate 200 g/L"), "13.2 mg/L at most"),
        (("--raises", "hardness", "--by", "3.0 dGH", "--dose", "50 mL", "--in", "100 L"), "more stand in the answer"),
        (("--raises", "hardness", "--by", "3.0 dGH"), "how much a dose is; how much water a dose is for"),
    ],
)  # fmt: skip
def test_sentences_of_the_page(words: tuple[str, ...], said: str, tapwright: Callable[..., Outcome]) -> None:
    assert said in " ".join(tapwright("label", *words).out.split())


def test_options_say_what_a_file_says(tapwright: Callable[..., Outcome]) -> None:
    words = ("label", "--name", "Kitchen buffer", "--dose", "1 teaspoon", "--in", "50 L", "--raises", "alkalinity", "--by",
             "3.34 dKH", "--content", "sodium bicarbonate 100%")  # fmt: skip
    from_file = tapwright("label", FOLDER / "teaspoon-as-water.toml", "--json").json
    assert tapwright(*words, "--json").json == from_file
    liquid = ("label", "--dose", "10 mL", "--in", "100 L", "--raises", "hardness", "--by", "1.14 dGH", "--density",
              "1.20 kg/L", "--content", "calcium chloride dihydrate 30.0%, purity 99%")  # fmt: skip
    result = tapwright(*liquid, "--json").json["result"]
    assert result["ratio"] == pytest.approx(0.99 * 1000 * 3.6 / CACL2_2 / 100 / DGH / 1.14, rel=1e-4)


SOUND = (FOLDER / "hardness-honest.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "place", "message"),
    [
        ('in = "100 L"', 'in = "0 L"', "4: in", "'0 L' is read; more than 0 L to 100000 L is allowed."),
        ('in = "100 L"', 'in = "-3 L"', "4: in", "'-3 L' is read; more than 0 L to"),
        ('in = "100 L"', "in = 100", "4: in", "100 is read; text in quotes is wanted."),
        ('in = "100 L"', 'in = ""', "4: in", "is empty."),
        ('in = "100 L"', 'inn = "100 L"', "4: inn", "is not a key known here. Did you mean 'in'?"),
        ('in = "100 L"', 'in = "100 L"\ndensity = "9 kg/L"', "5: density", "0.3 kg/L to 2 kg/L is allowed"),
        ('dose = "5 g"', 'dose = "0 g"', "3: dose", "more than nothing is wanted."),
        ('dose = "5 g"', 'dose = "5 cm"', "3: dose", "grams or millilitres are wanted."),
        ('dose = "5 g"', 'dose = "1 dessertspoon"', "3: dose", "is not a spoon known here. Write teaspoon (5 mL)"),
        ('raises = "hardness"', 'raises = "spirits"', "7: claim.raises", "'spirits' is read; hardness, alkalinity"),
        ('raises = "hardness"', 'raises = "hardness"\nneutralises = "chlorine"', "8: claim.neutralises", "one claim at a time"),
        ('raises = "hardness"', "", "8: claim.by", "does not say what is raised"),
        ('by = "1.1 dGH"', 'by = "0 dGH"', "8: claim.by", "more than nothing is wanted."),
        ('by = "1.1 dGH"', 'by = "1.1 dKH"', "8: claim.by", "a hardness is wanted."),
        ('by = "1.1 dGH"', 'by = "1,1 dGH"', "8: claim.by", "the decimal sign is a point. Write '1.1 dGH'."),
        ('by = "1.1 dGH"', "", "6: claim.by", "by how much does the label say?"),
        ('substance = "magnesium sulfate heptahydrate"', 'substance = "magnesium sulfate hexahydrate"',
         "11: content.1.substance", "Did you mean 'magnesium sulfate heptahydrate'"),
        ('substance = "magnesium sulfate heptahydrate"', "", "10: content.1.substance", "not given, and it is needed."),
        ('amount = "98%"', 'amount = "198%"', "12: content.1.amount", "above 0 and up to 100 % is allowed."),
        ('amount = "98%"', 'amount = "98"', "12: content.1.amount", "'98' has no unit."),
        ('amount = "98%"', 'amount = "98%"\npurity = "101%"', "13: content.1.purity", "more than 0 % to 100 % is allowed."),
        ('amount = "98%"', 'amount = "98%"\n[[content]]\nsubstance = "gypsum"\namount = "30%"', "10: content",
         "add up to 128 % of the product."),
        ('amount = "98%"', 'amount = "98%"\n[[content]]\nsubstance = "MgSO4·7H2O"\namount = "1%"', "10: content",
         "stands twice."),
        ("[[content]]", "[content]", "10: content", "a list of tables is wanted. Write [[content]]"),
        ("[claim]", "[claims]", "6: claims", "is not a key known here. Did you mean 'claim'?"),
    ],
)  # fmt: skip
def test_faulty_files(
    old: str, new: str, place: str, message: str, tmp_path: Path, tapwright: Callable[..., Outcome]
) -> None:
    assert old in SOUND
    path = tmp_path / "label.toml"
    path.write_text(SOUND.replace(old, new, 1), encoding="utf-8")
    said = tapwright("label", path)
    assert (said.code, said.out) == (2, "")
    lines = said.err.splitlines()
    assert len([line for line in lines if line.startswith(f"{path}:{place}: ") and message in line]) == 1, said.err
    assert len(lines) == (2 if new == "[claims]" else 1), said.err  # ... which leaves the label without a claim
    assert tapwright("label", path, "--json").json["error"]["kind"] == "bad_input"


def test_empty_contents_are_refused_and_none_are_not(tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    path = tmp_path / "label.toml"
    without = SOUND.split("[[content]]")[0]
    path.write_text(f"content = []\n{without}", encoding="utf-8")
    assert f"{path}:1: content: is empty. List what is in it" in tapwright("label", path).err
    path.write_text(without, encoding="utf-8")
    assert tapwright("label", path).code == 0


def test_all_faults_of_a_file_at_once_in_the_order_of_their_lines(
    tmp_path: Path, tapwright: Callable[..., Outcome]
) -> None:
    path = tmp_path / "label.toml"
    text = SOUND.replace('"5 g"', '"5 parsec"').replace('"100 L"', '"0 L"').replace("dGH", "kg").replace("98%", "0%")
    path.write_text(text.replace("heptahydrate", "octahydrate").replace("name", "nam"), encoding="utf-8")
    lines = [line.removeprefix(f"{path}:").split(":")[0] for line in tapwright("label", path).err.splitlines()]
    assert lines == ["2", "3", "4", "8", "11", "12"]


def test_a_file_that_is_none(tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    assert "there is no such file." in tapwright("label", tmp_path / "no.toml").err
    path = tmp_path / "label.toml"
    path.write_text("[claim\n", encoding="utf-8")
    assert f"{path}:1: " in tapwright("label", path).err


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((), "no label is given."),
        ((str(FOLDER / "too-good.toml"), "--by", "3 dGH"), "a file and options are given"),
        (("--dose", "5 g"), "--by: not given"),
        (("--raises", "hardness", "--by", "3 dGH", "--dose", "5 g", "--in", "0 L"), "--in: '0 L' is read; more than 0 L to"),
        (("--raises", "hardness", "--by", "3 dGH", "--dose", "", "--in", "9 L"), "--dose: '' "),  # an empty shell variable
        (("--raises", "hardness", "--by", "3 dGH", "--dose", "5 g", "--in", ""), "--in: '' does not begin with a number"),
        (("--raises", "hardness", "--by", "3 dGH", "--dose", "0 mL", "--in", "9 L"), "--dose: '0 mL' is read"),
        (("--raises", "hardness", "--by", "3 dGH", "--dose", "5 g", "--in", "9 L", "--content", "gypsum 90%, purity 120%"),
         "--content: purity: '120%' is read; more than 0 % to 100 % is allowed."),
        (("--raises", "hardness", "--by", "3 dGH", "--dose", "5 g", "--in", "9 L", "--content", "chalk dust 9%"),
         "--content: 'chalk dust' is not a salt or neutraliser known here."),
        (("--neutralises", "chlorine", "--by", "3 mg/L", "--dose", "1 tsp", "--in", "9 L", "--content", "sodium sulfite 90%"),
         "--dose: a spoon of sodium sulfite has no known grams"),
        (("--neutralises", "bacteria", "--by", "3 mg/L"), "--neutralises: 'bacteria' is read; chlorine or chloramine"),
        (("--contains", "hardness", "--by", "3 g/L"), "--contains: 'hardness' is read; nitrate, calcium"),
        (("--contains", "nitrate", "--by", "3 g/L", "--dose", "0 g", "--in", "9 L"), "--dose: '0 g' is read"),
        (("--raises", "hardness", "--contains", "nitrate", "--by", "3 g/L"), "one claim at a time"),
        (("--by", "3 dGH", "--dose", "5 g", "--in", "9 L"), "--by: '3 dGH' does not say what is raised"),
    ],
)  # fmt: skip
def test_faulty_options(words: tuple[str, ...], message: str, tapwright: Callable[..., Outcome]) -> None:
    said = tapwright("label", *words)
    assert (said.code, said.out) == (2, "")
    assert len(said.err.splitlines()) == 1, said.err
    assert message in said.err


def test_help_says_what_it_is_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["label", "--help"]) == 0
    assert "Does what a label says is in a product do" in capsys.readouterr().out
