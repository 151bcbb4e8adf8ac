"""The commands `water` and `mix`, and pH in `neutralise`: what they answer, and what they refuse."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from conftest import DEMO, Outcome

Run = Callable[..., Outcome]

KEYS = {
    "ph", "ph_aerated", "co2_times_air", "carbon_mmol_l", "si_calcite", "si_aragonite", "si_dolomite", "si_gypsum",
    "unionised_ammonia_share", "ionic_strength_mol_kg", "conductivity_us_cm", "charge_error_percent", "ions_mmol_l",
}  # fmt: skip
HARD = ("--hardness", "12 dGH", "--alkalinity", "8 dKH", "--ph", "7.4", "--temperature", "25 degC")
SOFT_PART = "100 L of hardness 4 dGH, alkalinity 2 dKH, ph 6.6, temperature 20 degC"
HARD_PART = "50 L of hardness 12 dGH, alkalinity 16 dKH, ph 8.8, temperature 26 degC"


def result(done: Outcome) -> dict[str, Any]:
    assert done.code == 0, done.err
    found: dict[str, Any] = done.json["result"]
    return found


@pytest.mark.parametrize(
    "words",
    [HARD, ("--file", DEMO, "--which", "tap"), ("--file", DEMO, "--which", "tank:Rock wall"),
     ("--file", DEMO, "--which", "refill:Rock wall"), ("--target", "malawi", "--temperature", "25 degC")],
    ids=["readings", "tap", "tank", "refill", "lake"],
)  # fmt: skip
def test_a_water_has_its_keys_wherever_it_comes_from(words: tuple[Any, ...], tapwright: Run) -> None:
    done = tapwright("water", *words, "--json")
    assert done.json["result"].keys() >= KEYS
    assert set(done.json["result"]["ions_mmol_l"]) >= {"calcium", "sodium", "bicarbonate", "carbonate", "sulfate"}
    assert done.code == 0


def test_the_ph_given_is_the_ph_answered_and_air_takes_it_further(tapwright: Run) -> None:
    found = result(tapwright("water", *HARD, "--json"))
    assert found["ph"] == pytest.approx(7.4)
    assert found["ph_aerated"] > 8.3
    assert found["co2_times_air"] > 10
    assert found["co2_times_air_aerated"] == pytest.approx(1.0)
    stuffy = result(tapwright("water", *HARD, "--air", "1000 ppm", "--json"))
    # 1000 ppm against outdoor 426: 2.35 times, 0.35 of pH.
    assert found["ph_aerated"] - stuffy["ph_aerated"] == pytest.approx(0.35, abs=0.02)


def test_ions_given_are_kept_and_charges_told(tapwright: Run) -> None:
    found = result(
        tapwright(
            "water", "--calcium", "40 mg/L", "--magnesium", "6 mg/L", "--sodium", "12 mg/L", "--potassium", "2 mg/L",
            "--chloride", "20 mg/L", "--sulfate", "17.9 mg/L", "--nitrate", "8 mg/L NO3", "--ammonia", "0 mg/L N",
            "--alkalinity", "2 meq/L", "--ph", "7.9", "--temperature", "12 degC", "--json",
        )
    )  # fmt: skip
    assert found["ions_mmol_l"]["calcium"] == pytest.approx(40 / 40.078, rel=1e-4)
    assert found["ions_mmol_l"]["sodium"] == pytest.approx(12 / 22.99, rel=1e-3)
    assert abs(found["charge_error_percent"]) < 1
    assert found["ions_mmol_l"]["bicarbonate"] == pytest.approx(
        2.0, rel=0.02
    )  # at pH 7.9 nearly all alkalinity is that


def test_words_say_clouding_drift_and_ammonia(tapwright: Run) -> None:
    page = tapwright("water", *HARD, "--ammonia", "1 mg/L N").out
    assert "may cloud" in page
    assert "Its pH rises from 7.4 to 8.6" in page
    assert "Do not correct the first reading" in page
    assert "of any ammonia is un-ionised" in page
    assert "Ammonia in this water: 1 mg/L N" in page
    still = tapwright(
        "water", "--hardness", "4 dGH", "--alkalinity", "6 dKH", "--ph", "8.4", "--temperature", "25 degC"
    ).out
    assert "Its pH stays" in still
    falling = tapwright("water", *HARD[:4], "--ph", "9.2", "--temperature", "25 degC").out
    assert "Its pH falls from 9.2" in falling
    bare = tapwright(
        "water", "--hardness", "0 dGH", "--alkalinity", "1 dKH", "--ph", "7", "--temperature", "25 degC"
    ).out
    assert "cannot cloud" in bare


def test_a_stop_finding_leaves_with_exit_code_one(tapwright: Run) -> None:
    assert tapwright("water", *HARD, "--ammonia", "20 mg/L N").code == 1


def test_without_ph_the_figures_are_those_at_rest_and_that_is_said(tapwright: Run) -> None:
    done = tapwright("water", *HARD[:4], "--temperature", "25 degC", "--json")
    assert done.json["result"]["state"] == "at rest with air"
    assert done.json["result"]["ph"] == done.json["result"]["ph_aerated"]
    assert any("pH not given" in note for note in done.json["assumptions"])


def test_the_household_says_the_air_unless_the_option_does(tapwright: Run) -> None:
    house = result(tapwright("water", "--file", DEMO, "--which", "tap", "--json"))
    assert house["co2_times_air_aerated"] == pytest.approx(650 / 425.64)
    outdoor = result(tapwright("water", "--file", DEMO, "--which", "tap", "--air", "425.64 ppm", "--json"))
    assert outdoor["co2_times_air_aerated"] == pytest.approx(1.0)


def test_the_refill_is_that_of_the_plan(tapwright: Run) -> None:
    plan = tapwright("plan", DEMO, "--tank", "Rock wall", "--json").json["result"]["waters"]["refill"]
    found = result(tapwright("water", "--file", DEMO, "--which", "refill:Rock wall", "--json"))
    assert found["ph"] == plan["ph_at_once"]
    assert found["ph_aerated"] == plan["ph_aerated"]
    assert found["conductivity_us_cm"] == plan["conductivity_us_cm"]


def test_mix_answers_at_once_and_in_air(tapwright: Run) -> None:
    done = tapwright("mix", "--part", SOFT_PART, "--part", HARD_PART, "--json")
    found = result(done)
    assert found.keys() >= {"ph_at_once", "ph_aerated", "temperature_c", "ions_mmol_l", "ph_spread", "volume_l"}
    assert 6.6 < found["ph_at_once"] < 8.8
    assert found["temperature_c"] == pytest.approx(22, abs=0.02)  # 100 at 20 and 50 at 26 degC
    assert found["alkalinity_meq_l"] == pytest.approx((100 * 2 + 50 * 16) / 150 * 0.35665, rel=2e-3)
    assert found["ph_spread"] > 0.05


def test_parts_of_a_household_and_deionised_water_mix(tapwright: Run) -> None:
    words = ("mix", "--file", DEMO, "--part", "60 L of tap", "--part", "40 L of deionised, temperature 10 degC")
    found = result(tapwright(*words, "--json"))
    tap = result(tapwright("water", "--file", DEMO, "--which", "tap", "--json"))
    assert found["ions_mmol_l"]["calcium"] == pytest.approx(0.6 * tap["ions_mmol_l"]["calcium"], rel=1e-6)
    whole = tapwright(*words[:3], "--part", "345 L of tank:Rock wall", "--part", "230 L of refill:Rock wall", "--json")
    plan = tapwright("plan", DEMO, "--tank", "Rock wall", "--json").json["result"]["waters"]["tank_after"]
    assert result(whole)["ph_at_once"] == pytest.approx(plan["ph_at_once"], abs=0.005)


def test_the_ph_at_once_is_open_where_a_part_has_none(tapwright: Run) -> None:
    done = tapwright("mix", "--part", SOFT_PART, "--part", HARD_PART.replace("ph 8.8, ", ""), "--json")
    assert done.json["result"]["ph_at_once"] is None
    assert done.json["result"]["ph_aerated"] > 8
    assert any("known at rest with air only" in note for note in done.json["assumptions"])


@pytest.mark.parametrize(
    "words", [("water", *HARD), ("mix", "--part", SOFT_PART, "--part", HARD_PART)], ids=["water", "mix"]
)
def test_pages_keep_to_80_columns(words: tuple[str, ...], tapwright: Run) -> None:
    page = tapwright(*words).out
    assert "What it means" in page
    assert all(len(line) <= 80 and line == line.rstrip() for line in page.splitlines())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("water",), "no water is given. Write --hardness"),
        (("water", *HARD[:6]), "--temperature: not given; pH depends on it."),
        (("water", "--hardness", "12 dGH", "--temperature", "25 degC"), '--alkalinity: not given, nor every other ion'),
        (("water", "--hardness", "12 dGH", "--temperature", "25 degC"), 'Write for example --alkalinity "8 dKH"'),
        (("water", "--alkalinity", "8 dKH", "--temperature", "25 degC"), "--hardness: not given"),
        (("water", *HARD[:4], "--ph", "12", "--temperature", "25 degC"), "--ph: '12' is read; a pH from 4 to 11"),
        (("water", *HARD[:6], "--temperature", "50 degC"), "--temperature: '50 degC' is read; 0 degC to 40 degC is allowed."),
        (("water", "--hardness", "-1 dGH", *HARD[2:]), "--hardness: '-1 dGH' is read; 0 dGH to 112.2 dGH"),
        (("water", *HARD[:2], "--alkalinity", "0.01 dKH", "--ph", "9.8", "--temperature", "25 degC"),
         "--alkalinity: 0.00357 meq/L is read; without any carbon that makes pH"),
        (("water", "--file", DEMO), "--file, --which: one is given without the other."),
        (("water", "--file", DEMO, "--which", "pond"), "--which: 'pond' is read; tap, tank:NAME or refill:NAME"),
        (("water", "--file", DEMO, "--which", "tank:Rok wall"), "--which: there is no tank named 'Rok wall'"),
        (("water", "--file", DEMO, "--which", "tap", "--ph", "7"), "--ph: given beside a household file."),
        (("water", "--target", "malavi", "--temperature", "25 degC"), "'malavi' is not a lake known here. Write 'malawi'"),
        (("water", "--target", "malawi"), "--temperature: not given; the analysis of a lake holds none."),
        (("water", "--target", "malawi", "--ph", "8"), "--target: given beside another water."),
        (("water", *HARD, "--air", "5 ppm"), "--air: '5 ppm' is read; 200 ppm to 20000 ppm"),
        (("water", *HARD, "--air", "700"), "--air: '700' has no unit"),
        (("mix", "--part", SOFT_PART), "one water is no mixture"),
        (("mix", "--part", "60 litres", "--part", HARD_PART), "--part 1: '60 litres' is read; a volume 'of' a water"),
        (("mix", "--part", "60 L of tap", "--part", HARD_PART), "--part 1: 'tap' stands in a household file"),
        (("mix", "--part", "60 L of rain", "--part", HARD_PART), "--part 1: 'rain' is no reading and no water known here"),
        (("mix", "--part", "60 L of deionised", "--part", HARD_PART), "deionised water wants a temperature"),
        (("mix", "--part", "0 L of hardness 1 dGH", "--part", HARD_PART), "--part 1: '0 L' is read; more than 0"),
        (("water", "--hardness", "1e9 dGH", *HARD[2:]), "--hardness: '1e9 dGH' is read; 0 dGH to 112.2 dGH"),
        (("water", *HARD[:4], "--ph", "4", "--temperature", "25 degC"), "--ph: 4 beside 8.0 dKH takes"),
        (("mix", "--part", "1 L of ph 7, ph 8", "--part", HARD_PART), "--part 1: ph is given twice, '7' and '8'. Keep one."),
        (("mix", "--part", "1 L of hardness 4,5 dGH", "--part", HARD_PART), "has a comma; the decimal sign is a point"),
        (("mix", "--part", "9 L of hardnes 4 dGH", "--part", HARD_PART), "'hardnes 4 dGH' is no reading"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_refused_in_one_line(words: tuple[Any, ...], said: str, tapwright: Run) -> None:
    done = tapwright(*words)
    assert done.code == 2
    assert said in done.err
    assert "Traceback" not in done.err
    assert done.out == ""


def test_every_faulty_part_is_named_at_once(tapwright: Run) -> None:
    done = tapwright("mix", "--part", "60 L of rain", "--part", "10 gallons of hardness 4 dGH, temperature 20 degC")
    assert "--part 1: " in done.err
    assert "--part 2: " in done.err


def test_neutraliser_tells_the_ph_it_leaves(tapwright: Run) -> None:
    words = ("neutralise", "--volume", "400 L", "--total-chlorine", "2.4 mg/L", "--agent", "sodium metabisulfite",
             "--temperature", "15 degC", "--tap-hardness", "3 dGH", "--tap-alkalinity", "2 dKH")  # fmt: skip
    found = result(tapwright(*words, "--tap-ph", "7.6", "--json"))
    assert found["ph_at_once"] < 7.6 < found["ph_aerated"]
    assert found["unionised_ammonia_aerated_mg_n_l"] < found["ammonia_mg_n_l"]
    assert found["alkalinity_meq_l"] == pytest.approx(2 * 0.35665 + found["alkalinity_change_meq_l"], rel=1e-3)
    unknown = result(tapwright(*words, "--json"))
    assert unknown["ph_at_once"] is None
    assert unknown["ph_aerated"] == pytest.approx(found["ph_aerated"], abs=0.01)
    assert "at rest with outdoor air" in tapwright(*words).out


def test_neutraliser_without_the_taps_water_says_nothing_of_ph(tapwright: Run) -> None:
    done = tapwright(
        "neutralise", "--volume", "400 L", "--total-chlorine", "2.4 mg/L", "--agent", "ascorbic acid", "--json"
    )
    assert "ph_at_once" not in done.json["result"]
    partly = tapwright("neutralise", "--volume", "400 L", "--total-chlorine", "2.4 mg/L", "--agent", "ascorbic acid",
                       "--temperature", "15 degC", "--tap-alkalinity", "2 dKH")  # fmt: skip
    assert partly.code == 2
    assert "--tap-hardness" in partly.err


def test_a_household_with_a_ph_no_water_has_is_refused_at_its_line(tmp_path: Path, tapwright: Run) -> None:
    text = (
        DEMO.read_text(encoding="utf-8")
        .replace('alkalinity = "2.4 dKH"', 'alkalinity = "0 dKH"')
        .replace("ph = 7.7", "ph = 9.6")
    )
    file = tmp_path / "house.toml"
    file.write_text(text, encoding="utf-8")
    done = tapwright("check", file)
    assert done.code == 2
    assert f"{file}:17: tap.alkalinity: 0 meq/L is read; without any carbon that makes pH 7." in done.err


def test_parts_are_named_by_their_number_and_sources_in_any_case(tapwright: Run) -> None:
    parts = [word for _ in range(9) for word in ("--part", SOFT_PART)]
    done = tapwright("mix", *parts, "--part", "9 L of rain", "--part", "9 L of snow")
    assert "--part 10: 'rain'" in done.err
    assert "--part 11: 'snow'" in done.err
    named = ("--part", "9 L of Tap", "--part", "9 L of Deionised, temperature 20 degC")
    assert tapwright("mix", "--file", DEMO, *named).code == 0


def test_a_tank_whose_name_holds_a_comma_can_be_named(tmp_path: Path, tapwright: Run) -> None:
    file = tmp_path / "house.toml"
    file.write_text(DEMO.read_text(encoding="utf-8").replace('"Shell bay"', '"Shell, bay"'), encoding="utf-8")
    done = tapwright("mix", "--file", file, "--part", "9 L of tank:Shell, bay", "--part", "9 L of tap")
    assert done.code == 0
    assert "tank 'Shell, bay'" in done.out


def test_a_computed_ph_carries_its_give_or_take_wherever_it_is_shown(tapwright: Run) -> None:
    refill = tapwright("water", "--file", DEMO, "--which", "refill:Shell bay", "--json").json["result"]
    plan = tapwright("plan", DEMO, "--tank", "Shell bay", "--json").json["result"]["waters"]["refill"]
    assert refill["ph_spread"] == plan["ph_spread"] > 0
    assert refill["state"] == "as computed"
    words = ("--file", DEMO, "--part", "9 L of refill:Shell bay", "--part", "9 L of deionised, temperature 20 degC")
    assert result(tapwright("mix", *words, "--json"))["ph_spread"] > 0
    assert result(tapwright("water", *HARD, "--json"))["ph_spread"] is None  # it was read


def test_where_a_test_a_little_off_is_no_water_the_other_side_is_counted(tapwright: Run) -> None:
    parts = ("60 L of hardness 4 dGH, alkalinity 1 dKH, ph 10.45, temperature 25 degC",
             "60 L of hardness 4 dGH, alkalinity 1 dKH, ph 7, temperature 25 degC")  # fmt: skip
    found = result(tapwright("mix", "--part", parts[0], "--part", parts[1], "--json"))
    assert found["ph_spread"] > 0.2  # half a degree of one is far more than that


def test_a_doubtful_ph_is_said_of_every_water(tapwright: Run) -> None:
    little = tapwright("water", *HARD[:4], "--ph", "9.6", "--temperature", "25 degC", "--json").json["findings"]
    assert [finding["code"] for finding in little] == ["less_co2_than_air"]
    much = tapwright("mix", "--part", SOFT_PART.replace("6.6", "5.3"), "--part", HARD_PART, "--json").json["findings"]
    assert [finding["code"] for finding in much] == ["much_co2"]


def test_a_tank_stands_where_its_stock_keeps_it(tapwright: Run) -> None:
    page = " ".join(tapwright("water", "--file", DEMO, "--which", "tank:Rock wall").out.split())
    assert "In its tank it keeps pH 8.2" in page
    assert "Do not correct" not in page


def test_commands_agree_on_ammonia_that_air_would_make_poisonous(tmp_path: Path, tapwright: Run) -> None:
    text = DEMO.read_text(encoding="utf-8").replace("ph = 8.2", "ph = 6.8").replace('"0 mg/L N"', '"3 mg/L N"')
    file = tmp_path / "house.toml"
    file.write_text(text, encoding="utf-8")
    assert tapwright("plan", file, "--tank", "Rock wall").code == 1
    assert tapwright("water", "--file", file, "--which", "tank:Rock wall").code == 1
    parts = ("--part", "345 L of tank:Rock wall", "--part", "230 L of refill:Rock wall")
    assert tapwright("mix", "--file", file, *parts).code == 1


SOFT_TAP = ("--tap-hardness", "3 dGH", "--tap-alkalinity", "1 dKH", "--tap-ph", "7.2", "--temperature", "25 degC")


def test_a_surplus_of_acid_lowers_the_ph_further(tapwright: Run) -> None:
    words = ("neutralise", "--volume", "400 L", "--total-chlorine", "2 mg/L", "--free-chlorine", "2 mg/L",
             "--agent", "ascorbic acid", *SOFT_TAP)  # fmt: skip
    exact, surplus = (result(tapwright(*words, *more, "--json")) for more in ((), ("--dose", "10 g")))
    # 8.013 g of 176.12 g/mol in 400 L: 0.114 mmol/L, one equivalent each.
    extra = surplus["alkalinity_change_meq_l"] - exact["alkalinity_change_meq_l"]
    assert extra == pytest.approx(-(10 - exact["agent_g"]) / 176.124 / 400 * 1000, rel=1e-3)
    assert surplus["ph_at_once"] < exact["ph_at_once"] - 0.3


def test_a_dose_that_uses_up_the_alkalinity_is_a_caution(tapwright: Run) -> None:
    words = ("neutralise", "--volume", "400 L", "--total-chlorine", "2 mg/L", "--free-chlorine", "2 mg/L",
             "--agent", "sodium bisulfite", "--tap-hardness", "3 dGH", "--tap-alkalinity", "0.1 dKH",
             "--tap-ph", "6.5", "--temperature", "25 degC")  # fmt: skip
    found = tapwright(*words, "--json").json["findings"]
    assert "ph_low" in [finding["code"] for finding in found]


def test_ammonia_is_judged_where_it_is_worst_and_the_taps_own_temperature_counts(tapwright: Run) -> None:
    words = ("neutralise", "--volume", "400 L", "--total-chlorine", "2 mg/L", "--agent", "sodium thiosulfate pentahydrate",
             "--tap-hardness", "3 dGH", "--tap-alkalinity", "2.4 dKH", "--tap-ph", "7.7", "--temperature", "26 degC",
             "--ph", "7.0")  # fmt: skip
    done = tapwright(*words, "--json").json
    assert "ammonia" in [finding["code"] for finding in done["findings"]]
    assert any("to tetrathionate" in note for note in done["assumptions"])
    cold = tapwright(*words, "--tap-temperature", "10 degC", "--json").json["result"]
    # Read in cold water, the same pH is less carbon and, warmed, a lower pH: 0.08 by the constants' own temperature.
    assert cold["ph_at_once"] < done["result"]["ph_at_once"] - 0.05
