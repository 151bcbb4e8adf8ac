"""One invented household, every figure of its plan worked out by hand from first principles beside it."""

from __future__ import annotations

import pytest

from tapwright.chemistry.plan.planner import Plan, plan
from tapwright.cli.files.household_file import load

HOUSE = """
room_temperature = "16 degC"
[tap]
temperature = "10 degC"
flow = "20 L/min"
total_chlorine = "2 mg/L"
free_chlorine = "0.5 mg/L"
chlorine_to_nitrogen = 5
calcium = "20 mg/L"
magnesium = "2.4 mg/L"
sodium = "14 mg/L"
potassium = "0 mg/L"
chloride = "20 mg/L"
sulfate = "19.2 mg/L"
alkalinity = "0.7 meq/L"
nitrate = "10 mg/L NO3"
[hot_water]
temperature = "60 degC"
store = "60 L"
heater_power = "2 kW"
[tote]
volume = "150 L"
mass = "10 kg"
height = "50 cm"
[pump]
maximum_flow = "60 L/min"
maximum_head = "4 m"
[hose]
bore = "32 mm"
length = "3 m"
drain_lift = "0 cm"
fill_lift = "120 cm"
[scale]
resolution = "0.5 g"
[[neutraliser]]
agent = "sodium thiosulfate pentahydrate"
purity = "80%"
excess = "25%"
solution = "100 g/L"
[[salt]]
name = "potassium bicarbonate"
purity = "80%"
[[tank]]
name = "Worked"
volume = "500 L"
live_water = "80%"
water_height = "50 cm"
overflow_height = "55 cm"
heater_height = "20 cm"
nitrate_ceiling = "60 mg/L NO3"
nitrate_rise = "20 mg/L NO3"
[tank.bands]
hardness = ["0.5 mmol/L", "0.7 mmol/L"]
alkalinity = ["2 meq/L", "3 meq/L"]
[tank.readings]
temperature = "25 degC"
hardness = "0.6 mmol/L"
alkalinity = "2.5 meq/L"
nitrate = "70 mg/L NO3"
ph = 8
"""


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    path = tmp_path_factory.mktemp("worked") / "house.toml"
    path.write_text(HOUSE, encoding="utf-8")
    return plan(load(path), "Worked")


def text(made: Plan, step: str) -> str:
    return next(entry.text for entry in made.steps if entry.id == step)


def test_share_and_totes(worked: Plan) -> None:
    # Now: (70 + 20 - 60) / (70 - 10) = 0.5; for good: 20 / (60 - 10) = 0.4. Half of 500 L x 80 %.
    figures = worked.figures
    assert figures.change_share == 0.5
    assert figures.change_volume_l == pytest.approx(200)
    assert (figures.totes.count, figures.totes.volume_l) == (2, pytest.approx(100))
    assert figures.low_level_m == pytest.approx(0.25)
    after = figures.course
    assert after.after_mg_l == pytest.approx(40)  # (70 + 10) / 2
    assert after.before_next_mg_l == pytest.approx(60)
    assert after.settled_peak_mg_l == pytest.approx(50)  # 10 + 20 / 0.5
    assert [round(course.change_share, 2) for course in figures.nitrate] == [0.4, 0.5, 0.6]


def test_neutraliser(worked: Plan) -> None:
    # One tote: 100 L x 2 mg/L = 0.2 g Cl2; two moles of pentahydrate (248.172) to one of Cl2 (70.900): 7.0006 g/g;
    # 1.4001 g pure, x 1.25 / 0.80 = 2.1877 g, of 100 g/L: 21.88 mL, read off in half millilitres: 22.
    chosen = worked.figures.neutraliser
    assert chosen.dose.agent_g == pytest.approx(2.1877, abs=2e-4)
    assert chosen.per_tote_ml == pytest.approx(22.0)
    assert chosen.in_all_ml == pytest.approx(44.0)
    assert chosen.per_tote_g == pytest.approx(2.2)
    assert chosen.dose.chlorine_left_mg_l == 0
    # 1.5 mg/L combined / 5 = 0.3 mg N/L, and half of it after the change.
    assert worked.figures.waters.refill.ammonia_mg_n_l == pytest.approx(0.3)
    assert worked.figures.waters.tank_after.ammonia_mg_n_l == pytest.approx(0.15, rel=2e-3)
    assert "put 22 mL of sodium thiosulfate pentahydrate solution (100 g/L)" in text(worked, "tote_1_neutralise")
    assert "stir for 5 minutes" in text(worked, "tote_1_neutralise")  # chloramine


def test_salts(worked: Plan) -> None:
    # Free 0.5 and combined 1.5 mg/L through thiosulfate: (0.5 x 1 + 1.5 x 2) / 70.900 = 0.0494 meq/L of alkalinity.
    # To 2 meq/L lack 2 - 0.7 - 0.0494 = 1.2506 meq/L; potassium bicarbonate 100.114 g/mol: 0.12521 g/L, at 80 % 0.15651
    # g/L, 15.651 g for 100 L, and the next half gram is 16.
    figures = worked.figures
    assert figures.salts_per_tote_g == {"potassium bicarbonate": pytest.approx(16.0)}
    assert figures.recipe.grams == {"potassium bicarbonate": pytest.approx(32.0)}
    gained = 16 * 0.8 / 100.114 * 1000 / 100
    assert figures.waters.refill.alkalinity_meq_l == pytest.approx(0.7494 + gained, abs=1e-4)
    assert figures.waters.refill.potassium_mmol_l == pytest.approx(gained, rel=1e-4)
    # 20 mg/L Ca and 2.4 mg/L Mg: 0.4990 + 0.0987 mmol/L, inside the band.
    assert figures.waters.refill.hardness_mmol_l == pytest.approx(0.5978, abs=1e-4)
    assert not figures.recipe.missed


def test_blend(worked: Plan) -> None:
    # By mass and a heat capacity of 4.18: hot = 100 x (25 - 10) / (60 - 10) = 30 kg, and 30.5 L of water at 0.983 kg/L;
    # the first tub, 10 kg x 1.9 kJ/(kg K) from 16 to 25 degC, takes 171 kJ, 0.82 kg more of hot.
    # What the totes lose on their way is drawn in addition: a degree is 100 / 50 = 2 kg, 2.03 L of hot.
    figures = worked.figures
    first, later = figures.heat.blends
    warmer = [drawn_c - 25 for drawn_c in figures.heat.drawn_c]
    assert later.hot_l == pytest.approx((30.4 + 2.03 * warmer[1]) * 50 / 44.9, abs=0.2)  # at 54.9 degC, see below
    assert first.hot_l == pytest.approx(30.4 + 0.82 / 0.983 + 2.03 * warmer[0], abs=0.2)
    assert figures.blend.hot_l == pytest.approx(first.hot_l + later.hot_l)
    assert figures.blend.cold_l + figures.blend.hot_l == pytest.approx(200.7, abs=0.5)  # hot water shrinks as it cools
    assert "70 L cold and 31 L hot" not in text(worked, "tote_2_fill")
    cold_mark = 100 * 0.5 * 100 / 150 * later.cold_l / 100.35  # of 33 cm in the tote
    assert f"Cold up to {cold_mark:.0f} cm in the tote, then hot up to 33 cm" in text(worked, "tote_2_fill")
    # A degree of 100 L: 100 / (60 - 25.5) = 2.9 L of hot, 100 / (25.5 - 10) = 6.5 L of cold.
    assert "each degree short takes 2.9 L more hot, each degree over 6.5 L more cold" in text(worked, "tote_1_check")


def test_losses_on_the_way(worked: Plan) -> None:
    # 100 L stand 33 cm high: 0.3 m2 of surface, 4 x 0.548 x 0.333 + 0.3 = 1.03 m2 of walls and bottom. At 25 degC in a
    # room of 16 at 50 %: 0.2 kg/(m2 h) x 0.3 m2 x 2442 kJ / 3.6 = 41 W of vapour, 8 x 1.33 x 9 = 96 W by the film: 137 W
    # on 417 kJ/K are 1.2 K an hour. The first tote stands 22.3 minutes (0.44 K), the second 12 (0.24 K); emptying in two
    # minutes takes 0.03, three metres of hose 0.01.
    first, later = (drawn_c - 25 for drawn_c in worked.figures.heat.drawn_c)
    assert first == pytest.approx(0.48, abs=0.05)
    assert later == pytest.approx(0.27, abs=0.03)
    assert "must end at 25.5 °C, within 1 (it loses 0.5 until it is in the tank)" in text(worked, "tote_1_fill")


def test_hot_store(worked: Plan) -> None:
    # 32.3 L leave 27.7 hot over 32.3 cold. 2 kW for 5 + 21 minutes are 3120 kJ, on 32.3 L x 4.12 kJ 23.5 K. The second tote
    # wants 31 L x 50 K: 27.7 of 60 degC, and what lacks, 3.1 L x 50 K, from a layer now at 33.5: 6.6 L, no wait.
    heat = worked.figures.heat
    assert [tapping.wait_min for tapping in heat.tappings] == [0.0, 0.0]
    assert heat.tappings[0].hot_l == pytest.approx(heat.blends[0].hot_l)
    assert heat.tappings[1].hot_c == pytest.approx((27.7 * 60 + 6.6 * 33.5) / 34.3, abs=0.3)
    # In one go: 60 L x 50 / 15.5 = 194 L; then 2 kW x 60 / (4.14 x 15.5) = 1.87 L/min.
    assert heat.supply.blended_l == pytest.approx(60 * 50 / 15.47, rel=0.01)
    assert heat.supply.sustained_l_min == pytest.approx(1.87, rel=0.01)


def test_times(worked: Plan) -> None:
    figures = worked.figures
    assert figures.tap_minutes == pytest.approx(5)  # 100 L at 20 L/min
    # Draining: the outlet lies level with the tank's bottom, the water 50 to 25 cm above it: it pulls, 0.375 m in the
    # middle. 60 L/min through 32 mm are 1.24 m/s: velocity head 0.079 m, friction 0.023 x 3 / 0.032 + 1.5 = 3.7 of it.
    head = 0.375 - 3.7 * 0.079
    flow = 60 * (1 + head / 4 / 2)
    assert figures.drain_minutes.predicted == pytest.approx(200 / flow, rel=0.02)
    # Filling: from a tote 33 cm deep to an end 120 cm up: 1.03 m in the middle. 4 (1 - (q/60)^2) = 1.03 + 0.29 (q/60)^2.
    share = ((4 - 1.03) / (4 + 0.29)) ** 0.5
    assert figures.pump_minutes.predicted == pytest.approx(100 / (60 * share), rel=0.02)
    # 55 - 50 cm of 400 L over 50 cm: 40 L.
    assert figures.spare_l == pytest.approx(40)
    assert figures.spare_minutes == pytest.approx(40 * figures.pump_minutes.early / 100)


def test_clock_of_the_steps(worked: Plan) -> None:
    # test 2, lay out 10, heaters 2, tote 1: 5 + 5 + 5 + 2; cooled by minute 14 + 15 = 29, but tote 1 ends at 31.
    at = {step.id: step.start_minute for step in worked.steps}
    assert at["heater_off"] == 12
    assert at["tote_1_fill"] == 14
    assert at["heater_cooled"] == pytest.approx(31)
    assert at["drain_start"] == pytest.approx(31 + 1 + 2 + 2)
    wait = worked.figures.hot_waits_min[1]
    drained = at["drain_start"] + worked.figures.drain_minutes.predicted
    pumped = worked.figures.pump_minutes.predicted
    assert at["fill_end"] < drained + 2 + pumped + wait + 5 + 5 + 5 + 2 + pumped
    filled = next(step.end_minute for step in worked.steps if step.id == "fill_end")
    assert filled == pytest.approx(drained + 2 + pumped + wait + 5 + 5 + 5 + 2 + pumped)
    assert at["look_15"] == pytest.approx(filled + 15)
    assert at["look_60"] == pytest.approx(filled + 60)
    # The water falls to 25 cm, 5 cm above the heaters: not reached.
    assert "should stay above them (20 cm)" in text(worked, "heater_off")
    assert "down to the 25 cm mark" in text(worked, "drain_start")
    assert "the 50 cm mark" in text(worked, "fill_end")


def test_findings(worked: Plan) -> None:
    # 0.15 mg N/L at pH 8 and 25 degC lies under 0.56 (EPA 2013, chronic); 40 L to the overflow are under a minute of
    # pumping at 55 L/min; nothing else of the tank moves by more than its step.
    # Warmed from 10 to 25 degC, tap water holds 11.29 / 8.26 = 137 % of its oxygen (Benson & Krause).
    assert {finding.code for finding in worked.findings} == {"scald", "overflow_margin", "gas_supersaturated"}
    gas = next(finding for finding in worked.findings if finding.code == "gas_supersaturated")
    assert gas.value == pytest.approx(136.6, abs=0.2)
