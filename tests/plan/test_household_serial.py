"""A household out of Python and back: text, numbers in canonical units, pint, JSON, and a schema that is true."""

from __future__ import annotations

import json
import tomllib
from typing import Any

import jsonschema
import pint
import pytest
from attack.households import drawn
from conftest import DEMO
from hypothesis import given
from hypothesis import strategies as st

from tapwright.chemistry import units
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.plan.household.household import Household, Tank
from tapwright.chemistry.plan.household.table import Table
from tapwright.chemistry.plan.household.tables import Tote

HOUSES = st.randoms(use_true_random=False).map(drawn)
SCHEMA = jsonschema.Draft202012Validator(Household.model_json_schema())


def demo() -> dict[str, Any]:
    return tomllib.loads(DEMO.read_text(encoding="utf-8"))


@given(HOUSES)
def test_a_household_written_out_is_read_as_the_same(table: dict[str, Any]) -> None:
    household = Household.of(table)
    assert Household.of(household.to_dict()) == household
    assert Household.from_json(household.to_json()) == household
    assert Household.from_json(household.model_dump_json(by_alias=True, exclude_none=True)) == household


@given(HOUSES)
def test_numbers_under_the_names_of_the_fields_are_what_they_say(table: dict[str, Any]) -> None:
    household = Household.of(table)
    assert Household.in_python(_numbers(household)) == household


def _numbers(value: Any) -> Any:
    """A table as its own fields hold it: floats in canonical units; substances and lakes by name."""
    if isinstance(value, Table):
        return {
            name: _numbers(entry) for name, entry in vars(value).items() if entry is not None and name != "bands"
        } | ({"bands": value.to_dict()["bands"]} if getattr(value, "bands", None) is not None else {})
    if isinstance(value, list):
        return [_numbers(entry) for entry in value]
    return getattr(value, "name", value)


@given(st.floats(1e-6, 1.0), st.floats(1e-3, 1e5))
def test_a_quantity_is_written_as_text_that_is_read_as_itself(share: float, volume_l: float) -> None:
    assert units.read(units.written(share, "share"), "share") == pytest.approx(share, rel=3e-16, abs=0)
    assert units.read(units.written(volume_l, "volume"), "volume") == volume_l


def test_pint_of_any_registry_is_read_and_another_kind_refused_in_its_place() -> None:
    theirs = pint.UnitRegistry()
    assert Tote.in_python({"volume": 58 * theirs.gallon}).volume_l == pytest.approx(58 * 3.785411784)
    own = units.registry().Quantity(8.0, "dGH")
    house = demo()
    house["tap"]["hardness"] = own
    assert Household.in_python(house).tap.hardness_mmol_l == pytest.approx(units.read("8 dGH", "hardness"))
    house["tap"]["hardness"] = theirs.Quantity(8.0, "mg/L")  # of what?
    house["tote"] = {"volume": 58 * theirs.meter, "height": 0.75}
    with pytest.raises(BadInput) as refused:
        Household.in_python(house)
    said = {fault.where: str(fault) for fault in refused.value.faults}
    assert set(said) == {"tap.hardness", "tote.volume", "tote.height"}
    assert "58 meter" in said["tote.volume"]
    assert "in quotes, with its unit" in said["tote.height"]


@given(HOUSES)
def test_the_schema_takes_every_valid_household(table: dict[str, Any]) -> None:
    SCHEMA.validate(json.loads(json.dumps(table, default=str)))


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("tote", "volume"), 220),
        (("tap", "ph"), "8"),
        (("tap", "ph"), 20.0),
        (("salt", 0, "name"), "moon dust"),
        (("tank", 0, "target"), "lake nowhere"),
        (("tank", 0, "colour"), "blue"),
        (("pump",), {"maximum_flow": "10 L/min"}),
    ],
)
def test_the_schema_refuses_what_an_editor_can_see(place: tuple[str | int, ...], value: object) -> None:
    house: Any = demo()
    *way, last = place
    at = house
    for key in way:
        at = at[key]
    at[last] = value
    assert not SCHEMA.is_valid(json.loads(json.dumps(house, default=str)))


def test_every_quantity_of_the_schema_says_its_unit_and_shows_an_example() -> None:
    for name, entry in Tank.model_json_schema()["properties"].items():
        kinds = [entry, *entry.get("anyOf", [])]
        if any("with its unit" in kind.get("description", "") for kind in kinds):
            assert any(kind.get("examples") for kind in kinds), name


def test_json_that_is_none_is_refused_with_its_place() -> None:
    with pytest.raises(BadInput, match="line 1, column 11"):
        Household.from_json('{"tote": {]')
