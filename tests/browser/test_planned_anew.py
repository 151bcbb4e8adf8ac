"""Planned anew within an evening: the new page has no ticks, says so, and still has the old plan's record for the log."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import DEMO

from browser.handling import Sheet
from browser.test_record import imported
from browser.written import Written

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
ANEW = ("--change", "30%")


@pytest.mark.reloads
def test_the_new_page_says_what_the_old_one_had(pages: Pages, opened: Opened, tmp_path: Path) -> None:
    old = opened(pages("Rock wall"), accept_downloads=True)
    old.rush("drain_start")
    new = opened(pages("Rock wall", *ANEW), on=old.page.context)
    assert new.key != old.key and new.ticked() == [] and new.clocks() == []
    said = new.text("#earlier")
    assert f"has ticks up to '{old.steps[old.ids.index('drain_start')]['name']}'" in said
    assert "they are not carried over" in said
    assert "Its clock 'Tank drains' has run since" in said and "look at the water" in said
    assert new.on("#earlier textarea").input_value() == old.on("#record").input_value()
    old.later(8)
    old.rush("tote_1_pump")
    new.page.reload()
    assert f"has ticks up to '{old.steps[old.ids.index('tote_1_pump')]['name']}'" in new.text("#earlier")
    assert "has run since" not in new.text("#earlier")
    with new.page.expect_download() as caught:
        new.on("#earlier button").click()
    caught.value.save_as(tmp_path / "earlier.csv")
    (row,) = csv.DictReader(io.StringIO((tmp_path / "earlier.csv").read_text(encoding="utf-8")))
    assert "sodium thiosulfate pentahydrate" in row["note"] and "20 % of the tank" in row["note"]
    shutil.copy(DEMO, tmp_path / "house.toml")
    assert imported(tmp_path / "house.toml", tmp_path / "earlier.csv") == (1, 0)


@pytest.mark.reloads
def test_only_this_tank_and_this_evening_are_told_of(pages: Pages, opened: Opened) -> None:
    old = opened(pages("Shell bay"))
    old.rush("lay_out")
    other = opened(pages("Rock wall"), on=old.page.context)
    assert not other.on("#earlier").is_visible(), "another tank"
    assert not old.on("#earlier").is_visible(), "its own"
    anew = opened(pages("Shell bay", *ANEW), on=old.page.context)
    assert anew.on("#earlier").is_visible()
    old.later(13 * 60)
    anew.page.reload()
    assert not anew.on("#earlier").is_visible(), "another evening"


@pytest.mark.reloads
@pytest.mark.parametrize("text", ["{", "null", "7", '{"tank": "Shell bay"}', '{"at": 1, "tank": null, "still": {}}'])
def test_no_record_that_is_broken_breaks_the_page(pages: Pages, opened: Opened, text: str) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.page.evaluate("text => localStorage.setItem('tapwright record x', text)", text)
    sheet.page.reload()
    sheet.rush("lay_out")
    assert not sheet.on("#earlier").is_visible() and sheet.ticked() == ["test_tap", "lay_out"]


def test_a_plan_that_differs_in_a_word_is_another(pages: Pages) -> None:
    warmer = (('temperature = "57 degC"', 'temperature = "56 degC"'),)
    ids = {pages("Shell bay").data["id"], pages("Shell bay", edits=warmer).data["id"]}
    assert len(ids) == 2, "another blend"
