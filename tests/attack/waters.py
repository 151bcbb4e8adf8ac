"""Waters at random through the three questions of the equilibrium, a thousand at once."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import fields, replace
from pathlib import Path
from random import Random
from typing import Any

import numpy as np

from tapwright.chemistry import reference
from tapwright.chemistry.errors import OutOfRange
from tapwright.chemistry.water.composition import CONSERVED, Water
from tapwright.chemistry.water.constants import Array, constants
from tapwright.chemistry.water.equilibrium import at_air, at_carbon, at_ph, outdoor_air_ppm
from tapwright.chemistry.water.mixing import mix
from tapwright.chemistry.water.speciation import Given, speciate
from tapwright.chemistry.water.species import Totals

from . import Seen

sys.path.append(str(Path(__file__).parent.parent))  # beside which pytest finds it by itself
from reference_program import Waters, as_water, random_waters

BATCH = 1000
_SPECIES = reference.table("species")
_CHARGE = {key: int(row["charge"]) for key, row in _SPECIES.items()}
_MADE_OF = {
    key: {part: int(number) for part, number in (entry.split() for entry in row["made_of"].split(";"))}
    for key, row in _SPECIES.items()
}
_BALANCE = 1e-9  # of all ions
_SAME_PH = 4e-4  # twice what the ionic strength is met to
_CONTRACTION = 5e-3  # of what warm and cool water take up together


def _wide(random: np.random.Generator, waters: Waters) -> Waters:
    """The same waters, some of them stripped of an ion, strong, or at the ends of their temperatures."""
    count = waters.ca.size
    found = {field.name: getattr(waters, field.name) for field in fields(Waters)}
    for key in ("ca", "mg", "k", "so4", "no3", "nh4"):
        found[key] = found[key] * random.choice([0.0, 1.0, 1.0, 1.0, 3.0], count)
    found["alkalinity"] = found["alkalinity"] * random.choice([0.01, 1.0, 1.0, 2.0], count)
    found["temperature_c"] = random.choice([0.0, 40.0, 25.0, *random.uniform(0, 40, 9)], count)
    return Waters(**found)


def _totals(waters: Waters) -> Totals:
    ions = {
        key: getattr(waters, key) * 1e-3 for key in ("ca", "mg", "na", "k", "nh4", "cl", "no3", "so4", "alkalinity")
    }
    return Totals(**ions)


def _balances(waters: Waters, carbon: Array) -> Iterator[str]:
    """Every species counted again: each part, the alkalinity and the charge are what was asked for."""
    of, at = _totals(waters), constants(waters.temperature_c)
    highest = -np.log10(speciate(of, at, Given.CARBON, np.zeros_like(carbon)).h)
    questions = {
        Given.CARBON: carbon * 1e-3,
        Given.CO2: waters.co2_atm * at.co2_gas,
        Given.ACIDITY: 10 ** -np.minimum(waters.ph, highest - 0.002),
    }
    for question, value in questions.items():
        with np.errstate(all="ignore"):
            found = speciate(of, at, question, value)
        amounts: dict[str, Any] = {**found.molality, "cl": of.cl, "no3": of.no3}

        def held(part: str, amounts: dict[str, Any] = amounts) -> Any:
            return sum(_MADE_OF[key].get(part, 0) * amount for key, amount in amounts.items())

        ions = sum(abs(_CHARGE[key]) * amount for key, amount in amounts.items())
        parts = {"Ca": of.ca, "Mg": of.mg, "Na": of.na, "K": of.k, "NH4": of.nh4, "SO4": of.so4}
        off = {part: held(part) - amount for part, amount in parts.items()}
        off["alkalinity"] = 2 * held("CO3") - held("H") - of.alkalinity
        charge = sum(_CHARGE[key] * amount for key, amount in amounts.items())
        off["charge"] = charge - (
            2 * (of.ca + of.mg) + of.na + of.k + of.nh4 - of.cl - of.no3 - 2 * of.so4 - of.alkalinity
        )
        for name, error in off.items():
            if (worst := float(np.max(np.abs(error) / ions))) > _BALANCE or not np.all(np.isfinite(error)):
                yield f"{question.name}: {name} off by {worst:.1e} in row {int(np.argmax(np.abs(error) / ions))}"
        if not np.all(found.settled) or min(float(np.min(amount)) for amount in amounts.values()) < 0:
            yield f"{question.name}: {np.flatnonzero(~found.settled)[:3]} not settled, or less than nothing"


def _courses(water: Water, waters: Waters) -> Iterator[str]:
    """More CO2 in the air, or more carbon, and the pH falls; a pH asked for is the pH its carbon gives again."""
    times = waters.co2_atm / (outdoor_air_ppm() * 1e-6)
    rest, richer = at_air(water, times), at_air(water, times * 1.3)
    if not np.all(richer.ph < rest.ph):
        yield f"pH rises with CO2 in row {int(np.argmax(richer.ph - rest.ph))}"
    closed, fuller = at_carbon(water, rest.carbon_mmol_l), at_carbon(water, rest.carbon_mmol_l * 1.1 + 1e-3)
    if not np.all(fuller.ph < closed.ph):
        yield f"pH rises with carbon in row {int(np.argmax(fuller.ph - closed.ph))}"
    for name, again in (("carbon", closed), ("pH", at_ph(water, rest.ph))):
        if (worst := float(np.max(np.abs(again.ph - rest.ph)))) > _SAME_PH:
            yield f"by its {name} the pH is another, by {worst:.1e}"


def _mixture(water: Water, other: Water, share: Array) -> Iterator[str]:
    """What two waters hold together is what their mixture holds."""
    first, second = (replace(one, carbon_mmol_l=at_air(one).carbon_mmol_l) for one in (water, other))
    mixed, _ = mix([first, second], [share, 1 - share])
    for name in (*CONSERVED, "carbon_mmol_l"):
        wanted = share * getattr(first, name) + (1 - share) * getattr(second, name)
        if not np.allclose(getattr(mixed, name), wanted, rtol=_CONTRACTION, atol=1e-12):
            yield f"mixing loses {name}"
    least, most = (
        np.minimum(first.temperature_c, second.temperature_c),
        np.maximum(first.temperature_c, second.temperature_c),
    )
    if not np.all((mixed.temperature_c >= least - 1e-9) & (mixed.temperature_c <= most + 1e-9)):
        yield "a mixture is warmer or cooler than both its waters"


_BAD = (("temperature_c", 41.0), ("temperature_c", -1.0), ("calcium_mmol_l", -0.1), ("sodium_mmol_l", float("nan")),
        ("chloride_mmol_l", 1e9), ("nitrate_mg_l", float("inf")), ("alkalinity_meq_l", float("nan")))  # fmt: skip


def _refusals(random: np.random.Generator, water: Water) -> Iterator[str]:
    """One bad row among many is named, with words."""
    row = int(random.integers(BATCH))
    for name, bad in _BAD:
        column = np.array(getattr(water, name), dtype=float)
        column[row] = bad
        try:
            at_air(replace(water, **{name: column}))
        except OutOfRange as error:
            if not any(char.isdigit() for char in str(error)) or f"row {row}" not in str(error):
                yield f"{name} {bad} in row {row} is refused so: {error}"
        else:
            yield f"{name} {bad} in row {row} is answered"
    poor = np.array(water.alkalinity_meq_l)
    poor[row] = 1e-6
    try:
        at_ph(replace(water, alkalinity_meq_l=poor), np.where(np.arange(BATCH) == row, 10.5, 7.5))
    except OutOfRange as error:
        if "alkalinity" not in str(error):
            yield f"too little alkalinity is refused so: {error}"
    else:
        yield "pH 10.5 of water without alkalinity is answered"


def attack(key: str) -> Seen:
    """A thousand waters."""
    seed = Random(key).randrange(2**32)
    random = np.random.default_rng(seed)
    waters = _wide(random, random_waters(BATCH, seed))
    water, other = as_water(waters), as_water(random_waters(BATCH, seed + 1))
    wrong = [*_balances(waters, random.uniform(0, 15, BATCH)), *_courses(water, waters)]
    wrong += [*_mixture(water, other, random.uniform(0, 1, BATCH)), *_refusals(random, water)]
    return Seen(["a thousand waters"], wrong)


def shown(key: str) -> str:
    """The seed of a key's waters."""
    return f"random_waters({BATCH}, {Random(key).randrange(2**32)}), changed as tests/attack/waters.py does"
