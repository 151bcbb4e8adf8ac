"""On paper: at most two pages, black on white, every step with its box, with and without JavaScript."""

from __future__ import annotations

import io
import math
import re
import unicodedata
from collections.abc import Callable

import pytest
from pypdf import PdfReader

from browser.handling import Sheet
from browser.written import Written

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
TOTE = 'volume = "220 L"\nmass = "11 kg"\nheight = "75 cm"'
LITTLE_HOT_WATER = ('store = "180 L"\nheater_power = "3 kW"', 'store = "30 L"\nheater_power = "1 kW"')
# Tank, edits, number of totes, their height [cm] and volume [L]; the height decides whether there are marks.
PLANS: dict[str, tuple[str, tuple[tuple[str, str], ...], int, float | None, float]] = {
    "Rock wall": ("Rock wall", (), 2, 75, 220),
    "Shell bay": ("Shell bay", (), 1, 75, 220),
    "eight totes": ("Rock wall", ((TOTE, 'volume = "30 L"'),), 8, None, 30),
    "nine totes": ("Rock wall", ((TOTE, 'volume = "27 L"\nheight = "40 cm"'),), 9, 40, 27),
    # As many as an evening takes.
    "twenty totes": ("Rock wall", ((TOTE, 'volume = "11.6 L"\nheight = "20 cm"'),), 20, 20, 11.6),
    "two waits": ("Rock wall", (LITTLE_HOT_WATER,), 2, 75, 220),
    "nine totes, three waits": (
        "Rock wall",
        ((TOTE, 'volume = "27 L"\nheight = "40 cm"'), LITTLE_HOT_WATER),
        9,
        40,
        27,
    ),
}


def letters(text: str) -> str:
    """Without ligatures, breaks of lines and hyphens at them."""
    return re.sub(r"\s+", "", unicodedata.normalize("NFKC", text))


def tote_of(step: str) -> int:
    """The number in the id of a tote's step, else 0."""
    return int(step.split("_")[1]) if step.startswith("tote_") else 0


def printed_in_full(step: str, totes: int) -> bool:
    """Whether paper shows this step as a card of its own; the others are boxes in the row of their tote."""
    return tote_of(step) <= 1 or step == f"tote_{totes}_pump"


def row_of(plan: Written, name: str, number: int) -> str:
    """What the table of later totes says of one: water, marks, thermometer, and how long the hot store takes before it."""
    *_, height_cm, volume_l = PLANS[name]
    drawn = plan.plan["blend"]["each_tote"][number - 1]
    cold_l, hot_l = drawn["cold_l"], drawn["hot_l"]
    marks = ""
    if height_cm is not None:
        levels_cm = [height_cm * litres / volume_l for litres in (cold_l, cold_l + hot_l)]
        marks = ", ".join(f"{level_cm:.0f} cm" for level_cm in levels_cm)
    wait = next((step["minutes"] for step in plan.plan["steps"] if step["id"] == f"tote_{number}_reheat"), None)
    waits = "" if wait is None else f"{math.ceil(wait)} min"
    return f"{number} {cold_l:.0f} L {hot_l:.0f} L {marks} {drawn['drawn_c']:.1f} °C {waits}"


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
@pytest.mark.parametrize("name", PLANS)
def test_two_pages_hold_every_step(pages: Pages, opened: Opened, name: str, script: bool) -> None:
    tank, edits, totes, *_ = PLANS[name]
    plan = pages(tank, edits=edits)
    assert plan.plan["totes"]["count"] == totes
    sheet = opened(plan, stopped=False, java_script_enabled=script)
    for paper in ("A4", "Letter"):
        read = PdfReader(io.BytesIO(sheet.page.pdf(format=paper)))
        assert len(read.pages) <= 2, paper
        text = letters("".join(page.extract_text() for page in read.pages))
        for step in plan.plan["steps"]:
            if printed_in_full(step["id"], totes):
                assert letters(step["text"]) in text, (paper, step["id"])
        # Each tote after the first is a row: its number, its water, and a box for each of its steps.
        for number, drawn in enumerate(plan.plan["blend"]["each_tote"][1:], 2):
            assert letters(row_of(plan, name, number)) in text, (paper, number)
            water = f"{number} {drawn['cold_l']:.0f} L {drawn['hot_l']:.0f} L {drawn['drawn_c']:.1f} °C"
            if totes <= 3:  # else the first table says it of tote 1 alone
                assert letters(water) in text, (paper, number)
        assert letters("If you forgot the neutraliser") in text
        assert letters(plan.plan["steps"][-1]["text"]) in text


@pytest.mark.parametrize("name", [name for name in PLANS if "waits" in name])
def test_paper_tells_how_long_later_totes_wait_for_hot_water(pages: Pages, opened: Opened, name: str) -> None:
    tank, edits, totes, *_ = PLANS[name]
    plan = pages(tank, edits=edits)
    sheet = opened(plan, stopped=False, java_script_enabled=False)
    sheet.page.emulate_media(media="print")
    heads = sheet.on(".again table").first.locator("thead th").all_inner_texts()
    place = heads.index("hot again")
    rows = sheet.on(".again tbody tr").all()
    assert len(rows) == totes - 1
    waits = {step["id"]: step["minutes"] for step in plan.plan["steps"] if step["id"].endswith("_reheat")}
    later = [step for step in waits if tote_of(step) > 1]
    assert later
    for number, row in enumerate(rows, 2):
        cell = row.locator("th, td").nth(place)
        wait = waits.get(f"tote_{number}_reheat")
        shown = cell.inner_text().replace("\u00a0", " ").strip()
        assert shown == ("" if wait is None else f"{math.ceil(wait)} min"), number
        assert cell.locator(".box").count() == (wait is not None), number


@pytest.mark.parametrize("name", PLANS)
def test_every_step_has_a_box_on_paper(pages: Pages, opened: Opened, name: str) -> None:
    tank, edits, totes, *_ = PLANS[name]
    plan = pages(tank, edits=edits)
    sheet = opened(plan, stopped=False, java_script_enabled=False)
    sheet.page.emulate_media(media="print")
    boxes = 0
    for step in plan.plan["steps"]:
        box = sheet.box(step["id"])
        if printed_in_full(step["id"], totes):
            size = box.bounding_box()
            assert min(size["width"], size["height"]) >= 12, step["id"]  # px of 1/96 inch: 3 mm
        else:
            assert not box.is_visible()
            boxes += 1
    assert sheet.on(".again .box").count() == boxes


@pytest.mark.parametrize("name", ["Rock wall", "Shell bay"])
def test_paper_has_room_for_what_only_the_hand_knows(pages: Pages, opened: Opened, name: str) -> None:
    tank, edits, totes, *_ = PLANS[name]
    plan = pages(tank, edits=edits)
    sheet = opened(plan, stopped=False, java_script_enabled=False)
    sheet.page.emulate_media(media="print")
    assert "Total chlorine read: ____" in sheet.text("#step-tote_1_neutralise")
    clocks = {clock["starts"]: clock for clock in plan.data["clocks"] if clock["kind"] in ("drain", "fill")}
    printed = [step for step in clocks if printed_in_full(step, totes)]
    assert {"drain_start", f"tote_{totes}_pump"} <= set(printed)
    for step in printed:
        found = re.search(r"Began at _+:_+, be there ([\d.]+) minutes later, at _+:_+", sheet.text(f"#step-{step}"))
        assert float(found[1]) == pytest.approx(clocks[step]["alarms"][0]["minute"], rel=0.05), step


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
