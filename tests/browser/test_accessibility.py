"""For everyone: axe-core finds nothing serious, letters stand out, and what is said is said once."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Locator

from browser.conftest import DESKTOP, PHONE
from browser.handling import Sheet
from browser.written import Written

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
STOP = (('resolution = "1 g"', 'resolution = "100 g"'),)
FLOWS_ON = ("drain_start", "tote_2_pump")  # steps of two totes that are done as soon as the water runs
# Contrast of every piece of text that is seen against the nearest ground that is painted (WCAG 2.2, 1.4.3, AA).
CONTRAST = """() => {
    const parse = (text) => text.match(/[\\d.]+/g).map(Number);
    const light = ([r, g, b]) => {
        const [x, y, z] = [r, g, b].map((c) => c / 255).map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
        return 0.2126 * x + 0.7152 * y + 0.0722 * z;
    };
    const ground = (element) => {
        for (let at = element; at; at = at.parentElement) {
            const colour = parse(getComputedStyle(at).backgroundColor);
            if (colour.length === 3 || colour[3] === 1) return colour;
        }
        return [255, 255, 255];
    };
    const poor = [];
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    let seen = 0;
    while (walker.nextNode()) {
        const element = walker.currentNode.parentElement;
        if (!walker.currentNode.data.trim() || !element.checkVisibility() || element.closest("script, .unseen")) continue;
        seen += 1;
        const style = getComputedStyle(element);
        const ink = parse(element instanceof SVGElement ? style.fill : style.color);
        const [one, other] = [light(ink), light(ground(element))].sort((a, b) => b - a);
        const size = parseFloat(style.fontSize);
        const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
        if ((one + 0.05) / (other + 0.05) < (large ? 3 : 4.5)) poor.push(walker.currentNode.data.trim());
    }
    return { seen, poor };
}"""


def walked(sheet: Sheet, stage: str) -> None:
    """Bring a page to a stage of the change."""
    if stage == "chlorine":
        sheet.refused_tote()
    elif stage == "middle":
        sheet.under_way()
    elif stage == "end":
        sheet.rush(sheet.ids[-1])
        assert sheet.text("#progress") == "Every step is done."


def serious(sheet: Sheet, axe: str, rules: str = "") -> list[tuple[str, str, list[Any]]]:
    """Violations of weight, of these rules alone if any; axe-core waits by the page's timers, so its clock must run."""
    sheet.page.clock.resume()
    sheet.page.evaluate(axe)
    only = f", runOnly: ['{rules}']" if rules else ""
    found = sheet.page.evaluate(f"axe.run(document, {{ resultTypes: ['violations']{only} }})")
    assert len(found["passes"]) + len(found["incomplete"]) > (0 if rules else 20)
    return [
        (violation["id"], violation["impact"], [node["target"] for node in violation["nodes"]])
        for violation in found["violations"]
        if violation["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
@pytest.mark.parametrize("stage", ["fresh", "chlorine", "middle", "end", "stop"])
def test_nothing_serious_is_found(pages: Pages, opened: Opened, axe: str, stage: str, size: dict[str, int]) -> None:
    plan = pages("Shell bay", edits=STOP) if stage == "stop" else pages("Rock wall")
    sheet = opened(plan, viewport=size)
    walked(sheet, stage)
    for scheme, rules in (("light", ""), ("dark", "color-contrast")):
        sheet.page.emulate_media(color_scheme=scheme)
        found = sheet.page.evaluate(CONTRAST)
        assert found["seen"] > 100
        assert found["poor"] == [], scheme
        assert serious(sheet, axe, rules) == [], scheme


def test_every_chart_has_its_words(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    charts = sheet.on("svg")
    assert charts.count() == 3
    for chart in charts.all():
        assert chart.get_attribute("role") == "img"
        title = chart.get_attribute("aria-labelledby")
        assert sheet.on(f"#{title}").text_content().strip()
    captions = sheet.on("figure figcaption").all_inner_texts()
    assert len(captions) == 3 and all(len(caption) > 20 for caption in captions)


def test_every_box_says_which_step_it_is_of(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    for number, step in enumerate(sheet.steps, 1):
        word = "Done and confirmed" if step["hold"] else "It runs" if step["id"] in FLOWS_ON else "Done"
        name = re.compile(rf"^{word} ?: step {number}, {re.escape(step['name'])}$")
        assert sheet.page.get_by_role("checkbox", name=name).count() == 1


def test_a_screen_reader_hears_of_ticks_and_not_of_seconds(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("drain_start")
    sheet.page.evaluate(
        """() => {
            window.told = [];
            for (const region of document.querySelectorAll("[role=status], [role=alert], [aria-live=polite]")) {
                new MutationObserver(() => told.push(region.textContent.trim())).observe(region,
                    { childList: true, characterData: true, subtree: true });
            }
        }"""
    )
    sheet.watched(120)
    assert sheet.page.evaluate("told") == []
    sheet.watched(61)
    told = sheet.page.evaluate("told")
    assert len(told) == 1 and told[0].startswith("Be at the tank: ")
    sheet.watched(60)
    assert len(sheet.page.evaluate("told")) == 1, "an alarm is announced once"
    sheet.later(2)
    sheet.tap("drain_end")
    assert sheet.said().startswith("Step 12 is done. Now step 13: ")


def test_what_the_test_reads_is_asked_by_name(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    vital = [step["id"] for step in sheet.steps if step["id"].endswith("_neutralise")]
    assert len(vital) == 2
    sheet.on("#show-all").check()
    assert sheet.page.get_by_role("group", name="Total chlorine reads").count() == len(vital)
    for step in vital:
        group = sheet.card(step).get_by_role("group", name="Total chlorine reads", exact=True)
        for answer in ("zero", "more than zero"):
            radio = group.get_by_role("radio", name=answer, exact=True)
            assert radio.count() == 1 and not radio.is_checked()
        assert sheet.box(step).get_attribute("aria-describedby") == f"why-{step}"
    # The groups are apart: what one tote reads says nothing of the next.
    sheet.rush("tote_1_fill")
    sheet.reads(vital[0])
    assert not sheet.card(vital[1]).locator("[type=radio]:checked").count()


def go_to(sheet: Sheet, wanted: Locator, key: str) -> None:
    """Press Tab, or Shift and Tab, until this has the focus."""
    for _ in range(8):
        if wanted.evaluate("element => element === document.activeElement"):
            return
        sheet.page.keyboard.press(key)
    raise AssertionError("the focus never comes there")


def test_the_neutraliser_is_confirmed_by_keys_alone(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("tote_1_fill")
    step, keys = "tote_1_neutralise", sheet.page.keyboard
    zero, more = (sheet.card(step).locator(f"[value={value}]") for value in ("zero", "more"))
    sheet.card(step).locator(".start").focus()
    go_to(sheet, sheet.box(step), "Tab")
    sheet.rest()
    keys.press("Space")
    assert not sheet.box(step).is_checked()
    assert sheet.said() == sheet.why(step) and "Test total chlorine in the tote" in sheet.said()
    go_to(sheet, zero, "Shift+Tab")  # a group without an answer is entered at its first; arrows go on and choose
    assert not zero.is_checked()
    sheet.rest()
    keys.press("ArrowDown")
    assert more.is_checked()
    half = sheet.plan.plan["neutraliser"]["agent_g_per_tote"] / 2
    assert f"half as much again ({half:.3g} g of sodium thiosulfate pentahydrate)" in sheet.said()
    assert sheet.said() == sheet.why(step)
    go_to(sheet, sheet.box(step), "Tab")
    sheet.rest()
    keys.press("Space")
    assert not sheet.box(step).is_checked()
    go_to(sheet, more, "Shift+Tab")
    sheet.rest()
    keys.press("ArrowUp")
    assert zero.is_checked() and not more.is_checked() and sheet.why(step) == ""
    go_to(sheet, sheet.box(step), "Tab")
    sheet.rest()
    keys.press("Space")
    assert sheet.ticked()[-1] == step


def test_the_wipe_is_reached_by_keys_and_by_name(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("lay_out")
    again = sheet.page.get_by_role("button", name="Begin this sheet again", exact=True)
    again.focus()
    sheet.page.keyboard.press("Enter")
    wipe = sheet.page.get_by_role("button", name="Yes, wipe every tick and begin again", exact=True)
    go_to(sheet, wipe, "Tab")
    sheet.watched(2.5)
    sheet.page.keyboard.press("Enter")
    assert sheet.ticked() == []
    assert sheet.page.get_by_role("button", name="Bring back what was wiped", exact=True).is_visible()
