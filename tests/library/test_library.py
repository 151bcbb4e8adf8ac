"""The front page from Python: the same answers as the command line's, whatever the values come as, and out again."""

from __future__ import annotations

import copy
import dataclasses
import json
import pickle
import tomllib
from typing import Any

import jsonschema
import numpy as np
import pandas as pd
import pint
import pytest
from attack.households import drawn
from conftest import DEMO, Outcome
from hypothesis import given, settings
from hypothesis import strategies as st

import tapwright as tw
from tapwright.chemistry import units
from tapwright.chemistry.record import Record

SALTS = ["sodium bicarbonate", "magnesium sulfate heptahydrate", "calcium chloride dihydrate", "potassium chloride"]
PLAN_SCHEMA = tw.Plan.json_schema()
TAP = {"hardness": "4 dGH", "alkalinity": "3 dKH", "ph": 7.4, "temperature": "25 degC"}

THEIRS = pint.UnitRegistry()  # of somebody else; a third of a second to make


def test_the_front_page_is_short_and_every_name_on_it_says_what_it_is() -> None:
    assert len(tw.__all__) <= 40
    assert set(tw.__all__) <= set(dir(tw))
    for name in tw.__all__:
        thing = getattr(tw, name)
        assert isinstance(thing, str) or thing.__doc__, name
    with pytest.raises(AttributeError, match="no_such_thing"):
        getattr(tw, "no_such_thing")  # noqa: B009


@given(st.floats(1, 20), st.floats(1, 15), st.floats(10, 30))
def test_text_pint_and_numbers_describe_one_water(dgh: float, dkh: float, celsius: float) -> None:
    own = units.registry()
    text = tw.describe(hardness=f"{dgh!r} dGH", alkalinity=f"{dkh!r} dKH", temperature=f"{celsius!r} degC")
    from_pint = tw.describe(
        hardness=own.Quantity(dgh, "dGH"),
        alkalinity=own.Quantity(dkh, "dKH"),
        temperature=THEIRS.Quantity(celsius, "degC"),
    )
    water = text.water
    numbers = tw.describe(
        hardness_mmol_l=water.hardness_mmol_l, alkalinity_meq_l=water.alkalinity_meq_l, temperature_c=celsius
    )
    assert from_pint.water.hardness_mmol_l == pytest.approx(water.hardness_mmol_l)
    assert numbers.water.to_dict() == pytest.approx(water.to_dict())
    assert numbers.assumptions == text.assumptions


def test_arrays_and_tables_go_in_and_come_out_with_their_index() -> None:
    frame = pd.DataFrame(
        {
            "hardness": ["4 dGH", "8 dGH", "12 dGH"],
            "alkalinity": ["3 dKH"] * 3,
            "temperature_c": 25.0,
            "ph": [7.2, np.nan, 8],
        },
        index=pd.Index(["well", "tap", "rain"], name="where"),
    )
    waters = tw.describe(frame)
    rested = tw.at_air(waters, "800 ppm")
    assert list(waters.index) == list(rested.index) == ["well", "tap", "rain"]
    for label, row in frame.iterrows():
        readings = {key: value for key, value in row.items() if not (isinstance(value, float) and np.isnan(value))}
        alone = tw.describe(**readings)
        assert waters.loc[label, "sodium_mmol_l"] == pytest.approx(alone.water.sodium_mmol_l)
        assert rested.loc[label, "ph"] == pytest.approx(tw.at_air(alone, "800 ppm").ph, abs=1e-9)
    hardness = np.linspace(0.5, 3, 6).reshape(2, 3)
    many = tw.describe(hardness_mmol_l=hardness, alkalinity_meq_l=1.5, temperature_c=25)
    assert tw.at_air(many).ph.shape == many.water.calcium_mmol_l.shape == (2, 3)
    one = tw.describe(hardness_mmol_l=float(hardness[1, 2]), alkalinity_meq_l=1.5, temperature_c=25)
    assert tw.at_air(many).ph[1, 2] == pytest.approx(tw.at_air(one).ph, abs=1e-9)


def test_a_plan_is_that_of_the_command(tapwright: Any) -> None:
    said = tapwright("plan", DEMO, "--tank", "Rock wall", "--json").json["result"]
    for house in (DEMO, str(DEMO), tomllib.loads(DEMO.read_text(encoding="utf-8")), tw.household(DEMO).to_json()):
        made = tw.plan(house, "Rock wall")
        assert [step.id for step in made.steps] == [step["id"] for step in said["steps"]]
        assert made.figures.change_share == said["change_share"]
    with pytest.raises(tw.BadInput, match="'Rock wall' or 'Shell bay'"):
        tw.plan(DEMO)


def test_a_recipe_holds_its_bands_and_one_that_cannot_says_what_would_do() -> None:
    tap = tw.describe(**TAP)
    made = tw.recipe(tap, "malawi", "200 L", SALTS, scale="1 g")
    assert made.recipe.found and sum(made.grams.values()) > 0
    at = {standing.band: standing for standing in made.recipe.reached}["alkalinity_meq_l"]
    assert at.within.low <= made.recipe.water.alkalinity_meq_l <= at.within.high
    with pytest.raises(tw.NoAnswer) as refused:
        tw.recipe(tap, "malawi", "200 L", ["potassium chloride"])
    assert refused.value.faults[0].hint


def test_mixing_keeps_totals_and_a_dose_adds_what_it_holds() -> None:
    tap = tw.describe(**TAP)
    mixed = tw.mix([tap, tw.deionised("25 degC")], ["60 L", "40 L"])
    assert mixed.volume_l == pytest.approx(100)
    assert mixed.water.calcium_mmol_l == pytest.approx(0.6 * tap.water.calcium_mmol_l)
    dosed = tw.dose(mixed.water, "100 L", {"sodium bicarbonate": "84.006 g"})
    assert dosed.alkalinity_meq_l - mixed.water.alkalinity_meq_l == pytest.approx(10, rel=1e-4)


def test_a_dose_of_neutraliser_is_that_of_the_command(tapwright: Any) -> None:
    agent = "sodium thiosulfate pentahydrate"
    words = ("--volume", "400 L", "--total-chlorine", "2.4 mg/L", "--agent", agent, "--json")
    said: Outcome = tapwright("neutralise", *words)
    assert tw.neutralise("400 L", "2.4 mg/L", agent).dose.agent_g == pytest.approx(said.json["result"]["agent_g"])
    several = tw.neutralise("400 L", np.array([1.2, 2.4]), agent).dose.agent_g
    assert several[1] == pytest.approx(2 * several[0])


def records() -> list[Record]:
    tap = tw.describe(**TAP)
    return [
        tap,
        tap.water,
        tw.at_air(tw.deionised()),
        tw.mix([tap, tw.lake("tanganyika")], ["60 L", "40 L"]),
        tw.recipe(tap, "malawi", "200 L", SALTS, scale="1 g"),
        tw.neutralise("400 L", "2.4 mg/L", "sodium thiosulfate pentahydrate"),
        tw.blend("200 L", "25.5 degC", "57 degC", "10 degC", tub_mass="11 kg", tub_temperature="18 degC"),
    ]


@pytest.mark.parametrize("record", records(), ids=lambda record: type(record).__name__)
def test_a_record_goes_out_and_comes_back(record: Record) -> None:
    assert type(record).from_json(record.to_json()) == record
    assert json.loads(json.dumps(record.to_dict(), default=str))
    assert len(record.to_frame()) == 1
    assert len(repr(record)) < 400
    assert record.headline().replace("<", "") in record._repr_html_().replace("&#x27;", "'")


def test_a_name_cannot_speak_html() -> None:
    made = tw.describe(name="<script>", **TAP)
    assert "<script>" not in made._repr_html_()


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        ({"hardness": 4, "temperature": "25 degC"}, 'hardness="12 dGH", or hardness_mmol_l=4'),
        ({"pH": 7, "temperature": "25 degC"}, "no reading is called so"),
        ({"hardness": "4 dGH"}, 'temperature="25 degC"'),
        ({"hardness": "4 ppm", "temperature": "25 degC"}, "counted as"),
        ({"hardness_mmol_l": 400.0, "temperature_c": 25}, "20 mmol/L is allowed"),
        ({"hardness_mmol_l": float("nan"), "temperature_c": 25}, "is allowed"),
        ({"ph": "acid", "temperature_c": 25}, "a pH from 4 to 11"),
        ({"hardness": {"of": "tap"}, "temperature_c": 25}, "a hardness is wanted"),
    ],
)
def test_what_cannot_be_read_is_refused_in_the_words_of_the_command_line(readings: dict[str, Any], says: str) -> None:
    with pytest.raises(tw.BadInput) as refused:
        tw.describe(alkalinity="3 dKH", **readings)
    assert says in str(refused.value)


def test_every_fault_is_said_at_once() -> None:
    with pytest.raises(tw.BadInput) as refused:
        tw.describe(hardness=4, alkalinity="3", ph=99, temperature="25 degC")
    assert [fault.where for fault in refused.value.faults] == ["hardness", "alkalinity", "ph"]


def test_the_tables_are_listed_with_their_sources() -> None:
    for name in tw.data():
        rows = tw.data(name)
        assert rows
        assert all(row.get("source") or name == "units" for row in rows)
    with pytest.raises(tw.BadInput, match="salts, agents"):
        tw.data("fish")


def test_pictures_show_the_figures_of_their_answers() -> None:
    refill = tw.recipe(tw.describe(**TAP), "malawi", "200 L", SALTS, scale="1 g")
    (marks,) = refill.plot().get_lines()
    inside = [at for at in refill.recipe.reached if at.within.high < float("inf")]
    for at, place in zip(inside, marks.get_xdata(), strict=True):
        assert at.within.low + place * (at.within.high - at.within.low) == pytest.approx(at.value)
    made = tw.plan(DEMO, "Rock wall")
    bars = tw.plot(made).patches
    assert [bar.get_x() for bar in bars] == [step.start_minute for step in made.steps]
    with pytest.raises(tw.BadInput, match="has no picture"):
        tw.plot(made.steps[0])


def test_a_plan_can_be_copied_pickled_and_taken_apart() -> None:
    made = tw.plan(DEMO, "Rock wall")
    assert pickle.loads(pickle.dumps(made)).steps == copy.deepcopy(made).steps == made.steps
    assert dataclasses.asdict(made)["figures"]["change_share"] == made.figures.change_share


@given(st.randoms(use_true_random=False).map(drawn))
@settings(max_examples=6)
def test_a_plan_goes_out_as_json_and_comes_back(table: dict[str, Any]) -> None:
    house = tw.Household.of(table)
    try:
        made = tw.plan(house, house.tanks[0].name, 0.3)
    except tw.TapwrightError:
        return
    back = tw.Plan.from_json(made.to_json())
    assert (back.steps, back.findings, back.assumptions) == (made.steps, made.findings, made.assumptions)
    assert back.figures.household == house and back.figures.states == made.figures.states
    assert back.to_json() == made.to_json()
    assert made.figures.tank.name in repr(made)
    jsonschema.validate(json.loads(made.to_json()), PLAN_SCHEMA)
