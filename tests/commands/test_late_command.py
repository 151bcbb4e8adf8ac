"""The `late` command: the same from a household file as from options, advice before figures, no option ignored."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from conftest import DEMO
from plan.test_late import CASE, THIOSULFATE, Run, asked, flat, result

from tapwright.chemistry.plan.planner import plan
from tapwright.cli.files.household_file import load

__all__ = ["asked"]  # the fixture
ROCK = {"--file": str(DEMO), "--tank": "Rock wall"}


def test_a_household_file_says_what_options_say(asked: Run, tmp_path: Path) -> None:
    file, fine = tmp_path / "house.toml", DEMO.read_text(encoding="utf-8").replace('"1 g"', '"0.000001 g"', 1)
    file.write_text(fine.replace('ammonia = "0 mg/L N"', 'ammonia = "0.3 mg/L N"', 1), encoding="utf-8")
    common = {"--after": "6 min", "--demand": "0.5 /h", "--tote": "220 L", "--dosed-for": "300 L"}
    done = asked({"--file": file, "--tank": "Rock wall", "--change": "35%"} | common, "--json")
    figures = plan(load(file), "Rock wall", 0.35).figures
    live_l, states = figures.tank.live_volume_l, figures.states
    spoken = {"--start-volume": f"{0.65 * live_l!r} L", "--end-volume": f"{live_l!r} L", "--flow": "15 L/min",
              "--total-chlorine": "1.9 mg/L", "--free-chlorine": "0.2 mg/L", "--cl2-to-n": "4.5", "--purity": "99%",
              "--agent": THIOSULFATE.name, "--excess": "10%", "--temperature": "25.5 degC",
              "--ph": f"{states.tank_before.most_alkaline.ph!r}"}  # fmt: skip
    same = result(asked(spoken | common, "--json"))
    # Only a file knows what ammonia the tank has; and its scale rounds up, here to a millionth of a gram.
    total = same["ammonia_mg_n_l"] + 0.65 * 0.3
    same |= {"ammonia_unionised_mg_n_l": same["ammonia_unionised_mg_n_l"] * total / same["ammonia_mg_n_l"]}
    del same["first"]  # doses in words, one of them measured on a scale
    for key, value in (same | {"ammonia_mg_n_l": total}).items():
        assert result(done)[key] == (pytest.approx(value, rel=1e-5) if isinstance(value, float) else value), key
    assert any("as fast as the taps of the file give it, 15 L/min" in said for said in done.json["assumptions"])
    # As planned where no share is given, and at the flow that is given.
    planned = result(asked(ROCK, "--json", flow="30 L/min"))
    assert planned["fill_minutes"] == pytest.approx(0.4 * live_l / 30)
    assert planned["dose_now_g"] == 4.0  # 0.437 g of chlorine x 7.0006 x 1.1 / 0.99 = 3.4 g on a scale of 1 g


PAGES = [(CASE, {}), (CASE, {"after": None}), (CASE, {"tote": "9 L", "dosed_for": "9 L"}), (ROCK, {"after": "6 min"})]


@pytest.mark.parametrize(("case", "options"), PAGES)
def test_the_page_says_what_to_do_before_any_figure(case: dict[str, Any], options: dict[str, str], asked: Run) -> None:
    page = asked(case, **options).out
    order = ("Put ", "Let air bubble", "After 5 minutes test total chlorine", "Figures", "Without neutraliser",
             "Taken for granted")  # fmt: skip
    if "not in yet" in page:
        order = ("1 Stop the water now", *order)
    places = [page.index(words) for words in order]
    assert places == sorted(places)
    assert all(len(line) <= 80 and line == line.rstrip() for line in page.splitlines())


def test_the_figures_on_the_page(asked: Run) -> None:
    page = flat(asked(CASE))
    # At the tap's 2 mg/L, 105 times 19 ug/L. Half way 100 L of it in 400; at the end 0.8 mg/L, met 2 (20 - 30 ln(5/3)).
    for said in ("Put 2.8 g of", "0.1 g of chlorine in it and the 0.3 g the rest of the water brings",
                 "105 times the one-hour", "0.29 mg/L of chlorine at minute 5", "0.75 mg min/L until then",
                 "Whole tank 7 g", "minute 10 0.5 2.7", "minute 20 0.8 9.4"):  # fmt: skip
        assert said in page
    free = flat(asked(CASE, free_chlorine="2 mg/L"))  # no chloramine, so no ammonia
    assert "After 2 minutes test" in free
    assert "Test ammonia" not in free


@pytest.mark.parametrize("option", ["start_volume", "end_volume", "flow", "total_chlorine"])
def test_an_option_left_empty_is_refused(option: str, asked: Run) -> None:
    """As an empty variable of a shell leaves it; nothing is taken in its place."""
    done = asked(CASE | {"--free-chlorine": None}, "--json", **{option: ""})
    assert done.code == 2
    assert f"--{option.replace('_', '-')}" in done.out


@pytest.mark.parametrize(("case", "options"), [
    (ROCK, {"purity": "50%"}), (ROCK, {"excess": "100%"}), (ROCK, {"solution": "50 g/L"}), (ROCK, {"cl2_to_n": "3"}),
    (CASE, {"tank": "Rock wall"}), (CASE, {"change": "80%"}),
])  # fmt: skip
def test_no_option_is_ignored_in_silence(case: dict[str, Any], options: dict[str, str], asked: Run) -> None:
    """With a file: purity, excess, strength and ratio stand in it. Without one: there is no tank and no plan."""
    assert asked(case, **options).code == 2


def test_tap_water_without_chlorine_needs_no_dose(asked: Run, tmp_path: Path) -> None:
    file, text = tmp_path / "house.toml", DEMO.read_text(encoding="utf-8").replace('"1.9 mg/L"', '"0 mg/L"', 1)
    file.write_text(text.replace('free_chlorine = "0.2 mg/L"\n', ""), encoding="utf-8")
    for done in (asked(CASE, total_chlorine="0 mg/L", free_chlorine=None), asked(ROCK | {"--file": file})):
        assert (done.code, done.out) == (2, "")
        assert "no chlorine. There is nothing to neutralise." in done.err


@pytest.mark.parametrize("name", ["ascorbic acid", "sodium ascorbate"])
def test_what_is_to_know_of_an_agent_is_said_here_as_by_neutralise(name: str, asked: Run) -> None:
    """Sources conflict on ascorbate against chloramine; in a tank with fish it matters more than in a tote."""
    assert "agent_on_chloramine" in {finding["code"] for finding in asked(CASE, "--json", agent=name).json["findings"]}


@pytest.mark.parametrize(("old", "new"), [
    ('store = "180 L"\nheater_power = "3 kW"', 'store = "20 L"\nheater_power = "0 W"'), ('"220 L"', '"3 L"'),
])  # fmt: skip
def test_help_does_not_wait_for_what_has_nothing_to_do_with_chlorine(
    old: str, new: str, asked: Run, tmp_path: Path
) -> None:
    """Tank, share, tap and neutraliser are known; that the plan fails for hot water, totes or the pump helps nobody now."""
    file = tmp_path / "house.toml"
    file.write_text(DEMO.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    assert asked(ROCK | {"--file": file}, "--water-off", change="40%", after="6 min").code == 0
