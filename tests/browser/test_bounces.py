"""Wet fingers tap twice: whatever is pressed, a tap that bounces does one thing, and no other button comes to lie there."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import cycle

import pytest
from playwright.sync_api import Locator

from browser.handling import REST_MS, Sheet
from browser.written import Written

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
SIZES = [(320, 568), (360, 640), (360, 740), (390, 664), (390, 844), (412, 915), (768, 1024), (1280, 720)]
# Milliseconds between the taps of one bounce.
GAPS = [(50,), (120, 60), (300,), (50, 50, 50), (500, 400), (900,), (900, 900, 900), (700, 150)]
BLOCKS = ["nearest", "center", "start", "end"]  # where on the screen a control stands as it is pressed
# What a tap at a point would press, if anything.
UNDER = """([x, y]) => {
    const found = document.elementFromPoint(x, y)?.closest("button, a[href], label, input[type=checkbox], input[type=radio]");
    const control = found?.matches("label") ? found.control : found;
    return control && control.matches("button, a, [type=checkbox], [type=radio]") ? control : null;
}"""
NAMED = """control => control && [control.className, control.id, control.closest("li")?.id, control.textContent,
    control.type === "checkbox" && control.checked].join(" ")"""
# Where a control is pressed: in the middle of what is seen of it, once it is brought into sight.
PLACE = """(control, block) => {
    const box = control.closest("label") ?? control;
    if (!control.closest("#bar")) box.scrollIntoView({ block });
    const { left, top, width, height } = box.getBoundingClientRect();
    return [left + Math.min(width / 2, 150), top + height / 2];
}"""


def under(sheet: Sheet, place: list[float]) -> str | None:
    """What lies at a place, with its words and whether it is ticked."""
    found: str | None = sheet.page.evaluate(f"place => ({NAMED})(({UNDER})(place))", place)
    return found


def bounced(sheet: Sheet, what: Locator, gaps: tuple[int, ...], block: str, wait: Callable[[int], None]) -> str:
    """Tap a control and let the tap bounce; what is wrong, if anything: more was done than by one tap, or another button
    has come to lie there."""
    wait(REST_MS)
    place = what.evaluate(PLACE, block)
    before = under(sheet, place)
    assert before, "it is in sight"
    tap = sheet.page.touchscreen.tap if sheet.page.evaluate("navigator.maxTouchPoints > 0") else sheet.page.mouse.click
    tap(*place)
    once = sheet.kept()
    for gap in gaps:
        wait(gap)
        tap(*place)
    wait(REST_MS)
    after = under(sheet, place)
    if after not in (None, before):
        return f"after {before}: {after}"
    return "" if sheet.kept() == once else f"after {before}: more was done"


def presses(sheet: Sheet) -> Iterator[tuple[str, Locator]]:
    """Everything that an evening presses, in order: each clock's buttons, readings, questions and ticks."""
    for step in sheet.ids:
        card = sheet.card(step)
        yield step, card.locator(".start")
        yield step, card.locator(".stop")
        yield step, card.locator(".go-on")
        yield step, card.locator("[value=more]")
        yield step, card.locator(".half")
        yield step, card.locator("[value=zero]")
        yield step, sheet.box(step)
        yield step, card.locator(".yes")
        yield step, sheet.box(step)


def wrong_in(sheet: Sheet, block: str, wait: Callable[[int], None]) -> list[str]:
    """What bounces do wrong in a whole evening."""
    gaps, found = cycle(GAPS), []
    for step, what in presses(sheet):
        if step in sheet.ticked() or not what.is_visible():
            continue
        found.append(bounced(sheet, what, next(gaps), block, wait))
        if alarm := sheet.on("#alarms button:visible").all():
            found.append(bounced(sheet, alarm[-1], next(gaps), block, wait))
    assert sheet.ticked() == sheet.ids
    return list(filter(None, found))


def frozen(sheet: Sheet) -> Callable[[int], None]:
    """The page's clock stands still between two taps, and moves on by so much."""
    return lambda ms: sheet.page.clock.run_for(ms)


@pytest.mark.parametrize("place", range(len(SIZES)), ids=[f"{width}x{height}" for width, height in SIZES])
def test_a_tap_that_bounces_does_one_thing(pages: Pages, opened: Opened, place: int) -> None:
    width, height = SIZES[place]
    viewport = {"width": width, "height": height}
    sheet = opened(pages(("Shell bay", "Rock wall")[place == 0]), viewport=viewport, has_touch=width < 1000)
    sheet.touch(sheet.on("#try-alarm"))
    assert wrong_in(sheet, BLOCKS[place % len(BLOCKS)], frozen(sheet)) == []


def test_a_pump_that_was_plugged_in_is_not_ticked_off_by_the_same_tap(pages: Pages, opened: Opened) -> None:
    """In real time: the clock runs on, calls, and undoes nothing."""
    sheet = opened(pages("Shell bay"), stopped=False, viewport={"width": 390, "height": 664}, has_touch=True)
    sheet.rush("outflow_secured")
    wait = sheet.page.wait_for_timeout
    for step, gaps in (("drain_start", (50, 250)), ("undo", (120, 60))):
        what = sheet.box(step) if step != "undo" else sheet.on("#undo")
        assert bounced(sheet, what, gaps, "nearest", wait) == ""
        assert ("drain_start" in sheet.ticked()) == (step != "undo") and "drain_end" not in sheet.ticked()
        assert any(line.startswith("Tank drains: Runs for") for line in sheet.clocks())


def test_a_key_held_down_presses_once(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("outflow_secured")
    keys = sheet.page.keyboard
    for what, key in ((sheet.card("drain_start").locator(".start"), "Enter"), (sheet.box("drain_start"), "Space")):
        sheet.rest()
        what.focus()
        keys.down(key)
        once = sheet.kept()
        for _ in range(30):
            sheet.page.clock.run_for(50)
            keys.down(key)  # the keyboard repeats it
        keys.up(key)
        sheet.page.clock.run_for(100)
        keys.press(key)
        if key == "Enter":
            assert sheet.kept() == once
        assert len(sheet.kept()["clocks"]["drain"]["runs"]) == 1 and "drain_end" not in sheet.ticked()
    assert sheet.ticked()[-1] == "drain_start"


def test_an_alarm_that_comes_under_a_finger_is_not_answered(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("drain_start")
    sheet.later(sheet.plan.plan["durations"]["drain_late_min"] + 0.1)
    stop = sheet.on("#alarms button")
    for _ in range(2):
        stop.click()
        assert sheet.calling("Unplug the pump"), "it has only just come"
    sheet.watched(1.1)
    stop.click()
    assert not sheet.alarms()


def test_nothing_is_pressed_for_a_second_wherever_the_finger_goes(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.tap("test_tap")
    for ms in (0, 500, 400):
        sheet.page.clock.run_for(ms)
        sheet.bounce("lay_out")
        assert sheet.ticked() == ["test_tap"], ms
    sheet.page.clock.run_for(REST_MS)
    sheet.bounce("lay_out")
    assert sheet.ticked() == ["test_tap", "lay_out"]
