"""A household in Python: it checks itself however it is made, in the words of the file."""

from __future__ import annotations

import copy
import math
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from conftest import DEMO
from files.test_household_faults import FAULTS
from houses import HOUSE, NAMES
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from tapwright.chemistry.errors import BadInput, TapwrightError
from tapwright.chemistry.plan.household.household import Household, Tank
from tapwright.chemistry.plan.household.tables import HoseTable, LabelTable, TimedTable
from tapwright.chemistry.plan.planner import plan
from tapwright.cli.files.household_file import load

DATA = tomllib.loads(DEMO.read_text(encoding="utf-8"))
DRY = "lies at or above water_height: the heater would stand dry."


def with_values(**values: Any) -> dict[str, Any]:
    """The demo's data with other values, by places such as tank__0__heater_height; '-' takes one out."""
    data = copy.deepcopy(DATA)
    for place, value in values.items():
        *way, last = (int(part) if part.isdigit() else part for part in place.split("__"))
        holder: Any = data
        for part in way:
            holder = holder[part]
        if value == "-":
            holder.pop(last, None)
        else:
            holder[last] = value
    return data


def faults(data: Any, of: Callable[[Any], object] = Household.of) -> dict[str, str]:
    """What is said against the data, by place."""
    with pytest.raises(BadInput) as refused:
        of(data)
    return {fault.where: fault.message for fault in refused.value.faults}


def test_a_heater_above_the_water_is_refused_by_every_way_in() -> None:
    data = with_values(tank__0__heater_height="90 cm")
    assert faults(data) == {"tank.1.heater_height": DRY}
    for make in (Household.model_validate, lambda data: Household(**data), lambda data: Tank(**data["tank"][0])):
        with pytest.raises(ValidationError, match="heater would stand dry"):
            make(data)
    tank = HOUSE.tanks[0]
    assert faults({"heater_height_m": 0.9}, lambda update: tank.model_copy(update=update)) == {"heater_height": DRY}
    dry = Tank.model_construct(**{**vars(tank), "heater_height_m": 0.9})
    house = Household.model_construct(**{**vars(HOUSE), "tanks": [dry]})
    assert faults(house, lambda house: plan(house, NAMES[0])) == {"tank.1.heater_height": DRY}
    assert faults({"tanks": [dry]}, lambda update: HOUSE.model_copy(update=update)) == {"tank.1.heater_height": DRY}
    altered = HOUSE.model_copy()
    altered.tanks.append(dry)
    assert "tank.3.heater_height" in faults(altered, lambda house: plan(house, NAMES[0]))


def test_the_error_of_pydantic_says_the_same_at_the_same_place() -> None:
    data = with_values(tank__0__heater_height="90 cm", tank__1__overflow_height="1 cm", tap__flow="14")
    with pytest.raises(ValidationError) as refused:
        Household.model_validate(data)
    entries = {entry["loc"]: entry["msg"] for entry in refused.value.errors()}
    assert DRY in entries["tank", 0, "heater_height"]
    assert "lies below water_height." in entries["tank", 1, "overflow_height"]
    assert "'14' has no unit." in entries["tap", "flow"]


@pytest.mark.parametrize(
    ("update", "place", "message"),
    [
        ({"heater_height_m": math.nan}, "heater_height", "'nan m' is read; more than 0 m to 100 m is allowed."),
        ({"live_water": 7.0}, "live_water", "'700 %' is read; more than 0 % to 100 % is allowed."),
        ({"heater_height_m": "30 cm"}, "heater_height", "'30 cm' is read; a length as a number, in m, is wanted."),
        ({"heater_hight_m": 0.3}, "heater_hight_m", "is not a key known here."),
        ({"target_lake": "malawi lake"}, "target", "'malawi lake' is not a lake known here."),
        ({"readings": {"nitrate": 3.0}}, "readings.temperature", "not given, and it is needed."),
        (
            {"timed_drain": TimedTable.model_construct(volume_l=-1.0, time_min=3.0)},
            "timed_drain.volume",
            "'-1 L' is read",
        ),
        ({"name": "\u202eknat"}, "name", r"'\u202eknat' holds a control character."),
        ({"last_filter_service": True}, "last_filter_service", "true is read; a date is wanted."),
    ],
)
def test_values_in_canonical_units_are_held_to_the_same_limits(
    update: dict[str, Any], place: str, message: str
) -> None:
    said = faults(update, lambda update: HOUSE.tanks[0].model_copy(update=update))
    assert message in said[place]


def test_a_copy_is_what_was_asked_for_and_what_is_checked_is_the_same() -> None:
    assert HOUSE.checked() == HOUSE
    assert HOUSE.model_copy() == HOUSE
    higher = HOUSE.tanks[0].model_copy(update={"heater_height_m": 0.2})
    assert higher.heater_height_m == 0.2
    assert higher.model_copy(update={"heater_height_m": HOUSE.tanks[0].heater_height_m}) == HOUSE.tanks[0]


def test_a_household_past_every_check_is_named_by_its_gaps() -> None:
    said = faults(Household.model_construct(), lambda house: plan(house, "any"))
    assert said.keys() == {"tap", "hot_water", "tote", "pump", "hose", "scale", "tank"}


@pytest.mark.parametrize("data", [None, 3, [], "house.toml", {"tank": 3}, {"tank": [1]}, {"tap": []}, {"tank": []}])
def test_what_is_no_household_at_all_is_told_so(data: Any) -> None:
    assert all(message.endswith((".", ";")) for message in faults(data).values())


def test_a_table_of_its_own_checks_itself() -> None:
    assert faults({"bore": "25 mm", "length": "9 m", "drain_lift": "0 m", "fill_lift": "1 m", "fittings": {"elbo": 1}},
                  HoseTable.of).keys() == {"fittings"}  # fmt: skip
    assert faults({"amount": "5 cm", "volume": "40 L", "chlorine": "0 mg/L"}, LabelTable.of).keys() == {
        "amount", "chlorine",
    }  # fmt: skip


@pytest.mark.parametrize(("edit", "key", "message"), FAULTS, ids=range(len(FAULTS)))
def test_python_says_what_the_file_says(
    edit: Callable[[str], str], key: str, message: str, household_text: str, tmp_path: Path
) -> None:
    """Every fault of the file's tests, at the same place and in the same words; only the example may be a plainer one."""
    text = edit(household_text)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return  # no TOML: nothing that Python could be given
    path = tmp_path / "house.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as refused:
        load(path)
    of_file = {fault.where.split(": ", 1)[1]: fault.message for fault in refused.value.faults}
    assert faults(data) == of_file


# --- single faults beside those across --------------------------------------------------------------------------------


def test_what_is_faulty_hides_nothing_that_does_not_rest_on_it() -> None:
    said = faults(with_values(
        tank__0__water_height="tall", tank__0__name=7, tank__1__heater_height="90 cm", tank__1__overflow_height="1 cm",
        tap__free_chlorine="4 mg/L", tote__volume="250", hot_water__temperature="5 degC", hose__fittings={"elbo": 1},
        hose__bore="wide", colour="red",
    ))  # fmt: skip
    assert said.keys() == {
        "tank.1.water_height", "tank.1.name", "tank.2.heater_height", "tank.2.overflow_height", "tap.free_chlorine",
        "tote.volume", "hot_water.temperature", "hose.fittings", "hose.bore", "colour",
    }  # fmt: skip


@pytest.mark.parametrize("timed", ["timed_drain", "timed_fill"])
@pytest.mark.parametrize(
    "missing", [("length",), ("length", "width"), ("live_water",), ("water_height",), ("length", "width", "live_water")]
)
def test_a_time_without_a_size_is_a_fault_and_no_sum(timed: str, missing: tuple[str, ...]) -> None:
    values: dict[str, Any] = {f"tank__0__{key}": "-" for key in missing}
    said = faults(with_values(**values, **{f"tank__0__{timed}": {"volume": "100 L", "time": "9 min"}}))
    places = {place.removeprefix("tank.1.") for place in said}
    assert places <= {"volume", "live_water", "water_height"}
    assert ("volume" in places) == ("length" in missing)


# Values at the ends of what is allowed, too small for any sum, missing, or none at all.
SIZES = ["1e-300 L", "1 mL", "100 L", "100000 L", "-", "x"]
HEIGHTS = ["1e-300 m", "1e-9 m", "1 cm", "57 cm", "100 m", "-", "x"]
TIMED = [{"volume": size, "time": time} for size in SIZES for time in ("1e-300 min", "9 min", "1440 min", "-")]
PLACES: dict[str, list[Any]] = {
    "tank__0__volume": SIZES, "tank__0__length": HEIGHTS, "tank__0__width": HEIGHTS, "tote__volume": SIZES,
    "tote__height": HEIGHTS, "tank__0__live_water": ["1e-300%", "84%", "100%", "-"], "tank__0__water_height": HEIGHTS,
    "tank__0__heater_height": HEIGHTS, "tank__0__timed_drain": TIMED, "tank__0__timed_fill": TIMED,
    "tank__0__drain_lift": ["-20 m", "-1 cm", "0 m", "3.19 m", "20 m", "x"], "hose__siphon": [True, False, 3],
    "tank__0__fill_lift": ["-20 m", "0 m", "3.19999 m", "x"], "hose__bore": ["2 mm", "25 mm", "500 mm", "x"],
    "hose__length": HEIGHTS, "hose__coil": [{"length": "1 m", "diameter": across} for across in HEIGHTS],
    "hose__fittings": [{"elbow": count} for count in (0, 1, 1000, 10**400, -1)],
    "pump__maximum_flow": ["1e-300 L/min", "1 mL/h", "2000 L/min", "x"], "pump__maximum_head": HEIGHTS,
    "tap__hardness": ["0 dGH", "1e-300 dGH", "3 dGH", "100 dGH", "-"], "tap__alkalinity": ["0 dKH", "1e-300 dKH", "-"],
    "tap__ph": [4, 4.0, 7.7, 11, math.nan, 10**400, "-"], "tap__conductivity": ["0 uS/cm", "1e-300 uS/cm", "320 uS/cm"],
    "tap__calcium": ["0 mg/L", "1e-300 mg/L", "18 mg/L", "-"], "tap__sodium": ["0 mg/L", "1000 mg/L"],
    "tap__temperature": ["0 degC", "10 degC", "40 degC"], "tap__total_chlorine": ["0 mg/L", "1e-300 mg/L", "20 mg/L"],
    "tank__0__readings__ph": [4, 8.2, 11], "tank__0__readings__alkalinity": ["0 dKH", "1e-300 dKH", "40 dKH"],
    "tank__0__nitrate_ceiling": ["0 mg/L NO3", "1e-300 mg/L NO3"], "neutraliser": ["-", [], [{"agent": "x"}]],
}  # fmt: skip
spoiled = st.dictionaries(st.sampled_from(sorted(PLACES)), st.integers(0, 1000), max_size=8).map(
    lambda drawn: with_values(**{place: PLACES[place][n % len(PLACES[place])] for place, n in drawn.items()})
)


@settings(max_examples=150)
@given(spoiled)
@pytest.mark.filterwarnings("error")
def test_no_sum_fails_on_the_way_to_a_verdict(data: dict[str, Any]) -> None:
    """A household or a refusal, whatever the figures; and what was let through can be asked for its parts."""
    try:
        house = Household.of(data)
    except TapwrightError:
        return
    assert house.misfits() == []
    assert house.checked() == house
