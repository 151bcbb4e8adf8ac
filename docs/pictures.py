"""Draws the README's pictures of the sheet anew: `python docs/pictures.py`, with Debian's chromium."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from tapwright.cli.app import run

HERE = Path(__file__).parent
PHONE = {"width": 360, "height": 740}
NEUTRALISER, DRAIN, LAST_PUMP = "tote_1_neutralise", "drain_start", "tote_2_pump"


def main() -> None:
    """One walk through the demo's sheet on a phone, stopping for a picture where it matters, and one sheet of paper."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        sheet = Path(folder) / "sheet.html"
        house = HERE.parent / "demo" / "house.toml"
        words = ["--tank", "Rock wall", "--start", "18:30", "--date", "2026-03-14"]
        run(["sheet", str(house), *words, "--output", str(sheet)])
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium-headless-shell") or shutil.which("chromium"), args=["--no-sandbox"]
        )
        context = browser.new_context(viewport=PHONE, device_scale_factor=2, reduced_motion="reduce")
        page = context.new_page()
        page.clock.install(time="2026-03-14T18:30:00")
        page.goto(sheet.as_uri())
        walk(page)
        paper = browser.new_page(viewport={"width": 794, "height": 1123})
        paper.goto(sheet.as_uri())
        paper.pdf(path=HERE / "sheet.pdf", format="A4")
        browser.close()


def walk(page: Page) -> None:
    """Tick until a step that is worth a picture, take it, go on."""
    for card in page.locator("[data-step]").all():
        step = card.get_attribute("data-step")
        if step == NEUTRALISER:
            page.screenshot(path=HERE / "neutraliser.png")
        if step in (DRAIN, LAST_PUMP):
            card.locator(".start").click()
            page.clock.run_for(195_000)
        if step == DRAIN:
            page.screenshot(path=HERE / "drain.png")
        if step == LAST_PUMP:
            page.locator("#forgotten-heading").scroll_into_view_if_needed()
            page.evaluate("document.getElementById('forgotten-heading').scrollIntoView()")
            page.screenshot(path=HERE / "forgotten.png")
        answer(page)
        if card.locator("fieldset").count():
            card.locator("[value=zero]").check()
        card.locator(".tick input").click()
        if "done" not in (card.get_attribute("class") or ""):  # asked whether time has passed
            page.clock.run_for(3_000)
            card.locator(".tick input").click()
        page.clock.run_for(120_000)
        answer(page)


def answer(page: Page) -> None:
    """Every alarm that calls."""
    while page.locator("#alarms button").count():
        page.locator("#alarms button").first.click()


if __name__ == "__main__":
    main()
