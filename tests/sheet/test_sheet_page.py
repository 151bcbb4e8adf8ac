"""The page of the sheet: everything of the plan stands on it, nothing of the household file is markup, and paper holds it."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from conftest import DEMO
from houses import HOUSE, NAMES, changed, houses, jobs, planned, shares
from hypothesis import given, settings
from sheets import DAY, Node, data_of, faults_of, first_case, flat, sheet_of, text_of_page, tree_of

from tapwright.chemistry import reference
from tapwright.chemistry.change.filling.chlorine import concentration_mg_l
from tapwright.chemistry.dosing.premix.pouring import pouring
from tapwright.chemistry.plan.figures.records import Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.household.tables import NeutraliserTable
from tapwright.chemistry.plan.late.from_plan import late_cases
from tapwright.chemistry.plan.planner import Plan, plan
from tapwright.chemistry.plan.steps.clocks import clocks_of
from tapwright.chemistry.plan.steps.step import minutes_of
from tapwright.chemistry.plan.steps.totes import cups
from tapwright.chemistry.substances import agent
from tapwright.cli.files.household_file import load

LARGEST_BYTES = 400_000
NO_CHLORINE = changed(HOUSE, tap={"total_chlorine_mg_l": 0.0, "free_chlorine_mg_l": None})


@cache
def demo_page() -> str:
    return text_of_page(plan(HOUSE, NAMES[0]))


def in_totes(count: int, house: Household = HOUSE) -> Household:
    """The house with a tote so small that 40 % of its first tank takes so many."""
    return changed(house, tote={"volume_l": house.tanks[0].live_volume_l * 0.4 / count + 1e-3})


# --- everything of the plan ---------------------------------------------------------------------------------------


@settings(max_examples=16)
@given(houses(), shares, jobs)
def test_everything_of_the_plan_stands_on_the_page(house: Household, share: float | None, jobs_: Jobs) -> None:
    made = planned(house, share, jobs_)
    if made is None:
        return
    page = text_of_page(made)
    assert faults_of(page) == []
    root, _ = tree_of(page)
    _steps_stand_in_order(root, made)
    _findings_open_it(root, made)
    _cautions_stand_once_each(root, made)
    _doses_are_the_plans(root, made)
    _the_script_knows_the_same(root, made)
    words = root.one("main").text
    assert all(flat(note) in words for note in made.assumptions)
    boxes = [len(root.every(id=id)) for id in ("forgotten-heading", "late-typed", "late-dose", "bar-late")]
    assert boxes == [int(house.tap.total_chlorine_mg_l > 0)] * 4


def _steps_stand_in_order(root: Node, made: Plan) -> None:
    shown = root.every("li", class_="step")
    assert [step.has["id"].removeprefix("step-") for step in shown] == [step.id for step in made.steps]
    for number, (card, step) in enumerate(zip(shown, made.steps, strict=True), 1):
        assert card.one(class_="number").text == str(number)
        assert card.one("h3").text == flat(step.name)
        assert card.one("p", class_="text").text == flat(step.text)
        assert ("hold" in card.classes) == step.hold == (card.every(class_="mark") != [])
        tick = card.one("label", class_="tick")
        assert tick.one("input").has["type"] == "checkbox"
        # A screen reader's user, on the box, hears what is ticked, and what is confirmed.
        assert ("confirmed" in tick.text) == step.hold and flat(step.name) in tick.text
        hours, minutes = card.one(class_="when").text.split(":")
        assert 0 <= step.start_minute - 60 * int(hours) - int(minutes) < 1
    assert all(mark.text == "HOLD" for mark in root.every(class_="mark"))


def _findings_open_it(root: Node, made: Plan) -> None:
    shown = [item for block in root.every("ul", class_="findings") for item in block.every("li")]
    assert len(shown) == len(made.findings)
    for item, finding in zip(shown, made.findings, strict=True):
        assert item.classes == [finding.level]
        assert item.one("strong").text == {"stop": "STOP:", "caution": "Caution:", "note": "Note:"}[finding.level]
        assert flat(finding.text) in item.text and flat(finding.source) in item.text
    if made.findings:
        assert root.one("main").every("li")[0] is shown[0]


def _cautions_stand_once_each(root: Node, made: Plan) -> None:
    """With the first step that needs it, and its source at the end."""
    for key in {key for step in made.steps for key in step.cautions}:
        text = flat(reference.table("cautions")[key]["text"])
        first = next(step.id for step in made.steps if key in step.cautions)
        places = [
            card.has["id"] for card in root.every("li", class_="step") for care in card.every(class_="care")
            if text in care.text
        ]  # fmt: skip
        assert places == [f"step-{first}"]
        assert flat(reference.citation("cautions", key)) in root.one("section", class_="sources").text


def _doses_are_the_plans(root: Node, made: Plan) -> None:
    figures, steps = (
        made.figures,
        {card.has["id"].removeprefix("step-"): card for card in root.every("li", class_="step")},
    )
    wanted = [(flat(name), amount) for name, amount in cups(figures)]
    first = root.every("dl", class_="large")[0] if wanted else None
    if first is not None:
        shown = [(block.one("dt").text, block.one("dd").text) for block in first.every("div")]
        assert [(name.removeprefix("NEUTRALISER "), amount) for name, amount in shown] == wanted
        assert [name.startswith("NEUTRALISER") for name, _ in shown] == [
            place == 0 and figures.neutraliser is not None for place in range(len(shown))
        ]
    for number, (blend, drawn_c) in enumerate(zip(figures.heat.blends, figures.heat.drawn_c, strict=True), 1):
        large = [value.text for value in steps[f"tote_{number}_fill"].every("dd")]
        assert large == [f"{blend.cold_l:.0f} L", f"{blend.hot_l:.0f} L", f"{drawn_c:.1f} °C"]
        put_in = [
            (name.text, amount.text) for part in ("neutralise", "salts") if (card := steps.get(f"tote_{number}_{part}"))
            for name, amount in zip(card.every("dt"), card.every("dd"), strict=True)
        ]  # fmt: skip
        assert put_in == wanted
        row = root.every("table")[0].every("tr")[number]
        cells = [cell.text for cell in row.every() if cell.tag in ("th", "td")]
        assert cells == [str(number), f"{blend.cold_l:.0f} L", f"{blend.hot_l:.0f} L", f"{drawn_c:.1f} °C"]


def _the_script_knows_the_same(root: Node, made: Plan) -> None:
    data, figures = data_of(root), made.figures
    assert (data["tank"], data["share"], data["volume_l"]) == (
        figures.tank.name, figures.change_share, figures.change_volume_l)  # fmt: skip
    assert [(step["id"], step["name"], step.get("hold", False)) for step in data["steps"]] == [
        (step.id, step.name, step.hold) for step in made.steps
    ]
    assert [step["number"] for step in data["steps"]] == list(range(1, len(made.steps) + 1))
    services = {step["id"]: step["service"] for step in data["steps"] if "service" in step}
    assert services == {
        id: part for id, part in (("substrate_clean", "substrate"), ("filter_service", "filter"))
        if any(step.id == id for step in made.steps)
    }  # fmt: skip
    clocks = clocks_of(figures, made.steps)
    assert [clock["id"] for clock in data["clocks"]] == [clock.id for clock in clocks]
    for told, clock in zip(data["clocks"], clocks, strict=True):
        minutes = clock.minutes
        assert [told[key] for key in ("early", "predicted", "late")] == pytest.approx(
            [minutes.early, minutes.predicted, minutes.late], rel=1e-3
        )
        assert [alarm["text"] for alarm in told["alarms"]] == [alarm.text for alarm in clock.alarms]
        assert (told["name"], told["kind"], told["starts"], told["ends"]) == (
            clock.name, clock.kind, clock.starts, clock.ends)  # fmt: skip
    # Started by hand: what flows and what is waited for within a step; each stands in its own step.
    by_hand = {clock.id: clock.starts for clock in clocks if clock.kind != "wait" or clock.starts == clock.ends}
    panels = {
        panel.has["data-clock"]: card.has["id"].removeprefix("step-")
        for card in root.every("li", class_="step") for panel in card.every("div", class_="clock")
    }  # fmt: skip
    assert panels == by_hand
    # What the record adds up is what was measured out.
    sums: dict[str, float] = {}
    for step in data["steps"]:
        for dose in step.get("doses", []):
            sums[dose["name"]] = sums.get(dose["name"], 0.0) + dose["amount"]
    chosen, wanted = figures.neutraliser, dict(figures.recipe.grams)
    if chosen is not None:
        wanted[cups(figures)[0][0]] = chosen.in_all_g if chosen.in_all_ml is None else chosen.in_all_ml
    assert sums == pytest.approx(wanted, rel=1e-6)


# --- chosen plans -------------------------------------------------------------------------------------------------


def test_without_chlorine_nothing_is_said_of_a_forgotten_neutraliser() -> None:
    root = sheet_of(NO_CHLORINE)
    assert data_of(root)["late"] is None
    assert not [node for node in root.every() if "forgotten" in " ".join(node.has.values())]
    assert "euralise" not in root.one("main").text.replace("Neither neutraliser nor salts", "")
    assert [section.every("h2")[0].text for section in root.every("section")] == [
        heading for heading in (section.every("h2")[0].text for section in tree_of(demo_page())[0].every("section"))
        if not heading.startswith("If you forgot")
    ]  # fmt: skip


def test_a_label_is_shown_in_millilitres() -> None:
    entry = NeutraliserTable.model_validate(
        {"agent": "sodium hydroxymethanesulfonate",
         "label": {"amount": "5 mL", "volume": "40 L", "chlorine": "2 mg/L"}})  # fmt: skip
    root = sheet_of(HOUSE.model_copy(update={"neutralisers": [entry]}))
    step = root.one("li", id="step-tote_1_neutralise")
    chosen = plan(HOUSE.model_copy(update={"neutralisers": [entry]}), NAMES[0]).figures.neutraliser
    assert chosen is not None and chosen.per_tote_ml is not None and chosen.per_tote_g is None
    assert [amount.text for amount in step.every("dd")] == [f"{chosen.per_tote_ml:g} mL"]
    doses = [step["doses"] for step in data_of(root)["steps"] if step["id"] == "tote_1_neutralise"]
    assert doses == [[{"name": agent(entry.agent.name).name, "amount": chosen.per_tote_ml, "unit": "mL"}]]
    rows = data_of(root)["late"]["from_tote"][0]
    assert all(grams is None and millilitres > 0 for _, _, grams, millilitres in rows)
    assert " mL of sodium hydroxymethanesulfonate" in root.one("output", id="late-dose").text


def test_the_box_of_the_forgotten_neutraliser_leads_with_the_advice() -> None:
    made = plan(HOUSE, NAMES[0])
    case, root = first_case(made.figures), sheet_of(HOUSE)
    assert case is not None
    box, late = root.one("section", class_="forgotten"), data_of(root)["late"]
    order = ("Stop the water now", "Put ", "Let air bubble", "After 5 minutes test total chlorine", "Only then")
    assert [item.text.startswith(words) for item, words in zip(box.every("li"), order, strict=False)] == [True] * 5
    assert box.text.index("Stop the water now") < box.text.index("chlorine in the tank now")
    # Worked out for the whole refill, as a page on paper must say it.
    whole = case.at(0.0).dose_new_water.grams
    assert box.one("output", id="late-dose").text == f"{whole:g} g of sodium thiosulfate pentahydrate"
    assert late["agent"] == "sodium thiosulfate pentahydrate"
    assert len(late["from_tote"]) == made.figures.totes.count
    assert "0.76 mg/L" in box.text and "1.9 mg/L" in box.text  # 40 % of the tap's, and the tap's own at the hose
    for first, rows in zip(late_cases(made.figures), late["from_tote"], strict=True):
        assert rows[-1][0] == pytest.approx(float(first.filling.minutes), rel=1e-3)
        for minute, chlorine, grams, millilitres in rows:
            engine = first.at(minute)
            assert chlorine == pytest.approx(engine.now_mg_l, rel=5e-3, abs=1e-4)
            assert grams >= engine.dose_now.grams * (1 - 1e-6)
            assert millilitres is None


@pytest.mark.parametrize("count", [1, 2, 3, 40])
def test_on_paper_totes_after_the_first_share_a_table(count: int) -> None:
    house = in_totes(count)
    root, made = sheet_of(house, share=0.4), plan(house, NAMES[0], 0.4)
    assert made.figures.totes.count == count
    hidden = [card.has["id"].removeprefix("step-") for card in root.every("li", class_="repeated")]
    later = [step.id for step in made.steps if (tote := re.match(r"tote_(\d+)_", step.id)) and int(tote[1]) > 1]
    assert hidden == [id for id in later if id != f"tote_{count}_pump"]
    tables = root.every("li", class_="again")
    assert len(tables) == (count > 1)
    if not tables:
        return
    halves = tables[0].every("table")
    assert len(halves) == (1 if count < 10 else 2)
    head, rows = halves[0].every("tr")[0], [row for half in halves for row in half.every("tr")[1:]]
    parts = list(dict.fromkeys(id.split("_", 2)[2] for id in later))
    assert len(head.every("th")) == 5 + len(parts)  # number, cold, hot, marks, temperature
    assert "NEUTRALISER" in head.text and "HOLD" in tables[0].text
    assert [row.every("th")[0].text for row in rows] == [str(number) for number in range(2, count + 1)]
    for row, blend in zip(rows, made.figures.heat.blends[1:], strict=True):
        cells = row.every("td")
        assert [cell.text for cell in cells[:2]] == [f"{blend.cold_l:.0f} L", f"{blend.hot_l:.0f} L"]
        last = row is rows[-1]
        # One box for every step; the last tote's pump has a card of its own below.
        assert [len(cell.every(class_="box")) for cell in cells[4:]] == [1] * (len(parts) - last) + [0] * last
        assert (cells[-1].text == "below") == last


def test_paper_says_how_long_a_later_tote_waits_for_hot_water() -> None:
    """Tote 1 has hot water enough, so nothing else on paper tells of the wait: the card of tote 2 is not printed."""
    house = changed(HOUSE, hot_water={"store_l": 42.0})
    wait = next(step for step in plan(house, NAMES[0]).steps if step.id == "tote_2_reheat")
    printed = [card.text for card in sheet_of(house).every("li", class_="again")]
    assert f"{math.ceil(wait.minutes)} min" in " ".join(printed)


def test_what_is_called_the_most_it_can_be_is_the_most() -> None:
    made, root = plan(HOUSE, NAMES[0]), sheet_of(HOUSE)
    case, minutes = first_case(made.figures), made.figures.pump_minutes
    assert case is not None
    box, at = root.one("section", class_="forgotten").text, minutes.early / 2
    fastest = replace(case.filling, flow_l_min=case.filling.flow_l_min * minutes.predicted / minutes.early)
    rows = data_of(root)["late"]["from_tote"][0]
    shown = np.interp(at, [row[0] for row in rows], [row[1] for row in rows])
    assert "at most" not in box or shown >= 0.99 * concentration_mg_l(fastest, at)


def test_the_largest_plan_fits_into_400_kb() -> None:
    """The most totes that the planner allows (tables/practice.csv)."""
    made = plan(in_totes(40), NAMES[0], 0.4)
    assert made.figures.totes.count == minutes_of("most_totes")
    assert len(text_of_page(made, charts=True).encode()) < LARGEST_BYTES


def test_a_refill_as_cold_as_the_tap_takes_no_hot_water() -> None:
    house = changed(HOUSE.model_copy(update={"room_temperature_c": None}), tank={"refill_temperature_c": 10.0})
    root = sheet_of(house)
    assert [value.text for value in root.one("li", id="step-tote_1_fill").every("dd")][1] == "0 L"
    assert "-0" not in root.one("main").text


def test_pouring_and_salts_stand_with_their_step() -> None:
    made = plan(HOUSE, NAMES[1])
    text = sheet_of(HOUSE, NAMES[1]).one("li", id="step-tote_1_salts").text
    assert all(flat(words) in text for words in pouring(made.figures.salting.premix))


# --- what the household file says is text -------------------------------------------------------------------------

NASTY = [
    "<script>alert(1)</script>", "</script><img src=x>", "{{7*7}}", "{% raw %}", "{dose}", "{}", "%s %(x)s",
    "\"quoted\" 'twice'", "&amp; &lt;b&gt;", "<!-- x -->", "]]>", "</title><h1>", "Fish \N{TROPICAL FISH}", "x" * 100,
    "\N{HEBREW LETTER BET}\N{HEBREW LETTER RESH} 2", "\N{ARABIC LETTER BEH}", "a\\u003cb \\n", "$x_2$ \\(y\\)", "`${1}`",
    "--><svg onload=alert(1)>",
]  # fmt: skip


@pytest.mark.parametrize("name", NASTY, ids=range(len(NASTY)))
def test_a_tanks_name_stays_text(name: str, tmp_path: Path) -> None:
    file, quoted = tmp_path / "house.toml", json.dumps(name, ensure_ascii=False)
    file.write_text(DEMO.read_text(encoding="utf-8").replace('"Rock wall"', quoted), encoding="utf-8")
    page = text_of_page(plan(load(file), name), file=file)
    assert faults_of(page) == []
    root, _ = tree_of(page)
    assert root.one("h1").text == root.one("title").text == f"Water change for {flat(name)}"
    assert data_of(root)["tank"] == name
    assert f"every heater of '{flat(name)}'" in root.one("li", id="step-heater_off").text
    assert len(root.every("script")) == 2
    assert not root.every("img")
    # The script is the same whatever the file says: it can be hashed.
    assert root.every("script")[1].inside == tree_of(demo_page())[0].every("script")[1].inside


@pytest.mark.parametrize("bad", ["\\u0007", "\\u202e", "\\u2028", "\\u0000", "\\n"])
def test_a_name_that_cannot_be_printed_is_refused_before_it_comes_here(bad: str, tmp_path: Path) -> None:
    file = tmp_path / "house.toml"
    file.write_text(DEMO.read_text(encoding="utf-8").replace('"Rock wall"', f'"Rock{bad}wall"'), encoding="utf-8")
    with pytest.raises(Exception, match="control character"):
        load(file)


# --- the same again -----------------------------------------------------------------------------------------------


def test_the_same_plan_gives_the_same_page_and_another_another_id() -> None:
    made = plan(HOUSE, NAMES[0])
    page = text_of_page(made, charts=True)
    assert text_of_page(plan(HOUSE, NAMES[0]), charts=True) == page

    def id_of(of: Plan, day: date = DAY) -> str:
        id = data_of(tree_of(text_of_page(of, day=day))[0])["id"]
        assert re.fullmatch(r"[0-9a-f]{16}", id)
        return str(id)

    others = [
        id_of(made), id_of(made, date(2026, 3, 15)), id_of(plan(HOUSE, NAMES[0], 0.45)), id_of(plan(HOUSE, NAMES[1])),
        id_of(plan(changed(HOUSE, neutraliser={"excess_given": 0.9}), NAMES[0])),
        id_of(plan(changed(HOUSE, hose={"length_m": 20.0}), NAMES[0])),
    ]  # fmt: skip
    assert len(set(others)) == len(others)
    assert data_of(tree_of(page)[0])["id"] == others[0]


# --- the checks themselves ----------------------------------------------------------------------------------------

SPOILT = [
    ("<main>", "<main><p>", "ended"), ("</main>", "</div></main>", "</div> in <main>"),
    ("<main>", "<p><div></div></p><main>", "<div> in <p>"), ("<main>", '<main style="x">', "has style"),
    ("<main>", '<main onclick="x">', "has onclick"), ("<main>", '<main><img src="x">', "has src"),
    ("<main>", '<main id="steps">', "id steps stands 2 times"),
    ("<main>", '<main><a href="#nowhere">x</a>', "leads nowhere"),
    ("<main>", '<main><a href="https://x.example">x</a>', "address"),
    ("<main>", '<main><a href="other.html">x</a>', "leads nowhere"),
    ("<main>", '<main aria-labelledby="nobody">', "to no nobody"), ('for="note"', 'for="notes"', "to no notes"),
    ("body { margin: 0 auto", "body { margin: 1px auto", "style-src allows"),
    ("let kept = true", "let kept = false", "script-src allows"),
    ("default-src &#39;none&#39;", "default-src *", "default-src"),
    ("img-src data:", "img-src data: https:", "img-src allows"),
    ("img-src data:", "connect-src data:", "connect-src allows"), ("isState(", "fetch(", "fetch("),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "said"), SPOILT, ids=[said for *_, said in SPOILT])
def test_a_spoilt_page_is_seen(old: str, new: str, said: str) -> None:
    page = demo_page()
    assert old in page
    assert said in " ".join(faults_of(page.replace(old, new, 1)))


def test_paper_tells_hours_of_draining_in_plain_minutes() -> None:
    made = plan(changed(HOUSE, hose={"bore_m": 0.005}), NAMES[0])
    (drain,) = (clock for clock in clocks_of(made.figures, made.steps) if clock.kind == "drain")
    assert drain.alarms[0].minute > 100
    page = tree_of(text_of_page(made))[0]
    found = re.search(r"be there (\S+) minutes later", page.one("li", id="step-drain_start").text)
    assert found and float(found[1]) == pytest.approx(drain.alarms[0].minute, rel=0.05)
    assert found[1].isdigit()
