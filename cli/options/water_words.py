"""Reads a water from words: 'tap' or 'tank:NAME' of a household file, 'deionised', or its readings one after another."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import nearest, quoted
from tapwright.cli.options import water_sources

if TYPE_CHECKING:
    from tapwright.chemistry.plan.household.household import Household
    from tapwright.cli.options.water_sources import Source

# What a water a recipe is made of may be.
FROM_EXAMPLE = "Write 'tap' with --file, 'deionised, temperature 25 degC', or 'hardness 3 dGH, alkalinity 2 dKH, ...'."
_READING = re.compile(r"([a-z]+)\s+(.+)$", re.IGNORECASE)


def water_in_words(text: str, where: str, household: Household | None, name: str, example: str) -> Source:
    """The water of a text; `name`: what to call it where it has no name, `example`: what to write instead."""
    if text.partition(":")[0].strip().lower() in ("tap", "tank", "refill"):
        if household is None:
            raise BadInput.of(
                where, f"{quoted(text)} stands in a household file, and none is given.", "Give --file as well."
            )
        return water_sources.of_household(household, text, where)
    # A comma within a number is not one between readings; the units say what is wrong with it.
    first, *others = (entry.strip() for entry in re.split(r",(?!\d)", text))
    if first.lower() == "deionised":
        return water_sources.deionised(_temperature_c(others, where, example))
    readings = _readings((first, *others), where, example)
    return water_sources.of_readings(readings, name, lambda key: f"{where}: {key}")


def _temperature_c(others: list[str], where: str, example: str) -> float:
    from tapwright.cli.reading import Reader

    readings = _readings(others, where, example)
    if set(readings) != {"temperature"}:
        raise BadInput.of(
            where, "deionised water wants a temperature and nothing else.", "Write ', temperature 20 degC'."
        )
    reader = Reader()
    temperature_c = reader.quantity(readings["temperature"], "water", where)
    reader.done()
    return temperature_c or 0.0


def _readings(entries: Sequence[str], where: str, example: str) -> dict[str, str]:
    """Every reading once."""
    readings: dict[str, str] = {}
    for entry in entries:
        key, text = _reading(entry, where, example)
        if key in readings:
            raise BadInput.of(where, f"{key} is given twice, {quoted(readings[key])} and {quoted(text)}.", "Keep one.")
        readings[key] = text
    return readings


def _reading(entry: str, where: str, example: str) -> tuple[str, str]:
    """'hardness 4 dGH' as key and quantity."""
    match = _READING.match(entry)
    key = match[1].lower() if match else entry
    known = [*water_sources.READINGS, "ph"]
    if not match or key not in known:
        near = nearest(key, [*known, "tap", "deionised"], n=2, cutoff=0.5) or ["hardness", "tap"]
        choices = " or ".join(near)
        raise BadInput.of(where, f"{quoted(entry)} is no reading and no water known here; {choices}?", example)
    return key, match[2]
