"""The `water` command: one water at equilibrium, and what that means for who keeps fish in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from tapwright.chemistry.errors import BadInput
from tapwright.cli.answer import Answer
from tapwright.cli.options import water_sources
from tapwright.cli.options.of_waters import WaterOptions
from tapwright.cli.pages import pieces as pages
from tapwright.cli.pages.water import figures, words
from tapwright.cli.reading import Reader

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.plan.household.household import Household
    from tapwright.chemistry.water.composition import Water
    from tapwright.chemistry.water.equilibrium import Equilibrium
    from tapwright.cli.options.water_sources import Source

# The options that are readings of a water.
READINGS = ("hardness", "alkalinity", "ph", "temperature", "conductivity", "calcium", "magnesium", "sodium", "potassium",
            "chloride", "sulfate", "nitrate", "ammonia")  # fmt: skip
# What a water given by its readings is called.
_READINGS = "water"


def answer(options: WaterOptions) -> Answer:
    """The water described by readings, by its place in a household file, or by a lake's name, as an answer."""
    from tapwright.chemistry.water.equilibrium import at_air, equilibrium_of

    household = water_sources.household_of(options.file)
    readings = {key: getattr(options, key) for key in READINGS}
    reader = Reader()
    times_air = reader.tried(lambda: water_sources.times_air(options.air, household))
    source = reader.tried(lambda: _source(readings, household, options.which, options.target))
    reader.done()
    if source is None:  # refused above
        raise AssertionError("a refusal was lost")
    now, rest = equilibrium_of(source.water), at_air(source.water, times_air or 1.0)
    spread = source.ph_spread()
    findings = [*source.findings, *doubts_of(source), *ammonia_of(source.water, now, rest)]
    assumed = [*source.assumptions, *assumed_of_air(source.water, times_air)]
    if now is None:
        assumed.append("pH not given: every figure is that of the water at rest with air.")

    def show(screen: Console) -> None:
        pages.heading(screen, "Water as read" if source.name == _READINGS else f"Water: {source.name}")
        pages.pairs(screen, figures(source.water, now, rest, spread))
        pages.heading(screen, "What it means")
        pages.bullets(screen, words(source.water, now, rest, stands=source.stands))
        pages.findings(screen, findings)
        pages.assumptions(screen, assumed)

    return Answer("water", _result(source, now, rest, spread), show, findings, assumed)


def doubts_of(source: Source) -> list[Finding]:
    """A reading of pH that fits too little or too much CO2."""
    from tapwright.chemistry.plan.guards.water import co2_findings
    from tapwright.chemistry.water.equilibrium import at_ph

    if source.water.ph is None:
        return []
    who = "this water" if source.name == _READINGS else source.name
    return co2_findings(at_ph(source.water), who)


def _source(
    readings: Mapping[str, str | None], household: Household | None, which: str | None, target: str | None
) -> Source:
    """One way to name the water, and one only."""
    given = [key for key, text in readings.items() if text is not None]
    if (household is None) != (which is None):
        raise BadInput.of("--file, --which", "one is given without the other.", "Give both, or readings.")
    if target is not None:
        if household is not None or set(given) - {"temperature"}:
            raise BadInput.of(
                "--target", "given beside another water.", "Give a lake, a file or readings, one of them."
            )
        return water_sources.of_lake(target, readings["temperature"], "--target")
    if household is not None and which is not None:
        if given:
            raise BadInput.of(
                f"--{given[0]}", "given beside a household file.", "Change it in the file, or leave the file."
            )
        return water_sources.of_household(household, which, "--which")
    if not given:
        example = 'Write --hardness "12 dGH" --alkalinity "8 dKH" --ph 8.2 --temperature "25 degC".'
        raise BadInput.of("water", "no water is given.", example)
    return water_sources.of_readings(readings, _READINGS, lambda key: f"--{key}")


def assumed_of_air(water: Water, times_air: float | None) -> list[str]:
    """What a stuffier room would do, where its air is not known."""
    from tapwright.chemistry.water.equilibrium import in_stuffy_room, outdoor_air_ppm

    if times_air is not None:
        return []
    stuffy, stuffy_ppm = in_stuffy_room(water)
    return [
        f"Air not given: outdoor air taken, {outdoor_air_ppm():.0f} ppm CO2. In a room at {stuffy_ppm:.0f} ppm, "
        f"{stuffy.co2_times_air:.1f} times that, the pH at rest is {stuffy.ph:.2f}."
    ]


def _result(source: Source, now: Equilibrium | None, rest: Equilibrium, spread: float | None) -> dict[str, Any]:
    """For machines: every figure of the water now, or at rest where its pH is not known, and what differs at rest."""
    from tapwright.chemistry.water.equilibrium import ions_mmol_l

    found = now or rest
    return {
        "water": source.name,
        "state": "as read" if source.water.ph is not None else "as computed" if now else "at rest with air",
        "temperature_c": source.water.temperature_c,
        "hardness_mmol_l": source.water.hardness_mmol_l,
        "alkalinity_meq_l": source.water.alkalinity_meq_l,
        "ph": found.ph,
        "ph_spread": spread,
        "ph_aerated": rest.ph,
        "co2_times_air": found.co2_times_air,
        "co2_times_air_aerated": rest.co2_times_air,
        "carbon_mmol_l": found.carbon_mmol_l,
        "si_calcite": found.si_calcite,
        "si_aragonite": found.si_aragonite,
        "si_dolomite": found.si_dolomite,
        "si_gypsum": found.si_gypsum,
        "si_calcite_aerated": rest.si_calcite,
        "unionised_ammonia_share": found.unionised_ammonia_share,
        "unionised_ammonia_share_aerated": rest.unionised_ammonia_share,
        "ionic_strength_mol_kg": found.ionic_strength_mol_kg,
        "conductivity_us_cm": found.conductivity_us_cm,
        "charge_error_percent": found.charge_error_percent,
        "ions_mmol_l": ions_mmol_l(source.water, found),
    }


def ammonia_of(water: Water, now: Equilibrium | None, rest: Equilibrium) -> list[Finding]:
    """The ammonia in the water, where there is any, judged at the higher pH."""
    from tapwright.chemistry.dosing.neutralise import ammonia_findings
    from tapwright.chemistry.water.equilibrium import most_alkaline

    worst = most_alkaline(rest, now)
    return ammonia_findings(
        water.ammonia_mg_n_l, float(worst.ph), water.temperature_c, "this water", float(worst.unionised_ammonia_share)
    )
