"""On paper: at most two pages, black on white, every step with its box, with and without JavaScript."""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Callable

import pytest
from pypdf import PdfReader

from browser.handling import Sheet
from browser.written import Written

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
MANY_TOTES = (('volume = "220 L"\nmass = "11 kg"\nheight = "75 cm"', 'volume = "30 L"'),)
PLANS = {
    "Rock wall": ("Rock wall", ()),
    "Shell bay": ("Shell bay", ()),
    "many totes": ("Rock wall", MANY_TOTES),
}


def letters(text: str) -> str:
    """Without ligatures, breaks of lines and hyphens at them."""
    return re.sub(r"\s+", "", unicodedata.normalize("NFKC", text))


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
@pytest.mark.parametrize("name", ["Rock wall", "Shell bay", "many totes"])
def test_two_pages_hold_every_step(pages: Pages, opened: Opened, name: str, script: bool) -> None:
    tank, edits = PLANS[name]
    plan = pages(tank, edits=edits)
    sheet = opened(plan, stopped=False, java_script_enabled=script)
    totes = plan.plan["totes"]["count"]
    assert (totes > 5) == (name == "many totes")
    for paper in ("A4", "Letter"):
        read = PdfReader(io.BytesIO(sheet.page.pdf(format=paper)))
        assert len(read.pages) <= 2, paper
        text = letters("".join(page.extract_text() for page in read.pages))
        for step in plan.plan["steps"]:
            number = int(step["id"].split("_")[1]) if step["id"].startswith("tote_") else 0
            if number <= 1 or step["id"] == f"tote_{totes}_pump":
                assert letters(step["text"]) in text, (paper, step["id"])
        # Each tote after the first is a row: its number, its water, and a box for each of its steps.
        for number, drawn in enumerate(plan.plan["blend"]["each_tote"][1:], 2):
            row = f"{number} {drawn['cold_l']:.0f} {drawn['hot_l']:.0f} {drawn['drawn_c']:.1f}"
            assert text.count(letters(row)) >= 2, (paper, number)  # in the table of waters, and in that of boxes
        assert letters("If you forgot the neutraliser") in text
        assert letters(plan.plan["steps"][-1]["text"]) in text


@pytest.mark.parametrize("name", PLANS)
def test_every_step_has_a_box_on_paper(pages: Pages, opened: Opened, name: str) -> None:
    tank, edits = PLANS[name]
    plan = pages(tank, edits=edits)
    sheet = opened(plan, stopped=False, java_script_enabled=False)
    sheet.page.emulate_media(media="print")
    totes = plan.plan["totes"]["count"]
    boxes = 0
    for step in plan.plan["steps"]:
        number = int(step["id"].split("_")[1]) if step["id"].startswith("tote_") else 0
        box = sheet.box(step["id"])
        if number <= 1 or step["id"] == f"tote_{totes}_pump":
            size = box.bounding_box()
            assert min(size["width"], size["height"]) >= 12, step["id"]  # px of 1/96 inch: 3 mm
        else:
            assert not box.is_visible()
            boxes += 1
    assert sheet.on(".again .box").count() == boxes


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_paper_is_black_on_white(pages: Pages, opened: Opened, scheme: str) -> None:
    sheet = opened(pages("Rock wall"), color_scheme=scheme)
    sheet.rush("drain_start")
    sheet.later(4)
    sheet.page.emulate_media(media="print")
    colours = sheet.page.evaluate(
        """() => {
            const [inks, grounds] = [new Set(), new Set()];
            for (const element of document.querySelectorAll("html, body, body *")) {
                if (!element.checkVisibility()) continue;
                const style = getComputedStyle(element);
                grounds.add(style.backgroundColor);
                const own = [...element.childNodes].some((node) => node.nodeType === 3 && node.data.trim());
                const ink = element instanceof SVGElement ? style.fill : style.color;
                if (own) inks.add(`${ink} ${style.opacity}`);
            }
            return { inks: [...inks], grounds: [...grounds].filter((colour) => colour !== "rgba(0, 0, 0, 0)") };
        }"""
    )
    assert colours == {"inks": ["rgb(0, 0, 0) 1"], "grounds": ["rgb(255, 255, 255)"]}
    assert not sheet.on("#bar").is_visible()


def test_what_is_ticked_is_ticked_on_paper(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"))
    sheet.rush("lay_out")
    read = PdfReader(io.BytesIO(sheet.page.pdf(format="A4")))
    assert "".join(page.extract_text() for page in read.pages).count("\u2713") == 2
