"""Reads bands, salts and measures from the options of a recipe, and puts them together with those of a household file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import quoted
from tapwright.cli.reading import Reader

if TYPE_CHECKING:
    from tapwright.chemistry.dosing.recipe.cupboard import Deionised, Stocked
    from tapwright.chemistry.plan.household.household import Household, Tank
    from tapwright.chemistry.water.target import Band, Target

# What a band may be of: its field in chemistry.water.target.Target, and its kind of unit; a bare number has none.
BANDS: Mapping[str, tuple[str, str]] = {
    "hardness": ("hardness_mmol_l", "hardness"),
    "alkalinity": ("alkalinity_meq_l", "alkalinity"),
    "calcium to magnesium": ("calcium_to_magnesium", ""),
    **{ion: (f"{ion}_mmol_l", "ion") for ion in ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate")},
    "conductivity": ("conductivity_us_cm", "conductivity"),
    "ph aerated": ("ph_aerated", ""),
    "ph at once": ("ph_at_once", ""),
}
_BARE = {"calcium to magnesium": "ratio", "ph aerated": "band ph", "ph at once": "band ph"}
_ENDS = re.compile(r"(?:up to\s+(?P<most>.+)|at least\s+(?P<least>.+)|(?P<low>.+?)\s+to\s+(?P<high>.+))$")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)$")
_BAND_EXAMPLE = "Write 'hardness 8 to 12 dGH', 'sodium up to 60 mg/L' or 'ph aerated 8.2 to 8.8'."
_SALT_EXAMPLE = "Write 'sodium bicarbonate', or 'sodium bicarbonate, purity 99%, stock 2 kg, price 4.5'."


@dataclass(frozen=True)
class Measures:
    """The options about salts and measures, as written."""

    salts: Sequence[str]
    deionised: str | None
    deionised_price: str | None
    step: str | None
    spoon: str | None


@dataclass(frozen=True)
class Shelf:
    """What the recipe may take: salts, deionised water, the scale's step (0: any amount), and notes on them."""

    salts: tuple[Stocked, ...]
    deionised: Deionised | None
    step_g: float
    notes: tuple[str, ...]
    spoon: str | None = None


def volume_of(text: str, reader: Reader) -> float:
    """A volume of water [L] that a tank or its refill may have; not to be used before the reader is done."""
    return reader.needed(text, "volume", "--volume")


def tank_of(name: str | None, household: Household | None) -> Tank | None:
    """The tank of that name in the household file; None where none is named."""
    from tapwright.chemistry.plan.planner import tank_named

    if name is None:
        return None
    if household is None:
        raise BadInput.of("--tank", "stands in a household file, and none is given.", "Give --file as well.")
    return tank_named(household, name)


def target_of(
    lake: str | None, every_ion: bool, tank: Tank | None, bands: Sequence[str], reader: Reader, option: str = "--band"
) -> Target | None:
    """The bands of a lake or of a tank, with those of `--band` in place of its own or on top; None: refused already."""
    from tapwright.chemistry.water.target import ANY, Target, lake_target

    base: Target | None
    if lake is not None and tank is not None:
        reader.refuse("--target, --tank", "both name a target.", "Give one of them; add --band for what is to differ.")
        return None
    if lake is not None:
        base = reader.tried(lambda: lake_target(lake, "--target", every_ion=every_ion))
    else:
        base = tank.target() if tank else Target("own bands", ANY, ANY, source="own bands")
    own: dict[str, Any] = {}
    for number, text in enumerate(bands, start=1):
        found = reader.tried(partial(_band, text, f"{option} {number}"))
        if found is None:
            continue
        if found[0] in own:
            reader.refuse(f"{option} {number}", f"{quoted(text)} names a band that is given already.", "Keep one.")
        own[found[0]] = found[1]
    if base is None:
        return None
    made = replace(base, **own)
    if not bands and not [*made.bands()]:
        reader.refuse("--target", "no target is given.", "Write --target malawi, --tank NAME with --file, or a --band.")
    return made


def _band(text: str, where: str) -> tuple[str, Band]:
    """'hardness 8 to 12 dGH' as the field of a target and its band."""
    from tapwright.chemistry.water.target import Band

    folded = " ".join(text.split())
    name = next((name for name in sorted(BANDS, key=len, reverse=True) if folded.lower().startswith(f"{name} ")), None)
    if name is None:
        known = ", ".join(BANDS)
        raise BadInput.of(where, f"{quoted(text)} names no quantity that may have a band; {known} may.", _BAND_EXAMPLE)
    match = _ENDS.match(folded[len(name) :].strip())
    if not match:
        raise BadInput.of(where, f"{quoted(text)} is read; a lowest and a highest are wanted.", _BAND_EXAMPLE)
    low_text, high_text = match["low"] or match["least"], match["high"] or match["most"]
    if match["low"] and _NUMBER.match(low_text) and name not in _BARE:  # '8 to 12 dGH': the unit is said once
        low_text = f"{low_text} {_unit(high_text)}"
    low = -float("inf") if low_text is None else _end(name, low_text, where)
    high = float("inf") if high_text is None else _end(name, high_text, where)
    if low > high:
        raise BadInput.of(where, f"{quoted(text)}: the lowest is above the highest.", "Write the lower figure first.")
    return BANDS[name][0], Band(low if low > 0 else 0.0, high)


def _unit(text: str) -> str:
    from tapwright.chemistry.units import unit_of

    return unit_of(text)


def _end(name: str, text: str, where: str) -> float:
    """One end of a band in the canonical unit of its field."""
    from tapwright.chemistry.allowed import read_within
    from tapwright.chemistry.substances import molar_mass
    from tapwright.chemistry.water.composition import ION_SYMBOLS

    if name in _BARE:
        reader = Reader()
        value = reader.number(text, _BARE[name], where)
        reader.done()
        return value or 0.0
    value = read_within(text, BANDS[name][1], where)
    return value / molar_mass(ION_SYMBOLS[name]) if name in ION_SYMBOLS else value


def shelf_of(measures: Measures, household: Household | None, reader: Reader) -> Shelf:
    """The cupboard of the options, else of the household; not to be used before the reader is done."""
    cupboard = _cupboard(measures.salts, household, reader)
    cupboard, step_g, notes = _measured(measures, cupboard, household, reader)
    pure = [item.salt.name for item in cupboard if item.purity == 1]
    if pure:
        notes.append(f"Purity not given, or 100 %: {', '.join(pure)}.")
    return Shelf(tuple(cupboard), _offered(measures, reader), step_g, tuple(notes), measures.spoon)


def _cupboard(salts: Sequence[str], household: Household | None, reader: Reader) -> list[Stocked]:
    found = [reader.tried(partial(_salt, text, f"--salt {number}")) for number, text in enumerate(salts, start=1)]
    cupboard = [item for item in found if item is not None]
    if not salts and household is not None:
        cupboard = [entry.stocked() for entry in household.salts]
    names = [item.salt.name for item in cupboard]
    if twice := next((name for name in names if names.count(name) > 1), None):
        reader.refuse("--salt", f"{quoted(twice)} stands twice.", "Keep one.")
    if not salts and not cupboard:
        reader.refuse("--salt", "the cupboard is empty.", _SALT_EXAMPLE)
    return cupboard


def _measured(
    measures: Measures, cupboard: list[Stocked], household: Household | None, reader: Reader
) -> tuple[list[Stocked], float, list[str]]:
    """The cupboard by the measure it is taken in, the scale's step [g], 0 for any amount, and notes on it."""
    if measures.spoon is not None and measures.step is not None:
        reader.refuse("--step, --spoon", "both say how amounts are measured.", "Give one of them.")
    if measures.spoon is not None:
        spooned = [pair for item in cupboard if (pair := reader.tried(partial(_spooned, item, measures.spoon)))]
        return [item for item, _ in spooned], 1.0, [note for _, note in spooned]
    if measures.step is not None:
        return cupboard, reader.needed(measures.step, "step", "--step"), []
    if household is not None:
        return cupboard, household.scale.resolution_g, []
    return cupboard, 0.0, ["No scale given: amounts are exact. With --step or --spoon they are whole steps of it."]


def _offered(measures: Measures, reader: Reader) -> Deionised | None:
    """Deionised water at hand."""
    from tapwright.chemistry.dosing.recipe.cupboard import Deionised

    price = reader.number(measures.deionised_price, "price of a litre", "--deionised-price")
    if measures.deionised is None:
        if measures.deionised_price is not None:
            reader.refuse("--deionised-price", "given without --deionised.", 'Write --deionised "100 L" as well.')
        return None
    return reader.made(Deionised, reader.needed(measures.deionised, "volume", "--deionised"), price)


def _spooned(item: Stocked, spoon: str) -> tuple[Stocked, str]:
    """The salt measured in level spoons, and what that is taken to hold."""
    from tapwright.chemistry.dosing.spoons import level_spoon_g
    from tapwright.chemistry.units import figure

    low_g, middle_g, high_g = level_spoon_g(spoon, item.salt.name, "--spoon")
    note = (
        f"A level {spoon} of {item.salt.name} is taken as {figure(middle_g)} g, {figure(low_g)} to {figure(high_g)} (common "
        "practice, no source): weigh it where you can."
    )
    return replace(item, step_g=middle_g), note


def _salt(text: str, where: str) -> Stocked:
    """'sodium bicarbonate, purity 99%, stock 2 kg, price 4.5' as a salt in the cupboard."""
    from tapwright.chemistry.dosing.recipe.cupboard import Stocked
    from tapwright.chemistry.substances import salt

    name, *facts = (entry.strip() for entry in re.split(r",(?!\d)", text))
    reader = Reader()
    found = reader.tried(lambda: salt(name, where))
    given: dict[str, float] = {}
    for fact in facts:
        key, _, value = fact.partition(" ")
        if key in given:
            reader.refuse(where, f"{key} is given twice.", "Keep one.")
        given[key] = _fact(key, value, where, reader)
    reader.done()
    if found is None:  # refused above
        raise AssertionError(where)
    return Stocked(found, given.get("purity", 1.0), given.get("stock"), given.get("price"))


def _fact(key: str, value: str, where: str, reader: Reader) -> float:
    """What follows the name of a salt."""
    if key == "price":
        return reader.number(value, "price", f"{where}: price") or 0.0
    if key not in ("purity", "stock"):
        reader.refuse(where, f"{quoted(key)} is read; purity, stock and price may follow the name.", _SALT_EXAMPLE)
        return 0.0
    return reader.needed(value, "purity" if key == "purity" else "mass", f"{where}: {key}")
