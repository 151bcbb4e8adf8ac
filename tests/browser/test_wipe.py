"""A sheet is begun again only by somebody who means it, and what was wiped can be brought back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from browser.handling import Sheet
from browser.written import Written

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]


def all_kept(sheet: Sheet) -> dict[str, Any]:
    """Ticks, clocks, readings, fields and late doses."""
    return {name: value for name, value in sheet.kept().items() if name not in ("wiped", "saves")}


def wiped(sheet: Sheet) -> bool:
    """Whether nothing is left of a change, on the page and in the browser."""
    fields = [sheet.on(field).input_value() for field in ("#note", "#changed", "#record")]
    assert (sheet.ticked() == []) == (fields == ["", "", ""]) == (sheet.clocks() == []) == (sheet.kept()["ticks"] == {})
    return sheet.ticked() == []


@pytest.mark.reloads
def test_wiping_takes_another_button_after_two_seconds_and_can_be_taken_back(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_fill")
    sheet.on("#note").fill("Kept")
    sheet.on("#changed").fill("35")
    sheet.touch(sheet.on("#late-done"))
    sheet.reads("tote_1_neutralise")
    before, record = all_kept(sheet), sheet.on("#record").input_value()
    assert (
        all(before[part] for part in ("ticks", "clocks", "typed", "added"))
        and "read tote_1_neutralise" in before["typed"]
    )
    assert not sheet.on("#wipe").is_visible() and not sheet.on("#bring-back").is_visible()
    sheet.rest()
    sheet.on("#again").dblclick()
    assert not wiped(sheet)
    for seconds in (0, 1, 0.9):
        sheet.watched(seconds)
        sheet.on("#wipe").click()
        assert not wiped(sheet), seconds
    assert all_kept(sheet) == before
    sheet.watched(1.1)
    sheet.on("#wipe").click()
    assert wiped(sheet)
    assert not sheet.on("#wipe").is_visible() and sheet.on("#again").is_disabled()
    sheet.page.reload()
    assert wiped(sheet)
    sheet.touch(sheet.on("#bring-back"))
    assert all_kept(sheet) == before
    assert (sheet.on("#note").input_value(), sheet.on("#changed").input_value()) == ("Kept", "35")
    assert sheet.on("#record").input_value() == record and not sheet.on("#bring-back").is_visible()
    sheet.page.reload()
    assert all_kept(sheet) == before and sheet.ticked() == sheet.ids[:4]


def test_a_first_press_long_ago_does_not_count(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("heater_off")
    sheet.touch(sheet.on("#again"))
    sheet.watched(59)
    assert sheet.on("#wipe").is_visible()
    sheet.watched(2)
    assert not sheet.on("#wipe").is_visible(), "what would not wipe is not offered"
    sheet.touch(sheet.on("#again"))
    sheet.touch(sheet.on("#wipe"))
    assert not wiped(sheet), "and it is asked anew"


def test_a_late_dose_by_itself_is_wiped_and_brought_back(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.on("#late-typed").fill("4")
    sheet.touch(sheet.on("#late-done"))
    before, record = all_kept(sheet), sheet.on("#record").input_value()
    assert before["ticks"] == {} and "Neutraliser forgotten" in record
    sheet.touch(sheet.on("#again"))
    sheet.watched(2.5)
    sheet.touch(sheet.on("#wipe"))
    assert (sheet.on("#record").input_value(), sheet.kept()["added"]) == ("", [])
    sheet.touch(sheet.on("#bring-back"))
    assert (all_kept(sheet), sheet.on("#record").input_value()) == (before, record)


def test_nothing_is_wiped_while_water_runs(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("heater_off")
    sheet.touch(sheet.on("#again"))
    sheet.watched(3)
    taps = sheet.card("tote_1_fill")
    sheet.touch(taps.locator(".start"))
    assert sheet.on("#again").is_disabled() and not sheet.on("#wipe").is_visible()
    assert "Water runs: nothing is wiped" in sheet.text("#again-said")
    sheet.touch(taps.locator(".stop"))
    assert not sheet.on("#again").is_disabled() and sheet.text("#again-said") == ""
    assert not sheet.on("#wipe").is_visible(), "it is asked anew"
    sheet.rush("drain_start")
    assert sheet.on("#again").is_disabled()
    sheet.tap("drain_start")  # the siphon goes on, whatever is unticked
    assert sheet.on("#again").is_disabled()


def test_what_was_wiped_does_not_mix_with_what_is_new(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("heater_off")
    before = all_kept(sheet)
    sheet.touch(sheet.on("#again"))
    sheet.watched(2.5)
    sheet.touch(sheet.on("#wipe"))
    sheet.rush("test_tap")
    assert not sheet.on("#bring-back").is_visible()
    sheet.touch(sheet.on("#undo"))
    sheet.touch(sheet.on("#bring-back"))
    assert all_kept(sheet) == before
