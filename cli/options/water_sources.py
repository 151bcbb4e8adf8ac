"""Finds the water a command asks for: read from options, named in a household file, a lake, or deionised."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import quoted
from tapwright.cli.reading import Reader

if TYPE_CHECKING:
    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.plan.household.household import Household
    from tapwright.chemistry.water.composition import Water

# Key of a reading, its name in chemistry.allowed, and the field of chemistry.water.reconstruction.Readings it fills.
READINGS: Mapping[str, tuple[str, str]] = {
    "temperature": ("water", "temperature_c"),
    "hardness": ("hardness", "hardness_mmol_l"),
    "alkalinity": ("alkalinity", "alkalinity_meq_l"),
    "conductivity": ("conductivity", "conductivity_us_cm"),
    **{ion: ("ion", f"{ion}_mg_l") for ion in ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate")},
    "nitrate": ("nitrate", "nitrate_mg_l"),
    "ammonia": ("ammonia", "ammonia_mg_n_l"),
}


@dataclass(frozen=True)
class Source:
    """A water, what to call it, and what was assumed and found on the way.

    made_of: for a water that was computed, the share and the tests of what it was made of.  stands: in a stocked tank.
    chlorine_known: whether its chlorine was tested, or cannot be.
    """

    name: str
    water: Water
    assumptions: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    made_of: tuple[tuple[float, Water], ...] = ()
    stands: bool = False
    chlorine_known: bool = True

    def tested(self) -> tuple[tuple[float, Water], ...]:
        """The waters whose pH was read, with their share in this one."""
        return self.made_of or (((1.0, self.water),) if self.water.ph is not None else ())

    def ph_spread(self) -> float | None:
        """Give or take of a pH that was computed; None for one that was read, or where it cannot be told."""
        from tapwright.chemistry.water.spread import closed_ph_spread

        known = self.water.ph is None and self.water.carbon_mmol_l is not None
        return closed_ph_spread(self.water, self.made_of) if known and self.made_of else None


def of_readings(texts: Mapping[str, str | None], name: str, option: Callable[[str], str]) -> Source:
    """A water from readings as written; `option` turns a key into what the reader of an error wrote it as."""
    from tapwright.chemistry.water.reconstruction import Readings, described

    reader = Reader()
    given = {
        field: reader.quantity(texts.get(key), quantity, option(key)) for key, (quantity, field) in READINGS.items()
    }  # fmt: skip
    ph = reader.number(texts.get("ph"), "ph", option("ph"))
    temperature_c = given.pop("temperature_c")
    if texts.get("temperature") is None:
        reader.refuse(option("temperature"), "not given; pH depends on it.", 'Write for example "25 degC".')
    reader.done()
    try:
        found = described(Readings(temperature_c or 0.0, ph=ph, **given), name)
    except BadInput as error:
        raise _with_options(error, name, option) from None
    return Source(name, found.water, found.assumptions, found.findings, chlorine_known=False)


def _with_options(error: BadInput, name: str, option: Callable[[str], str]) -> BadInput:
    """The same refusal, its places named as they were written and its examples too."""
    faults = []
    for fault in error.faults:
        key = fault.where.removeprefix(f"{name}.")
        hint = fault.hint.replace(f'{key} = "', f'{option(key)} "') if key in READINGS else fault.hint
        faults.append(replace(fault, where=option(key), hint=hint))
    return type(error)(faults)


def of_lake(name: str, temperature: str | None, option: str) -> Source:
    """A lake's published analysis, at the temperature written."""
    from tapwright.chemistry.water.target import lake_water

    reader = Reader()
    temperature_c = reader.quantity(temperature, "water", "--temperature")
    if temperature is None:
        reader.refuse("--temperature", "not given; the analysis of a lake holds none.", 'Write for example "26 degC".')
    reader.done()
    try:
        found = lake_water(name, temperature_c or 0.0, option)
    except BadInput as error:
        raise BadInput(
            replace(fault, hint=fault.hint.replace(", or bands of your own", "")) for fault in error.faults
        ) from None
    return Source(name.strip().lower(), found.water, found.assumptions, found.findings)


def household_of(file: Path | None) -> Household | None:
    """The household of a file; None where none is given."""
    from tapwright.cli.files.household_file import load

    return None if file is None else load(file)


def of_household(household: Household, which: str, option: str) -> Source:
    """A water of a household: tap, tank:NAME, or refill:NAME as the plan for that tank makes it."""
    from tapwright.chemistry.plan.planner import plan, tank_named
    from tapwright.chemistry.water.reconstruction import described

    kind, _, name = which.partition(":")
    kind, name = kind.strip().lower(), name.strip().strip("'\"")
    if kind == "tap" and not name:
        chloramine = household.tap.chlorine().combined_mg_l() > 0
        found = described(household.tap.readings(), "tap", chloramine=chloramine)
        return Source("tap", found.water, found.assumptions, found.findings)
    if kind == "tank" and name:
        tank = tank_named(household, name, option)
        found = described(tank.readings.readings(), tank.name, tank.target().usual_calcium_to_magnesium)
        return Source(f"tank '{tank.name}'", found.water, found.assumptions, found.findings, stands=True)
    if kind == "refill" and name:
        made = plan(household, tank_named(household, name, option).name)
        tap = made.figures.waters.tap
        made_of = ((1.0, tap),) if tap.ph is not None else ()
        stops = tuple(finding for finding in made.findings if finding.level == "stop")
        return Source(f"refill for '{name}'", made.figures.waters.refill, made.of_the_waters, stops, made_of)
    known = [tank.name for tank in household.tanks]
    raise BadInput.of(
        option,
        f"{quoted(which)} is read; tap, tank:NAME or refill:NAME is wanted.",
        f'Write tap, "tank:{known[0]}" or "refill:{known[0]}".',
    )


def deionised(temperature_c: float) -> Source:
    """Water without ions, at rest with outdoor air."""
    from tapwright.chemistry.water.equilibrium import deionised_water

    note = "deionised: holds no ions, and as much CO2 as outdoor air gives it."
    return Source("deionised water", deionised_water(temperature_c), (note,))


def times_air(text: str | None, household: Household | None) -> float | None:
    """CO2 of the room's air as a multiple of outdoor air: from ppm as written, else the household's; None for neither."""
    from tapwright.chemistry.allowed import read_within
    from tapwright.chemistry.water.equilibrium import times_outdoor

    if text is None:
        room_ppm = household.room_co2_ppm if household else None
        return None if room_ppm is None else times_outdoor(room_ppm)
    return times_outdoor(read_within(text, "air", "--air"))
