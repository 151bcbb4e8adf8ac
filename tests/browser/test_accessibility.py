"""For everyone: axe-core finds nothing serious, letters stand out, and what is said is said once."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from browser.conftest import DESKTOP, PHONE
from browser.handling import Sheet
from browser.written import Written

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
STOP = (('resolution = "1 g"', 'resolution = "100 g"'),)
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
    if stage == "middle":
        sheet.rush("drain_start")
        sheet.on("#changed").fill("x")
        sheet.on("#late-typed").fill("x")
        sheet.later(4)
        assert sheet.alarms() and sheet.on("#bar").is_visible()
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
@pytest.mark.parametrize("stage", ["fresh", "middle", "end", "stop"])
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
        word = "Done and confirmed" if step["hold"] else "Done"
        name = re.compile(rf"{word} ?: step {number}, {re.escape(step['name'])}")
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
    assert len(told) == 1 and told[0].startswith("Go to the tank")
    sheet.watched(60)
    assert len(sheet.page.evaluate("told")) == 1, "an alarm is announced once"
    sheet.tap("drain_end")
    assert sheet.said().startswith("Step 12 is done. Now step 13: ")
