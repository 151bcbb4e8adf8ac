"""What was ticked, timed and typed outlives a reload, belongs to one plan alone, and nothing that is kept breaks the page."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from browser.conftest import Watch
from browser.handling import START, Sheet
from browser.written import Written

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
REFUSES = "() => { throw new DOMException('no', 'SecurityError'); }"


def shown(sheet: Sheet) -> tuple[object, ...]:
    """Everything that must be the same after a reload."""
    return (
        sheet.ticked(),
        [text for text in sheet.on(".ticked-at").all_text_contents() if text],
        sheet.clocks(),
        [text.split(" (")[0] for text in sheet.alarms()],
        sheet.text("#nearest"),
        sheet.on("#note").input_value(),
        sheet.on("#changed").input_value(),
        sheet.on("#record").input_value(),
        sheet.kept(),
    )


@pytest.mark.reloads
def test_a_reload_and_a_second_page_find_everything_as_it_was(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.later(2)
    sheet.rush("drain_start")
    sheet.later(7.3)
    sheet.rush("inflow_secured")
    sheet.on("#note").fill("One fish hid; pH 8,2")
    sheet.on("#changed").fill("38")
    sheet.touch(sheet.card("tote_1_pump").locator(".start"))
    sheet.later(3)
    assert sheet.calling("Be at tote 1: ")
    sheet.touch(sheet.on("#alarms button").first)
    before = shown(sheet)
    assert "Tank drains: Stopped at 7:18" in before[2]
    assert "Pump runs from tote 1: Runs for 3:01" in before[2]
    assert before[3] == []
    sheet.page.reload()
    assert shown(sheet) == before
    other = opened(pages("Rock wall"), on=sheet.page.context)
    assert shown(other) == before
    assert other.on("#step-test_tap .ticked-at").inner_text() == "Done at 18:32"


def test_a_tick_in_one_page_shows_in_another_that_is_open(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    other = opened(pages("Shell bay"), on=sheet.page.context)
    sheet.rush("lay_out")
    other.on("#step-lay_out.done").wait_for()
    other.rush("heater_off")
    sheet.on("#step-heater_off.done").wait_for()
    assert sheet.ticked() == other.ticked() == ["test_tap", "lay_out", "heater_off"]
    assert any(line.startswith("Heaters cool") for line in sheet.clocks())


@pytest.mark.reloads
@pytest.mark.parametrize("other", [("Rock wall",), ("Shell bay", "--date", "2026-03-21")], ids=["tank", "day"])
def test_another_plan_has_ticks_of_its_own(pages: Pages, opened: Opened, other: tuple[str, ...]) -> None:
    first = opened(pages("Shell bay"))
    first.rush("heater_off")
    first.on("#note").fill("Of the first")
    second = opened(pages(*other), on=first.page.context)
    assert first.key != second.key
    assert (second.ticked(), second.clocks(), second.on("#note").input_value()) == ([], [], "")
    second.rush("test_tap")
    first.page.reload()
    second.page.reload()  # of which nothing but a tick is kept
    assert first.ticked() == ["test_tap", "lay_out", "heater_off"]
    assert second.ticked() == ["test_tap"]


@pytest.mark.reloads
def test_where_the_store_is_empty_the_tab_remembers(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("lay_out")
    sheet.on("#note").fill("Kept")
    sheet.page.context.add_init_script("Storage.prototype.getItem = () => null;")
    sheet.page.reload()
    assert (sheet.ticked(), sheet.on("#note").input_value()) == (["test_tap", "lay_out"], "Kept")
    sheet.rush("heater_off")
    sheet.page.evaluate("location.hash = 'record-heading'")  # another place, of which the tab remembers something else
    sheet.page.wait_for_function("location.hash === '#record-heading' && history.state !== null")
    sheet.page.reload()
    assert sheet.ticked() == ["test_tap", "lay_out", "heater_off"]
    assert not sheet.on("#old").is_visible()


@pytest.mark.reloads
def test_of_what_store_and_tab_remember_the_later_counts(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("lay_out")
    early = json.dumps(sheet.kept())
    sheet.on("#note").fill("Later")
    sheet.page.evaluate("([key, text]) => localStorage.setItem(key, text)", [sheet.key, early])
    sheet.page.reload()
    assert sheet.on("#note").input_value() == "Later", "the tab knew more"
    sheet.tap("lay_out")
    sheet.page.evaluate("([key, text]) => history.replaceState({ key, text }, '')", [sheet.key, early])
    sheet.page.reload()
    assert (sheet.ticked(), sheet.on("#note").input_value()) == (["test_tap"], "Later"), "the store knew more"
    sheet.touch(sheet.on("#again"))
    sheet.watched(2.5)
    sheet.touch(sheet.on("#wipe"))
    sheet.page.reload()
    assert sheet.ticked() == [], "what was wiped does not come back by itself"
    sheet.touch(sheet.on("#bring-back"))
    sheet.page.reload()
    assert (sheet.ticked(), sheet.on("#note").input_value()) == (["test_tap"], "Later")


WHOLE = {"ticks": {}, "clocks": {}, "typed": {}, "added": [], "wiped": None}
AT = 1_773_509_400_000
RUN = {"start": AT}


def kept(**parts: object) -> str:
    return json.dumps(WHOLE | parts)


BROKEN = {
    "no JSON": "{",
    "null": "null",
    "a list": "[]",
    "a number": "7",
    "text": '"ticks"',
    "a part that is a list": kept(ticks=[]),
    "a part that is null": kept(clocks=None),
    "a part missing": '{"ticks": {}, "clocks": {}}',
}
FOREIGN = {
    "a time that is text": kept(ticks={"test_tap": "soon"}),
    "a time that is null": kept(ticks={"test_tap": None}),
    "a time beyond the calendar": kept(ticks={"test_tap": 1e300}),
    "a clock that is null": kept(clocks={"drain": None}),
    "a clock that is a number": kept(clocks={"drain": 5}),
    "a clock without a start": kept(clocks={"drain": {}}),
    "a clock without a run": kept(clocks={"drain": {"runs": [], "answered": 0}}),
    "a start that is text": kept(clocks={"drain": {"runs": [{"start": "x"}], "answered": 0}}),
    "a stop that is null": kept(clocks={"drain": {"runs": [{"start": AT, "stop": None}], "answered": 0}}),
    "an answer that is text": kept(clocks={"drain": {"runs": [RUN], "answered": "all"}}),
    "a late dose without a time": kept(added=[{"text": "x"}]),
    "late doses that are none": kept(added={}),
    "a note that is a number": kept(typed={"note": 5, "changed": 40}),
    "unknown steps and clocks": kept(ticks={"no_such_step": AT}, clocks={"no_such_clock": {"runs": [RUN], "answered": 0}}),
    "a tick far ahead of the next": kept(ticks={"fill_end": AT}),
}  # fmt: skip


def put(sheet: Sheet, value: str) -> None:
    """Keep this in both places for the page to find."""
    sheet.page.evaluate(
        "([key, text]) => { localStorage.setItem(key, text); history.replaceState({ key, text }, ''); }",
        [sheet.key, value],
    )


def faults(sheet: Sheet, watch: Watch, value: str) -> list[str]:
    """What is wrong with a page that finds this kept."""
    put(sheet, value)
    sheet.page.reload()
    text = sheet.page.evaluate("document.body.innerText + document.title + document.getElementById('record').value")
    wrong = [f"shows {word}" for word in ("NaN", "undefined", "Invalid", "[object") if word in text]
    sheet.pressed(["heater_off"])
    wrong += ["ticked early"] if "heater_off" in sheet.ticked() else []
    sheet.rush("lay_out")
    wrong += [] if {"test_tap", "lay_out"} <= set(sheet.ticked()) & set(sheet.kept()["ticks"]) else ["cannot be ticked"]
    wrong += watch.wrong
    watch.wrong = []
    return wrong


@pytest.mark.reloads
def test_nothing_broken_that_is_kept_breaks_the_page(pages: Pages, opened: Opened, watch: Watch) -> None:
    sheet = opened(pages("Shell bay"))
    assert {name: wrong for name, value in BROKEN.items() if (wrong := faults(sheet, watch, value))} == {}


@pytest.mark.reloads
def test_nothing_foreign_that_is_kept_breaks_the_page(pages: Pages, opened: Opened, watch: Watch) -> None:
    sheet = opened(pages("Shell bay"))
    assert {name: wrong for name, value in FOREIGN.items() if (wrong := faults(sheet, watch, value))} == {}


@pytest.mark.reloads
def test_a_browser_that_keeps_is_not_said_to_keep_nothing(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    put(sheet, "{")
    sheet.page.reload()
    assert not sheet.on("#old").is_visible()


FULL = f"Storage.prototype.setItem = {REFUSES};"
CLOSED = f"{FULL} Storage.prototype.getItem = {REFUSES};"
NONE = f"Object.defineProperty(window, 'localStorage', {{ get: {REFUSES} }});"


@pytest.mark.parametrize("script", [FULL, CLOSED, NONE], ids=["full", "closed", "none"])
def test_a_browser_that_keeps_nothing_says_so_and_works(pages: Pages, opened: Opened, script: str) -> None:
    sheet = opened(pages("Shell bay"), scripts=(script,))
    sheet.rush("drain_end")
    assert sheet.ticked() == sheet.ids[: sheet.ids.index("drain_end") + 1]
    assert "keeps nothing" in sheet.text("#old")
    assert any(line.startswith("Tank drains: Stopped at") for line in sheet.clocks())
    assert "Drained" in sheet.on("#record").input_value()


@pytest.mark.reloads
def test_old_ticks_are_told_apart_from_todays(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"), at=START)
    sheet.rush("test_tap")
    sheet.later(17 * 60)
    assert not sheet.on("#old").is_visible()
    sheet.later(60 + 5)
    sheet.page.reload()
    assert "2026-03-14" in sheet.text("#old")


@pytest.mark.reloads
def test_a_sheet_of_another_day_says_how_old_it_is(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"), at=START)
    assert not sheet.on("#old").is_visible()
    sheet.later(7 * 24 * 60)
    sheet.page.reload()
    assert "Planned 7 days ago" in sheet.text("#old") and "plan again" in sheet.text("#old")
