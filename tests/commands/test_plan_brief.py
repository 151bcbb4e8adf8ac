"""The card of `plan --brief`, read back and held against the figures of its plan; and the page of the plan beside it."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from conftest import DEMO, Outcome
from houses import HOUSE, NAMES, changed, houses, jobs, planned, shares
from hypothesis import example, given
from hypothesis import strategies as st
from rich.console import Console

from tapwright.chemistry.plan.figures.records import Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import Plan, plan
from tapwright.cli.pages.plan.card import in_a_line, show_brief
from tapwright.cli.pages.plan.page import show_plan

Run = Callable[..., Outcome]
_DIGITS = 5e-4  # of itself: a dose is told in four figures
starts = st.none() | st.integers(0, 24 * 60 - 1)
SIPHON = changed(HOUSE, hose={"siphon": True, "drain_lift_m": -0.8})
BARE = changed(HOUSE, tap={"total_chlorine_mg_l": 0.0, "free_chlorine_mg_l": None}).model_copy(
    update={"neutralisers": []}
)
COLD = changed(HOUSE, hot_water={"store_l": 42.0})


def printed(show: Callable[[Console], None], width: int = 80) -> list[str]:
    """The lines of a page as they leave the program."""
    page = io.StringIO()
    show(Console(file=page, width=width, highlight=False, markup=False, emoji=False))
    return [line.rstrip() for line in page.getvalue().splitlines()]


def card(made: Plan, width: int = 80, start_minute: int | None = None) -> list[str]:
    return printed(lambda screen: show_brief(screen, made, start_minute), width)


def section(lines: list[str], begins: str) -> list[str]:
    """The lines of a section under its heading."""
    first = next(place for place, line in enumerate(lines) if line.startswith(begins))
    end = next((place for place in range(first, len(lines)) if not lines[place]), len(lines))
    return lines[first + 1 : end]


def rows(lines: list[str]) -> list[list[str]]:
    """A table's cells: no cell holds two blanks in a row."""
    return [re.split(r"  +", line.strip()) for line in lines]


def number(cell: str, unit: str = "") -> float:
    found = re.fullmatch(rf"(\d+(?:\.\d+)?){f' {re.escape(unit)}' if unit else ''}", cell)
    assert found, cell
    return float(found[1])


# --- laws --------------------------------------------------------------------------------------------------------


@given(houses(), shares, jobs, starts)
@example(HOUSE, None, Jobs(), 1110)
@example(SIPHON, None, Jobs(), None)
@example(BARE, 0.3, Jobs(), None)
@example(COLD, None, Jobs(), None)
def test_the_card_says_what_the_figures_say(
    house: Household, share: float | None, jobs_: Jobs, start: int | None
) -> None:
    made = planned(house, share, jobs_, ways_out=True)
    if made is None:
        return
    lines = card(made, start_minute=start)
    assert max(map(len, lines)) <= 80
    assert any("Heaters unplugged" in line for line in card(made, 40, start))
    _doses_agree(lines, made)
    _totes_agree(lines, made)
    _minutes_agree(lines, made, start)
    _boxes_follow_the_steps(lines, made)
    _findings_come_first(lines, made)


def _doses_agree(lines: list[str], made: Plan) -> None:
    """The neutraliser above every salt, in capitals, iff there is one; each amount that of one tote."""
    figures, count = made.figures, made.figures.totes.count
    heading = next(line for line in lines if line.startswith("Into "))
    doses = section(lines, "Into ")
    text = " ".join(" ".join(doses).split())
    if figures.household.tap.total_chlorine_mg_l > 0:
        assert doses[0].startswith("  NEUTRALISER  ")
        found = re.match(r"NEUTRALISER (\S+) (g|mL) of (.+?) Salts", text)
        chosen = figures.neutraliser
        each = chosen.per_tote_g if chosen.per_tote_ml is None else chosen.per_tote_ml
        assert float(found[1]) == pytest.approx(each, rel=_DIGITS)
        assert found[2] == ("g" if chosen.per_tote_ml is None else "mL")
        assert found[3].startswith(chosen.entry.substance.name)
        assert f"(tap: at most {figures.household.tap.total_chlorine_mg_l:g} mg/L of chlorine)" in heading
    else:
        assert "NEUTRALISER" not in " ".join(lines).upper()
        assert "(tap: no chlorine)" in heading
    assert heading.startswith(f"Into each of {count} totes" if count > 1 else "Into the tote")
    salts = re.findall(r"(\S+) g of ([a-z ]+?)(?= \d|$)", text.split("Salts ")[1])
    expected = {name: grams / count for name, grams in figures.recipe.grams.items()}
    assert {name: float(grams) for grams, name in salts} == pytest.approx(expected, rel=_DIGITS)
    assert ("none" in text) == (not expected)


def _totes_agree(lines: list[str], made: Plan) -> None:
    """Every tote once, each with its own litres, marks, temperature and wait."""
    figures, house, count = made.figures, made.figures.household, made.figures.totes.count
    table = rows(section(lines, next(line for line in lines if "thermometer" in line and "cold" in line)))
    head = re.split(r"  +", next(line for line in lines if "thermometer" in line and "cold" in line).strip())
    assert ("wait" in head) == any(figures.hot_waits_min)
    assert ("then hot to" in head) == (house.tote.height_m is not None)
    seen: list[int] = []
    for name, *cells in table:
        named = re.fullmatch(r"Totes? ?(\d+)?(?:-(\d+))?", name)
        first = int(named[1] or 1)
        assert (named[1] is None) == (count == 1)
        row = dict(zip(head, cells, strict=True))
        for tote in range(first, int(named[2] or first) + 1):
            seen.append(tote)
            blend, drawn_c = figures.heat.blends[tote - 1], figures.heat.drawn_c[tote - 1]
            assert number(row["cold"], "L") == pytest.approx(blend.cold_l, abs=0.5)
            assert number(row["hot"], "L") == pytest.approx(blend.hot_l, abs=0.5)
            assert number(row["thermometer"], "°C") == pytest.approx(drawn_c, abs=0.05 + 1e-9)
            if "wait" in row:
                assert number(row["wait"], "min") == pytest.approx(figures.hot_waits_min[tote - 1], abs=0.5)
            if house.tote.height_m is not None:
                full_cm = 100 * house.tote.height_m * figures.totes.volume_l / house.tote.volume_l
                cold_cm = full_cm * blend.cold_l / (blend.cold_l + blend.hot_l)
                if row["cold up to"] == "-":  # a mark so low is not read: litres are measured instead
                    assert full_cm < 2 or min(x for x in (cold_cm, full_cm - cold_cm) if x > 0) < 2
                    continue
                assert number(row["cold up to"], "cm") == pytest.approx(cold_cm, abs=0.5 + 1e-9)
                assert number(row["then hot to"], "cm") == pytest.approx(full_cm, abs=0.5 + 1e-9)
    assert seen == list(range(1, count + 1))


def _minutes_agree(lines: list[str], made: Plan, start: int | None) -> None:
    """Draining and the last fill: their minutes, when to be there, the mark each runs to, and when it starts."""
    figures, at = made.figures, {step.id: step for step in made.steps}
    count = figures.totes.count
    drain, fill = rows(section(lines, "  Minutes "))
    last = at[f"tote_{count}_pump"]
    for row, name, minutes, level_m, step in (
        (drain, "Drain", figures.drain_minutes, figures.low_level_m, at["drain_start"]),
        (fill, "Last fill" if count > 1 else "Fill", figures.pump_minutes, figures.tank.water_height_m, last),
    ):
        assert row[0] == name
        told = [number(cell) for cell in row[1:4]]
        assert told == pytest.approx([minutes.early, minutes.predicted, minutes.late], abs=0.05 + 1e-9)
        # There two minutes before the earliest end, as the steps have it; nobody walks away for less than two.
        there = re.fullmatch(r"from min (\d+)|all along", row[4])
        assert int(there[1] or 0) == (int(minutes.early - 2) if minutes.early >= 4 else 0)
        assert number(row[5], "cm") == pytest.approx(100 * level_m, abs=0.5 + 1e-9)
        hours, past = map(int, row[6].split(":"))
        begins = int(step.start_minute) + (start or 0)
        assert 60 * hours + past == (begins if start is None else begins % (24 * 60))
    assert any("starts after" in line for line in lines) == (start is None)


def _boxes_follow_the_steps(lines: list[str], made: Plan) -> None:
    """Each box is a step of this plan, in the plan's order; those that fish and people die of are all there."""
    ticks = [tick.strip() for tick in " ".join(section(lines, "Tick")).split("[ ]")][1:]
    names = [step.name for step in made.steps]
    at = {step.id: step.name for step in made.steps}
    places = [names.index(tick) for tick in ticks]
    assert places == sorted(places)
    needed = [
        "test_tap",
        "heater_off",
        "heater_cooled",
        "filter_off",
        "outflow_secured",
        "drain_end",
        "inflow_secured",
        "fill_end",
    ]
    needed += ["filter_on", "heater_on", *(id for id in at if id == "resolve" or id.endswith(("_neutralise", "_air")))]
    assert sorted(ticks) == sorted(at[id] for id in needed)
    assert sum("NEUTRALISER" in tick for tick in ticks) == (
        made.figures.totes.count if made.figures.household.tap.total_chlorine_mg_l > 0 else 0
    )
    if made.figures.totes.count == 1:
        assert not re.search(r"tote \d", " ".join(lines), re.IGNORECASE)


def _findings_come_first(lines: list[str], made: Plan) -> None:
    """Stops whole and above all else; cautions a line each, before the doses; notes not at all."""
    title = next(place for place, line in enumerate(lines) if line.startswith("Card for"))
    above = " ".join(" ".join(lines[:title]).split())
    stops = [finding for finding in made.findings if finding.level == "stop"]
    assert lines[0].startswith("STOP  " if stops else "Card for")
    for finding in stops:
        assert f"STOP {finding.text}" in above
    assert above.count("STOP ") == len(stops)
    cautions = [finding.text for finding in made.findings if finding.level == "caution"]
    told = [line.removeprefix("Caution  ") for line in lines if line.startswith("Caution  ")]
    assert len(told) == len(cautions)
    assert all(text.startswith(line.removesuffix(" ...")) for text, line in zip(cautions, told, strict=True))
    assert lines[title + 1 : title + 1 + len(told)] == [f"Caution  {line}" for line in told]
    assert "Note" not in " ".join(lines)


sentences = st.lists(st.from_regex(r"[a-z0-9]{1,12}[.,;:]?", fullmatch=True), min_size=1, max_size=40).map(" ".join)


@given(sentences, st.integers(20, 80))
def test_what_is_cut_fits_its_line_ends_between_words_and_says_that_it_is_cut(text: str, width: int) -> None:
    line = in_a_line(text, width)
    assert 0 < len(line) <= width
    kept = line.removesuffix(" ...")
    assert text.startswith(kept)
    assert text[len(kept) : len(kept) + 1] in ("", " ", ".", ",", ";", ":")
    assert kept != line or line == text or line.endswith(".")
    if len(text) <= width and text.endswith("."):
        assert line == text


@given(houses(), shares, jobs, starts)
def test_the_page_of_a_plan_fits_80_columns_and_leads_with_findings_then_what_to_do_then_why(
    house: Household, share: float | None, jobs_: Jobs, start: int | None
) -> None:
    made = planned(house, share, jobs_, ways_out=True)
    if made is None:
        return
    lines = printed(lambda screen: show_plan(screen, made, start, None, made.assumptions))
    assert max(map(len, lines)) <= 80
    short = lines.index("In short")
    why = next(place for place, line in enumerate(lines) if line.startswith("Why "))
    marks = ("STOP  ", "Caution  ", "Note  ")
    found = [place for place, line in enumerate(lines) if line.startswith(marks)]
    assert len(found) == len(made.findings)
    assert all(place < short for place in found)
    levels = [finding.level for finding in made.findings]
    assert levels == sorted(levels, key=("stop", "caution", "note").index)
    text = " ".join(" ".join(lines[:short]).split())
    assert all(" ".join(finding.text.split()) in text for finding in made.findings)
    steps = next(place for place, line in enumerate(lines) if line.startswith("Steps"))
    assert short < why < steps


# --- by hand -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_card_of_the_demo_fits_a_tote(name: str, tapwright: Run) -> None:
    said = tapwright("plan", DEMO, "--tank", name, "--brief", "--start", "18:30")
    assert (said.code, said.err) == (0, "")
    lines = said.out.splitlines()
    assert lines[0].startswith(f"Card for '{name}'")
    assert len(lines) <= 24
    assert all(len(line) <= 80 and line == line.rstrip() for line in lines)
    assert "starts at" in said.out


def test_json_is_the_same_with_and_without_the_card(tapwright: Run) -> None:
    words: tuple[Any, ...] = ("plan", DEMO, "--tank", NAMES[0], "--start", "18:30", "--json")
    assert tapwright(*words, "--brief").json == tapwright(*words).json


def test_a_card_has_no_room_for_how_sure_it_is(tapwright: Run) -> None:
    said = tapwright("plan", DEMO, "--tank", NAMES[0], "--brief", "--confident")
    assert (said.code, said.out) == (2, "")
    assert said.err == (
        "--brief and --confident: a card has no room for how sure it is. Ask for one, then for the other.\n"
    )


def test_a_stop_leaves_with_1_and_leads_the_card(tmp_path: Path, tapwright: Run) -> None:
    path = tmp_path / "house.toml"
    demo = DEMO.read_text(encoding="utf-8")
    path.write_text(re.sub(r"\[\[salt\]\]\n(?:.+\n)+", "", demo), encoding="utf-8")
    said = tapwright("plan", path, "--tank", "Shell bay", "--brief")
    assert said.code == tapwright("plan", path, "--tank", "Shell bay").code == 1
    assert said.out.startswith("STOP  The refill's ")
    assert "Salts        none that help are in the cupboard" in said.out
    assert "[ ] STOP resolved: what forbids to begin" in said.out


def test_a_siphon_has_no_plug_to_pull_while_the_tank_drains() -> None:
    ticks = section(card(plan(SIPHON, NAMES[0])), "Tick")
    drained, filled = (" ".join(ticks).index(word) for word in ("Drained, flow stopped", "Tank full, pump unplugged"))
    assert drained < filled
    assert " ".join(ticks).count("pump unplugged") == 1


def test_a_long_name_is_no_wider_than_the_card() -> None:
    made = plan(changed(HOUSE, tank={"name": "W" * 100}), "W" * 100)
    assert max(map(len, card(made))) == 80
