"""The forgotten neutraliser: what is shown at a minute is what the engine says at that minute."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from browser.handling import START, Sheet
from browser.written import Written
from tapwright.chemistry.plan.late.dose import Case
from tapwright.chemistry.plan.late.from_plan import late_cases
from tapwright.chemistry.units import figure
from tapwright.cli.pages.late_words import said

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
SOLUTION = ('stock = "450 g"', 'stock = "450 g"\nsolution = "100 g/L"')
NO_CHLORINE = ('total_chlorine = "1.9 mg/L"\nfree_chlorine = "0.2 mg/L"', 'total_chlorine = "0 mg/L"')
SHARE = 0.01  # what a figure between two rows may differ by, of itself


def case_of(plan: Written, first: int = 0) -> Case:
    """The engine's own case of a page, with the totes from this one on (counted from 0) not neutralised."""
    return late_cases(plan.made.figures)[first]


def agrees(sheet: Sheet, minute: float, first: int = 0) -> None:
    """What the page shows is the engine's at that minute, to the digits that are shown."""
    case = case_of(sheet.plan, first)
    late = case.at(min(minute, float(case.filling.minutes)))
    shown = sheet.text("#late-now")
    assert shown.endswith(" mg/L")
    number = shown.removesuffix(" mg/L")
    last_digit = 10.0 ** -len(number.partition(".")[2])
    assert float(number) == pytest.approx(late.now_mg_l, rel=0, abs=SHARE * late.now_mg_l + 0.501 * last_digit)
    assert len(number.replace(".", "").lstrip("0")) <= 2
    assert float(number) == pytest.approx(float(figure(late.now_mg_l, 2)), abs=1.01 * last_digit)
    assert sheet.text("#late-dose") == said(late.dose_now, case)
    assert float(sheet.text("#late-minute")) == pytest.approx(
        min(minute, float(case.filling.minutes)), abs=0.051
    )  # shown to a tenth


@pytest.mark.parametrize("edits", [(), (SOLUTION,)], ids=["dry", "solution"])
def test_by_the_clock_of_filling(pages: Pages, opened: Opened, edits: tuple[tuple[str, str], ...]) -> None:
    sheet = opened(pages("Shell bay", edits=edits))
    assert sheet.on("#late-first").is_visible()
    agrees(sheet, 0)
    sheet.rush("tote_1_pump")
    passed = 0.0
    for minute in (0.25, 1.0, 2.0, 3.3, 4.5, 9.0):
        sheet.later(minute - passed)
        passed = minute
        agrees(sheet, minute)
        assert not sheet.on("#late-first").is_visible()
    assert ("mL" in sheet.text("#late-dose")) == bool(edits)
    assert sheet.on("#bar-late").is_visible()
    sheet.rush("fill_end")
    sheet.later(30)
    agrees(sheet, 9.0)


def test_over_several_totes_the_pumps_minutes_are_summed(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("inflow_secured")
    sheet.touch(sheet.card("tote_1_pump").locator(".start"))
    sheet.later(4)
    agrees(sheet, 4)
    sheet.rush("tote_1_pump")
    sheet.later(20)  # a pause counts nothing
    agrees(sheet, 4)
    sheet.rush("tote_2_pump")
    sheet.later(2.5)
    agrees(sheet, 6.5)


def test_only_the_totes_since_the_first_without_it_count(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_pump")
    sheet.on("#late-from").select_option("1")
    agrees(sheet, 0, first=1)  # the first tote was neutralised, and is all that was pumped
    assert sheet.on("#late-first").is_visible()
    sheet.rush("tote_2_pump")
    sheet.later(3)
    agrees(sheet, 3, first=1)
    sheet.on("#late-from").select_option("0")
    agrees(sheet, 3 + sheet.plan.plan["durations"]["fill_min"] / 2)
    doses = [case_of(sheet.plan, first).dose_now(3).grams for first in (0, 1)]
    assert doses[0] > doses[1]


@pytest.mark.reloads
def test_the_pump_is_stopped_and_the_dose_noted_from_the_box(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    assert not sheet.on("#late-stop").is_visible()
    sheet.rush("tote_1_pump")
    sheet.later(2)
    sheet.touch(sheet.on("#late-stop"))
    sheet.later(30)
    agrees(sheet, 2)
    assert sheet.alarms() == []
    for _ in range(2):  # a tap that bounces is one dose
        sheet.touch(sheet.on("#late-done"))
    record = sheet.on("#record").input_value()
    assert (
        record.count("Neutraliser forgotten: put 2 g of sodium thiosulfate pentahydrate into the tank after 2.0") == 1
    )
    sheet.page.reload()
    assert sheet.on("#record").input_value() == record


def test_a_clock_that_is_set_back_counts_nothing(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("tote_1_pump")
    sheet.page.clock.set_system_time(datetime.fromisoformat(START) - timedelta(hours=1))
    sheet.watched(1)
    agrees(sheet, 1 / 60)


def test_a_tote_pumped_without_its_clock_counts_as_predicted(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_pump")
    agrees(sheet, sheet.plan.plan["durations"]["fill_min"] / 2)


def test_by_minutes_that_are_typed(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    for text, minute in (("4.5", 4.5), ("4,5", 4.5), (" 7 ", 7.0), ("0.5", 0.5), (".5", 0.5), ("600", 600.0)):
        sheet.on("#late-typed").fill(text)
        agrees(sheet, minute)
        assert sheet.text("#late-problem") == ""
        assert not sheet.on("#late-first").is_visible()


def test_what_is_no_number_of_minutes_is_refused_in_words(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("tote_1_pump")
    sheet.later(2)
    for text in ("abc", "-3", "1e3", "1441", "4,5,6", "4 5", "<b>5</b>", "\u0664"):
        sheet.on("#late-typed").fill(text)
        message = sheet.text("#late-problem")
        assert f"'{text}'" in message and "0 to 1440" in message
        agrees(sheet, 2)  # the clocks count on
    sheet.on("#late-typed").fill("")
    assert sheet.text("#late-problem") == ""


@pytest.mark.parametrize("tank", ["Rock wall", "Shell bay"])
def test_the_table_is_within_one_per_cent_of_the_engine(pages: Pages, tank: str) -> None:
    plan = pages(tank)
    for first, rows in enumerate(plan.data["late"]["from_tote"]):
        _within_one_per_cent(case_of(plan, first), rows)


def _within_one_per_cent(case: Case, rows: list[list[float]]) -> None:
    end = float(case.filling.minutes)
    minutes = np.array([row[0] for row in rows])
    at = np.concatenate(
        [minutes[1:], (minutes[1:] + minutes[:-1]) / 2]
    )  # on the rows, and where a line is farthest off
    line = np.interp(at, minutes, [row[1] for row in rows])
    engine = [case.at(minute) for minute in at]
    np.testing.assert_allclose(line, [late.now_mg_l for late in engine], rtol=SHARE)
    later = [next(row for row in rows if row[0] >= min(minute, rows[-1][0])) for minute in at]
    assert [row[2] for row in later] == pytest.approx([late.dose_now.grams for late in engine], rel=SHARE)
    assert minutes[-1] == pytest.approx(end, abs=1e-3)


def test_between_two_rows_the_larger_dose_is_shown(pages: Pages, opened: Opened, tmp_path: Path) -> None:
    # The engine's doses hardly differ over a filling: a table made up shows what the script does where they do.
    rows = [[0.0, 0.0, 6.0, 60.0], [2.0, 1.0, 4.0, 40.0], [4.0, 2.0, 9.0, 90.0]]
    sheet = opened(pages("Shell bay").with_rows(rows, tmp_path / "sheet.html"))
    name = case_of(sheet.plan).bottle.agent.name
    for typed, grams, chlorine in (
        ("0", 6, "0"),
        ("0.5", 6, "0.25"),
        ("1.5", 6, "0.75"),
        ("3", 9, "1.5"),
        ("5", 9, "2"),
    ):
        sheet.on("#late-typed").fill(typed)
        assert sheet.text("#late-dose") == f"{10 * grams} mL of {name} solution ({grams} g of {name})"
        assert sheet.text("#late-now") == f"{chlorine} mg/L"


def test_the_advice_stands_before_the_figures(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    places = sheet.page.evaluate(
        """[...document.querySelectorAll(".forgotten h2, .forgotten ol, .forgotten dl, .forgotten select, .forgotten input")]
            .map(element => element.tagName)"""
    )
    assert places == ["H2", "OL", "DL", "SELECT", "INPUT"]
    first = sheet.text(".forgotten ol > li >> nth=0")
    assert first.startswith("Stop the water now")
    assert sheet.on(".forgotten ol > li >> nth=1").locator("#late-dose").is_visible()


def test_the_box_is_one_tap_away(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("tote_1_pump")
    sheet.later(1)
    sheet.touch(sheet.on("#bar-late a"))
    assert sheet.on("#forgotten-heading").evaluate("heading => { const { top, bottom } = heading.getBoundingClientRect();"
                                                   " return top >= 0 && bottom < innerHeight; }")  # fmt: skip


def test_a_tap_without_chlorine_has_no_such_box(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay", edits=(NO_CHLORINE,)))
    assert late_cases(sheet.plan.made.figures) == ()
    assert sheet.on(".forgotten").count() == 0
    assert "NEUTRALISER" not in sheet.page.evaluate("document.body.innerText")
    sheet.walk()
    assert sheet.ticked() == sheet.ids
    assert "thiosulfate" not in json.dumps(sheet.on("#record").input_value())
    assert re.search(r"Changed \d+ %", sheet.on("#record").input_value())
