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
from sheets import Node, first_case, tree_of

from tapwright.chemistry import reference
from tapwright.chemistry.plan.courses import Moment, filling_course, nitrate_ahead
from tapwright.chemistry.plan.figures.records import Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import plan
from tapwright.chemistry.units import figure
from tapwright.cli.log.logbook import path_of
from tapwright.cli.pages.plan.figures import waters_of
from tapwright.cli.sheet.ahead import Ahead, ahead
from tapwright.cli.sheet.charts import Chart, filling_chart, nitrate_chart, water_chart, water_rows

Run = Callable[..., Outcome]
# A hundredth of a point: coordinates are written with six digits.
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
            assert node.tag in ("svg", "title", "defs", "g", "path", "text", "use", "clippath", "rect")
            assert node.has.get("id", name).startswith(name)
        # Letters stay letters, large enough for a phone, on which a point is a little more than a pixel.
        sizes = [float(text.has["font-size"].removesuffix("px")) for text in svg.every("text")]
        assert sizes and min(sizes) >= 9


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


def _axis(group: ElementTree.Element, kind: str) -> Callable[[float], float]:
    """Where a figure lies on an axis, by its ticks: letters stand beside marks."""
    places, values = [], []
    for tick in group.iter("g"):
        if re.search(rf"-{kind}tick_\d+$", tick.get("id", "")):
            use, text = next(tick.iter("use")), next(tick.iter("text"))
            places.append(float(use.get("x" if kind == "x" else "y", "nan")))
            values.append(float((text.text or "").replace("−", "-")))
    slope, start = np.polyfit(values, places, 1)
    return lambda value: float(start + slope * value)


def _panels(chart: Chart) -> list[ElementTree.Element]:
    root = ElementTree.fromstring(chart.svg)
    return [group for group in root.iter("g") if re.search(r"-axes_\d+$", group.get("id", ""))]


def _marks(panel: ElementTree.Element) -> list[list[ElementTree.Element]]:
    """Its markers, in the order they are drawn, without those of its axes."""
    lines = [group for group in panel if re.search(r"-line2d_\d+$", group.get("id", ""))]
    return [list(line.iter("use")) for line in lines]


@pytest.mark.parametrize("tank", NAMES)
def test_marks_of_the_water_lie_where_their_figures_say(tank: str) -> None:
    figures = plan(HOUSE, tank).figures
    chart, rows = water_chart(figures), water_rows(figures)
    for panel, row in zip(_panels(chart), rows, strict=True):
        place = _axis(panel, "x")
        (ring,), (dot,) = _marks(panel)
        # The ring is now, the full dot afterwards.
        hollow = [mark.get("fill") == "none" or mark.get("fill-opacity") == "0" for mark in (ring, dot)]
        assert hollow == [True, False]
        assert float(ring.get("x", "nan")) == pytest.approx(place(row.now), abs=POINT)
        assert float(dot.get("x", "nan")) == pytest.approx(place(row.then), abs=POINT)
        grey = [path for path in panel.iter("path") if path.get("opacity") == "0.2"]
        xs = [float(x) for path in grey for x in re.findall(r"[ML] ([\d.]+) ", path.get("d", ""))]
        edge = [xs_ for path in panel.iter("path") for xs_ in re.findall(r"[ML] ([\d.]+) ", path.get("d", ""))]
        left, right = min(map(float, edge)), max(map(float, edge))
        if row.low is None and row.high is None:
            assert not xs or max(xs) == min(xs)
            continue
        assert min(xs) == pytest.approx(max(place(row.low), left) if row.low is not None else left, abs=POINT)
        assert max(xs) == pytest.approx(place(row.high) if row.high is not None else right, abs=POINT)
        assert f"{row.name} {row.now:.{row.decimals}f}" in chart.caption
        assert f"then {row.then:.{row.decimals}f}" in chart.caption
    assert {"now", "after", "target"} <= {text.text for text in ElementTree.fromstring(chart.svg).iter("text")}


# --- the filling --------------------------------------------------------------------------------------------------


def _line(panel: ElementTree.Element, place: int = 0) -> list[tuple[float, float]]:
    """The points of a curve of a panel: of those it draws, not its axes'."""
    lines = [group for group in panel if re.search(r"-line2d_\d+$", group.get("id", ""))]
    data = next(lines[place].iter("path")).get("d", "")
    return [(float(x), float(y)) for x, y in re.findall(r"[ML] ([\d.]+) ([\d.]+)", data)]


def test_curves_of_the_filling_begin_and_end_where_they_should() -> None:
    figures = plan(changed(HOUSE, tank={"refill_temperature_c": 22.0}), NAMES[0], 0.5).figures
    moments = filling_course(figures, first_case(figures))
    chart = filling_chart(moments, 0.019)
    warmth, chlorine = _panels(chart)
    minutes = _axis(chlorine, "x")
    degrees, mg_l = _axis(warmth, "y"), _axis(chlorine, "y")
    first, last = moments[0], moments[-1]
    ends = [_line(warmth)[0], _line(warmth)[-1], _line(chlorine)[0], _line(chlorine)[-1]]
    wanted = [
        (minutes(first.minute), degrees(first.temperature_c)), (minutes(last.minute), degrees(last.temperature_c)),
        (minutes(0.0), mg_l(0.0)), (minutes(last.minute), mg_l(last.forgotten_mg_l)),
    ]  # fmt: skip
    for end, want in zip(ends, wanted, strict=True):
        assert end == pytest.approx(want, abs=0.05)
    # The neutralised one lies on the ground.
    assert [y for _, y in _line(chlorine, 1)] == pytest.approx([mg_l(0.0)] * len(_line(chlorine, 1)), abs=POINT)
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
    told = tapwright("nitrate", house, "--tank", NAMES[0], "--share", "40%", "--json").json["result"]
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
        (panel,) = _panels(nitrate_chart(Ahead(steps, in_days), 40.0))
        x, y = _axis(panel, "x"), _axis(panel, "y")
        wanted = [(x(n), y(end.median)) for n, before, after in course.steps for end in (before, after)]
        assert _line(panel) == [pytest.approx(point, abs=0.05) for point in wanted]
        assert [level for _, level in _line(panel, 1)] == pytest.approx([y(40.0)] * 2, abs=POINT)
