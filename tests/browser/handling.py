"""A sheet in the hand: what a keeper does with it, and what is seen."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Any

from playwright.sync_api import Locator, Page

from browser.written import Written

# Saturday evening in Europe/Berlin, an hour east of Greenwich; long enough ago for a log to take it in.
START = "2026-03-14T18:30:00+01:00"
MINUTE = 60_000
REST_MS = 1_001  # so long after a press nothing else is pressed
SURE_MS = 2_500  # a second tap counts after two seconds


@dataclass(frozen=True)
class Sheet:
    """An open page of a plan."""

    page: Page
    plan: Written

    @property
    def steps(self) -> list[dict[str, Any]]:
        """The engine's steps, in order."""
        found: list[dict[str, Any]] = self.plan.plan["steps"]
        return found

    @property
    def ids(self) -> list[str]:
        return [step["id"] for step in self.steps]

    def on(self, selector: str) -> Locator:
        return self.page.locator(selector)

    def card(self, step: str) -> Locator:
        return self.on(f"#step-{step}")

    def box(self, step: str) -> Locator:
        return self.card(step).locator(".tick input")

    def text(self, selector: str) -> str:
        return self.on(selector).inner_text().strip()

    def said(self) -> str:
        """What a screen reader is told."""
        return self.on("#said").text_content() or ""

    def rest(self) -> None:
        """A patient finger waits until the second after its last press is over."""
        if self.page.evaluate("document.body.matches('.resting')"):
            self.page.clock.run_for(REST_MS)

    def touch(self, what: Locator) -> None:
        """Press something that is seen, as a patient finger does; what calls has stood there for a second."""
        self.rest()
        if what.evaluate("element => element.closest('#alarms') !== null"):
            self.page.clock.run_for(REST_MS)
        what.click()

    def tap(self, step: str) -> None:
        """Press a box, whether it may be ticked or not, as a patient finger does."""
        self.rest()
        self.bounce(step)

    def bounce(self, step: str) -> None:
        """Press a box at once, whatever was pressed before."""
        self.box(step).click(force=True)

    def ticked(self) -> list[str]:
        """Ids of the steps whose boxes are ticked."""
        found: list[str] = self.page.evaluate(
            "[...document.querySelectorAll('li.step')].filter(c => c.querySelector('.tick input').checked)"
            ".map(c => c.id.slice(5))"
        )
        return found

    def why(self, step: str) -> str:
        """The reason shown at a step; empty where none is."""
        shown = self.card(step).locator(".why")
        return shown.inner_text().strip() if shown.is_visible() else ""

    def reading(self, clock: str) -> str:
        return self.on(f'[data-clock="{clock}"] .reading').inner_text().strip()

    def clocks(self) -> list[str]:
        """Lines of the list of clocks."""
        return self.on("#all-clocks li").all_inner_texts()

    def alarms(self) -> list[str]:
        """Texts of the alarms that are seen."""
        return [text for text in self.on("#alarms p").all_inner_texts() if text.strip()]

    def calling(self, words: str) -> bool:
        """Whether an alarm with these words is seen."""
        return any(words in text for text in self.alarms())

    def later(self, minutes: float) -> None:
        """So much later, as if the phone had slept: each timer fires once at most."""
        self.page.clock.fast_forward(math.ceil(minutes * MINUTE))

    def watched(self, seconds: float) -> None:
        """So much later, every timer firing when it is due."""
        self.page.clock.run_for(math.ceil(seconds * 1000))

    def walk(self, *, until: str | None = None, by_hand: bool = False) -> None:
        """Tick every step not ticked yet up to and with one (or all), each taking as long as the engine says.

        by_hand: as a finger does it, else as a program does, which takes a tenth of the time.
        """
        done, last = self.ticked(), 0.0
        flows = {clock["starts"] for clock in self.plan.data["clocks"] if clock["kind"] in ("drain", "fill")}
        flows -= {clock["ends"] for clock in self.plan.data["clocks"]}
        for step in self.steps:
            # Water that is to run on is ticked as it begins.
            end = step["start_minute"] + (0.0 if step["id"] in flows else step["minutes"])
            if step["id"] not in done:
                self.later(end - last)
                if by_hand:
                    self.reads(step["id"])
                    self.touch(self.box(step["id"]))
                else:
                    self.press(step["id"])
            last = end
            if step["id"] == until:
                return

    def reads(self, step: str, value: str = "zero") -> None:
        """Say what the test of a neutralised tote reads, as a finger does; nothing at another step."""
        if (reading := self.card(step).locator(f"[value={value}]")).count():
            self.rest()
            reading.check()

    def press(self, step: str) -> bool:
        """Say that the test reads zero where that is asked, press the box, and say yes where a flow ends early, as a program
        does; whether it is ticked.
        """
        found: bool = self.page.evaluate(
            """id => {
                const card = document.getElementById(`step-${id}`);
                card.querySelector("[value=zero]")?.click();
                const box = card.querySelector(".tick input");
                if (!box.checked) box.click();
                card.querySelector(".ask:not([hidden]) .yes")?.click();
                return box.checked;
            }""",
            step,
        )
        return found

    def rush(self, until: str) -> None:
        """Tick every step up to and with one within moments; a wait that is not over is confirmed, which takes a while."""
        for step in self.ids[: self.ids.index(until) + 1]:
            if not self.press(step):
                self.page.clock.fast_forward(SURE_MS)
                assert self.press(step), step

    def refused_tote(self) -> None:
        """A tote whose test read more than zero; a late dose is noted, and wiping is asked for."""
        self.rush("tote_1_fill")
        self.reads("tote_1_neutralise", "more")
        self.touch(self.on("#late-done"))
        self.touch(self.on("#again"))
        assert self.why("tote_1_neutralise") and self.on("#wipe").is_visible()

    def under_way(self) -> None:
        """In the middle of it: a clock runs and calls, and what was typed is no number."""
        self.rush("drain_start")
        self.on("#changed").fill("x")
        self.on("#late-typed").fill("x")
        self.later(4)
        assert self.alarms() and self.on("#bar").is_visible()

    def pressed(self, steps: list[str]) -> list[dict[str, Any]]:
        """What each of these steps showed, said and was after its box was pressed, one after another."""
        found: list[dict[str, Any]] = self.page.evaluate(
            """steps => steps.map((id) => {
                const card = document.getElementById(`step-${id}`);
                const [box, why] = [card.querySelector(".tick input"), card.querySelector(".why")];
                card.querySelector("[value=zero]")?.click();
                box.click();
                const shown = why.checkVisibility() ? why.textContent : "";
                return {step: id, ticked: box.checked, why: shown, said: document.getElementById("said").textContent};
            })""",
            steps,
        )
        return found

    def now(self) -> float:
        """Milliseconds of the page's clock."""
        found: float = self.page.evaluate("Date.now()")
        return found

    def kept(self) -> dict[str, Any]:
        """What the browser keeps for this plan."""
        found: dict[str, Any] = json.loads(self.page.evaluate("key => localStorage.getItem(key)", self.key))
        return found

    @property
    def key(self) -> str:
        return f"tapwright {self.plan.data['id']}"
