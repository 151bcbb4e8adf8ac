"""Households for the tests of the plan: the demo, the demo changed, and drawn ones."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import nullcontext
from typing import Any
from unittest.mock import patch

from conftest import DEMO
from hypothesis import strategies as st

from tapwright.chemistry.errors import NoAnswer
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.plan.figures.records import Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import Plan, plan
from tapwright.cli.files.household_file import load

HOUSE = load(DEMO)
NAMES = [tank.name for tank in HOUSE.tanks]


def changed(house: Household, **tables: dict[str, Any]) -> Household:
    """The household with some values of some tables replaced; 'tank' and 'neutraliser' mean the first."""
    update: dict[str, Any] = {}
    for table, values in tables.items():
        if table in ("tank", "neutraliser"):
            entries = getattr(house, f"{table}s")
            update[f"{table}s"] = [entries[0].model_copy(update=values), *entries[1:]]
        else:
            update[table] = getattr(house, table).model_copy(update=values)
    return house.model_copy(update=update)


@st.composite
def houses(draw: st.DrawFn) -> Household:
    """Households that differ in what decides the order and number of steps."""
    total = draw(st.sampled_from([0.0, 0.4, 1.9, 3.9]))
    cupboard = [entry for entry in HOUSE.salts if draw(st.booleans())]
    return changed(
        HOUSE.model_copy(update={"salts": cupboard}),
        neutraliser={
            "solution_g_l": draw(st.none() | st.floats(5, 300)),
            "stock_g": draw(st.none() | st.floats(1, 500)),
        },
        tap={
            "total_chlorine_mg_l": total,
            "free_chlorine_mg_l": draw(st.none() | st.just(total / 2)),
            "flow_l_min": draw(st.floats(3, 40)),
        },
        tote={"volume_l": draw(st.floats(40, 900)), "height_m": draw(st.none() | st.floats(0.3, 1.2))},
        hose={"bore_m": draw(st.floats(0.012, 0.04)), "drain_lift_m": draw(st.floats(-1, 1.5))},
        tank={
            "heater_height_m": draw(st.floats(0.05, 0.5)),
            "overflow_height_m": draw(st.floats(0.58, 0.8)),
            "nitrate_ceiling_mg_l": draw(st.floats(30, 80)),
        },
        hot_water={"temperature_c": draw(st.floats(45, 70)), "store_l": draw(st.floats(20, 400))},
    )


shares = st.none() | st.floats(0.05, 0.9)
jobs = st.builds(
    Jobs, st.booleans(), st.booleans(), st.none() | st.integers(0, 10), st.none() | st.integers(0, 10)
)  # fmt: skip


def planned(house: Household, share: float | None, jobs_: Jobs, *, ways_out: bool = False) -> Plan | None:
    """The plan of the first tank, or None where there is none to check; ways out of its stops, each a plan of its own, where
    somebody looks at them."""
    try:
        with nullcontext() if ways_out else patch("tapwright.chemistry.plan.planner.with_ways_out", _as_found):
            return plan(house, NAMES[0], share, jobs_)
    except NoAnswer:
        return None


def _as_found(findings: Sequence[Finding], *_: object) -> list[Finding]:
    return list(findings)


def codes(made: Plan) -> dict[str, str]:
    """Level of every finding by its code."""
    return {finding.code: finding.level for finding in made.findings}
