"""The demo's household as data, changed as a keeper would change the file, and planned."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from conftest import DEMO

from tapwright.chemistry.findings import Finding
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import Plan, plan

_DEMO = tomllib.loads(DEMO.read_text(encoding="utf-8"))
GONE = object()


def changed(changes: Mapping[str, Any]) -> dict[str, Any]:
    """The demo with these dotted keys set, lists from 0; GONE takes a key out."""
    return edited(_DEMO, changes)


def edited(data: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """Any household's data, likewise."""
    copy = deepcopy(dict(data))
    for dotted, value in changes.items():
        holder: Any = copy
        *path, last = (int(part) if part.isdigit() else part for part in dotted.split("."))
        for part in path:
            holder = holder[part]
        if value is GONE:
            holder.pop(last, None)
        elif isinstance(last, int) and last == len(holder):
            holder.append(value)
        else:
            holder[last] = value
    return copy


def planned(data: Mapping[str, Any], share: float | None = None) -> Plan:
    """The plan of its first tank."""
    household = Household.model_validate(data)
    return plan(household, household.tanks[0].name, share)


def found(made: Plan, code: str) -> Finding:
    """The one finding of that code."""
    (finding,) = [finding for finding in made.findings if finding.code == code]
    return finding


def after_way_out(data: Mapping[str, Any], share: float | None, ways: Mapping[str, Any]) -> Plan:
    """The plan once a way out was taken: its keys written into the file, its share asked for."""
    keys = {key: value for key, value in ways.items() if key != "change_share"}
    return planned(edited(data, keys), ways.get("change_share", share))
