"""The page and the picture of the `nitrate` command: what is warned of, what leads, and what the picture says in words."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from commands.test_nitrate_command import Run, asked, found, house, imported, log, rewritten
from tapwright.chemistry.plan.figures.outlook import Range
from tapwright.cli.pages.nitrate_chart import drawn

__all__ = ["asked", "found", "house", "imported", "log"]  # the fixtures
SVG = "{http://www.w3.org/2000/svg}"


# --- findings -----------------------------------------------------------------------------------------------------


def codes(asked: Run, **options: str) -> dict[str, Any]:
    return {finding["code"]: finding for finding in asked("--json", **options).json["findings"]}


def test_a_ceiling_passed_now_or_in_the_end_is_warned_of(asked: Run, house: Path) -> None:
    text = house.read_text(encoding="utf-8")
    now = asked("--json").json["result"]["tank_mg_l"]["median"]
    for ceiling, passed in ((now - 0.6, True), (now + 0.6, False)):
        house.write_text(text.replace('"40 mg/L NO3"', f'"{ceiling!r} mg/L NO3"', 1), encoding="utf-8")
        said = codes(asked, change="60%")
        assert ("nitrate_over_now" in said) == passed
        assert "nitrate_over_ceiling" not in said
    peak = asked("--json", change="60%").json["result"]["peak_at_confidence_mg_l"]
    for ceiling, passed in ((peak - 0.01, True), (peak + 0.01, False)):
        house.write_text(text.replace('"40 mg/L NO3"', f'"{ceiling!r} mg/L NO3"', 1), encoding="utf-8")
        said = codes(asked, change="60%")
        assert ("nitrate_over_ceiling" in said) == passed
        if passed:
            assert "60% every 7 days may let nitrate settle at" in said["nitrate_over_ceiling"]["text"]
            assert said["nitrate_over_ceiling"]["level"] == "caution"


def test_a_rate_hardly_known_is_said_so(asked: Run, house: Path) -> None:
    assert "rate_uncertain" not in codes(asked)
    rewritten(house, lambda kept: [entry for entry in kept if entry.kind == "change" or entry.uid in ("demo-009", "demo-011",
                                                                                                      "demo-013")])  # fmt: skip
    said = codes(asked, change="60%")
    rate = asked("--json", change="60%").json["result"]["rate_mg_l_day"]
    assert ("rate_uncertain" in said) == (rate["high"] > 2 * rate["median"])
    assert said["rate_uncertain"]["level"] == "note"


# --- the page -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tank", ["Rock wall", "Shell bay"])
def test_the_schedule_leads_on_a_page_of_80_columns(tank: str, asked: Run) -> None:
    done, result = asked(tank=tank), asked("--json", tank=tank).json["result"]
    order = [f"Nitrate of '{tank}'", "In short", "Change ", "Just before each change", "Settled peak at 90% confidence",
             "What it does to alkalinity", "Taken for granted"]  # fmt: skip
    places = [done.out.index(words) for words in order]
    assert places == sorted(places)
    assert all(len(line) <= 80 and line == line.rstrip() for line in done.out.splitlines())
    page = " ".join(done.out.split())
    rate = result["rate_mg_l_day"]
    assert f"Change {result['share']:.0%} every 7 days (smallest that holds; interval as logged)" in page
    assert f"at most {result['peak_at_confidence_mg_l']:.0f} at 90% confidence" in page
    assert f"Chance {result['chance_under_ceiling']:.0%} to stay" in page
    assert f"{result['nitrate_rise_mg_l']:.2g} mg/L NO3" in page
    assert f"Made {rate['median']:.2g} ({rate['low']:.2g} to {rate['high']:.2g}) a day" in page
    assert "given; interval given" in asked(tank=tank, change="50%", interval="7 days").out


def test_the_bars_lie_where_their_figures_do(asked: Run) -> None:
    result, page = asked("--json").json["result"], asked().out
    bars = re.findall(r"(today|day +\d+)  \[(.{41})\] +(\d+) \((\d+) to (\d+)\)", page)
    assert len(bars) == len(result["course"]) == 9
    top = int(re.search(r"\(0 to (\d+);", page)[1])  # type: ignore[index]
    for (when, bar, *figures), step in zip(bars, result["course"], strict=True):
        before = step["before_mg_l"]
        assert figures == [f"{before[key]:.0f}" for key in ("median", "low", "high")]
        assert when.split()[-1] == (f"{step['day']:.0f}" if step["day"] else "today")
        # 40 steps to the top, which is rounded to a whole mg/L.
        assert bar.index("o") == pytest.approx(40 * before["median"] / top, abs=1.1)
        assert (bar.index("=") if "=" in bar else bar.index("o")) == pytest.approx(40 * before["low"] / top, abs=1.1)


def test_cells_over_the_ceiling_stand_in_brackets(asked: Run) -> None:
    result, page = asked("--json").json["result"], asked().out
    for share in (10, 20, 30, 40, 50, 60):
        row = re.search(rf"^ +{share}% every(.*)$", page, re.MULTILINE)[1].split()  # type: ignore[index]
        cells = [cell for cell in result["table"] if round(100 * cell["share"]) == share]
        assert row == [f"{c['peak_mg_l']:.0f}" if c["holds"] else f"({c['peak_mg_l']:.0f})" for c in cells]


# --- the picture --------------------------------------------------------------------------------------------------


def test_the_picture_is_svg_with_words_and_units(asked: Run, house: Path) -> None:
    picture = house.with_name("nitrate of the Rock wall.svg")
    done = asked(chart=picture)
    assert done.code == 0
    assert str(picture) in done.out
    result = asked("--json").json["result"]
    root = ElementTree.parse(picture).getroot()
    assert root.tag == f"{SVG}svg"
    title = root.findtext(f"{SVG}title")
    last = result["course"][-1]["before_mg_l"]
    assert title == (
        f"Nitrate of Rock wall over 56 days: {result['tank_mg_l']['median']:.0f} mg/L NO3 now, {last['median']:.0f} "
        f"({last['low']:.0f} to {last['high']:.0f}) before the last change shown; ceiling 40."
    )
    words = {"".join(text.itertext()) for text in root.iter(f"{SVG}text")}
    assert {"days from now", "nitrate, mg/L NO3", "90 % range", "middle", "ceiling"} <= words
    # Readable without colour: nothing but black, white and grey.
    colours = set(re.findall(r"#[0-9a-f]{6}", picture.read_text(encoding="utf-8")))
    assert all(colour[1:3] == colour[3:5] == colour[5:7] for colour in colours)


def test_nothing_is_overwritten(asked: Run, house: Path) -> None:
    picture = house.with_name("chart.svg")
    picture.write_text("mine", encoding="utf-8")
    done = asked(chart=picture)
    assert (done.code, done.out) == (2, "")
    assert f"{picture}: is there already and is left as it is. Give another name, or --force." in done.err
    assert picture.read_text(encoding="utf-8") == "mine"
    for missing in (house.with_name("nowhere") / "chart.svg", house.parent):
        done = asked(chart=missing)
        assert (done.code, done.out) == (2, "")
        assert done.err.startswith(f"{missing}: ")
        assert len(done.err.splitlines()) == 1
    assert "cannot be written: no such file or directory" in asked(chart=house.with_name("nowhere") / "chart.svg").err


def test_a_name_with_signs_is_no_markup_and_the_picture_is_the_same_each_time() -> None:
    steps = [(7.0 * n, Range(30.0, 35.0, 41.0), Range(18.0, 20.0, 22.0)) for n in range(3)]
    name = 'A & B <b>"$x_2$"</b>, 水'
    picture = drawn(steps, 40.0, name)
    assert (ElementTree.fromstring(picture).findtext(f"{SVG}title") or "").startswith(f"Nitrate of {name} over 14 days")
    assert drawn(steps, 40.0, name) == picture


def test_the_line_goes_through_its_points() -> None:
    """Before and after every change, on axes that begin at 0 mg/L: heights in the picture go with the figures."""
    steps = [
        (0.0, Range(30.0, 40.0, 50.0), Range(15.0, 20.0, 25.0)),
        (7.0, Range(25.0, 30.0, 35.0), Range(12.0, 15.0, 18.0)),
    ]
    root = ElementTree.fromstring(drawn(steps, 45.0, "x"))
    (line,) = [path.get("d", "") for path in root.iter(f"{SVG}path") if path.get("class") == "middle"]
    points = np.array([[float(n) for n in point] for point in re.findall(r"([\d.]+) ([\d.]+)", line)])
    heights = np.array([40.0, 20.0, 30.0, 15.0])
    slope, bottom = np.polyfit(heights, points[:, 1], 1)
    assert slope < 0
    assert points[:, 1] == pytest.approx(bottom + slope * heights, abs=0.01)
    assert points[0, 0] == points[1, 0] < points[2, 0] == points[3, 0]
