"""One water for a person: its figures, and what they mean for who keeps fish in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tapwright.cli.pages import pieces as pages

if TYPE_CHECKING:
    from tapwright.chemistry.water.composition import Water
    from tapwright.chemistry.water.equilibrium import Equilibrium

# pH that moves by less than this when a water stands is as good as at rest.
_STILL_PH = 0.1
# The pH that the criteria for ammonia were set for (US EPA 822-R-13-001, from memory).
_CRITERIA_PH = (6.5, 9.0)


def give_or_take(now: Equilibrium | None, spread: float | None, *, computed: bool) -> str:
    """How sure a computed pH is, in words; nothing for one that was read."""
    if now is None or not computed:
        return ""
    if spread is None:
        return " (how sure cannot be told: with its tests a little off there is no such water)"
    return f" (give or take {max(spread, 0.01):.2f} for the tests behind it)"


def figures(water: Water, now: Equilibrium | None, rest: Equilibrium, spread: float | None) -> list[tuple[str, str]]:
    """The figures of a water, each with its name."""
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
    from tapwright.chemistry.plan.guards.water import clouding_words

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
