"""Figures that no water can have, refused with the rows they stand in, what was read and what is allowed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from tapwright.chemistry.errors import OutOfRange
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.constants import Amount

_MOST_NAMED = 5


class Column(NamedTuple):
    """What one figure of many waters is: its name in a record, what a person calls it, its unit and its limits."""

    name: str
    label: str
    unit: str
    low: float
    high: float


def refuse_outside(columns: Sequence[Column], values: Sequence[Amount]) -> None:
    """Raise OutOfRange for the first column with a value outside its limits, or that is not a number."""
    for column, numbers in zip(columns, values, strict=True):
        if np.size(numbers) == 0:
            continue
        lowest, highest = (numbers, numbers) if isinstance(numbers, float) else (np.min(numbers), np.max(numbers))
        # Written so that what is not a number fails too.
        if column.low <= lowest and highest <= column.high and math.isfinite(lowest) and math.isfinite(highest):
            continue
        outside = ~((numbers >= column.low) & (numbers <= column.high) & np.isfinite(numbers))
        first = float(np.atleast_1d(numbers)[np.atleast_1d(outside)][0])
        said = f"{column.label}{in_rows(outside)} is {first:g}{column.unit and f' {column.unit}'}"
        raise OutOfRange.of(column.name, f"{said}; {_allowed(column)} is allowed.")


def in_rows(where: Amount) -> str:
    """' in rows 3, 8 and 12 more' for an array of yes and no (counted from 0); nothing for a single water."""
    if np.ndim(where) == 0:
        return ""
    rows = np.flatnonzero(where)
    named = ", ".join(map(str, rows[:_MOST_NAMED]))
    more = f" and {rows.size - _MOST_NAMED} more" if rows.size > _MOST_NAMED else ""
    return f" in row{'s' if rows.size > 1 else ''} {named}{more}"


def _allowed(column: Column) -> str:
    unit = column.unit and f" {column.unit}"
    return f"{figure(column.low)} to {figure(column.high)}{unit}"
