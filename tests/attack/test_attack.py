"""A seeded part of every attack, what attacks have found before, and whether the laws would find anything at all."""

from __future__ import annotations

import contextlib
import json
import os
import re
import subprocess
import sys
import tomllib
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from tapwright.chemistry.errors import TapwrightError
from tapwright.chemistry.plan.figures.records import Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.household.python_values import as_in_a_file
from tapwright.chemistry.plan.planner import Plan, plan
from tapwright.cli.app import command_names

from . import files, kills, laws, options, waters
from .contradictions import rows_unsaid
from .households import drawn

FOUND = tomllib.loads((Path(__file__).parent / "found.toml").read_text(encoding="utf-8"))["found"]
PLANS = [
    json.loads(line) for line in (Path(__file__).parent / "found_plans.jsonl").read_text(encoding="utf-8").splitlines()
]
HOUSE = Household.model_validate(tomllib.loads(files.DEMO))


# --- a seeded part of every attack ------------------------------------------------------------------------------------

# How much of each is run here; the long part is `python -m tests.attack`.
COUNTS = {laws: 25, files: 60, options: 50, kills: 14, waters: 4}


@pytest.mark.parametrize("kind", COUNTS, ids=lambda kind: kind.__name__.rpartition(".")[2])
def test_nothing_is_found(kind: Any) -> None:
    met = {f"ci/{number}": kind.attack(f"ci/{number}") for number in range(COUNTS[kind])}
    found = [f"{key}: {text}" for key, seen in met.items() for text in seen.broken]
    assert found == []
    outcomes = Counter(outcome for seen in met.values() for outcome in seen.outcomes)
    if kind is options:
        answered = sum(times for outcome, times in outcomes.items() if outcome.endswith("answered"))
        assert answered >= COUNTS[kind] / 2
    if kind is kills:
        assert sum(times for outcome, times in outcomes.items() if outcome.endswith("killed")) > 3
    if kind is laws:
        assert outcomes["planned"] + outcomes["planned with a stop"] > 10


@given(st.randoms(use_true_random=False).map(drawn))
def test_drawn_households_are_valid(table: dict[str, Any]) -> None:
    assert Household.model_validate(table).misfits() == []


def test_every_command_has_a_recipe_and_every_recipe_an_answer(tmp_path: Path) -> None:
    assert {recipe.command for recipe in options.recipes()} == set(command_names())
    told = {name for recipe in options.recipes() for name, _ in recipe.options}
    assert {name for command in options.commands().values() for name in command} - told <= {"--help", "--json"}


# --- whether anything would be found ----------------------------------------------------------------------------------


def _with(made: Plan, **figures: Any) -> Plan:
    return replace(made, figures=replace(made.figures, **figures))


def test_a_plan_spoiled_in_any_part_is_found() -> None:
    """Every law but that of a valid figure is broken by some plan made to break it."""
    made = plan(HOUSE, "Rock wall")
    figures = made.figures
    heat, chosen, recipe = figures.heat, figures.neutraliser, figures.recipe
    assert chosen is not None and laws.broken(HOUSE, made) == []
    by_id = {step.id: step for step in made.steps}

    def told(**texts: str) -> Plan:
        return replace(made, steps=tuple(replace(step, text=texts.get(step.id, step.text)) for step in made.steps))

    grams = {name: 1.5 * gram for name, gram in recipe.grams.items()}
    warm = tuple(replace(tote, drawn_c=tote.drawn_c + 1) for tote in heat.totes)
    after = replace(figures.waters.tank_after, nitrate_mg_l=10.0)
    turned = (*made.steps[5:9], *made.steps[:5], *made.steps[9:])
    stop = replace(made.findings[0], level="stop", code="x", text="Bad.")
    spoiled = {
        laws.volumes_add_up: _with(made, change_volume_l=figures.change_volume_l * 1.01),
        laws.hot_and_cold_make_the_tote: _with(made, heat=replace(heat, totes=warm)),
        laws.the_tank_before_is_as_read: _with(made, waters=replace(figures.waters, tank_before=after)),
        laws.mixing_conserves: _with(made, waters=replace(figures.waters, tank_after=after)),
        laws.salts_make_the_refill: _with(made, salting=replace(figures.salting, recipe=replace(recipe, grams=grams))),
        laws.neutraliser_suffices: _with(made, neutraliser=replace(chosen, per_tote_g=1.0)),
        laws.amounts_can_be_weighed: _with(made, neutraliser=replace(chosen, per_tote_g=2.3)),
        laws.the_cupboard_holds_it: _with(made, neutraliser=replace(chosen, per_tote_g=500.0)),
        laws.steps_stand_in_order: replace(made, steps=turned),
        laws.what_protects_comes_first: replace(
            made, steps=tuple(s for s in made.steps if s.id != "tote_1_neutralise")
        ),
        laws.a_stop_says_what_to_do: replace(made, findings=(stop,)),
        laws.nothing_is_endless_or_less_than_nothing: _with(made, tap_minutes=float("nan")),
        laws.early_is_not_after_late: _with(
            made, flows=replace(figures.flows, marks=(_late_first(figures.flows.marks[0]),))
        ),
        laws.no_limit_is_passed: _with(
            made, waters=replace(figures.waters, refill=replace(figures.waters.refill, total_chlorine_mg_l=0.5))
        ),
        laws.contradictions: told(drain_end=by_id["drain_end"].text.replace("34 cm", "43 cm")),
    }
    assert set(spoiled) == set(laws.LAWS)
    assert [law.__name__ for law, bad in spoiled.items() if not law(HOUSE, bad)] == []


def _late_first(mark: Any) -> Any:
    return replace(mark, minutes=replace(mark.minutes, early=mark.minutes.late + 1))


def test_every_sentence_that_is_read_back_is_said_by_some_plan() -> None:
    """A row that nobody says reads nothing."""
    plans = []
    for change, share in SAYING:
        house = Household.model_validate(tomllib.loads(_changed(change)))
        plans += [(house, plan(house, name, share)) for name in ("Rock wall", "Shell bay")]
    assert rows_unsaid(plans) == set()


SAYING: list[tuple[list[list[str]], float | None]] = [
    ([], None),
    ([['store = "180 L"', 'store = "30 L"'], ['overflow_height = "61 cm"', 'overflow_height = "57.2 cm"']], 0.8),
    ([['target = "malawi"', 'target = "malawi"\nrefill_temperature = "31 degC"']], 0.7),
    ([['volume = "220 L"', 'volume = "900 L"']], None),
]


# --- what was found before --------------------------------------------------------------------------------------------


def _changed(change: list[list[str]]) -> str:
    text = files.DEMO
    for old, new in change:
        assert old in text, old
        text = text.replace(old, new.replace("{long}", "x" * 5000), 1)
    return text


@pytest.mark.parametrize("row", FOUND, ids=lambda row: row["name"])
def test_what_was_found_stays_mended(row: dict[str, Any], tmp_path: Path) -> None:
    text = _changed(row.get("change", []))
    if "python" in row:
        _in_python(row, tomllib.loads(text))
        return
    with contextlib.chdir(tmp_path):
        Path("house.toml").write_text(text, encoding="utf-8")
        for name in row.get("beside", []):
            Path(name).write_bytes(files.DEMO.encode() if name.endswith(".toml") else options.log_of_the_demo())
        before = Path(row["keeps"]).read_bytes() if "keeps" in row else b""
        code, said = _in_a_process(row) if row.get("process") else _here(row["words"], text)
        assert code in row["codes"], (code, said[:500])
        assert re.search(row.get("says", ""), said)
        assert "never" not in row or not re.search(row["never"], said)
        assert "keeps" not in row or Path(row["keeps"]).read_bytes() == before


def _here(words: list[str], typed: str) -> tuple[int, str]:
    said, wrong = files.judged(words, typed)
    assert said is not None and wrong == []
    return said.code, said.out + said.err


def _in_a_process(row: dict[str, Any]) -> tuple[int, str]:
    shell = [f"{number}>&-" for number, name in ((1, "stdout"), (2, "stderr")) if name in row.get("closed", [])]
    program = [sys.executable, "-m", "tapwright", *row["words"]]
    command = ["/bin/sh", "-c", f'exec "$0" "$@" {" ".join(shell)}', *program]
    environment = {**os.environ, "PYTHONPATH": str(files.ROOT), **row.get("environment", {})}
    done = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
    assert "Traceback" not in done.stdout + done.stderr
    return done.returncode, done.stdout + done.stderr


def _in_python(row: dict[str, Any], table: dict[str, Any]) -> None:
    if row["python"] == "refused":
        with pytest.raises((ValidationError, TapwrightError)):
            Household.model_validate(table)
        return
    house = Household.model_validate(table)
    with contextlib.suppress(TapwrightError):  # a refusal with words is as good
        assert laws.broken(house, plan(house, "Rock wall", row.get("share"))) == []


@pytest.mark.parametrize("row", PLANS, ids=lambda row: row["name"])
def test_a_household_that_was_found_keeps_every_law(row: dict[str, Any]) -> None:
    assert laws.attacked(as_in_a_file(Household, row["household"]), row["share"], Jobs(**row["jobs"])).broken == []
