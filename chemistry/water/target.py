"""What the refill should be: bands, by a lake's name from its published analysis or as the keeper sets them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cache

from chemistry import reference
from chemistry.errors import BadInput
from chemistry.substances import molar_mass
from chemistry.water.composition import ION_SYMBOLS
from chemistry.water.reconstruction import Description, Readings, described


@dataclass(frozen=True)
class Band:
    """Lowest and highest that is right."""

    low: float
    high: float

    def holds(self, value: float, slack: float = 1e-9) -> bool:
        """Whether the value lies inside, but for rounding."""
        return self.low - slack <= value <= self.high + slack


@dataclass(frozen=True)
class Target:
    """Bands of a refill; calcium_to_magnesium is a ratio of amounts, None where it does not matter."""

    name: str
    hardness_mmol_l: Band
    alkalinity_meq_l: Band
    calcium_to_magnesium: Band | None = None
    source: str = ""

    @property
    def usual_calcium_to_magnesium(self) -> float | None:
        """Middle of the ratio band, geometrically; None where there is none."""
        band = self.calcium_to_magnesium
        return None if band is None else (band.low * band.high) ** 0.5


def lake_names() -> tuple[str, ...]:
    """Lakes with a published analysis, in the order of tables/lakes.csv."""
    return tuple(dict.fromkeys(key.partition(".")[0] for key in reference.table("lakes")))


@cache
def lake_target(name: str, where: str = "target") -> Target:
    """Bands around the published analysis of a lake; their widths are common practice (tables/practice.csv)."""
    lake = name.strip().lower()
    if lake not in lake_names():
        near = get_close_matches(lake, lake_names(), n=1, cutoff=0.3) or lake_names()
        choices = " or ".join(f"'{known}'" for known in near)
        raise BadInput.of(where, f"'{name}' is not a lake known here.", f"Write {choices}, or bands of your own.")
    calcium = reference.value("lakes", f"{lake}.calcium") / molar_mass("Ca")
    magnesium = reference.value("lakes", f"{lake}.magnesium") / molar_mass("Mg")
    alkalinity = reference.value("lakes", f"{lake}.alkalinity")
    width = reference.value("practice", "target_share") / 100
    factor = reference.value("practice", "target_ratio_factor")
    return Target(
        name=lake,
        hardness_mmol_l=_around(calcium + magnesium, width),
        alkalinity_meq_l=_around(alkalinity, width),
        calcium_to_magnesium=Band(calcium / magnesium / factor, calcium / magnesium * factor),
        source=reference.citation("lakes", f"{lake}.calcium"),
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
