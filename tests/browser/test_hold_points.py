"""Steps in their order: nothing behind an unconfirmed hold can be ticked, and what is ticked can be taken back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from browser.handling import Sheet
from browser.written import Written

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
TANKS = ["Rock wall", "Shell bay"]


def expected_reason(steps: list[dict[str, Any]], done: int, place: int) -> str:
    """What stands in the way of the step at `place` with the first `done` ticked: the first open hold, else the next step."""
    open_steps = steps[done:place]
    hold = next((step for step in open_steps if step["hold"]), None)
    wanted = hold or open_steps[0]
    number = steps.index(wanted) + 1
    return f"Waits for {'the HOLD at ' if hold else ''}step {number}: {wanted['name']}"


@pytest.mark.parametrize("done", [0, 3])  # at a hold, and at a step that is none with a hold behind it
def test_nothing_behind_an_unconfirmed_hold_can_be_ticked(pages: Pages, opened: Opened, done: int) -> None:
    sheet = opened(pages("Rock wall"), has_touch=True)
    before = sheet.ids[:done]
    if before:
        sheet.rush(before[-1])
    behind = range(done + 1, len(sheet.ids))
    for place, found in zip(behind, sheet.pressed([sheet.ids[place] for place in behind]), strict=True):
        assert not found["ticked"], found
        assert found["said"] == found["why"] == expected_reason(sheet.steps, done, place), found
    assert sheet.ticked() == before
    for step in (sheet.ids[done + 1], sheet.ids[-1]):
        sheet.rest()
        sheet.box(step).tap(force=True)
        assert sheet.ticked() == before
        sheet.box(step).focus()
        sheet.rest()
        sheet.page.keyboard.press("Space")
        assert sheet.ticked() == before
        assert sheet.box(step).get_attribute("aria-disabled") == "true"
        assert sheet.box(step).get_attribute("aria-describedby") == f"why-{step}"
    sheet.box(sheet.ids[done]).focus()
    sheet.rest()
    sheet.page.keyboard.press("Space")
    assert sheet.ticked() == sheet.ids[: done + 1]


@pytest.mark.parametrize("tank", TANKS)
def test_every_step_can_be_ticked_in_order_and_no_other(pages: Pages, opened: Opened, tank: str) -> None:
    sheet = opened(pages(tank))
    for place, step in enumerate(sheet.ids):
        assert sheet.on("[aria-current=step]:has(.here:not([hidden]))").get_attribute("id") == f"step-{step}"
        refused = sheet.pressed(sheet.ids[place + 1 :])
        assert sheet.ticked() == sheet.ids[:place]
        assert all(found["why"] for found in refused)
        sheet.walk(until=step)
        assert sheet.ticked() == sheet.ids[: place + 1]
    assert sheet.text("#progress") == "Every step is done."
    assert sheet.on("[aria-current]").count() == 0


@pytest.mark.parametrize("tank", TANKS)
def test_a_hold_stands_out_in_words_and_weight(pages: Pages, opened: Opened, tank: str) -> None:
    sheet = opened(pages(tank))
    cards = sheet.page.evaluate(
        """[...document.querySelectorAll("li.step")].map((card) => ({
            head: card.querySelector(".head").innerText,
            label: card.querySelector("label.tick").innerText,
            border: parseFloat(getComputedStyle(card).borderLeftWidth),
            weight: Number(getComputedStyle(card.querySelector(".mark") ?? card).fontWeight),
        }))"""
    )
    for step, card in zip(sheet.steps, cards, strict=True):
        assert ("HOLD" in card["head"]) == ("confirmed" in card["label"]) == step["hold"], step["id"]
        assert (card["weight"] >= 700) == step["hold"]
    held, free = (
        [card["border"] for step, card in zip(sheet.steps, cards, strict=True) if step["hold"] == wanted]
        for wanted in (True, False)
    )
    assert min(held) >= 2 * max(free)


def test_only_the_step_at_hand_is_shown_in_full_unless_asked(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("lay_out")
    shown = sheet.on("li.step:has(.text:visible)")
    assert [card.get_attribute("id") for card in shown.all()] == ["step-heater_off"]
    sheet.on("#show-all").check()
    assert shown.count() == len(sheet.ids)


def test_the_last_tick_is_taken_back_by_another_tap_or_the_button(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    assert not sheet.on("#undo").is_visible()
    sheet.rush("lay_out")
    assert sheet.card("heater_off").locator("#undo").is_visible(), "at the step at hand"
    assert sheet.text("#undo") == f"Undo: {sheet.steps[1]['name']}"
    sheet.tap("lay_out")
    assert sheet.ticked() == ["test_tap"]
    assert sheet.card("lay_out").get_attribute("aria-current") == "step"
    assert sheet.page.evaluate("document.activeElement === document.querySelector('#step-lay_out .tick input')")
    sheet.tap("lay_out")
    sheet.touch(sheet.on("#undo"))
    assert sheet.ticked() == ["test_tap"]
    sheet.touch(sheet.on("#undo"))
    assert sheet.ticked() == []
    assert not sheet.on("#undo").is_visible()
    assert sheet.kept()["ticks"] == {}


def test_an_earlier_tick_is_not_taken_back_and_the_reason_is_said(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("heater_off")
    for step in ("test_tap", "lay_out"):
        sheet.tap(step)
        assert sheet.ticked() == ["test_tap", "lay_out", "heater_off"]
        assert sheet.said() == sheet.why(step) == f"Undo the later steps first, from step 3: {sheet.steps[2]['name']}"
        assert sheet.box(step).get_attribute("aria-disabled") == "true"


def test_a_wait_that_is_not_over_is_asked_about_once(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_check")
    sheet.later(4)
    for _ in range(3):  # wet hands tap twice, and a third time
        sheet.bounce("heater_cooled")
        assert "heater_cooled" not in sheet.ticked()
        assert sheet.why("heater_cooled").startswith("Heaters cool: 11:00 to go.")
        assert sheet.said() == sheet.why("heater_cooled")
    sheet.later(2 / 60)
    sheet.tap("heater_cooled")
    assert sheet.ticked()[-1] == "heater_cooled"


def test_a_question_of_long_ago_is_asked_again(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_check")
    sheet.tap("heater_cooled")
    sheet.later(2)
    sheet.tap("heater_cooled")
    assert "heater_cooled" not in sheet.ticked()
    assert sheet.why("heater_cooled").startswith("Heaters cool: 13:00 to go.")


@pytest.mark.reloads
def test_the_neutraliser_is_confirmed_by_what_the_test_reads(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_fill")
    step = "tote_1_neutralise"
    sheet.tap(step)
    sheet.later(1)
    sheet.tap(step)  # asking twice does not help
    assert step not in sheet.ticked() and "say above what it reads" in sheet.why(step)
    sheet.reads(step, "more")
    assert sheet.why(step).startswith("Put in half as much again (1 g of sodium thiosulfate pentahydrate)")
    sheet.tap(step)
    assert step not in sheet.ticked()
    sheet.reads(step)
    assert sheet.why(step) == ""
    sheet.page.reload()
    assert sheet.card(step).locator("[value=zero]").is_checked()
    sheet.tap(step)
    assert sheet.ticked()[-1] == step
    # Taken back, the reading is to be said anew.
    sheet.tap(step)
    assert not sheet.card(step).locator("[value=zero]").is_checked()


def test_a_pump_step_says_that_its_tote_was_neutralised(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_neutralise")
    assert not sheet.card("tote_1_pump").locator(".treated").is_visible()
    at = sheet.page.evaluate("new Date().toTimeString().slice(0, 5)")
    sheet.rush("inflow_secured")
    sheet.later(30)
    assert f"NEUTRALISER in this tote: yes, confirmed at {at}" in sheet.card("tote_1_pump").inner_text()


def test_a_wait_that_is_over_is_not_asked_about(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_check")
    sheet.later(15)
    sheet.tap("heater_cooled")
    assert sheet.ticked()[-1] == "heater_cooled"


def test_what_a_tick_set_going_or_stopped_is_taken_back_with_it(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("drain_start")
    sheet.later(1)
    sheet.tap("drain_start")  # water runs whatever is unticked: its clock goes on
    assert "drain_start" not in sheet.ticked()
    assert "Tank drains: Runs for 1:00" in sheet.clocks()
    sheet.later(1)
    sheet.tap("drain_start")
    assert "Tank drains: Runs for 2:00" in sheet.clocks()
    sheet.later(5)
    sheet.tap("drain_end")
    assert "Tank drains: Stopped at 7:00" in sheet.clocks()
    sheet.later(1)
    sheet.tap("drain_end")  # the water runs on, and has for eight minutes
    assert "Tank drains: Runs for 8:00" in sheet.clocks()


def test_the_after_care_goes_with_the_tick_that_began_it(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("fill_end")
    after_care = {"look_15", "look_60", "look_120", "heaters_covered"}
    assert after_care <= set(sheet.kept()["clocks"])
    for _ in range(2):  # clocks would be lost: a slip is not enough
        sheet.touch(sheet.on("#undo"))
        assert after_care <= set(sheet.kept()["clocks"]) and sheet.ticked()[-1] == "fill_end"
        assert "began with this step" in sheet.why("filter_on")
    sheet.later(0.05)
    sheet.touch(sheet.on("#undo"))
    assert not {"look_15", "look_60", "look_120", "heaters_covered"} & set(sheet.kept()["clocks"])
    assert any(line.startswith("Pump runs from the tote: Runs for") for line in sheet.clocks())


def test_a_clock_started_by_hand_outlives_the_tick(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("outflow_secured")
    sheet.touch(sheet.card("drain_start").locator(".start"))
    sheet.later(2)
    sheet.tap("drain_start")
    assert "Tank drains: Runs for 2:00" in sheet.clocks()
    sheet.tap("drain_start")  # a second later
    assert "Tank drains: Runs for 2:01" in sheet.clocks()
