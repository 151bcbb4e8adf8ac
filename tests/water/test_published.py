"""Published values, one row each in published.csv with its source."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

from tapwright.chemistry import reference
from tapwright.chemistry.change.heat.blending import blend_of_volumes
from tapwright.chemistry.dosing.neutralise import ChlorineReadings, neutralise
from tapwright.chemistry.substances import agent
from tapwright.chemistry.units import read
from tapwright.chemistry.water.ammonia import acute_criterion_mg_n_l, chronic_criterion_mg_n_l, unionised_share
from tapwright.chemistry.water.composition import dgh_per_mmol
from tapwright.chemistry.water.properties import density_kg_l, heat_capacity_kj_kg_k
from tapwright.chemistry.water.target import lake_target


def _numbers(function: Callable[..., float]) -> Callable[[str], float]:
    return lambda inputs: function(*map(float, inputs.split()))


def _blend_c(hot_l: float, hot_c: float, cold_l: float, cold_c: float) -> float:
    return blend_of_volumes(hot_l, cold_l, hot_c, cold_c).temperature_c


def _field_pounds(name: str) -> float:
    """Pounds against 1 mg/L of free chlorine in 100 000 US gallons, with the guide's 10 % on top."""
    free = ChlorineReadings(1.0, 1.0)
    dose = neutralise(read("100000 gal", "volume"), free, agent(name), excess=0.10)
    return dose.agent_g / read("1 lb", "mass")


def _ion_conductivity(ion: str) -> float:
    """Molar conductivity at 25 degC and no ionic strength, from the table's polynomial."""
    row = reference.table("ions")[ion]
    return sum(float(row[f"lambda_{power}"]) * 25.0**power for power in (0, 1, 2))


def _middle(low: float, high: float) -> float:
    return (low + high) / 2


FUNCTIONS: dict[str, Callable[[str], float]] = {
    "density_kg_l": _numbers(density_kg_l),
    "heat_capacity_kj_kg_k": _numbers(heat_capacity_kj_kg_k),
    "unionised_share": _numbers(unionised_share),
    "acute_criterion_mg_n_l": _numbers(acute_criterion_mg_n_l),
    "chronic_criterion_mg_n_l": _numbers(chronic_criterion_mg_n_l),
    "blend_c": _numbers(_blend_c),
    "mass_ratio": lambda name: agent(name).mass_ratio,
    "field_ratio": lambda name: 1.10 * agent(name).mass_ratio,
    "field_pounds": _field_pounds,
    "limit": lambda key: reference.value("limits", key),
    "lake_mg_l": lambda key: reference.value("lakes", key),
    "ion_conductivity": _ion_conductivity,
    "oxygen_ratio": lambda name: agent(name).oxygen_ratio,
    "lake_dgh": lambda name: (
        _middle(lake_target(name).hardness_mmol_l.low, lake_target(name).hardness_mmol_l.high) * dgh_per_mmol()
    ),
    "lake_dkh": lambda name: (
        _middle(lake_target(name).alkalinity_meq_l.low, lake_target(name).alkalinity_meq_l.high) * dgh_per_mmol() / 2
    ),
}

with (Path(__file__).with_name("published.csv")).open(encoding="utf-8", newline="") as lines:
    ROWS = list(csv.DictReader(lines))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['function']}({row['inputs']})")
def test_published_value(row: dict[str, str]) -> None:
    computed = FUNCTIONS[row["function"]](row["inputs"])
    where = f"{row['source']}, {row['where']}"
    assert computed == pytest.approx(float(row["expected"]), abs=float(row["tolerance"])), where


def test_every_row_has_its_source() -> None:
    assert all(row["source"] and row["where"] for row in ROWS)
