"""What comes of an evening that does not go as planned: a tote that is poured away, a change that stops half way."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from browser.handling import Sheet
from browser.test_record import demo, downloaded, imported, rows_of
from browser.written import Written

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
__all__ = ["demo"]  # a fixture of the tests of the record


def test_a_tote_that_still_reads_chlorine_is_poured_away(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_fill")
    step, name = "tote_1_neutralise", "sodium thiosulfate pentahydrate"
    for _ in range(2):
        sheet.reads(step, "more")
        sheet.touch(sheet.card(step).locator(".half"))
        sheet.later(6)
    sheet.reads(step, "more")
    in_all = f"{2 * sheet.plan.plan['neutraliser']['agent_g_per_tote']:.3g} g of {name}"
    assert sheet.why(step).startswith(f"This tote is not used: {in_all} in all") and "Test a blank" in sheet.why(step)
    assert not sheet.card(step).locator(".half").is_visible()
    sheet.tap(step)
    assert step not in sheet.ticked()
    pour = sheet.card(step).locator(".pour")
    sheet.touch(pour)
    assert sheet.ticked()[-1] == "tote_1_fill", "once is not enough"
    sheet.watched(2.1)
    sheet.touch(pour)
    assert sheet.ticked()[-1] == "heater_off" and not any(line.startswith("Stir") for line in sheet.clocks())
    record = sheet.on("#record").input_value()
    assert f"poured away: chlorine left after {in_all}" in record and "Put in" not in record
    sheet.rush("tote_1_fill")
    sheet.reads(step, "more")
    assert sheet.card(step).locator(".half").is_visible(), "the new water is another"


def test_an_evening_that_stops_half_way_keeps_its_doses_and_share(
    pages: Pages, opened: Opened, demo: Path, tmp_path: Path
) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_2_salts")
    plan = sheet.plan.plan
    litres, share = plan["change_volume_l"], plan["change_share"]
    so_far = (
        f"Drained {litres:.0f} L; filled {litres / 2:.0f} L, {50 * share:.3g} % of the tank; put in: ",
        "in totes that are not in the tank: ",
    )
    (note,) = rows_of(path := downloaded(sheet, tmp_path))
    assert note["kind"] == "note" and all(words in note["note"] for words in so_far)
    assert imported(demo, path) == (1, 0)
    end = sheet.on("#end")
    sheet.touch(end)
    assert "The evening ended here" in sheet.text("#record-state")
    (part,) = rows_of(path := downloaded(sheet, tmp_path))
    assert part["kind"] == "change" and float(part["share"]) == pytest.approx(share / 2, abs=1e-6)
    grams = dict(reversed(dose.split(" g ", 1)) for dose in part["dosed"].split("; "))
    per_tote = {salt["salt"]: salt["salt_g_per_tote"] for salt in plan["salts"]}
    per_tote["sodium thiosulfate pentahydrate"] = plan["neutraliser"]["agent_g_per_tote"]
    assert {name: float(text) for name, text in grams.items()} == pytest.approx(per_tote, rel=1e-3), "of one tote alone"
    assert all(words in part["note"] for words in so_far)
    assert imported(demo, path) == (1, 0)
    sheet.touch(end)  # it goes on after all
    assert rows_of(downloaded(sheet, tmp_path))[0]["kind"] == "note"
    sheet.rush("fill_end")
    assert not end.is_visible()
    assert rows_of(downloaded(sheet, tmp_path))[0]["kind"] == "change"


def test_an_evening_that_stops_with_nothing_filled_is_a_note(pages: Pages, opened: Opened, tmp_path: Path) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("drain_start")
    sheet.later(1)
    sheet.touch(sheet.on("#end"))
    (row,) = rows_of(downloaded(sheet, tmp_path))
    assert row["kind"] == "note" and "Drained about 3" in row["note"] and "nothing filled back" in row["note"]
