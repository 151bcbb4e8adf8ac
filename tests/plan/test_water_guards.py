"""What a plan says of pH and what follows from it: ammonia hidden by a low pH, CO2 of the tap, clouding, odd readings."""

from __future__ import annotations

from typing import Any

import pytest
from conftest import DEMO
from houses import HOUSE, NAMES, changed, codes
from hypothesis import given, settings
from hypothesis import strategies as st

from tapwright.chemistry.plan.guards.water import clouding_words
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import Plan, plan
from tapwright.chemistry.water.equilibrium import at_air, at_ph, equilibrium_of


def told(made: Plan, code: str) -> str:
    (finding,) = [finding for finding in made.findings if finding.code == code]
    return finding.text


def with_tank(**readings: Any) -> Household:
    """The demo with other readings of its first tank."""
    tank = HOUSE.tanks[0]
    return changed(HOUSE, tank={"readings": tank.readings.model_copy(update=readings)})


def test_a_low_ph_hides_ammonia_until_the_refill_lifts_it() -> None:
    # An old tank that has eaten its alkalinity: 1.2 mg/L N at pH 6.5, 0.2 % of it un-ionised (Emerson 1975) and under the
    # chronic criterion of 1.6 mg/L N (US EPA 2013, 25.5 degC). Mixed with a refill of 6 dKH it stands near pH 7.9 and, once
    # the room's air has been through it, 8.1, where the criterion is 0.5 and the share thirty times as large.
    made = plan(with_tank(ph=6.5, ammonia_mg_n_l=1.2, alkalinity_meq_l=0.1), NAMES[0], 0.6)
    text = told(made, "ammonia_by_ph")
    assert "pH may go from 6.5 to 8.1" in text
    assert "small changes, a day or more apart" in text
    states, waters = made.figures.states, made.figures.waters
    before = waters.tank_before.ammonia_mg_n_l * states.tank_before.first.unionised_ammonia_share
    after = waters.tank_after.ammonia_mg_n_l * states.tank_after.most_alkaline.unionised_ammonia_share
    assert after > 5 * before


def test_the_same_ammonia_at_a_steady_ph_is_not_laid_at_the_changes_door() -> None:
    made = plan(with_tank(ammonia_mg_n_l=1.2), NAMES[0])
    assert "ammonia_by_ph" not in codes(made)
    assert codes(made)["ammonia"] in ("caution", "stop")


def test_a_tap_full_of_co2_dips_the_tank_and_is_aired_first() -> None:
    made = plan(changed(HOUSE, tap={"ph": 6.3}), NAMES[0], 0.8)
    text = told(made, "ph_step")
    assert "let air bubble through the tote" in text
    once, rest = made.figures.states.tank_after.at_once, made.figures.states.tank_after.at_rest
    assert once is not None
    assert once.ph < made.figures.waters.tank_before.ph - 0.5 < rest.ph


def test_a_small_dip_is_a_note_that_nobody_should_correct() -> None:
    made = plan(HOUSE, NAMES[1])
    assert codes(made)["ph_dip"] == "note"
    assert "Do not correct the first reading" in told(made, "ph_dip")
    assert "ph_step" not in codes(made)


def test_a_refill_that_would_cloud_is_a_caution() -> None:
    # 12 dKH with 18 dGH of calcium: far beyond the +1.0 from which it is judged to.
    hard = {"calcium_mg_l": 120.0, "hardness_mmol_l": 3.2, "alkalinity_meq_l": 4.3, "sodium_mg_l": None}
    made = plan(changed(HOUSE, tap=hard), NAMES[0])
    assert "cloud" in told(made, "clouding")
    assert made.figures.states.refill.most_alkaline.si_calcite > 1.0
    assert "clouding" not in codes(plan(HOUSE, NAMES[0]))


def test_words_of_clouding_follow_the_limits_and_the_lakes_stay_clear() -> None:
    assert clouding_words(0.9) == "stays clear"
    assert clouding_words(1.2).startswith("may cloud")
    assert clouding_words(1.6) == "will cloud"


def test_a_tank_with_less_co2_than_air_is_a_doubtful_reading() -> None:
    # 6.3 dKH at rest with outdoor air stands at pH 8.5 (test below); pH 9.1 would take a quarter of the CO2.
    assert float(at_air(plan(HOUSE, NAMES[0]).figures.waters.tank_before).ph) == pytest.approx(8.47, abs=0.05)
    assert codes(plan(with_tank(ph=9.1), NAMES[0]))["less_co2_than_air"] == "caution"
    assert "less_co2_than_air" not in codes(plan(HOUSE, NAMES[0]))


def test_without_the_taps_ph_only_the_ph_at_rest_is_known() -> None:
    made = plan(changed(HOUSE, tap={"ph": None}), NAMES[0])
    assert made.figures.states.refill.at_once is None
    assert made.figures.states.tank_after.at_once is None
    assert made.figures.states.tank_after.at_rest.ph > 8
    assert any("tap: pH not given" in note for note in made.assumptions)


def test_without_the_tanks_ph_ammonia_is_judged_at_the_highest_it_can_be() -> None:
    made = plan(with_tank(ph=None, ammonia_mg_n_l=1.0), NAMES[0])
    rest = made.figures.states.tank_after.at_rest
    assert f"at pH {rest.ph:.1f}" in told(made, "ammonia")
    assert any("which is the highest it can be" in note for note in made.assumptions)


def test_the_air_of_the_room_decides_where_the_refill_comes_to_rest() -> None:
    airy, stuffy = (plan(HOUSE.model_copy(update={"room_co2_ppm": ppm}), NAMES[0]) for ppm in (420.0, 1000.0))
    refills = [made.figures.states.refill.at_rest for made in (airy, stuffy)]
    # Fourfold CO2 takes 0.6 off; 1000 against 420 ppm about 0.35.
    assert refills[0].ph - refills[1].ph == pytest.approx(0.35, abs=0.03)
    unknown = plan(HOUSE.model_copy(update={"room_co2_ppm": None}), NAMES[0])
    assert any("room_co2 not given" in note and "1000 ppm" in note for note in unknown.assumptions)


@settings(max_examples=25)
@given(st.floats(6.5, 8.5), st.floats(7.4, 8.8), st.floats(0.1, 0.8))
def test_waters_of_a_plan_keep_their_carbon_and_their_readings(tap_ph: float, tank_ph: float, share: float) -> None:
    house = changed(
        HOUSE, tap={"ph": tap_ph}, tank={"readings": HOUSE.tanks[0].readings.model_copy(update={"ph": tank_ph})}
    )
    made = plan(house, NAMES[0], share)
    waters, states, figures = made.figures.waters, made.figures.states, made.figures
    assert states.tap.first.ph == pytest.approx(tap_ph)
    assert states.tank_before.first.ph == pytest.approx(tank_ph)
    assert states.tank_before.at_rest.ph == pytest.approx(tank_ph, abs=0.002)
    # The refill holds the tap's carbon and one more for every bicarbonate put in (84.006 g/mol, 99 % pure in the demo).
    grams = sum(gram for name, gram in figures.recipe.grams.items() if name == "sodium bicarbonate")
    brought = 0.99 * grams / 84.006 * 1000 / figures.change_volume_l
    assert waters.refill.carbon_mmol_l == pytest.approx(at_ph(waters.tap).carbon_mmol_l + brought, rel=1e-6)
    once = equilibrium_of(waters.tank_after)
    assert once is not None
    mixed = share * waters.refill.carbon_mmol_l + (1 - share) * at_ph(waters.tank_before).carbon_mmol_l
    assert waters.tank_after.carbon_mmol_l == pytest.approx(mixed, rel=2e-3)  # by volume; densities differ that much


def test_the_demo_file_gives_the_rooms_air() -> None:
    assert 'room_co2 = "650 ppm"' in DEMO.read_text(encoding="utf-8")
    assert HOUSE.room_co2_ppm == 650.0


def test_a_change_that_takes_ammonia_out_is_no_reason_to_stop() -> None:
    # pH 9 before and after: the change dilutes what stands there, above the one-hour limit of 0.4 mg/L N (US EPA 2013).
    made = plan(with_tank(ph=9.0, ammonia_mg_n_l=1.5, alkalinity_meq_l=7.0), NAMES[0], 0.3)
    assert codes(made)["ammonia"] == "caution"
    assert "The change takes some out" in told(made, "ammonia")


def test_ammonia_that_the_refill_brings_is_a_reason_to_change_less() -> None:
    made = plan(with_tank(ph=8.8, ammonia_mg_n_l=0.0), NAMES[0], 0.9)
    assert "A smaller change brings less" in told(made, "ammonia")


def test_a_tote_full_of_co2_is_aired_in_the_steps() -> None:
    made = plan(changed(HOUSE, tap={"ph": 6.3}), NAMES[0], 0.8)
    ids = [step.id for step in made.steps]
    assert ids.index("tote_1_salts") < ids.index("tote_1_air") < ids.index("tote_1_check")
    check = next(step.text for step in made.steps if step.id == "tote_1_check")
    assert "after the airing" in check
    assert "do not correct" not in check
    assert not any("_air" in step.id for step in plan(HOUSE, NAMES[0]).steps)


def test_more_co2_than_fish_live_in_is_a_doubtful_reading() -> None:
    # 6.3 dKH at pH 6.3: 10^(8.5 - 6.3) times the CO2 it would have in air.
    assert codes(plan(with_tank(ph=6.3), NAMES[0]))["much_co2"] == "caution"
    assert "much_co2" not in codes(plan(HOUSE, NAMES[0]))


def test_a_page_says_none_for_a_mineral_that_cannot_form(tapwright: Any, tmp_path: Any) -> None:
    text = DEMO.read_text(encoding="utf-8").replace('hardness = "4.3 dGH"', 'hardness = "0 dGH"')
    file = tmp_path / "house.toml"
    file.write_text(text, encoding="utf-8")
    page = tapwright("plan", file, "--tank", "Rock wall").out
    (row,) = [line for line in page.splitlines() if line.startswith("  Calcite index")]
    assert row.split()[-2] == "none"
    assert "inf" not in row
