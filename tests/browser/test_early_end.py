"""A flow that is ended before it can be over asks first, with the figures; stopping the water is never put off."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from browser.handling import Sheet
from browser.written import Written
from tapwright.chemistry.units import figure

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
# The step that ends each flow of two totes, what starts its clock, and what must be so at its end.
FLOWS = {
    "tote_1_fill": ("tote_1_fill", "the tote is full"),
    "drain_end": ("drain_start", "the water is at the mark"),
    "tote_1_pump": ("tote_1_pump", "the tote is empty"),
    "fill_end": ("tote_2_pump", "the water is at the mark"),
}


def flowing(pages: Pages, opened: Opened, end: str) -> Sheet:
    """Three seconds into a flow."""
    sheet = opened(pages("Rock wall"))
    start = FLOWS[end][0]
    if start == end:
        sheet.rush(sheet.ids[sheet.ids.index(end) - 1])
        sheet.touch(sheet.card(end).locator(".start"))
    else:
        sheet.rush(start)
    sheet.watched(3)
    return sheet


@pytest.mark.parametrize("end", FLOWS)
def test_it_asks_with_the_figures_and_another_button_confirms(pages: Pages, opened: Opened, end: str) -> None:
    sheet = flowing(pages, opened, end)
    (clock,) = [one for one in sheet.plan.data["clocks"] if one["ends"] == end and one["kind"] != "wait"]
    yes = sheet.card(end).locator(".yes")
    assert not yes.is_visible()
    for _ in range(3):  # however often the box is pressed
        sheet.tap(end)
        assert end not in sheet.ticked()
    assert "it ran for 0:0" in sheet.why(end) and f"{figure(clock['early'], 2)} minutes. Is " in sheet.why(end)
    assert f"press '{clock['stopped']}'" in sheet.why(end) and sheet.said() == sheet.why(end)
    assert yes.inner_text() == f"Yes, {FLOWS[end][1]}"
    sheet.touch(yes)
    assert sheet.ticked()[-1] == end
    assert any(line.startswith(f"{clock['name']}: Stopped at 0:0") for line in sheet.clocks())


@pytest.mark.parametrize("end", FLOWS)
def test_it_is_stopped_at_once_for_another_reason_and_the_step_stays_open(
    pages: Pages, opened: Opened, end: str
) -> None:
    sheet = flowing(pages, opened, end)
    stop = sheet.card(end).locator(".stop")
    assert stop.is_visible(), "where the end is ticked"
    sheet.touch(stop)
    assert end not in sheet.ticked() and not stop.is_visible()
    assert any(": Stopped at 0:0" in line for line in sheet.clocks())
    sheet.tap(end)
    assert end not in sheet.ticked() and sheet.card(end).locator(".yes").is_visible(), "it still cannot be over"
    sheet.touch(sheet.card(end).locator(".start"))
    sheet.later(10)
    sheet.tap(end)
    assert sheet.ticked()[-1] == end, "in all it ran for long enough"


def test_a_question_of_long_ago_is_no_longer_open(pages: Pages, opened: Opened) -> None:
    sheet = flowing(pages, opened, "drain_end")
    sheet.tap("drain_end")
    sheet.watched(61)
    assert not sheet.card("drain_end").locator(".yes").is_visible()
