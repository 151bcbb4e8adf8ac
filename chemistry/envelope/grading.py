"""From a figure and its limits to a finding: a caution beyond the first limit, a stop beyond the second."""

from __future__ import annotations

import math

from tapwright.chemistry import reference
from tapwright.chemistry.findings import Finding, Level


def beyond(
    code: str, value: float, text: str, *, caution: str = "", stop: str = "", least: bool = False
) -> list[Finding]:
    """The finding for a value, by rows of tables/limits.csv; none where it keeps both limits.

    caution, stop: keys of the rows; either may be empty.  least: the limits are lower ends. A value that is no number keeps
    no limit.
    """
    grades: tuple[tuple[Level, str], ...] = (("stop", stop), ("caution", caution))
    for level, key in grades:
        if not key:
            continue
        row = reference.table("limits")[key]
        limit = float(row["value"])
        if math.isnan(value) or (value < limit if least else value > limit):
            return [Finding(level, code, text, float(value), limit, row["unit"], reference.cited(row))]
    return []


def limit(key: str) -> float:
    """The figure of one row of tables/limits.csv."""
    return reference.value("limits", key)
