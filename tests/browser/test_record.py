"""From the first tick to the record, and from there into the log."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from conftest import DEMO
from playwright.sync_api import expect

from browser.handling import START, Sheet
from browser.written import Written, called

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
HEAD = ["uid", "tank", "at", "kind", "share", "dosed", "part", "note"]
NO_CLIPBOARD = "Object.defineProperty(navigator, 'clipboard', { value: undefined });"
NASTY = (
    'He said "gasp", twice,\nthen\tnothing; \U0001f41f 10\u2009% =HYPERLINK("https://x.example","y")\u2028<b>\x07end'
)
CLEAN = 'He said "gasp", twice, then nothing; \U0001f41f 10\u2009% =HYPERLINK("https://x.example","y") <b> end'


def downloaded(sheet: Sheet, folder: Path) -> Path:
    """The file for the log."""
    with sheet.page.expect_download() as caught:
        sheet.touch(sheet.on("#download"))
    path = folder / caught.value.suggested_filename
    caught.value.save_as(path)
    return path


def rows_of(path: Path) -> list[dict[str, str]]:
    text = path.read_bytes().decode("utf-8")
    rows = list(csv.DictReader(io.StringIO(text, newline=""), strict=True))
    assert text.splitlines()[0].split(",") == HEAD
    return rows


def imported(house: Path, path: Path) -> tuple[int, int]:
    """How many entries were new to the log and how many stood in it."""
    _, out = called("log", "import", house, path, "--json")
    result = json.loads(out)["result"]
    return result["added"], result["known"]


def logged(house: Path, tank: str) -> list[dict[str, Any]]:
    _, out = called("log", "list", house, "--tank", tank, "--json")
    found: list[dict[str, Any]] = json.loads(out)["result"]["entries"]
    return found


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    """The demo's household file with the demo's log in its logbook, in a folder of its own."""
    shutil.copy(DEMO, tmp_path / "house.toml")
    called("log", "import", tmp_path / "house.toml", DEMO.with_name("log.csv"))
    return tmp_path / "house.toml"


def at(sheet: Sheet, step: str) -> datetime:
    return datetime.fromtimestamp(sheet.kept()["ticks"][step] / 1000, tz=datetime.fromisoformat(START).tzinfo)


def clock_time(sheet: Sheet) -> str:
    """Hours and minutes of the page's clock, in the zone of START."""
    return datetime.fromtimestamp(sheet.now() / 1000, tz=datetime.fromisoformat(START).tzinfo).strftime("%H:%M")


def unfinished(sheet: Sheet, step: str) -> str:
    """What the record says of a change that stands before a step."""
    place = sheet.ids.index(step)
    left, name = len(sheet.ids) - place, sheet.steps[place]["name"]
    return f"Not done: {left} of {len(sheet.ids)} steps, from step {place + 1}: {name}"


@pytest.mark.reloads
def test_from_the_first_tick_to_the_log(pages: Pages, opened: Opened, demo: Path, tmp_path: Path) -> None:
    plan = pages("Rock wall", "--clean-substrate")
    sheet = opened(plan, has_touch=True, is_mobile=True, accept_downloads=True)
    assert sheet.text("#record-state") == "Nothing has been ticked yet."
    assert sheet.on("#download").is_disabled() and sheet.on("#copy").is_disabled()
    sheet.walk(by_hand=True)
    assert sheet.ticked() == sheet.ids
    sheet.on("#note").fill(NASTY)
    path = downloaded(sheet, tmp_path)
    assert path.name == "water-change-2026-03-14.csv"
    assert sheet.text("#record-said") == f"{path.name} is made, at {clock_time(sheet)}."
    assert sheet.text("#file-name") == path.name
    assert "Not done" not in sheet.on("#record").input_value()
    before = logged(demo, "Rock wall")
    assert imported(demo, path) == (2, 0)
    new = [entry for entry in logged(demo, "Rock wall") if entry["uid"] not in {old["uid"] for old in before}]
    (change,) = [entry for entry in new if entry["kind"] == "change"]
    assert change["share"] == pytest.approx(plan.plan["change_share"], abs=1e-6)
    assert datetime.fromisoformat(change["at"]) == at(sheet, "fill_end").replace(microsecond=0)
    assert change["at"].endswith("+01:00")
    doses = {"sodium thiosulfate pentahydrate": plan.plan["neutraliser"]["agent_g"]}
    doses |= {salt["salt"]: salt["salt_g"] for salt in plan.plan["salts"]}
    written = dict(reversed(dose.split(" g ", 1)) for dose in change["dosed"].split("; "))
    assert {name: float(grams) for name, grams in written.items()} == pytest.approx(doses, rel=1e-3)
    assert change["note"].endswith(CLEAN)
    assert "Tank drains: " in change["note"]
    services = {entry["part"]: datetime.fromisoformat(entry["at"]) for entry in new if entry["kind"] == "service"}
    assert services == {"substrate": at(sheet, "substrate_clean").replace(microsecond=0)}
    # The minutes each thing took: as ticked, beside those planned.
    took = re.search(r"Tank drains: ([\d.]+) min \(planned ([\d.]+)\)", change["note"])
    drained = (at(sheet, "drain_end") - at(sheet, "drain_start")).total_seconds() / 60
    assert float(took[1]) == pytest.approx(drained, rel=0.005)
    assert float(took[2]) == pytest.approx(plan.plan["durations"]["drain_min"], rel=0.005)
    # A second time adds nothing, nor does a download of the same record after a reload.
    assert imported(demo, path) == (0, 2)
    sheet.page.reload()
    assert imported(demo, downloaded(sheet, tmp_path)) == (0, 2)


@pytest.mark.parametrize(
    ("zone", "offset"), [("America/St_Johns", "-02:30"), ("Asia/Kathmandu", "+05:45"), ("UTC", "+00:00")]
)
def test_times_carry_the_offset_of_the_place(
    pages: Pages, opened: Opened, tmp_path: Path, zone: str, offset: str
) -> None:
    sheet = opened(pages("Shell bay"), timezone_id=zone)
    sheet.rush("fill_end")
    (row,) = rows_of(downloaded(sheet, tmp_path))
    assert row["at"].endswith(offset)
    assert datetime.fromisoformat(row["at"]) == at(sheet, "fill_end").replace(microsecond=0)
    local = datetime.fromisoformat(row["at"]).strftime("%H:%M")
    assert sheet.text("#step-fill_end .ticked-at") == f"Done at {local}"
    assert f"{local} {sheet.steps[sheet.ids.index('fill_end')]['name']}" in sheet.on("#record").input_value()


@pytest.mark.parametrize("clipboard", [True, False], ids=["clipboard", "none"])
def test_the_record_as_text(pages: Pages, opened: Opened, clipboard: bool) -> None:
    sheet = opened(pages("Shell bay"), scripts=() if clipboard else (NO_CLIPBOARD,))
    sheet.page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    sheet.rush("fill_end")
    sheet.on("#note").fill(NASTY)
    assert sheet.text("#record-said") == ""
    sheet.touch(sheet.on("#copy"))
    expect(sheet.on("#record-said")).to_have_text(f"Copied at {clock_time(sheet)}.")
    sheet.on("#note").fill("")
    sheet.on("#note").press("Control+V")
    lines = sheet.on("#note").input_value().splitlines()
    assert lines[0] == "Water change for Shell bay, 2026-03-14"
    share, litres = (float(figure) for figure in re.search(r"Changed ([\d.]+) %.*?([\d.]+) L", lines[1]).groups())
    assert share == pytest.approx(100 * sheet.plan.plan["change_share"], rel=1e-3)
    assert litres == pytest.approx(
        sheet.plan.plan["change_volume_l"], abs=0.5
    )  # whole litres, as everywhere on the sheet
    assert lines[-2:] == [unfinished(sheet, "filter_on"), f"Seen: {CLEAN}"]
    done = sheet.ids[: sheet.ids.index("fill_end") + 1]
    names = [step["name"] for step in sheet.steps]
    assert [line[6:] for line in lines if re.match(r"\d\d:\d\d ", line)] == names[: len(done)]


def test_where_nothing_can_be_copied_the_text_is_marked(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"), scripts=(NO_CLIPBOARD, "document.execCommand = () => false;"))
    sheet.rush("heater_off")
    sheet.touch(sheet.on("#copy"))
    expect(sheet.on("#record-said")).to_contain_text("copy it by hand")
    marked = sheet.on("#record").evaluate("text => text.value.slice(text.selectionStart, text.selectionEnd)")
    assert marked == sheet.on("#record").input_value() != ""


def test_before_the_tank_is_full_the_log_gets_a_note_and_no_change(
    pages: Pages, opened: Opened, demo: Path, tmp_path: Path
) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("heater_off")
    assert "not full yet" in sheet.text("#record-state")
    assert not sheet.on("#copy").is_disabled()
    sheet.on("#note").fill("Called away")
    (row,) = rows_of(path := downloaded(sheet, tmp_path))
    assert (row["kind"], row["share"], row["dosed"], row["part"]) == ("note", "", "", "")
    note = f"Water change begun, tank not full; {unfinished(sheet, 'tote_1_fill')}; Called away"
    assert row["note"] == note
    assert datetime.fromisoformat(row["at"]) == at(sheet, "heater_off").replace(microsecond=0)
    assert imported(demo, path) == (1, 0)
    new = [entry for entry in logged(demo, "Shell bay") if entry["uid"] == row["uid"]]
    assert [(entry["kind"], entry["note"]) for entry in new] == [("note", note)]
    lines = sheet.on("#record").input_value().splitlines()
    assert not any(line.startswith(("Changed", "Put in")) for line in lines)
    assert unfinished(sheet, "tote_1_fill") in lines
    sheet.rush("fill_end")
    assert "stands in the record" in sheet.text("#record-state")


def test_the_share_may_be_corrected(pages: Pages, opened: Opened, demo: Path, tmp_path: Path) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("fill_end")
    assert sheet.on("#changed").get_attribute("placeholder") == "40"
    for text in ("abc", "0", "101", "-5", "1e1", "40 %"):
        sheet.on("#changed").fill(text)
        assert f"'{text}'" in sheet.text("#changed-problem"), text
        assert sheet.on("#download").is_disabled(), text
    for text, share in (("35,5", 0.355), ("100", 1.0), ("37.25", 0.3725)):
        sheet.on("#changed").fill(text)
        assert sheet.text("#changed-problem") == ""
        (row,) = rows_of(path := downloaded(sheet, tmp_path))
        assert float(row["share"]) == pytest.approx(share)
    assert "Changed 37.25 %" in sheet.on("#record").input_value()
    assert imported(demo, path) == (1, 0)
    assert [entry["share"] for entry in logged(demo, "Rock wall") if entry["dosed"]][-1:] == [0.3725]


def test_a_serviced_filter_is_logged(pages: Pages, opened: Opened, demo: Path, tmp_path: Path) -> None:
    sheet = opened(pages("Shell bay", "--service-filter"))
    sheet.rush("fill_end")
    path = downloaded(sheet, tmp_path)
    assert [(row["kind"], row["part"]) for row in rows_of(path)] == [("change", ""), ("service", "filter")]
    assert imported(demo, path) == (2, 0)
    assert [entry["part"] for entry in logged(demo, "Shell bay")][-2:].count("filter") == 1


def test_only_what_was_ticked_was_put_in(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_fill")
    assert "Put in" not in sheet.on("#record").input_value()
    sheet.rush("tote_1_salts")
    line = next(line for line in sheet.on("#record").input_value().splitlines() if line.startswith("Put in: "))
    per_tote = {salt["salt"]: salt["salt_g_per_tote"] for salt in sheet.plan.plan["salts"]}
    per_tote["sodium thiosulfate pentahydrate"] = sheet.plan.plan["neutraliser"]["agent_g_per_tote"]
    amounts = dict(reversed(dose.split(" g ", 1)) for dose in line.removeprefix("Put in: ").split("; "))
    assert {name: float(grams) for name, grams in amounts.items()} == pytest.approx(per_tote, rel=1e-3)


@pytest.mark.reloads
def test_a_record_that_goes_on_can_be_imported_again_and_again(
    pages: Pages, opened: Opened, demo: Path, tmp_path: Path
) -> None:
    sheet = opened(pages("Shell bay", "--service-filter"))
    old = {entry["uid"] for entry in logged(demo, "Shell bay")}

    def new() -> list[str]:
        return [entry["kind"] for entry in logged(demo, "Shell bay") if entry["uid"] not in old]

    sheet.rush("heater_off")
    path = downloaded(sheet, tmp_path)
    assert (imported(demo, path), imported(demo, path)) == ((1, 0), (0, 1))
    sheet.page.reload()
    assert imported(demo, downloaded(sheet, tmp_path)) == (0, 1)
    sheet.later(30)
    sheet.rush("tote_1_fill")
    assert imported(demo, downloaded(sheet, tmp_path)) == (1, 0)
    assert new() == ["note", "note"]
    sheet.later(30)
    sheet.rush("fill_end")
    assert imported(demo, downloaded(sheet, tmp_path)) == (2, 0)
    sheet.rush(sheet.ids[-1])
    assert imported(demo, downloaded(sheet, tmp_path)) == (0, 2)
    assert sorted(new()) == ["change", "note", "note", "service"]


def late_dose(sheet: Sheet) -> str:
    """Press that the dose is in the tank; what the record must say of it, by what the box shows at that moment."""
    dose, minute, chlorine = (sheet.text(f"#late-{name}") for name in ("dose", "minute", "now"))
    sheet.touch(sheet.on("#late-done"))
    return (
        f"Neutraliser forgotten: put {dose} into the tank after {minute} minutes of pumping, chlorine about {chlorine}"
    )


@pytest.mark.reloads
def test_a_late_dose_is_noted_and_logged(pages: Pages, opened: Opened, demo: Path, tmp_path: Path) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("inflow_secured")
    sheet.touch(sheet.card("tote_1_pump").locator(".start"))
    sheet.later(3)
    assert "Neutraliser forgotten" not in sheet.on("#record").input_value()
    put_at, words = clock_time(sheet), late_dose(sheet)
    assert "3.0 minutes" in words and " g of sodium thiosulfate pentahydrate" in words
    assert sheet.text("#late-noted") == f"Noted for the record at {put_at}."
    sheet.watched(1)
    sheet.touch(sheet.on("#late-done"))  # a tap that bounces is no second dose
    assert sheet.on("#record").input_value().splitlines().count(f"{put_at} {words}") == 1
    assert len(sheet.kept()["added"]) == 1
    note, late = rows_of(path := downloaded(sheet, tmp_path))
    assert note["note"].startswith("Water change begun, tank not full; ")
    assert (late["kind"], late["share"], late["dosed"], late["note"]) == ("note", "", "", words)
    noted = datetime.fromtimestamp(sheet.kept()["added"][0]["at"] / 1000, tz=datetime.fromisoformat(START).tzinfo)
    assert datetime.fromisoformat(late["at"]) == noted.replace(microsecond=0)
    assert imported(demo, path) == (2, 0)
    # It stays the same entry when the change goes on, and a second dose is another.
    sheet.later(2)
    second = late_dose(sheet)
    assert second != words
    sheet.page.reload()
    sheet.rush("fill_end")
    change, *noted_rows = rows_of(path := downloaded(sheet, tmp_path))
    assert (change["kind"], [row["note"] for row in noted_rows]) == ("change", [words, second])
    assert imported(demo, path) == (2, 1)
    assert [entry["note"] for entry in logged(demo, "Rock wall") if "forgotten" in entry["note"]] == [words, second]


def test_a_late_dose_from_the_second_tote_on_is_what_the_record_says(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_2_check")
    sheet.touch(sheet.card("tote_2_pump").locator(".start"))
    sheet.later(4)
    all_of_it = sheet.text("#late-dose")
    sheet.on("#late-from").select_option("tote 2")
    assert sheet.text("#late-dose") != all_of_it
    words = late_dose(sheet)
    assert "after 4.0 minutes" in words
    assert words in sheet.on("#record").input_value()


def test_a_late_dose_before_any_tick_is_logged_once(pages: Pages, opened: Opened, demo: Path, tmp_path: Path) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.on("#late-typed").fill("4")
    words = late_dose(sheet)
    sheet.on("#note").fill("Gasping")
    note, late = rows_of(path := downloaded(sheet, tmp_path))
    assert note["note"] == f"Water change begun, tank not full; {unfinished(sheet, sheet.ids[0])}; Gasping"
    assert (late["kind"], late["note"]) == ("note", words) and note["at"] == late["at"]
    assert imported(demo, path) == (2, 0)
    sheet.later(1)
    late_dose(sheet)
    assert imported(demo, downloaded(sheet, tmp_path)) == (1, 2)
    sheet.later(1)
    sheet.rush("fill_end")
    assert imported(demo, downloaded(sheet, tmp_path)) == (1, 2), "the change is new, the doses stood"


def test_a_dose_that_was_not_given_is_taken_back_by_two_presses(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("test_tap")
    take_back = sheet.on("#take-back")
    assert not take_back.is_visible()
    sheet.on("#late-typed").fill("4")
    first = late_dose(sheet)
    sheet.later(1)
    noted_at, second = clock_time(sheet), late_dose(sheet)
    assert take_back.inner_text() == f"Take back what was noted at {noted_at}"
    sheet.touch(take_back)
    assert sheet.text("#record-said") == f"If that was not put in, press once more: {second}"
    sheet.touch(take_back)  # at once: a tap that bounces
    assert [one["text"] for one in sheet.kept()["added"]] == [first, second]
    sheet.watched(2.1)
    sheet.touch(take_back)
    assert [one["text"] for one in sheet.kept()["added"]] == [first]
    assert sheet.on("#record").input_value().count("Neutraliser forgotten") == 1
    sheet.watched(2.1)
    sheet.touch(take_back)  # asked anew for each
    assert len(sheet.kept()["added"]) == 1


@pytest.mark.reloads
def test_more_neutraliser_goes_in_twice_at_most_and_is_summed(
    pages: Pages, opened: Opened, demo: Path, tmp_path: Path
) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_fill")
    step = "tote_1_neutralise"
    more, name = sheet.card(step).locator(".half"), "sodium thiosulfate pentahydrate"
    per_tote = sheet.plan.plan["neutraliser"]["agent_g_per_tote"]
    assert not more.is_visible()
    for time in (1, 2):
        sheet.reads(step, "more")
        assert f"g of {name}" in sheet.why(step) and more.is_visible()
        assert ("For the last time" in sheet.why(step)) == (time == 2)
        sheet.tap(step)
        assert step not in sheet.ticked()
        sheet.touch(more)
        assert not more.is_visible() and "Test total chlorine in the tote" in sheet.why(step)
        total = f"{per_tote * (1 + time / 2):.3g} g of {name}"
        assert total in sheet.why(step) and total in sheet.card(step).locator(".in-all").inner_text()
        assert "Stir tote 1: 5:00 to go" in sheet.clocks(), "it is stirred anew"
        assert sheet.card(step).locator("fieldset input:checked").count() == 0, "it is tested again"
        assert sheet.card(step).locator("fieldset input").first.evaluate("input => input === document.activeElement")
        sheet.later(1)
    sheet.page.reload()
    words = [one["text"] for one in sheet.kept()["added"]]
    assert len(words) == 2 and all("into tote 1, as the test read more than zero: " in text for text in words)
    half = float(re.search(r"([\d.]+) g of", words[0])[1])
    assert half == pytest.approx(per_tote / 2, rel=5e-3)  # told in three digits
    sheet.rush("fill_end")
    change, *noted = rows_of(path := downloaded(sheet, tmp_path))
    assert [row["note"] for row in noted] == words
    grams = dict(reversed(dose.split(" g ", 1)) for dose in change["dosed"].split("; "))[name]
    assert float(grams) == pytest.approx(sheet.plan.plan["neutraliser"]["agent_g"] + per_tote, rel=1e-3)
    assert f"Put in: {grams} g {name}" in sheet.on("#record").input_value()
    assert imported(demo, path) == (3, 0)
