"""What each guard says, at figures worked out beside it; and the parts of a plan that only few households use."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import DEMO, Outcome
from houses import HOUSE, NAMES, changed, codes

from tapwright.chemistry.findings import Finding
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import Plan, plan
from tapwright.chemistry.substances import salt
from tapwright.cli.files.household_file import load


def found(made: Plan, code: str) -> Finding:
    """The one finding of that code."""
    (finding,) = [finding for finding in made.findings if finding.code == code]
    return finding


def edited(tmp_path: Path, *edits: tuple[str, str]) -> Household:
    """The demo's file with some text replaced."""
    content = DEMO.read_text(encoding="utf-8")
    for old, new in edits:
        assert old in content
        content = content.replace(old, new, 1)
    path = tmp_path / "house.toml"
    path.write_text(content, encoding="utf-8")
    return load(path)


def test_a_label_doses_an_agent_that_has_no_stoichiometry(tmp_path: Path) -> None:
    label = 'label = { amount = "5 mL", volume = "40 L", chlorine = "2 mg/L" }'
    house = edited(
        tmp_path,
        ('agent = "sodium thiosulfate pentahydrate"\npurity = "99%"\nstock = "450 g"\nexcess = "10%"',
         f'agent = "sodium hydroxymethanesulfonate"\n{label}'),
        ('[[neutraliser]]\nagent = "ascorbic acid"\nstock = "200 g"\n', ""),
    )  # fmt: skip
    made = plan(house, NAMES[0])
    # 114.9 L against 1.9 mg/L: 5 mL x 114.9 / 40 x 1.9 / 2 = 13.64 mL, read off as 14 (half millilitres, rounded up).
    assert made.figures.neutraliser.per_tote_ml == pytest.approx(14.0)
    assert made.figures.neutraliser.per_tote_g is None
    assert codes(made)["label_dose"] == "caution"
    assert "put 14 mL of sodium hydroxymethanesulfonate" in next(
        s.text for s in made.steps if s.id == "tote_1_neutralise"
    )


def test_a_label_beside_a_stoichiometric_dose_is_said_to_be_unused(tmp_path: Path) -> None:
    label = 'excess = "10%"\nlabel = { amount = "1 g", volume = "100 L", chlorine = "2 mg/L" }'
    made = plan(edited(tmp_path, ('excess = "10%"', label)), NAMES[0])
    assert "The label gives 5 g per g of chlorine, the chemistry 7" in found(made, "label_not_used").text
    assert made.figures.neutraliser.per_tote_g == 2.0


@pytest.mark.parametrize(
    ("calcium", "magnesium", "remedy"), [("18 mg/L", "0.5 mg/L", "magnesium"), ("2 mg/L", "16 mg/L", "calcium")]
)
def test_a_ratio_missed_names_the_salt_that_mends_it(tmp_path: Path, calcium: str, magnesium: str, remedy: str) -> None:
    water = f'hardness = "3.9 dGH"\ncalcium = "{calcium}"\nmagnesium = "{magnesium}"'
    house = edited(tmp_path, ('hardness = "3.2 dGH"\ncalcium = "18.5 mg/L"', water))
    made = plan(house.model_copy(update={"salts": house.salts[:1]}), NAMES[0])
    ratio = [f.text for f in made.findings if f.code == "band_missed" and "calcium to magnesium" in f.text]
    assert len(ratio) == 1
    assert re.search(rf"get [\d.]+ g {remedy}", found(made, "bands_conflict").text)


def test_a_missed_band_is_given_in_the_units_of_the_test_kit() -> None:
    # The tap has 2.4 dKH, and the neutraliser brings (0.2 x 1 + 1.7 x 2) / 70.9 meq/L x 2.8039 = 0.14 dKH more; the
    # band of a lake of 2.36 meq/L less 15 % begins at 5.62 dKH.
    miss = found(plan(HOUSE.model_copy(update={"salts": HOUSE.salts[1:]}), NAMES[0]), "band_missed")
    assert miss.unit == "dKH"
    assert miss.value == pytest.approx(2.54, abs=0.01)
    assert miss.limit == pytest.approx(2.36 * 0.85 * 2.80385, abs=0.005)


def test_nitrate_is_judged_by_the_worse_of_now_and_for_good() -> None:
    # 45 % of 38 mg/L leaves 23.2, 37.2 before the next: under 40; but 20 / 0.45 + 5 = 49 for good.
    tank = changed(HOUSE, tank={"nitrate_rise_mg_l": 20.0})
    assert found(plan(tank, NAMES[0], 0.45), "nitrate_over_ceiling").value == pytest.approx(5 + 20 / 0.45)
    # 20 % of 60 mg/L leaves 49, 51 before the next; for good only 5 + 2 / 0.2 = 15.
    readings = HOUSE.tanks[0].readings.model_copy(update={"nitrate_mg_l": 60.0})
    tank = changed(HOUSE, tank={"nitrate_rise_mg_l": 2.0, "readings": readings})
    assert found(plan(tank, NAMES[0], 0.2), "nitrate_over_ceiling").value == pytest.approx(60 * 0.8 + 5 * 0.2 + 2)


def test_a_jump_of_conductivity_is_said_in_percent() -> None:
    readings = HOUSE.tanks[0].readings.model_copy(update={"conductivity_us_cm": 900.0})
    step = found(plan(changed(HOUSE, tank={"readings": readings}), NAMES[0], 0.5), "conductivity_step")
    # Half of 900 replaced by some 290: down to about 595, a third less.
    assert step.value == pytest.approx(100 * (1 - 595 / 900), abs=3)
    assert "conductivity_step" not in codes(plan(HOUSE, NAMES[0]))


def test_what_is_wrong_with_the_taps_report_is_said_in_the_plan(tmp_path: Path) -> None:
    house = edited(tmp_path, ('chloride = "13 mg/L"', 'chloride = "60 mg/L"'))
    assert found(plan(house, NAMES[0]), "charge_imbalance").text.startswith("tap: the report does not balance")


def test_the_filter_is_counted_from_its_plug_to_its_plug() -> None:
    made = plan(changed(HOUSE, tote={"volume_l": 60.0}), NAMES[0])
    at = {step.id: step for step in made.steps}
    still = at["filter_on"].start_minute - at["filter_off"].end_minute
    assert found(made, "filter_off_long").value == pytest.approx(still)
    assert still > at["fill_end"].end_minute - at["drain_start"].start_minute


def test_hot_water_is_drawn_from_the_store_tote_after_tote() -> None:
    # Three totes of some 26 L hot each from a store of 30 L: what the heater gives in the pauses does for the second, and
    # the third has to wait.
    made = plan(changed(HOUSE, tote={"volume_l": 80.0}, hot_water={"store_l": 30.0}), NAMES[0])
    first, second, third = made.figures.hot_waits_min
    assert first == second == 0
    assert third > 0
    stronger = changed(HOUSE, tote={"volume_l": 80.0}, hot_water={"store_l": 30.0, "heater_power_kw": 6.0})
    assert plan(stronger, NAMES[0]).figures.hot_waits_min[2] < third


def test_a_scale_for_flour_is_a_stop_for_a_neutraliser() -> None:
    # 1.7 g a tote weighed in steps of 100 g is 58 times too much.
    assert codes(plan(changed(HOUSE, scale={"resolution_g": 100.0}), NAMES[0]))["coarse_scale"] == "stop"
    assert codes(plan(changed(HOUSE, scale={"resolution_g": 5.0}), NAMES[0]))["coarse_scale"] == "caution"


def test_totes_without_number_have_no_answer() -> None:
    from tapwright.chemistry.errors import NoAnswer

    with pytest.raises(NoAnswer, match="would take 46 totes of 5 L"):
        plan(changed(HOUSE, tote={"volume_l": 5.0}), NAMES[0])


@pytest.mark.parametrize(("height_m", "words"), [(0.20, "should stay above them"), (0.30, "The water falls to them")])
def test_heaters_within_five_centimetres_of_the_low_level_count_as_reached(height_m: float, words: str) -> None:
    # Drained to 34 cm: 20 cm stays covered, 30 cm is within the margin of 5.
    made = plan(changed(HOUSE, tank={"heater_height_m": height_m}), NAMES[0])
    assert words in next(step.text for step in made.steps if step.id == "heater_off")


def test_hardness_salts_and_bicarbonates_go_into_two_buckets() -> None:
    text = next(step.text for step in plan(HOUSE, "Shell bay").steps if step.id == "tote_1_salts")
    first, second = text.split("Dissolve")[1:]
    assert "magnesium sulfate heptahydrate" in first and "sodium bicarbonate" not in first
    assert "sodium bicarbonate" in second


def test_a_salt_that_wants_care_says_so() -> None:
    gypsum = HOUSE.salts[1].model_copy(update={"name": salt("gypsum")})
    cupboard = [
        HOUSE.salts[0],
        gypsum,
        HOUSE.salts[1].model_copy(update={"name": salt("magnesium chloride hexahydrate")}),
    ]
    readings = HOUSE.tap.model_copy(update={"calcium_mg_l": 1.0, "hardness_mmol_l": 0.1})
    made = plan(HOUSE.model_copy(update={"salts": cupboard, "tap": readings}), NAMES[0])
    text = next(step.text for step in made.steps if step.id == "tote_1_salts")
    assert "Calcium sulfate dihydrate dissolves very slowly" in text


def test_json_gives_minutes_of_all_totes_and_the_clock(tapwright: Callable[..., Outcome]) -> None:
    result = tapwright("plan", DEMO, "--tank", "Rock wall", "--start", "18:30", "--json").json["result"]
    pumps = sum(s["minutes"] for s in result["steps"] if s["id"].endswith("_pump") or s["id"] == "fill_end")
    assert result["durations"]["fill_min"] == pytest.approx(pumps)
    drains = sum(s["minutes"] for s in result["steps"] if s["id"] in ("drain_start", "drain_end"))
    assert result["durations"]["drain_min"] == pytest.approx(drains)
    assert result["steps"][0]["clock"] == "18:30"


def test_purity_on_the_command_line_takes_more(tapwright: Callable[..., Outcome]) -> None:
    words = ("neutralise", "--volume", "100 L", "--total-chlorine", "2 mg/L", "--free-chlorine", "2 mg/L",
             "--agent", "sodium sulfite", "--json")  # fmt: skip
    # 0.2 g Cl2 x 126.037 / 70.900 = 0.35554 g, at half purity twice that.
    assert tapwright(*words).json["result"]["agent_g"] == pytest.approx(0.35554, abs=1e-4)
    assert tapwright(*words, "--purity", "50%").json["result"]["agent_g"] == pytest.approx(0.71108, abs=2e-4)
