"""Findings: what a keeper must know about an answer beside the answer itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from tapwright.chemistry import reference

Level = Literal["stop", "caution", "note"]
LEVELS: tuple[Level, ...] = ("stop", "caution", "note")


@dataclass(frozen=True)
class WayOut:
    """What may be asked instead, so that a finding goes away.

    text: for a person.  set: for machines: `change_share` (0 to 1), or keys of the household file, dotted, lists from 0, with
    what to write there.
    """

    text: str
    set: Mapping[str, float | str | Mapping[str, str]]


@dataclass(frozen=True)
class Finding:
    """One remark on an answer.

    level: `stop` (do not begin), `caution` (can hurt), `note` (good to know).
    code: stable name for machines.  text: for a person.
    value, limit, unit: the figure and the limit it was held against, where there is one.
    source: where the limit comes from.
    ways_out: each of which alone was tried and makes a stop go away.
    """

    level: Level
    code: str
    text: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    source: str = ""
    ways_out: tuple[WayOut, ...] = ()


def caution_notes(*keys: str) -> list[Finding]:
    """The usual cautions of these keys of tables/cautions.csv, as notes."""
    rows = [(key, reference.table("cautions")[key]) for key in keys]
    return [Finding("note", key, row["text"], source=reference.cited(row)) for key, row in rows]


def by_gravity(findings: list[Finding]) -> tuple[Finding, ...]:
    """The findings, gravest first, otherwise in the order they came."""
    return tuple(sorted(findings, key=lambda finding: LEVELS.index(finding.level)))
