"""The alarm comes before the early bound of the engine's own figures, and calls until it is answered."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from browser.conftest import Watch
from browser.handling import Sheet
from browser.written import Written
from tapwright.chemistry import reference

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
# Counts what is asked of loudspeaker and motor; both still do what they do.
SPY = """
window.spied = { tones: 0, buzzes: 0 };
const make = AudioContext.prototype.createOscillator;
AudioContext.prototype.createOscillator = function () { spied.tones += 1; window.heard = this; return make.call(this); };
const buzz = Navigator.prototype.vibrate;
Navigator.prototype.vibrate = function (pattern) { spied.buzzes += 1; return buzz.call(this, pattern); };
"""


def spied(sheet: Sheet) -> tuple[int, int]:
    """Tones and vibrations so far."""
    found = sheet.page.evaluate("spied")
    return found["tones"], found["buzzes"]


def sounding(sheet: Sheet) -> None:
    """A touch, and the loudspeaker is ready: it is real, and takes its own time."""
    sheet.touch(sheet.on("#try-alarm"))
    for _ in range(100):
        sheet.watched(0.1)
        if spied(sheet)[0]:
            return
        sheet.touch(sheet.on("#try-alarm"))
    pytest.fail("no tone is made")


def draining(pages: Pages, opened: Opened, tank: str = "Rock wall", **options: object) -> Sheet:
    sheet = opened(pages(tank), scripts=(SPY,), **options)
    sheet.rush("outflow_secured")
    sounding(sheet)
    sheet.tap("drain_start")
    return sheet


@pytest.mark.parametrize("tank", ["Rock wall", "Shell bay"])
@pytest.mark.parametrize("what", ["drain", "fill"])
def test_it_comes_before_the_early_bound(pages: Pages, opened: Opened, tank: str, what: str) -> None:
    sheet = opened(pages(tank))
    minutes, totes = sheet.plan.plan["durations"], sheet.plan.plan["totes"]["count"]
    early = minutes[f"{what}_early_min"] / (totes if what == "fill" else 1)
    away = early - reference.value("practice", "small_minutes")  # so long a keeper may be in another room
    due = int(away) if away >= 2 else early / 2
    figures = sheet.plan.made.figures
    height_m = figures.low_level_m if what == "drain" else figures.tank.water_height_m
    words = f"Be at the tank: the water is at the {100 * height_m:.0f} cm mark in "
    sheet.rush("drain_start" if what == "drain" else f"tote_{totes}_pump")
    sheet.later(due - 0.1)
    assert not sheet.calling(words), "there is time to walk away"
    sheet.later(0.1 + 1 / 60)
    assert sheet.calling(words)
    assert due + 1 / 60 < early
    assert sheet.page.title().startswith("NOW: Be at the tank")


@pytest.mark.parametrize("step", ["tote_1_fill", "tote_1_pump"])
def test_a_tote_calls_before_it_is_full_or_empty(pages: Pages, opened: Opened, step: str) -> None:
    sheet = opened(pages("Rock wall"))
    minutes = sheet.plan.plan["durations"]
    early = {"tote_1_fill": minutes["tote_min"], "tote_1_pump": minutes["fill_early_min"] / 2}[step]
    sheet.rush(sheet.ids[sheet.ids.index(step) - 1])
    sheet.touch(sheet.card(step).locator(".start"))
    sheet.watched(1)
    assert not sheet.alarms()
    sheet.later(early - 1)
    assert sheet.calling("tote 1")


def test_it_sounds_shakes_and_stands_in_the_title_until_it_is_answered(pages: Pages, opened: Opened) -> None:
    sheet = draining(pages, opened)
    title = sheet.page.title()
    silent = spied(sheet)
    sheet.watched(2.5 * 60)
    assert spied(sheet) == silent
    assert sheet.page.title() == title == "Water change for Rock wall"
    sheet.watched(31)
    begun = spied(sheet)
    assert begun[0] > silent[0] and begun[1] > silent[1]
    assert sheet.page.title().startswith("NOW: Be at the tank: ")
    alert = sheet.on("[role=alert]")
    assert alert.is_visible() and "Be at the tank: " in alert.inner_text()
    sheet.watched(20)
    again = spied(sheet)
    assert again[1] >= begun[1] + 4  # at least every five seconds
    assert again[0] >= begun[0] + 4
    sheet.touch(alert.get_by_role("button", name="I am there"))
    assert not sheet.alarms()
    assert sheet.page.title() == title
    sheet.watched(60)
    assert spied(sheet) == again


def test_it_calls_from_the_early_bound_on_and_at_last_until_the_flow_is_stopped(pages: Pages, opened: Opened) -> None:
    sheet = draining(pages, opened)
    minutes = sheet.plan.plan["durations"]
    sheet.later(minutes["drain_early_min"] + 1 / 60)
    assert sheet.calling("From now on the water can be at the 34 cm mark")
    sheet.touch(sheet.on("#alarms").get_by_role("button", name="I am there"))
    assert not sheet.alarms()
    sheet.later(minutes["drain_late_min"] - minutes["drain_early_min"])
    assert sheet.calling("Unplug the pump: ")
    assert sheet.on("#alarms").get_by_role("button", name="I am there").count() == 0
    before = spied(sheet)
    sheet.later(600)
    sheet.watched(5)
    assert sheet.calling("Unplug the pump: "), "it does not tire"
    assert spied(sheet)[0] > before[0]
    sheet.touch(sheet.on("#alarms").get_by_role("button", name="The pump is unplugged"))
    assert not sheet.alarms() and not sheet.page.title().startswith("NOW")
    assert sheet.reading("drain").startswith("Stopped at 10:08:")
    stopped = spied(sheet)
    sheet.watched(20)
    assert spied(sheet) == stopped


def test_ticking_the_end_of_a_flow_silences_it(pages: Pages, opened: Opened) -> None:
    sheet = draining(pages, opened)
    sheet.later(sheet.plan.plan["durations"]["drain_late_min"] + 1)
    assert sheet.calling("Unplug the pump: ")
    sheet.rush("drain_end")
    assert not sheet.alarms() and not sheet.page.title().startswith("NOW")


def test_the_last_filling_calls_before_it_can_run_over_if_left(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    over = next(mark for mark in sheet.plan.plan["marks"] if mark["event"] == "overflow")["minutes"]
    filled = sheet.plan.plan["durations"]["fill_min"] / 2
    assert filled < over["early"], "else there is nothing between full and over"
    sheet.rush("tote_2_pump")
    sheet.later(over["early"] + 1 / 60)
    assert sheet.calling("Unplug the pump now: ")


def test_it_calls_at_once_when_a_phone_wakes_up_late(pages: Pages, opened: Opened) -> None:
    sheet = draining(pages, opened)
    before = spied(sheet)
    sheet.later(5)
    assert spied(sheet)[0] > before[0] and spied(sheet)[1] > before[1]
    assert sheet.calling("Be at the tank: ")


def test_several_alarms_are_answered_one_by_one(pages: Pages, opened: Opened) -> None:
    sheet = draining(pages, opened, "Shell bay")
    sheet.rush("fill_end")
    sheet.later(15.1)
    assert len(sheet.alarms()) == 2
    assert sheet.calling("Plug the heaters in") and sheet.calling("Look at fish")
    sheet.touch(sheet.on("#alarms button").first)
    assert len(sheet.alarms()) == 1
    assert sheet.page.title().startswith("NOW: ")
    before = spied(sheet)
    sheet.watched(10)
    assert spied(sheet)[0] > before[0]
    sheet.touch(sheet.on("#alarms button").first)
    assert not sheet.alarms() and not sheet.page.title().startswith("NOW")


@pytest.mark.reloads
def test_an_unanswered_alarm_calls_after_a_reload_as_well(pages: Pages, opened: Opened) -> None:
    sheet = draining(pages, opened)
    sheet.later(4)
    sheet.page.reload()
    assert sheet.calling("Be at the tank: ")
    assert sheet.page.title().startswith("NOW: Be at the tank: ")
    sounding(sheet)
    before = spied(sheet)
    sheet.watched(10)
    assert spied(sheet)[0] > before[0] and spied(sheet)[1] > before[1]
    sheet.touch(sheet.on("#alarms button").first)
    sheet.page.reload()
    assert not sheet.alarms()


@pytest.mark.reloads
def test_a_page_nobody_touched_asks_for_nothing_it_may_not(pages: Pages, opened: Opened, watch: Watch) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("drain_start")
    sheet.later(4)
    sheet.page.reload()
    sheet.watched(10)
    assert sheet.calling("Be at the tank: ")
    watch.check()


def test_the_time_beside_an_alarm_is_when_it_fell_due(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("drain_start")
    begun = sheet.kept()["clocks"]["drain"]["runs"][0]["start"]
    due = sheet.page.evaluate("at => new Date(at).toTimeString().slice(0, 5)", begun + 3 * 60_000)
    sheet.later(5.5)
    assert f"Calls since {due}" in sheet.text("#alarms")


def test_a_device_without_sound_or_motor_shows_the_alarm(pages: Pages, opened: Opened) -> None:
    bare = "delete window.AudioContext; delete window.webkitAudioContext; delete Navigator.prototype.vibrate;"
    sheet = opened(pages("Rock wall"), scripts=(bare,))
    sheet.rush("outflow_secured")
    sheet.tap("drain_start")
    sheet.later(4)
    sheet.watched(10)
    assert sheet.calling("Be at the tank: ") and sheet.page.title().startswith("NOW")
