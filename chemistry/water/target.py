"""What the refill should be: bands, by a lake's name from its published analysis or as the keeper sets them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from functools import cache

from tapwright.chemistry import reference
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.substances import molar_mass
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.composition import ION_SYMBOLS, dgh_per_mmol
from tapwright.chemistry.water.reconstruction import Description, Readings, described
from tapwright.chemistry.words import nearest, quoted


@dataclass(frozen=True)
class Band:
    """Lowest and highest that is right."""

    low: float
    high: float

    def holds(self, value: float, slack: float = 1e-9) -> bool:
        """Whether the value lies inside, but for rounding."""
        return self.low - slack <= value <= self.high + slack


ANY = Band(0.0, math.inf)


@dataclass(frozen=True)
class Target:
    """Bands of a refill; None where a quantity does not matter.

    calcium_to_magnesium: a ratio of amounts.  conductivity_us_cm: at 25 degC.  ph_aerated: at rest with the room's air;
    ph_at_once: as the refill is made.
    """

    name: str
    hardness_mmol_l: Band
    alkalinity_meq_l: Band
    calcium_to_magnesium: Band | None = None
    source: str = ""
    calcium_mmol_l: Band | None = None
    magnesium_mmol_l: Band | None = None
    sodium_mmol_l: Band | None = None
    potassium_mmol_l: Band | None = None
    chloride_mmol_l: Band | None = None
    sulfate_mmol_l: Band | None = None
    conductivity_us_cm: Band | None = None
    ph_aerated: Band | None = None
    ph_at_once: Band | None = None

    @property
    def usual_calcium_to_magnesium(self) -> float | None:
        """Middle of the ratio band, geometrically; None where there is none."""
        band = self.calcium_to_magnesium
        return None if band is None else (band.low * band.high) ** 0.5

    def bands(self) -> Iterator[tuple[str, Band]]:
        """Every band that is set, by the field it stands in."""
        for field in fields(self):
            if isinstance(band := getattr(self, field.name), Band) and band != ANY:
                yield field.name, band


@dataclass(frozen=True)
class Measure:
    """How people say a quantity that has a band: its name, its unit, and how many of that make one of ours."""

    words: str
    unit: str
    scale: float = 1.0

    def said(self, value: float) -> str:
        """The value, in its own canonical unit, as people write it."""
        if not math.isfinite(value):
            return "without end"
        return f"{figure(value * self.scale, 4)} {self.unit}".rstrip()


@cache
def measures() -> Mapping[str, Measure]:
    """Every field of `Target` that holds a band, in the order it is told."""
    ions = {f"{ion}_mmol_l": Measure(ion, "mg/L", molar_mass(symbol)) for ion, symbol in ION_SYMBOLS.items()}
    return {
        "hardness_mmol_l": Measure("hardness", "dGH", dgh_per_mmol()),
        "alkalinity_meq_l": Measure("alkalinity", "dKH", dgh_per_mmol() / 2),
        "calcium_to_magnesium": Measure("calcium to magnesium", ""),
        **ions,
        "conductivity_us_cm": Measure("conductivity", "µS/cm"),
        "ph_aerated": Measure("pH in air", ""),
        "ph_at_once": Measure("pH at once", ""),
    }


def lake_names() -> tuple[str, ...]:
    """Lakes with a published analysis, in the order of tables/lakes.csv."""
    return tuple(dict.fromkeys(key.partition(".")[0] for key in reference.table("lakes")))


@cache
def lake_target(name: str, where: str = "target", *, every_ion: bool = False) -> Target:
    """Bands around the published analysis of a lake; their widths are common practice (tables/practice.csv).

    every_ion: bands around each large ion of the analysis as well.  Raises BadInput for a lake that is not known.
    """
    lake = name.strip().lower()
    if lake not in lake_names():
        near = nearest(lake, lake_names(), n=1, cutoff=0.3) or lake_names()
        choices = " or ".join(f"'{known}'" for known in near)
        raise BadInput.of(where, f"{quoted(name)} is not a lake known here.", f"Write {choices}, or bands of your own.")
    calcium = reference.value("lakes", f"{lake}.calcium") / molar_mass("Ca")
    magnesium = reference.value("lakes", f"{lake}.magnesium") / molar_mass("Mg")
    alkalinity = reference.value("lakes", f"{lake}.alkalinity")
    width = reference.value("practice", "target_share") / 100
    factor = reference.value("practice", "target_ratio_factor")
    ions = {}
    if every_ion:
        amounts = {ion: reference.value("lakes", f"{lake}.{ion}") / molar_mass(ION_SYMBOLS[ion]) for ion in ION_SYMBOLS}
        ions = {f"{ion}_mmol_l": _around(amount_mmol_l, width) for ion, amount_mmol_l in amounts.items()}
    return Target(
        name=lake,
        hardness_mmol_l=_around(calcium + magnesium, width),
        alkalinity_meq_l=_around(alkalinity, width),
        calcium_to_magnesium=Band(calcium / magnesium / factor, calcium / magnesium * factor),
        source=reference.citation("lakes", f"{lake}.calcium"),
        **ions,
    )


def lake_water(name: str, temperature_c: float, where: str = "target") -> Description:
    """The published analysis of a lake as a whole water at `temperature_c`; its pH is left open."""
    target = lake_target(name, where)
    given = {f"{ion}_mg_l": reference.value("lakes", f"{target.name}.{ion}") for ion in ION_SYMBOLS}
    alkalinity = reference.value("lakes", f"{target.name}.alkalinity")
    readings = Readings(temperature_c, alkalinity_meq_l=alkalinity, nitrate_mg_l=0.0, ammonia_mg_n_l=0.0, **given)
    found = described(readings, target.name)
    return replace(found, assumptions=(*found.assumptions, f"{target.name}: {target.source}."))


def _around(value: float, width: float) -> Band:
    return Band(value * (1 - width), value * (1 + width))
