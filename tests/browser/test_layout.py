"""In the hand: targets for wet fingers, no scrolling sideways, keys in order, focus in sight, no motion unasked."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from browser.conftest import DESKTOP, PHONE
from browser.handling import Sheet
from browser.written import Written

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
TARGET_PX = 44
NO_CHLORINE = ('total_chlorine = "1.9 mg/L"\nfree_chlorine = "0.2 mg/L"', 'total_chlorine = "0 mg/L"')
# Everything that can be pressed and is seen: its name and size; a box is as large as the label around it.
TARGETS = """() => [...document.querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex='0']")]
    .filter(element => element.checkVisibility())
    .map(element => {
        const box = (element.closest("label") ?? element).getBoundingClientRect();
        const name = element.id || element.textContent.trim() || element.closest("li")?.id;
        return { name, width: box.width, height: box.height };
    })"""
# How far anything is painted to the right of the window.
OVER = """() => {
    const wide = [...document.querySelectorAll("body *")].filter(e => e.checkVisibility() && !e.closest("svg, .unseen"));
    const right = Math.max(...wide.map(e => e.getBoundingClientRect().right));
    return [document.documentElement.scrollWidth - document.documentElement.clientWidth, right - innerWidth];
}"""
LETTERS_PX = "parseFloat(getComputedStyle(document.body).fontSize)"
# Where the Tab key goes, in the order of the page; of a group of radios only to the chosen one, or else to the first.
FOCUSABLE = """() => [...document.querySelectorAll("a[href], button, input, select, textarea")]
    .filter(element => element.checkVisibility() && !element.disabled)
    .filter((element) => {
        if (element.type !== "radio") return true;
        const group = [...document.querySelectorAll("[type=radio]")].filter(other => other.name === element.name);
        return element === (group.find(other => other.checked) ?? group[0]);
    })
    .map((element, place) => { element.dataset.place = place; return place; })"""
# Where the focus is, and how much of what has it is in sight: within the window, above the bar unless it is in it.
FOCUSED = """() => {
    const element = document.activeElement;
    const bar = document.getElementById("bar");
    const foot = bar.contains(element) || !bar.checkVisibility() ? innerHeight : bar.getBoundingClientRect().top;
    const box = element.getBoundingClientRect();
    const seen = Math.min(box.bottom, foot) - Math.max(box.top, 0);
    return { place: element.dataset.place === undefined ? null : Number(element.dataset.place), seen, height: box.height, foot,
             name: element.id || element.outerHTML.slice(0, 60), outline: getComputedStyle(element).outlineStyle };
}"""


def busy(sheet: Sheet) -> Sheet:
    """In the middle of it, and every step is shown."""
    sheet.under_way()
    sheet.on("#show-all").check()
    return sheet


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_whatever_can_be_pressed_is_large_enough(pages: Pages, opened: Opened, size: dict[str, int]) -> None:
    sheet = opened(pages("Rock wall"), viewport=size)
    for state in STATES:
        brought(sheet, state)
        targets: list[dict[str, Any]] = sheet.page.evaluate(TARGETS)
        assert len(targets) > 30
        assert [target for target in targets if min(target["width"], target["height"]) < TARGET_PX] == []


def brought(sheet: Sheet, state: str) -> Sheet:
    """A page in a state of the change."""
    if state == "busy":
        return busy(sheet)
    if state == "refused":
        sheet.refused_tote()
    if state == "end":
        sheet.rush("look_120")
        sheet.on("#note").fill("unbroken" * 40)
    return sheet


STATES = ["fresh", "refused", "busy", "end"]


@pytest.mark.parametrize("state", STATES)
def test_nothing_scrolls_sideways(pages: Pages, opened: Opened, state: str) -> None:
    sheet = brought(opened(pages("Rock wall")), state)
    # A phone; a desktop's 1280 at 400 % (WCAG 2.2, 1.4.10); a phone's 360 at 200 %.
    for width in (360, 320, 180):
        sheet.page.set_viewport_size({"width": width, "height": 740})
        scrolled, right = sheet.page.evaluate(OVER)
        assert (scrolled, right <= 0.5) == (0, True), width


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("how", ["page", "browser"])
def test_nothing_scrolls_sideways_with_letters_twice_the_size(
    pages: Pages, opened: Opened, how: str, state: str
) -> None:
    """How: as a reader's own style sets it, which media queries do not see, or as the browser's setting, which they do."""
    sheet = brought(opened(pages("Rock wall")), state)
    usual = sheet.page.evaluate(LETTERS_PX)
    if how == "page":
        sheet.page.evaluate("document.documentElement.style.fontSize = '200%'")
    else:
        sheet.page.context.new_cdp_session(sheet.page).send("Page.setFontSizes", {"fontSizes": {"standard": 32}})
    assert sheet.page.evaluate(LETTERS_PX) == pytest.approx(2 * usual)
    scrolled, right = sheet.page.evaluate(OVER)
    assert (scrolled, right <= 0.5) == (0, True)


def tabbed(sheet: Sheet) -> list[dict[str, Any]]:
    """Where the focus goes as the Tab key is pressed from the top to the end."""
    sheet.page.evaluate("document.querySelector('[data-place=\"0\"]').focus()")
    found: list[dict[str, Any]] = [sheet.page.evaluate(FOCUSED)]
    for _ in range(120):
        sheet.page.keyboard.press("Tab")
        stop = sheet.page.evaluate(FOCUSED)
        if stop["place"] is None or (found and stop["place"] <= found[-1]["place"]):
            return found
        found.append(stop)
    raise AssertionError("the focus never comes to the end")


def hidden(stops: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Where less is in sight of what has the focus than the whole of it, or of a tall one than a target's height."""
    return [stop for stop in stops if stop["seen"] < min(stop["height"], TARGET_PX) - 1]


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_keys_go_in_the_order_of_the_page_and_focus_stays_in_sight(
    pages: Pages, opened: Opened, size: dict[str, int]
) -> None:
    sheet = busy(opened(pages("Shell bay"), viewport=size))
    places = sheet.page.evaluate(FOCUSABLE)
    stops = tabbed(sheet)
    assert [stop["place"] for stop in stops] == places
    assert sheet.on("[tabindex]:not([tabindex='-1'])").count() == 0
    assert hidden(stops) == []
    assert {stop["outline"] for stop in stops[1:]} == {"solid"}  # the first was not focused by a key


def test_focus_is_in_sight_with_several_alarms(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay"))
    sheet.rush("fill_end")
    sheet.later(16)
    assert len(sheet.alarms()) == 2
    sheet.page.evaluate(FOCUSABLE)
    stops = tabbed(sheet)
    assert hidden(stops) == []


def test_a_second_button_never_stands_where_the_first_is(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("lay_out")
    place = (
        "element => [element.getBoundingClientRect().top + scrollY, element.getBoundingClientRect().bottom + scrollY]"
    )
    sheet.touch(sheet.on("#again"))
    ends, begins = sheet.on("#again").evaluate(place)[1], sheet.on("#wipe").evaluate(place)[0]
    assert begins >= ends


def test_the_next_step_stands_at_the_top_after_a_tick(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    for step, following in (("test_tap", "lay_out"), ("lay_out", "heater_off"), ("heater_off", "tote_1_fill")):
        sheet.rush(step)
        assert 0 <= sheet.card(following).bounding_box()["y"] <= 40


def test_nothing_moves_where_motion_is_not_wanted(pages: Pages, opened: Opened) -> None:
    sheet = busy(opened(pages("Rock wall"), reduced_motion="reduce"))
    moving = sheet.page.evaluate(
        """[...document.querySelectorAll("*")].filter((element) => {
            const style = getComputedStyle(element);
            const moves = style.animationName !== "none" || parseFloat(style.transitionDuration) > 0;
            return moves || style.scrollBehavior !== "auto";
        }).map(element => element.tagName)"""
    )
    assert moving == []
    assert sheet.page.evaluate("document.getAnimations().length") == 0


def test_letters_and_figures_are_large(pages: Pages, opened: Opened) -> None:
    sheet = busy(opened(pages("Rock wall")))
    sizes = sheet.page.evaluate(
        """[...document.querySelectorAll(".step .large dd, .large .first dd, #late-now, #late-minute")].map(
            element => parseFloat(getComputedStyle(element).fontSize))"""
    )
    assert (
        len(sizes) > 10 and min(sizes) >= 32
    )  # px; letters of 3 mm at a phone's 150 px an inch, read from an arm away
    assert sheet.page.evaluate("parseFloat(getComputedStyle(document.querySelector('.step .text')).fontSize)") >= 16


# Of every chart: how large its letters are, and which of them leave it or lie on others.
CHART_LETTERS = """() => [...document.querySelectorAll("svg.chart")].map((chart) => {
    const paper = chart.getBoundingClientRect(), scale = paper.width / chart.viewBox.baseVal.width;
    const found = [...chart.querySelectorAll("text")].map(e => [e.textContent, e.getBoundingClientRect()]);
    const out = ([, box]) => box.left < paper.left - 1 || box.right > paper.right + 1 || box.bottom > paper.bottom + 1;
    const over = ([, a], [, b]) => a.left < b.right && b.left < a.right && a.top + 2 < b.bottom && b.top + 2 < a.bottom;
    return { letters: found.length, px: scale * parseFloat(getComputedStyle(chart).fontSize),
             out: found.filter(out).map(([said]) => said),
             over: found.flatMap((a, n) => found.slice(n + 1).filter(b => over(a, b)).map(b => `${a[0]} ${b[0]}`)) };
})"""


@pytest.mark.parametrize("tank", ["Rock wall", "Shell bay"])
def test_letters_of_charts_can_be_read_on_a_phone(pages: Pages, opened: Opened, tank: str) -> None:
    charts = opened(pages(tank)).page.evaluate(CHART_LETTERS)
    assert len(charts) == 3
    for chart in charts:
        assert chart["letters"] > 8 and chart["px"] >= 11
        assert (chart["out"], chart["over"]) == ([], [])


def test_a_page_without_chlorine_lies_as_well(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay", edits=(NO_CHLORINE,)), viewport={"width": 320, "height": 740})
    sheet.rush("drain_start")
    assert max(sheet.page.evaluate(OVER)) <= 0.5
