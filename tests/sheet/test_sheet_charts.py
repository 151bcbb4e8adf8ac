"""The charts of the sheet: their marks lie where their figures say, words tell the same, and nothing in them is coloured."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from unittest.mock import patch
from xml.etree import ElementTree

import numpy as np
import pytest
from conftest import DEMO, Outcome
from houses import HOUSE, NAMES, changed, houses, planned
from hypothesis import given, settings
from hypothesis import strategies as st
from sheets import Node, first_case, tree_of

from tapwright.chemistry import reference
from tapwright.chemistry.plan.courses import Moment, filling_course, nitrate_ahead
from tapwright.chemistry.plan.figures.outlook import Range
from tapwright.chemistry.plan.figures.records import Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import plan
from tapwright.chemistry.units import figure
from tapwright.cli.charts.axis import Axis
from tapwright.cli.log.logbook import path_of
from tapwright.cli.pages.plan.figures import waters_of
from tapwright.cli.sheet.ahead import Ahead, ahead
from tapwright.cli.sheet.charts import Chart, filling_chart, nitrate_chart, water_chart, water_rows

Run = Callable[..., Outcome]
# Coordinates are written with two decimals, and a scale is found from two or more of them.
POINT = 0.02


@pytest.fixture(scope="module", autouse=True)
def without_worst_means() -> Iterator[None]:
    """Which take long, and no chart shows."""
    with patch("tapwright.chemistry.change.filling.chlorine.worst_mean_mg_l", return_value=0.0):
        yield


def _made(house: Household = HOUSE, tank: str = NAMES[0], share: float | None = None) -> list[Chart]:
    made = plan(house, tank, share)
    course = ahead(made, DEMO, 0.0)
    limit = reference.value("limits", "chlorine_acute")
    drawn = [water_chart(made.figures), filling_chart(filling_course(made.figures, first_case(made.figures)), limit)]
    return drawn if course is None else [*drawn, nitrate_chart(course, made.figures.tank.nitrate_ceiling_mg_l)]


@pytest.fixture(scope="module")
def charts() -> list[Chart]:
    return [chart for tank in NAMES for chart in _made(tank=tank)]


# --- look and words -----------------------------------------------------------------------------------------------


def test_every_chart_has_words_units_and_no_colour(charts: list[Chart]) -> None:
    units = {"water": ("dGH", "dKH", "pH", "mg/L NO3", "°C"), "filling": ("°C", "chlorine, mg/L", "minutes of pumping"),
             "nitrate": ("mg/L NO3", "changes from now")}  # fmt: skip
    for chart in charts:
        root, faults = tree_of(chart.svg)
        svg = root.one("svg")
        name = svg.every("title")[0].has["id"].removesuffix("-title")
        assert faults == []
        assert svg.has["role"] == "img" and svg.has["aria-labelledby"] == f"{name}-title"
        assert svg.every("title")[0].text and len(svg.every("title")) == 1
        assert chart.caption.endswith(".") and "  " not in chart.caption and "nan" not in chart.caption
        own = {node.has.get("id") for node in svg.every()}
        named = " ".join(f"{node.has.get('href', '')} {node.has.get('clip-path', '')}" for node in svg.every())
        assert set(re.findall(r"#([^ )]+)", named)) <= own
        words = " ".join(text.text for text in svg.every("text"))
        assert all(unit in words for unit in units[name])
        for node in [svg, *svg.every()]:
            assert not {"style", "xmlns", "color", "onload"} & set(node.has)
            assert {node.has[key] for key in ("fill", "stroke", "stop-color") if key in node.has} <= {
                "none",
                "currentColor",
            }
            assert node.tag in ("svg", "title", "g", "path", "text", "circle", "rect")
            assert node.has.get("id", name).startswith(name)
        # Letters stay letters, all of one size, large enough for a phone, on which the picture is 328 pixels wide.
        assert svg.has["viewbox"].startswith("0 0 328 ") and float(svg.has["font-size"]) >= 11
        assert svg.every("text") and not any("font-size" in node.has for node in svg.every())


def test_charts_of_one_page_share_no_id(charts: list[Chart]) -> None:
    half = charts[: len(charts) // 2]
    ids = [node.has["id"] for chart in half for node in tree_of(chart.svg)[0].every() if "id" in node.has]
    assert len(half) == 3 and len(set(ids)) == len(ids)


# --- the tank's water ---------------------------------------------------------------------------------------------


@settings(max_examples=12)
@given(houses())
def test_the_rows_of_the_water_are_the_plans(house: Household) -> None:
    made = planned(house, None, Jobs())
    if made is None:
        return
    figures, rows = made.figures, {row.name: row for row in water_rows(made.figures)}
    waters = waters_of(figures)
    keys = {"Hardness": "hardness_dgh", "Alkalinity": "alkalinity_dkh", "pH at rest": "ph_aerated",
            "Nitrate": "nitrate_mg_l", "Temperature": "temperature_c"}  # fmt: skip
    assert set(rows) == set(keys)
    for name, key in keys.items():
        assert (rows[name].now, rows[name].then) == (waters["tank_before"][key], waters["tank_after"][key])
    assert (rows["Nitrate"].low, rows["Nitrate"].high) == (None, figures.tank.nitrate_ceiling_mg_l)
    bands, target = dict(figures.target.bands()), rows["Alkalinity"]
    # 1 meq/L is 2.804 dKH; 1 mmol/L of calcium and magnesium 5.608 dGH (56.08 g/mol of CaO, 10 mg/L each).
    assert target.low == pytest.approx(bands["alkalinity_meq_l"].low * 2.804, rel=1e-3)
    assert target.high == pytest.approx(bands["alkalinity_meq_l"].high * 2.804, rel=1e-3)
    assert rows["Hardness"].low == pytest.approx(bands["hardness_mmol_l"].low * 5.608, rel=1e-3)
    assert (rows["Temperature"].low, rows["Temperature"].high) == (None, None)


Element = ElementTree.Element
Scale = Callable[[float], float]
Point = tuple[float, float]


def _points(path: Element) -> list[Point]:
    """The corners of a path."""
    return [(float(x), float(y)) for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path.get("d", ""))]


def _scale(ticks: list[Element], across: bool) -> Scale:
    """Where a figure lies on a scale, by its ticks: letters stand beside marks."""
    places = [_points(next(tick.iter("path")))[0][0 if across else 1] for tick in ticks]
    values = [float((next(tick.iter("text")).text or "").replace("−", "-")) for tick in ticks]
    assert len(ticks) >= 2 and values == sorted(values)
    slope, start = np.polyfit(values, places, 1)
    # A tick stands where its figure says, and not near it.
    assert places == pytest.approx([start + slope * value for value in values], abs=POINT)
    return lambda value: float(start + slope * value)


def _of(chart: Chart, kind: str, within: Element | None = None) -> list[Element]:
    root = ElementTree.fromstring(chart.svg) if within is None else within
    return [element for element in root.iter() if element.get("class") == kind]


def _scales(chart: Chart) -> tuple[Scale, list[Scale]]:
    """Of the panels of a chart: the one across, and those upward. Ticks upward of one panel rise; the next begins below."""
    across = [tick for tick in _of(chart, "tick-x") if tick.find("text") is not None]
    upward: list[list[Element]] = []
    for tick in _of(chart, "tick-y"):
        fresh = not upward or _points(tick[0])[0][1] > _points(upward[-1][-1][0])[0][1]
        upward += [[tick]] if fresh else []
        if not fresh:
            upward[-1].append(tick)
    return _scale(across, True), [_scale(ticks, False) for ticks in upward]


def _curve(chart: Chart, kind: str) -> list[Point]:
    (path,) = _of(chart, kind)
    assert path.get("stroke") == "currentColor" and path.get("fill") == "none"
    return _points(path)


@pytest.mark.parametrize("tank", NAMES)
def test_marks_of_the_water_lie_where_their_figures_say(tank: str) -> None:
    figures = plan(HOUSE, tank).figures
    chart, rows = water_chart(figures), water_rows(figures)
    for panel, row in zip(_of(chart, "panel"), rows, strict=True):
        place = _scale(_of(chart, "tick-x", panel), True)
        (ring,), (dot,), bars = (_of(chart, kind, panel) for kind in ("now", "after", "target"))
        # The ring is now, the full dot afterwards, small enough to stand in it.
        assert (ring.get("fill"), ring.get("stroke"), dot.get("fill")) == ("none", "currentColor", None)
        assert float(dot.get("r", "nan")) < float(ring.get("r", "nan"))
        assert float(ring.get("cx", "nan")) == pytest.approx(place(row.now), abs=POINT)
        assert float(dot.get("cx", "nan")) == pytest.approx(place(row.then), abs=POINT)
        assert len(bars) == (row.low is not None or row.high is not None)
        (left, _), (right, _) = _points(panel.findall("path")[0])
        for bar in bars:
            start, width = float(bar.get("x", "nan")), float(bar.get("width", "nan"))
            assert start == pytest.approx(left if row.low is None else max(place(row.low), left), abs=POINT)
            assert start + width == pytest.approx(right if row.high is None else place(row.high), abs=POINT)
        assert f"{row.name} {row.now:.{row.decimals}f}" in chart.caption
        assert f"then {row.then:.{row.decimals}f}" in chart.caption
    assert {"now", "after", "target"} <= {text.text for text in ElementTree.fromstring(chart.svg).iter("text")}


# --- the filling --------------------------------------------------------------------------------------------------


def test_curves_of_the_filling_begin_and_end_where_they_should() -> None:
    figures = plan(changed(HOUSE, tank={"refill_temperature_c": 22.0}), NAMES[0], 0.5).figures
    moments = filling_course(figures, first_case(figures))
    chart = filling_chart(moments, 0.019)
    minutes, (degrees, mg_l) = _scales(chart)
    first, last = moments[0], moments[-1]
    warmth, forgotten = _curve(chart, "temperature"), _curve(chart, "forgotten")
    assert len(warmth) == len(forgotten) == len(moments)
    for curve, scale, read in ((warmth, degrees, [moment.temperature_c for moment in moments]),
                               (forgotten, mg_l, [moment.forgotten_mg_l for moment in moments])):  # fmt: skip
        wanted = [(minutes(moment.minute), scale(value)) for moment, value in zip(moments, read, strict=True)]
        assert curve == [pytest.approx(point, abs=0.05) for point in wanted]
    # The neutralised one lies on the ground, all along.
    ground = [(minutes(0.0), mg_l(0.0)), (minutes(last.minute), mg_l(0.0))]
    assert _curve(chart, "neutralised") == [pytest.approx(point, abs=POINT) for point in ground]
    # Told apart without colour.
    dashes = [_of(chart, kind)[0].get("stroke-dasharray") for kind in ("forgotten", "neutralised")]
    assert dashes[0] and dashes[1] is None
    assert f"from {first.temperature_c:.1f} to {last.temperature_c:.1f} °C" in chart.caption
    assert (
        f"would reach {figure(last.forgotten_mg_l, 2)} mg/L" in chart.caption and "0.019 over an hour" in chart.caption
    )


def test_without_chlorine_the_filling_shows_none_to_forget() -> None:
    moments = [Moment(float(minute), 25.0, 0.0) for minute in range(9)]
    chart = filling_chart(moments, 0.019)
    words = {text.text for text in ElementTree.fromstring(chart.svg).iter("text")}
    assert not words & {"neutralised", "forgotten", "chlorine, mg/L"}
    assert {"tank, °C", "minutes of pumping"} <= words
    assert "stays at 25.0 °C" in chart.caption and "Without neutraliser" not in chart.caption


# --- nitrate ------------------------------------------------------------------------------------------------------


def _shifted_log(folder: Path, until: datetime) -> Path:
    """The demo's log as if its last entry had been written at that time."""
    with (DEMO.parent / "log.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    shift = until - max(datetime.fromisoformat(row["at"]) for row in rows)
    for row in rows:
        row |= {key: (datetime.fromisoformat(row[key]) + shift).isoformat() for key in ("at", "written") if row[key]}
    with (folder / "shifted.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    return folder / "shifted.csv"


@pytest.fixture
def house(tmp_path: Path) -> Path:
    file = tmp_path / "house.toml"
    file.write_bytes(DEMO.read_bytes())
    return file


def _nitrate_figure(house: Path, tapwright: Run) -> tuple[str, Node]:
    page = house.with_name("s.html")
    done = tapwright("sheet", house, "--tank", NAMES[0], "-o", page, "--force")
    assert (done.code, done.err) == (0, "")
    figures = tree_of(page.read_text(encoding="utf-8"))[0].every("figure")
    (found,) = [figure for figure in figures if figure.one("figcaption").text.startswith("Nitrate, ")]
    return found.one("figcaption").text, found


def test_nitrate_goes_by_the_log_where_there_is_one(house: Path, tapwright: Run) -> None:
    log = _shifted_log(house.parent, datetime.now().astimezone() - timedelta(hours=1))
    assert tapwright("log", "import", house, log).code == 0
    caption, figure = _nitrate_figure(house, tapwright)
    assert caption.startswith("Nitrate, by the log: ")
    words = {text.text for text in figure.every("text")}
    assert {"weeks from now", "mg/L NO3", "90 % range", "middle", "ceiling"} <= words
    told = tapwright("nitrate", house, "--tank", NAMES[0], "--change", "40%", "--json").json["result"]
    first, last = told["course"][0], told["course"][-1]
    numbers = [float(number) for number in re.findall(r"\d+", caption.replace("NO3", ""))]
    wanted = [first["before_mg_l"]["median"], first["after_mg_l"]["median"], last["day"] / 7,
              *(last["before_mg_l"][key] for key in ("median", "low", "high")), told["ceiling_mg_l"]]  # fmt: skip
    assert numbers == pytest.approx(wanted, abs=1.0)  # shown in whole mg/L, some seconds apart


def test_nitrate_goes_by_the_file_where_there_is_no_log(house: Path, tapwright: Run) -> None:
    caption, figure = _nitrate_figure(house, tapwright)
    assert caption.startswith("Nitrate, by the rise that the household file gives: ")
    words = {text.text for text in figure.every("text")}
    assert {"changes from now", "mg/L NO3", "nitrate", "ceiling"} <= words and "90 % range" not in words
    turns = nitrate_ahead(plan(HOUSE, NAMES[0]).figures)
    assert turns is not None
    assert f"{turns[0].before_mg_l:.0f} mg/L NO3 now, {turns[0].after_mg_l:.0f} after this change" in caption
    assert f"after {turns[-1].number} changes alike {turns[-1].before_mg_l:.0f} before a change" in caption


@pytest.mark.parametrize("kind", ["too little", "of another tank", "long ago", "not yet"])
def test_a_log_that_says_too_little_is_left_aside(kind: str, house: Path, tapwright: Run) -> None:
    log = _shifted_log(house.parent, datetime.now().astimezone() - timedelta(hours=1))
    lines, made = log.read_text(encoding="utf-8").splitlines(), plan(HOUSE, NAMES[0])
    kept = {"too little": [line for line in lines if NAMES[0] in line][:1],
            "of another tank": [line for line in lines[1:] if NAMES[1] in line]}.get(kind, lines[1:])  # fmt: skip
    log.write_text("\n".join([lines[0], *kept]) + "\n", encoding="utf-8")
    assert tapwright("log", "import", house, log).code == 0
    at_s = datetime.now().timestamp() + {"long ago": 400, "not yet": -400}.get(kind, 0) * 86400
    course = ahead(made, house, at_s)
    assert course == ahead(made, DEMO.parent / "labels" / "no log beside it.toml", at_s)
    assert course is not None and not course.in_days


def test_a_broken_log_does_not_keep_the_page_away(house: Path, tapwright: Run) -> None:
    """It only draws nitrate ahead: whatever is wrong with it, the change can be made."""
    path_of(house).write_bytes(b"this is no logbook" * 100)
    assert _nitrate_figure(house, tapwright)[0].startswith("Nitrate, by the rise")


def test_who_gives_neither_log_nor_rise_sees_no_nitrate_ahead() -> None:
    made = plan(changed(HOUSE, tank={"nitrate_rise_mg_l": None}), NAMES[0], 0.4)
    assert ahead(made, DEMO, 0.0) is None


def test_the_course_of_nitrate_lies_where_its_figures_say() -> None:
    course: Any = ahead(plan(HOUSE, NAMES[0]), DEMO, 0.0)
    for in_days, unit in ((False, 1.0), (True, 7.0)):
        steps = tuple((number * unit, before, after) for number, before, after in course.steps)
        chart = nitrate_chart(Ahead(steps, in_days), 40.0)
        x, (y,) = _scales(chart)
        wanted = [(x(n), y(end.median)) for n, before, after in course.steps for end in (before, after)]
        assert _curve(chart, "middle") == [pytest.approx(point, abs=0.05) for point in wanted]
        assert [level for _, level in _curve(chart, "ceiling")] == pytest.approx([y(40.0)] * 2, abs=POINT)
        assert _of(chart, "ceiling")[0].get("stroke-dasharray") and not _of(chart, "range")


def test_the_range_lies_around_the_course_where_its_figures_say() -> None:
    ends = [(Range(20.0 + n, 30.0 + n, 45.0 + n), Range(10.0, 14.0 + n, 21.0 + n)) for n in range(5)]
    chart = nitrate_chart(Ahead(tuple((7.0 * n, *both) for n, both in enumerate(ends)), in_days=True), 40.0)
    x, (y,) = _scales(chart)
    lows = [(x(n), y(end.low)) for n, both in enumerate(ends) for end in both]
    highs = [(x(n), y(end.high)) for n, both in enumerate(ends) for end in both]
    (band,) = _of(chart, "range")
    assert band.get("opacity") == "0.15"
    assert _points(band) == [pytest.approx(point, abs=0.05) for point in [*lows, *reversed(highs)]]


@given(st.floats(-1e4, 1e4), st.floats(1e-4, 1e4), st.integers(6, 12))
def test_a_tick_stands_where_it_says_and_two_there_are(low: float, span: float, most: int) -> None:
    axis = Axis(low, low + span, 0.0, 300.0)
    ticks = axis.ticks(most)
    assert 2 <= len(ticks) <= most
    values = [float(said.replace("−", "-")) for _, said in ticks]
    assert [place for place, _ in ticks] == pytest.approx([axis.place(value) for value in values], abs=0.01)
    assert ticks[0][0] >= -0.01 and ticks[-1][0] <= 300.01
    assert len({said for _, said in ticks}) == len(ticks) and "−0" not in {said for _, said in ticks}
