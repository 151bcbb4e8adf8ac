"""The `water` command: one water at equilibrium, and what that means for who keeps fish in it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tapwright.chemistry.errors import BadInput
from tapwright.cli import pages, water_sources
from tapwright.cli.answer import Answer
from tapwright.cli.options import Reader

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.plan.household import Household
    from tapwright.chemistry.water.composition import Water
    from tapwright.chemistry.water.equilibrium import Equilibrium
    from tapwright.cli.water_sources import Source

# pH that moves by less than this when a water stands is as good as at rest.
_STILL_PH = 0.1
# The pH that the criteria for ammonia were set for (US EPA 822-R-13-001, from memory).
_CRITERIA_PH = (6.5, 9.0)
# What a water given by its readings is called.
_READINGS = "water"


def answer(
    readings: Mapping[str, str | None], air: str | None, file: Path | None, which: str | None, target: str | None
) -> Answer:
    """The water described by readings, by its place in a household file, or by a lake's name, as an answer."""
    from tapwright.chemistry.water.equilibrium import at_air, equilibrium_of

    household = water_sources.household_of(file)
    reader = Reader()
    times_air = reader.tried(lambda: water_sources.times_air(air, household))
    source = reader.tried(lambda: _source(readings, household, which, target))
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
        pages.pairs(screen, _figures(source.water, now, rest, spread))
        pages.heading(screen, "What it means")
        pages.bullets(screen, words(source.water, now, rest, stands=source.stands))
        pages.findings(screen, findings)
        pages.assumptions(screen, assumed)

    return Answer("water", _result(source, now, rest, spread), show, findings, assumed)


def doubts_of(source: Source) -> list[Finding]:
    """A reading of pH that fits too little or too much CO2."""
    from tapwright.chemistry.plan.water_guards import co2_findings
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


def ions_mmol_l(water: Water, found: Equilibrium) -> dict[str, float]:
    """Every ion, free or paired [mmol/L]; ammonia in all."""
    from tapwright.chemistry.water.composition import ION_SYMBOLS

    return {
        **{ion: getattr(water, f"{ion}_mmol_l") for ion in ION_SYMBOLS},
        "nitrate": water.nitrate_mmol_l,
        "ammonia": water.ammonium_mmol_l,
        "bicarbonate": found.bicarbonate_mmol_l,
        "carbonate": found.carbonate_mmol_l,
    }


def _result(source: Source, now: Equilibrium | None, rest: Equilibrium, spread: float | None) -> dict[str, Any]:
    """For machines: every figure of the water now, or at rest where its pH is not known, and what differs at rest."""
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


def give_or_take(now: Equilibrium | None, spread: float | None, *, computed: bool) -> str:
    """How sure a computed pH is, in words; nothing for one that was read."""
    if now is None or not computed:
        return ""
    if spread is None:
        return " (how sure cannot be told: with its tests a little off there is no such water)"
    return f" (give or take {max(spread, 0.01):.2f} for the tests behind it)"


def _figures(water: Water, now: Equilibrium | None, rest: Equilibrium, spread: float | None) -> list[tuple[str, str]]:
    from tapwright.chemistry.units import figure

    found = now or rest
    sure = give_or_take(now, spread, computed=water.ph is None)
    at_rest = f"{rest.ph:.2f} at rest with air ({rest.co2_times_air:.1f} times outdoor CO2)"
    return [
        ("pH", f"{now.ph:.2f} now{sure}, {at_rest}" if now else at_rest),
        (
            "CO2",
            f"{figure(found.co2_times_air, 2)} times outdoor air; {figure(found.carbon_mmol_l)} mmol/L of carbon in all",
        ),
        ("Hardness", f"{water.hardness_dgh:.1f} dGH"),
        ("Alkalinity", f"{water.alkalinity_dkh:.1f} dKH"),
        ("Conductivity", f"{found.conductivity_us_cm:.0f} µS/cm at 25 °C"),
        ("Saturation", ", ".join(f"{name} {_index(found, name)}" for name in ("calcite", "aragonite", "gypsum"))),
        ("Charges", f"{pages.signed(found.charge_error_percent, 1)} % off balance"),
    ]


def _index(found: Equilibrium, mineral: str) -> str:
    return pages.index(float(getattr(found, f"si_{mineral}")), 2)


def words(water: Water, now: Equilibrium | None, rest: Equilibrium, *, stands: bool = False) -> list[str]:
    """What the figures mean: will it cloud, will the pH drift, what ammonia does at this pH; stands: in its tank."""
    from tapwright.chemistry.water.equilibrium import most_alkaline

    return [_clouding(now, rest), _drift(now, rest, stands=stands), _ammonia(water, most_alkaline(rest, now))]


def _clouding(now: Equilibrium | None, rest: Equilibrium) -> str:
    from tapwright.chemistry import reference
    from tapwright.chemistry.plan.water_guards import clouding_words

    if rest.si_calcite < pages.NEVER:
        return "It cannot cloud: calcium or carbon is missing."
    highest = max(float(found.si_calcite) for found in (now, rest) if found)
    course = f"{pages.signed(rest.si_calcite, 1)} at rest"
    if now is not None:
        course = f"{pages.signed(now.si_calcite, 1)} now and {course}"
    return (
        f"It {clouding_words(highest)}: the saturation index of calcite is {course} (clouding is judged to begin above "
        f"{reference.value('limits', 'calcite_calm'):+.1f}; the lakes themselves stand at +0.5 to +0.9)."
    )


def _drift(now: Equilibrium | None, rest: Equilibrium, *, stands: bool) -> str:
    from tapwright.chemistry.units import figure

    if now is None:
        return "Its pH now is not known; with the air it stands in it comes to the one above within hours."
    if abs(now.ph - rest.ph) < _STILL_PH:
        return "Its pH stays: it is at rest with its air."
    if stands:
        return (
            f"In its tank it keeps pH {now.ph:.1f} for as long as stock and surface stay the same; standing by itself in the "
            f"room's air it would come to {rest.ph:.1f}."
        )
    if now.ph < rest.ph:
        return (
            f"Its pH rises from {now.ph:.1f} to {rest.ph:.1f} as it stands, because it holds {figure(now.co2_times_air, 2)} "
            "times the CO2 of outdoor air. Do not correct the first reading."
        )
    return (
        f"Its pH falls from {now.ph:.1f} to {rest.ph:.1f} as it stands, because it holds less CO2 than the air above it "
        f"({figure(now.co2_times_air, 2)} times outdoor air)."
    )


def _ammonia(water: Water, worst: Equilibrium) -> str:
    from tapwright.chemistry.units import figure
    from tapwright.chemistry.water.ammonia import acute_criterion_mg_n_l, chronic_criterion_mg_n_l

    acute = figure(acute_criterion_mg_n_l(float(worst.ph), water.temperature_c), 2)
    chronic = figure(chronic_criterion_mg_n_l(float(worst.ph), water.temperature_c), 2)
    low, high = _CRITERIA_PH
    reach = "" if low <= float(worst.ph) <= high else f"; set for pH {low:g} to {high:g}"
    return (
        f"At pH {worst.ph:.1f}, {worst.unionised_ammonia_share:.1%} of any ammonia is un-ionised. The limit of all ammonia "
        f"together is {chronic} mg/L N over thirty days and {acute} over an hour (US EPA 2013{reach})."
    )


def ammonia_of(water: Water, now: Equilibrium | None, rest: Equilibrium) -> list[Finding]:
    """The ammonia in the water, where there is any, judged at the higher pH."""
    from tapwright.chemistry.dosing.neutralise import ammonia_findings
    from tapwright.chemistry.water.equilibrium import most_alkaline

    worst = most_alkaline(rest, now)
    return ammonia_findings(
        water.ammonia_mg_n_l, float(worst.ph), water.temperature_c, "this water", float(worst.unionised_ammonia_share)
    )
