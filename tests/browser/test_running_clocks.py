"""Clocks go by the time of day: right after a sleep, several at once, started and stopped by ticks or by hand."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest

from browser.handling import MINUTE, START, Sheet
from browser.written import Written

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
BEGIN = datetime.fromisoformat(START)
LOCK = """
window.locks = { asked: 0, held: 0 };
Object.defineProperty(navigator, "wakeLock", { value: { request: async () => {
    locks.asked += 1; locks.held += 1;
    const lock = new EventTarget();
    lock.release = async () => { locks.held -= 1; lock.dispatchEvent(new Event("release")); };
    return lock;
} } });
"""


def at_drain(sheet: Sheet) -> Sheet:
    """Everything before draining is ticked."""
    sheet.rush("outflow_secured")
    return sheet


def test_a_clock_is_started_and_stopped_by_hand(pages: Pages, opened: Opened) -> None:
    sheet = at_drain(opened(pages("Rock wall")))
    card = sheet.card("drain_start")
    assert card.locator(".start").is_visible() and not card.locator(".stop").is_visible()
    sheet.touch(card.locator(".start"))
    assert card.locator(".stop").is_visible() and not card.locator(".start").is_visible()
    sheet.later(2.5)
    assert sheet.reading("drain") == "Runs for 2:30"
    assert sheet.text("#nearest") == "Tank drains: runs for 2:30, earliest end 5:53"
    sheet.touch(card.locator(".stop"))
    sheet.later(60)
    assert sheet.reading("drain") == "Stopped at 2:30"
    assert "Tank drains" not in sheet.text("#bar")
    # The pump runs once more: what has flowed counts on, and so do the calls.
    sheet.touch(card.locator(".start"))
    sheet.later(0.6)
    assert sheet.reading("drain") == "Runs for 3:06"
    assert sheet.calling("Be at the tank: ")


def test_a_flow_stopped_by_mistake_goes_on_as_if_it_had_not_been(pages: Pages, opened: Opened) -> None:
    sheet = at_drain(opened(pages("Rock wall")))
    card = sheet.card("drain_start")
    assert not card.locator(".go-on").is_visible()
    sheet.touch(card.locator(".start"))
    sheet.later(2)
    sheet.touch(card.locator(".stop"))
    sheet.later(1.5)
    sheet.touch(card.locator(".go-on"))
    assert sheet.reading("drain") == "Runs for 3:30"
    assert sheet.calling("Be at the tank: ")
    assert not card.locator(".go-on").is_visible()


def test_a_wait_started_again_begins_anew(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_fill")
    card = sheet.card("tote_1_neutralise")
    sheet.touch(card.locator(".start"))
    sheet.later(2)
    sheet.touch(card.locator(".stop"))
    assert not card.locator(".go-on").is_visible()
    sheet.touch(card.locator(".start"))
    assert sheet.reading("tote_1_neutralise") == "5:00 to go"


def test_the_figures_beside_a_clock_are_the_engines(pages: Pages, opened: Opened) -> None:
    for tank in ("Rock wall", "Shell bay"):
        plan = pages(tank)
        sheet = opened(plan)
        minutes, totes = plan.plan["durations"], plan.plan["totes"]["count"]
        for clock, what, count in (("drain", "drain", 1), (f"tote_{totes}_pump", "fill", totes)):
            bounds = sheet.on(f'[data-clock="{clock}"] .bounds').text_content()
            shown = [float(figure) for figure in re.findall(r"\d+(?:\.\d+)?", bounds)][:3]
            exact = [minutes[f"{key}_min"] / count for key in (what, f"{what}_early", f"{what}_late")]
            assert shown == pytest.approx(exact, abs=0.05)  # shown to a tenth of a minute


@pytest.mark.parametrize("slept_min", [0.7, 47.0, 26 * 60.0])
def test_a_clock_is_right_when_the_phone_slept(pages: Pages, opened: Opened, slept_min: float) -> None:
    sheet = at_drain(opened(pages("Rock wall")))
    sheet.rush("drain_start")
    begun = sheet.kept()["clocks"]["drain"]["runs"][0]["start"]
    # Time goes on and no timer fires in between.
    woken = datetime.fromtimestamp(begun / 1000, tz=BEGIN.tzinfo) + timedelta(minutes=slept_min)
    sheet.page.clock.set_system_time(woken)
    sheet.page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    seconds = round(60 * slept_min)
    hours, rest = divmod(seconds, 3600)
    said = f"{hours}:{rest // 60:02}:{rest % 60:02}" if hours else f"{rest // 60}:{rest % 60:02}"
    assert f"Tank drains: Runs for {said}" in sheet.clocks()
    sheet.watched(1)
    seconds += 1
    assert sheet.now() == begun + 1000 * seconds
    assert bool(sheet.alarms()) == (slept_min > 1)


def test_several_clocks_run_at_once_each_by_its_own_time(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("heater_off")
    sheet.later(1)
    sheet.touch(sheet.card("tote_1_fill").locator(".start"))
    sheet.later(2)
    assert sheet.clocks() == ["Heaters cool: 12:00 to go", "Tote 1 is drawn: Runs for 2:00"]
    assert sheet.text("#nearest").startswith("Tote 1 is drawn: runs for 2:00, earliest end 7:39; 1 more below")
    sheet.later(6)
    sheet.rush("tote_1_fill")
    sheet.touch(sheet.card("tote_1_neutralise").locator(".start"))
    sheet.later(1.5)
    assert sheet.clocks() == ["Heaters cool: 4:30 to go", "Tote 1 is drawn: Stopped at 8:00", "Stir tote 1: 3:30 to go"]


def test_draining_is_timed_by_its_ticks(pages: Pages, opened: Opened) -> None:
    sheet = at_drain(opened(pages("Shell bay")))
    assert not any("Tank drains" in line for line in sheet.clocks())
    sheet.rush("drain_start")
    sheet.later(2)
    assert "Tank drains: Runs for 2:00" in sheet.clocks()
    sheet.later(1.5)
    sheet.rush("drain_end")
    sheet.later(30)
    assert "Tank drains: Stopped at 3:30" in sheet.clocks()


def test_after_care_calls_at_15_60_and_120_minutes(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("fill_end")
    begun = sheet.kept()["clocks"]["look_15"]["runs"][0]["start"]
    for minutes in (15, 60, 120):
        sheet.later(minutes - (sheet.now() - begun) / MINUTE - 2.5 / 60)
        assert not sheet.calling("Look at fish"), minutes
        assert f"Look after {minutes} minutes: 0:02 to go" in sheet.clocks()
        sheet.later(4 / 60)
        assert sheet.calling("Look at fish"), minutes
        assert f"Look after {minutes} minutes: Over since 0:01" in sheet.clocks()
        while sheet.alarms():
            sheet.touch(sheet.on("#alarms button").first)


def set_by(sheet: Sheet, minutes: float) -> None:
    """The phone's clock is set ahead, or back, while the page is in sight."""
    now = datetime.fromtimestamp(sheet.now() / 1000, tz=BEGIN.tzinfo)
    sheet.page.clock.set_system_time(now + timedelta(minutes=minutes))
    sheet.watched(1)


def test_a_clock_that_is_put_back_is_noticed_and_what_runs_goes_on(pages: Pages, opened: Opened) -> None:
    sheet = at_drain(opened(pages("Rock wall")))
    sheet.rush("drain_start")
    sheet.later(2)
    set_by(sheet, -120)
    assert "Tank drains: Runs for 2:01" in sheet.clocks()
    assert "put back by 2:00:00" in sheet.text("#jumped") and "put back by 2:00:00" in sheet.text("#old")
    sheet.later(1)
    assert sheet.calling("Be at the tank: "), "it calls as if nothing had been set"
    set_by(sheet, 120)
    assert "Tank drains: Runs for 3:02" in sheet.clocks() and "right again" in sheet.text("#jumped")
    sheet.later(3)
    sheet.rush("drain_end")
    assert "Tank drains: Stopped at 6:02" in sheet.clocks()


@pytest.mark.parametrize("seconds", [-2, 2])
def test_a_clock_that_is_put_right_by_moments_is_nothing_to_tell(pages: Pages, opened: Opened, seconds: int) -> None:
    sheet = at_drain(opened(pages("Rock wall")))
    sheet.rush("drain_start")
    set_by(sheet, seconds / 60)
    assert not sheet.on("#jumped").is_visible() and not sheet.on("#old").is_visible()


def test_a_clock_that_jumps_ahead_in_sight_calls_and_tells_both_times(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("outflow_secured")
    sheet.rush("drain_start")
    sheet.later(1)
    set_by(sheet, 60)
    assert "Tank drains: Runs for 1:01, or 1:01:01 if this phone slept" in sheet.clocks()
    assert sheet.calling("Unplug the pump") and "jumped ahead by 1:00:00" in sheet.text("#jumped")
    sheet.tap("drain_end")  # as far as is known, it is too early
    assert "drain_end" not in sheet.ticked() and "it ran for 1:0" in sheet.why("drain_end")


def test_a_wait_over_by_a_jump_alone_is_asked_about(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_check")
    sheet.later(1)
    set_by(sheet, 60)
    assert any(line.startswith("Heaters cool: 13:5") and "if this phone slept" in line for line in sheet.clocks())
    sheet.tap("heater_cooled")
    assert "heater_cooled" not in sheet.ticked() and "Heaters cool: 13:5" in sheet.why("heater_cooled")


@pytest.mark.reloads
def test_a_clock_put_back_while_the_page_was_closed_calls_at_once(pages: Pages, opened: Opened) -> None:
    sheet = at_drain(opened(pages("Rock wall")))
    sheet.rush("drain_start")
    sheet.later(2)
    sheet.watched(6)  # the page says to itself how late it is
    closed_at = datetime.fromtimestamp(sheet.now() / 1000, tz=BEGIN.tzinfo)
    sheet.page.goto("about:blank")
    sheet.page.clock.set_system_time(closed_at - timedelta(hours=2))
    sheet.page.goto(sheet.plan.url)
    assert sheet.calling("Look at the water now: this phone's clock was put back")
    (line,) = [line for line in sheet.clocks() if line.startswith("Tank drains")]
    assert line.startswith("Tank drains: Runs for at least 2:0")
    assert "put back by" in sheet.text("#jumped")
    sheet.touch(sheet.on("#alarms button").first)
    assert not sheet.calling("Look at the water now")
    sheet.later(1)
    assert sheet.calling("Be at the tank: "), "it calls again by what has run at least"
    sheet.tap("drain_end")
    assert "drain_end" not in sheet.ticked() and "it ran for at least 3:" in sheet.why("drain_end")


@pytest.mark.reloads
def test_without_sound_it_says_so_at_once_after_a_reload(pages: Pages, opened: Opened) -> None:
    sheet = at_drain(opened(pages("Rock wall")))
    sheet.rush("drain_start")
    sheet.page.reload()
    assert not sheet.alarms() and "No sound yet: touch the page once" in sheet.text("#touch")
    sheet.on("h1").click()
    sheet.page.wait_for_timeout(200)  # the loudspeaker is real, and takes its own time
    sheet.watched(2)
    assert not sheet.on("#touch").is_visible()


def test_a_step_behind_cannot_start_its_clock(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.on("#show-all").check()
    start = sheet.card("drain_start").locator(".start")
    assert start.get_attribute("aria-disabled") == "true"
    sheet.rest()
    start.click(force=True)
    assert sheet.clocks() == []
    assert sheet.said() == sheet.why("drain_start") != ""


def test_the_screen_is_kept_awake_while_a_clock_runs(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"), scripts=(LOCK,))
    sheet.watched(5)
    assert sheet.page.evaluate("locks") == {"asked": 0, "held": 0}
    sheet.rush("heater_off")
    sheet.watched(5)
    assert sheet.page.evaluate("locks") == {"asked": 1, "held": 1}
    assert "stays on" in sheet.text("#awake")
    sheet.touch(sheet.on("#undo"))  # the heaters' cooling would be lost, so it asks
    sheet.watched(3)
    sheet.touch(sheet.on("#undo"))
    sheet.watched(1)
    assert sheet.page.evaluate("locks.held") == 0


def test_a_browser_that_lets_the_screen_sleep_is_said_to(pages: Pages, opened: Opened) -> None:
    refuse = "Object.defineProperty(navigator, 'wakeLock', { value: undefined });"
    sheet = opened(pages("Shell bay"), scripts=(refuse,))
    sheet.rush("heater_off")
    sheet.watched(1)
    assert "kitchen timer" in sheet.text("#awake")
