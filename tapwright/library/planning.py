"""A household and the plan of one change from Python."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.plan.figures.services import jobs_on
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import Plan, tank_named
from tapwright.chemistry.plan.planner import plan as planned
from tapwright.chemistry.programmes.budget import PATIENCE_S, question
from tapwright.cli.files.household_file import load
from tapwright.library.inputs import amount


def household(source: Any = None, **tables: Any) -> Household:
    """A household from a file's path, a mapping as such a file holds it, JSON text of `to_json`, or its tables by name.

    In a mapping a quantity is text with its unit (`"volume": "220 L"`), a pint quantity, or a number under the name of
    its field, which ends in the unit (`"volume_l": 220.0`).  Raises BadInput with every fault, each at its place.
    """
    if (source is None) == (not tables):
        raise BadInput.of("household", "give a file, a mapping, or tables by name: one of them.")
    if isinstance(source, Household):
        return source.checked()
    if isinstance(source, Path) or (isinstance(source, str) and not source.lstrip().startswith("{")):
        return load(Path(source))
    if isinstance(source, str):
        return Household.from_json(source)
    if source is not None and not isinstance(source, Mapping):
        raise BadInput.of("household", f"{type(source).__name__} is read; a path or a mapping is wanted.")
    return Household.in_python(source if source is not None else tables)


def plan(
    house: Any,
    tank: str | None = None,
    change: Any = None,
    *,
    clean_substrate: bool = False,
    service_filter: bool = False,
    day: date | None = None,
    patience_s: float = PATIENCE_S,
) -> Plan:
    """The plan of one change: figures, steps, findings, assumptions; the same as `tapwright plan` gives.

    house: as for `household`.  tank: by name; a household with one tank needs none.  change: share of the live water
    (`"45%"` or 0.45); None: the smallest that keeps nitrate under its ceiling.  day: of the change, for the days since
    filter and substrate were seen to; None: today.  patience_s: work that recipes may take.
    Raises BadInput, NoAnswer where there is no change, blend or pump that does what is asked.
    """
    whole = household(house)
    which = tank_named(whole, tank)
    jobs = jobs_on(day or date.today(), which, clean_substrate=clean_substrate, service_filter=service_filter)
    with question(patience_s):
        return planned(whole, which.name, None if change is None else amount(change, "change", "change"), jobs)
