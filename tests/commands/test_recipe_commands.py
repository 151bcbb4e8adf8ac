"""`remineralise` and `transition` at the command line: keys, pages, refusals, and the answers against the engine's laws."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest
from conftest import DEMO, Outcome

SOFT = "hardness 3 dGH, alkalinity 2 dKH, ph 7.4, temperature 25 degC"
SALTS = (
    "--salt",
    "sodium bicarbonate",
    "--salt",
    "magnesium sulfate heptahydrate",
    "--salt",
    "calcium chloride dihydrate",
)
RECIPE = ("remineralise", "--volume", "200 L", "--from", SOFT, "--target", "tanganyika", *SALTS, "--step", "0.1 g")
WAY = ("transition", "--water", SOFT, "--volume", "400 L", "--from", SOFT, "--target", "malawi", *SALTS, "--change", "40%",
       "--step", "1 g")  # fmt: skip


def test_a_recipe_has_its_keys_and_lies_in_its_bands(tapwright: Callable[..., Outcome]) -> None:
    result = tapwright(*RECIPE, "--json").json["result"]
    assert {
        "salts", "deionised_l", "reached", "ph_at_once", "ph_aerated", "si_calcite_at_once", "si_calcite_aerated",
        "conductivity_us_cm", "ions_mmol_l", "buckets", "order", "cost", "spread",
    } <= set(result)  # fmt: skip
    for entry in result["salts"]:
        assert entry["salt_g"] == pytest.approx(0.1 * entry["steps"])
    for band in result["reached"].values():
        assert band["low"] - 1e-6 <= band["value"] <= band["high"] + 1e-6
    assert result["order"] == [bucket["name"] for bucket in result["buckets"]]
    poured = [name for bucket in result["buckets"] for name in bucket["salts"]]
    assert sorted(poured) == sorted(entry["salt"] for entry in result["salts"])
    for spread in result["spread"].values():
        assert sum(spread["shares"].values()) == pytest.approx(1)


def test_the_salts_of_the_command_line_and_of_a_file_are_the_same_to_it(tapwright: Callable[..., Outcome]) -> None:
    tank = ("--file", DEMO, "--tank", "Shell bay", "--volume", "100 L")
    own = tapwright("remineralise", *tank, "--json").json["result"]
    words = (
        "--salt", "potassium chloride, stock 500 g", "--salt", "calcium chloride dihydrate, purity 97%, stock 1 kg",
        "--salt", "magnesium sulfate heptahydrate, purity 99%, stock 2 kg", "--salt", "NaHCO3, purity 99%, stock 2.5 kg",
    )  # fmt: skip
    assert tapwright("remineralise", *tank, *words, "--json").json["result"] == own


def test_the_page_says_what_a_keeper_must_not_miss(tapwright: Callable[..., Outcome]) -> None:
    page = " ".join(tapwright("remineralise", "--file", DEMO, "--tank", "Shell bay", "--volume", "100 L").out.split())
    for words in (
        "do not correct the first reading", "NEUTRALISER first, then salts", "test kit", "goggles and gloves",
        "Where it lands", "Will it cloud",
    ):  # fmt: skip
        assert words in page
    assert "dolomite" not in page


def test_bands_of_ones_own_take_the_place_of_the_lakes(tapwright: Callable[..., Outcome]) -> None:
    bands = ("--band", "sodium up to 250 mg/L", "--band", "ph at once 7.2 to 8.4", "--band", "alkalinity 16 to 17 dKH")
    reached = tapwright(*RECIPE, *bands, "--json").json["result"]["reached"]
    assert reached["alkalinity_meq_l"]["low"] == pytest.approx(16 * 20 / 56.077)
    assert reached["sodium_mmol_l"]["value"] <= 250 / 22.99 + 1e-6
    assert 7.198 <= reached["ph_at_once"]["value"] <= 8.402


def test_cost_counts_where_every_price_is_known_and_prefer_puts_it_first(tapwright: Callable[..., Outcome]) -> None:
    priced = [
        f"{name}, price {price}" for name, price in (("NaHCO3", 2), ("KHCO3", 9), ("MgSO4.7H2O", 1), ("MgCl2.6H2O", 6))
    ]
    words = [word for text in priced for word in ("--salt", text)]
    base = ("remineralise", "--volume", "200 L", "--from", SOFT, "--target", "tanganyika", "--step", "0.1 g", *words)
    plain, cheap = (tapwright(*base, *more, "--json").json["result"] for more in ((), ("--prefer", "cost")))
    assert plain["cost"] == pytest.approx(
        sum(entry["salt_g"] / 1000 * {"sodium bicarbonate": 2, "potassium bicarbonate": 9, "magnesium sulfate heptahydrate": 1,
                                     "magnesium chloride hexahydrate": 6}[entry["salt"]] for entry in plain["salts"])
    )  # fmt: skip
    assert cheap["cost"] <= plain["cost"] + 1e-9
    assert len(plain["salts"]) <= len(cheap["salts"])


def test_spoons_are_whole_and_marked_as_uncertain(tapwright: Callable[..., Outcome]) -> None:
    words = [*RECIPE[:-2], "--spoon", "teaspoon", "--json"]
    document = tapwright(*words).json
    assert all(isinstance(entry["steps"], int) for entry in document["result"]["salts"])
    assert any("common practice" in note and "teaspoon" in note for note in document["assumptions"])
    assert document["result"]["spread"]["alkalinity_meq_l"]["shares"]["spoon"] > 0.1


def test_no_answer_names_the_conflict_and_every_way_out(tapwright: Callable[..., Outcome]) -> None:
    words = (
        "remineralise",
        "--volume",
        "200 L",
        "--from",
        SOFT,
        "--target",
        "tanganyika",
        "--salt",
        "sodium bicarbonate",
    )
    done = tapwright(*words, "--json")
    error = done.json["error"]
    assert done.code == 3 and error["kind"] == "no_answer"
    assert error["conflict"] and error["ways_out"]
    assert all(way["text"] and way["moves"] for way in error["ways_out"])
    said = tapwright(*words)
    assert said.out == "" and said.code == 3
    assert "way out 1: get" in said.err and "magnesium" in said.err and "nearest:" in said.err


def test_a_way_has_its_keys_and_arrives(tapwright: Callable[..., Outcome]) -> None:
    result = tapwright(*WAY, "--json").json["result"]
    assert result["changes"] == len(result["refills"]) == len(result["path"]) > 1
    last = result["path"][-1]
    for name in ("hardness_mmol_l", "alkalinity_meq_l"):
        band = result["reached"][name]
        assert band["low"] - 1e-6 <= last[name] <= band["high"] + 1e-6
    hardness = [entry["hardness_mmol_l"] for entry in result["path"]]
    assert all(abs(b - a) <= 2 / 5.6077 + 1e-6 for a, b in pairwise(hardness))
    page = tapwright(*WAY).out
    assert "never quite arrives" in " ".join(page.split()) and "The tank after each change" in page


def test_topping_off_with_the_source_hardens_the_tank_for_good(tapwright: Callable[..., Outcome]) -> None:
    settles = tapwright(*WAY, "--evaporation", "20 L", "--top-off", "source", "--json").json["result"]["settles"]
    # (1 - 0.4) / 0.4 of 20 L in 400 L of a water of 3 dGH.
    more = settles["source"]["hardness_mmol_l"] - settles["deionised"]["hardness_mmol_l"]
    assert more == pytest.approx(1.5 * 0.05 * 3 / 5.6077, rel=1e-3)


FAULTS = [
    (RECIPE, ("--volume", "0 L"), "--volume: '0 L' is read; more than 0"),
    (RECIPE, ("--volume", "-5 L"), "--volume: '-5 L' is read"),
    (RECIPE, ("--salt", "sodium bicarbonate, purity 120%"), "--salt 4: purity: '120%' is read; more than 0 % to 100 %"),
    (RECIPE, ("--salt", "magnesium sulfate"), "does not say which hydrate"),
    (RECIPE, ("--salt", "sodium chloride, stock 0 g"), "--salt 4: stock: '0 g' is read; more than 0 g to"),
    (RECIPE, ("--salt", "sodium bicarbonate"), "'sodium bicarbonate' stands twice"),
    (RECIPE, ("--salt", "sodium chloride, weight 3"), "'weight' is read; purity, stock and price may follow"),
    (RECIPE, ("--salt", "sodium chloride, price x"), "'x' is read; a price per kilogram from 0"),
    (RECIPE, ("--band", "hardness 9 to 8 dGH"), "the lowest is above the highest"),
    (RECIPE, ("--band", "hardness 9"), "a lowest and a highest are wanted"),
    (RECIPE, ("--band", "softness 1 to 2"), "names no quantity that may have a band"),
    (RECIPE, ("--band", "hardness 8 to 12"), "has no unit"),
    (RECIPE, ("--band", "hardness 1 to 2 dGH", "--band", "hardness up to 3 dGH"), "a band that is given already"),
    (RECIPE, ("--band", "ph aerated 3 to 8"), "'3' is read; a pH from 6 to 10"),
    (RECIPE, ("--spoon", "teaspoon"), "--step, --spoon: both say"),
    (RECIPE[:-2], ("--spoon", "ladle"), "'ladle' is not a spoon known here"),
    (RECIPE[:-2], ("--spoon", "teaspoon", "--salt", "magnesium chloride hexahydrate"), "bulk density"),
    (RECIPE, ("--step", "0 g"), "--step: '0 g' is read; more than 0"),
    (RECIPE, ("--deionised", "0 L"), "--deionised: '0 L' is read; more than 0"),
    (RECIPE, ("--deionised-price", "1"), "given without --deionised"),
    (RECIPE, ("--totes", "0"), "--totes: 0 is read"),
    (RECIPE, ("--prefer", "taste"), "--prefer: 'taste' is read"),
    (RECIPE, ("--target", "atlantis"), "'atlantis' is not a lake known here"),
    (RECIPE, ("--tank", "Rock wall"), "--tank"),
    (RECIPE, ("--from", "tap"), "stands in a household file"),
    (RECIPE, ("--temperature", "60 degC"), "--temperature: '60 degC' is read"),
    (("remineralise", "--volume", "9 L", "--from", SOFT, "--target", "malawi"), (), "--salt: the cupboard is empty"),
    (("remineralise", "--volume", "9 L", "--target", "malawi", *SALTS), (), "--from: not given"),
    (("remineralise", "--volume", "9 L", "--from", SOFT, *SALTS), (), "--target: no target is given"),
    (WAY, ("--change", "0%"), "--change: '0%' is read; more than 0 % to 100 %"),
    (WAY, ("--change", "95%"), "--change: 95% is read"),
    (WAY, ("--volume", "0 L"), "--volume: '0 L' is read"),
    (WAY, ("--limit", "hardness 0 dGH"), "--limit 1: 'hardness 0 dGH' is read; more than 0"),
    (WAY, ("--limit", "speed 3"), "--limit 1: 'speed 3' is read"),
    (WAY, ("--evaporation", "5 L"), "--top-off: not given"),
    (WAY, ("--top-off", "source"), "given without --evaporation"),
    (WAY, ("--evaporation", "500 L", "--top-off", "source"), "evaporation"),
    (WAY, ("--tank", "Rock wall"), "--tank"),
    (WAY, ("--temperature", "50 degC"), "--temperature"),
]  # fmt: skip


@pytest.mark.parametrize(("base", "more", "said"), FAULTS, ids=[" ".join(more) or said for _, more, said in FAULTS])
def test_each_fault_is_one_clear_message(
    base: tuple[str, ...], more: tuple[str, ...], said: str, tapwright: Callable[..., Outcome]
) -> None:
    done = tapwright(*base, *more)
    assert done.code == 2
    assert done.out == ""
    assert said in done.err
    assert "Traceback" not in done.err


def test_all_faults_at_once(tapwright: Callable[..., Outcome]) -> None:
    done = tapwright("remineralise", "--volume", "0 L", "--target", "x", "--salt", "y", "--band", "z", "--prefer", "w")
    for where in ("--volume", "--target", "--salt 1", "--band 1", "--prefer", "--from"):
        assert f"{where}: " in done.err


def test_a_share_that_no_salt_makes_legal_says_the_largest_that_is(tapwright: Callable[..., Outcome]) -> None:
    hard = "hardness 25 dGH, alkalinity 15 dKH, ph 7.4, temperature 25 degC"
    words = [hard if word == SOFT and WAY[place - 1] == "--from" else word for place, word in enumerate(WAY)]
    done = tapwright(*words)
    assert done.code == 3
    assert "--change" in done.err and "hardness" in done.err
