"""Without JavaScript, with a plan that must stop, and with names that look like code."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from browser.handling import Sheet
from browser.test_record import downloaded, imported, logged, rows_of
from browser.written import Written, called

Pages = Callable[..., Written]
Opened = Callable[..., Sheet]
# A scale for flour: the dose would be 58 times what it must be (tests/plan/test_guards.py).
STOP = (('resolution = "1 g"', 'resolution = "100 g"'),)
NAMES = [
    "</script><script>alert(2)</script> & \"two\" 'one' {{7*7}} ${7*7} <img src=x onerror=alert(3)>",
    """=HYPERLINK("https://x.example","y"), <!-- </title></style> \\\\ &amp; {% raw %}""",
]


def test_without_javascript_every_step_is_shown_with_a_native_box(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Rock wall"), stopped=False, java_script_enabled=False)
    for number, step in enumerate(sheet.steps, 1):
        card = sheet.card(step["id"])
        assert card.locator(".text").inner_text().replace("\u00a0", " ") == step["text"]
        assert card.locator("h3").inner_text() == step["name"]
        assert card.locator(".number").inner_text() == str(number)
        assert sheet.box(step["id"]).is_visible() and not card.locator(".clock").is_visible()
    assert not sheet.on(".live-only:visible").count()
    # Nothing stands empty that only a script could fill, and nothing asks what nobody would read.
    assert not sheet.on(".why, .ticked-at, .treated, fieldset, [type=radio], .clock button").count()
    sheet.box("test_tap").check()
    assert sheet.box("test_tap").is_checked()
    assert "runs no script" in sheet.text("noscript")


def test_a_plan_that_must_stop_opens_with_it(pages: Pages, opened: Opened) -> None:
    plan = pages("Shell bay", edits=STOP)
    assert plan.code == 1
    sheet = opened(plan)
    assert sheet.ids[0] == "resolve"
    first = sheet.on("main section").first
    assert first.locator("li").first.inner_text().startswith("STOP:")
    assert first.locator("li.stop").bounding_box()["y"] < 740, "in sight without scrolling"
    assert "HOLD" in sheet.text("#step-resolve .head")
    assert "do not begin" in sheet.text("#step-resolve .text")
    for found in sheet.pressed(sheet.ids[1:]):
        assert not found["ticked"]
        assert found["why"].startswith(f"Waits for the HOLD at step 1: {sheet.steps[0]['name']}")
    assert sheet.ticked() == []


def test_a_plan_that_must_stop_is_gone_on_with_only_on_purpose(pages: Pages, opened: Opened) -> None:
    sheet = opened(pages("Shell bay", edits=STOP))
    sheet.tap("resolve")
    assert "counts only in a new plan" in sheet.why("resolve") and "tick once more" in sheet.why("resolve")
    assert sheet.said() == sheet.why("resolve")
    sheet.bounce("resolve")  # a tap that bounces
    sheet.watched(1.9)
    sheet.bounce("resolve")
    assert sheet.ticked() == []
    sheet.watched(1.1)
    sheet.bounce("resolve")
    assert sheet.ticked() == ["resolve"]
    assert sheet.why("resolve") == ""


@pytest.mark.parametrize("name", NAMES, ids=["markup", "formula"])
def test_a_name_that_looks_like_code_stays_text(pages: Pages, opened: Opened, tmp_path: Path, name: str) -> None:
    plan = pages(name, edits=(('"Shell bay"', json.dumps(name)),))
    sheet = opened(plan)
    assert sheet.page.title() == f"Water change for {name}"
    assert sheet.text("h1") == f"Water change for {name}"
    assert sheet.on("img").count() == 0 and sheet.on("script").count() == 2 and sheet.on("title").count() >= 1
    assert plan.data["tank"] == name
    sheet.rush("drain_start")
    sheet.later(4)
    sheet.rush("fill_end")
    sheet.on("#note").fill(name)
    assert sheet.on("#record").input_value().startswith(f"Water change for {name}, ")
    path = downloaded(sheet, tmp_path)
    (row,) = rows_of(path)
    assert row["tank"] == (f"'{name}" if name.startswith("=") else name)  # no spreadsheet runs it
    house = tmp_path / "house.toml"
    house.write_bytes(plan.house.read_bytes())
    assert imported(house, path) == (1, 0)
    (entry,) = logged(house, name)
    assert entry["tank"] == name and entry["kind"] == "change"
    called("log", "export", house, tmp_path / "out.csv")
    assert imported(house, tmp_path / "out.csv") == (0, 1)


def test_a_file_name_that_looks_like_code_stays_text(opened: Opened, pages: Pages, tmp_path: Path) -> None:
    plan = pages("Shell bay")
    house = tmp_path / "<b>house{{1}}.toml"
    house.write_bytes(plan.house.read_bytes())
    page = tmp_path / "a sheet #1?.html"
    called("sheet", house, "--tank", "Shell bay", "-o", page)
    sheet = opened(Written(page, house, "Shell bay", (), 0))
    assert house.name in sheet.text("header") and sheet.on("header b").count() == 0
    assert house.name in sheet.text("code")
