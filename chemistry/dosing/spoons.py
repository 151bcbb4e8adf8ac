"""Spoons: a volume whose grams depend on how a powder lies in it."""

from __future__ import annotations

import re

from tapwright.chemistry import reference
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import quoted

_SHORT = {"tsp": "teaspoon", "tbsp": "tablespoon"}
_MOST_SPOONS = 1000
_SPOONS = re.compile(r"\s*(\d+\.?\d*|\.\d+)\s*([a-z]*spoon)s?\s*$")


def spoons_of(text: str, where: str = "") -> tuple[float, str] | None:
    """'2 teaspoons' -> (2.0, 'teaspoon'); None where the text names no spoon.

    Raises BadInput for a spoon that is not in tables/spoons.csv, and for none of it.
    """
    words = text.lower()
    for short, spoon in _SHORT.items():
        words = re.sub(rf"\b{short}s?\b", spoon, words)
    if not (match := _SPOONS.match(words)):
        return None
    number, spoon = float(match[1]), match[2]
    spoon_ml(spoon, where)
    if not 0.01 <= number <= _MOST_SPOONS:
        said = f"{quoted(text)} is read; a hundredth of a spoon to {_MOST_SPOONS} is allowed."
        raise BadInput.of(where, said, 'Write "1 teaspoon".')
    return number, spoon


def spoon_ml(spoon: str, where: str = "") -> float:
    """Millilitres of a level spoon; BadInput for one that is not in tables/spoons.csv."""
    if spoon not in reference.table("spoons"):
        known = " or ".join(f"{key} ({row['value']} mL)" for key, row in reference.table("spoons").items())
        raise BadInput.of(
            where, f"{quoted(spoon)} is not a spoon known here.", f"Write {known}, or weigh it and write grams."
        )
    return reference.value("spoons", spoon)


def bulk_density_kg_l(substance: str, where: str = "") -> tuple[float, float]:
    """Lowest and highest bulk density [kg/L] of a powder, by its name in the tables; BadInput where it is not known."""
    row = reference.table("bulk_densities").get(substance)
    if row is None:
        said = f"a spoon of {substance} has no known grams: its bulk density is not in tables/bulk_densities.csv."
        raise BadInput.of(where, said, "Weigh a level spoon and write grams, or give its bulk density in kg/L.")
    return float(row["low"]), float(row["high"])


def level_spoon_g(spoon: str, substance: str, where: str = "") -> tuple[float, float, float]:
    """Grams in one level spoon of a substance: least, middle and most.

    Raises BadInput for an unknown spoon and for a substance without a bulk density.
    """
    volume_ml = spoon_ml(spoon, where)
    low, high = bulk_density_kg_l(substance, where)
    return volume_ml * low, volume_ml * (low + high) / 2, volume_ml * high
