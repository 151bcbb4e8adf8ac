"""What a plan takes for granted, said to whoever follows it."""

from __future__ import annotations

from tapwright.chemistry.dosing.neutralise import assumptions_of
from tapwright.chemistry.plan.figures.records import Figures, NeutraliserDose
from tapwright.chemistry.plan.household.household import Household, Tank
from tapwright.chemistry.water.equilibrium import in_stuffy_room, outdoor_air_ppm


def of_jobs(figures: Figures) -> list[str]:
    """What was taken for granted about the days since substrate and filter were seen to."""
    jobs, unknown = figures.jobs, "not given: taken as long ago"
    notes = []
    if jobs.service_filter and jobs.days_since_substrate is None:
        notes.append(f"{figures.tank.name}: last_substrate_cleaning {unknown}.")
    if jobs.clean_substrate and jobs.days_since_filter is None:
        notes.append(f"{figures.tank.name}: last_filter_service {unknown}.")
    return notes


def of_ph(figures: Figures) -> list[str]:
    """What was taken for granted about pH and the air."""
    notes, states = [], figures.states
    if figures.household.room_co2_ppm is None:
        stuffy, stuffy_ppm = in_stuffy_room(figures.waters.refill)
        notes.append(
            f"room_co2 not given: the refill comes to rest with outdoor air ({outdoor_air_ppm():.0f} ppm CO2). In a room at "
            f"{stuffy_ppm:.0f} ppm, {stuffy.co2_times_air:.1f} times that, its pH ends at {stuffy.ph:.1f} instead of "
            f"{states.refill.at_rest.ph:.1f}."
        )
    if states.tap.at_once is None:
        notes.append("tap: pH not given: pH and clouding of the refill are known at rest with air only, not at once.")
    if states.tank_before.at_once is None:
        notes.append(
            f"{figures.tank.name}: pH not given: taken at rest with the same air, {states.tank_before.at_rest.ph:.1f}, "
            "which is the highest it can be in that air without plants."
        )
    else:
        notes.append(
            f"{figures.tank.name}: keeps the {states.tank_before.at_once.co2_times_air:.1f} times outdoor CO2 that its pH and "
            "alkalinity show."
        )
    return notes


def of_doses(household: Household, neutraliser: NeutraliserDose | None) -> list[str]:
    """What was taken for granted about neutraliser and salts."""
    notes = assumptions_of(household.tap.chlorine())
    if neutraliser:
        entry = neutraliser.entry
        notes += [f"{entry.substance.name}: {said}." for said in entry.taken_for_granted()]
    pure = [entry.stocked().salt.name for entry in household.salts if entry.purity is None]
    if pure:
        notes.append(f"Purity not given, taken as 100 %: {', '.join(pure)}.")
    notes.append(
        "Salts: the fewest that reach every band, then the fewest grams (or least cost where every price is given), so the "
        "refill lies near an edge of its bands."
    )
    notes.append("Hot and cold tap are taken as the same water but for their temperature.")
    return notes


def of_the_work(household: Household, tank: Tank) -> list[str]:
    """What was taken for granted about vessels, heat and hose."""
    notes = []
    if tank.live_water < 1:
        notes.append("Rock and sand are taken as spread evenly over the height of the tank.")
    known_room = household.room_temperature_c is not None
    if not known_room or household.tote.mass_g is None:
        notes.append("Room temperature or mass of the tote not given: the heat its plastic takes is left out.")
    if not known_room or household.tote.height_m is None:
        notes.append("Room temperature or height of the tote not given: what the refill loses on its way is left out.")
    elif household.humidity_given is None:
        notes.append(
            f"room_humidity not given: {household.room_humidity:.0%} taken for what the open tote loses (common practice, no "
            "source)."
        )
    if household.tote.height_m is None:
        notes.append("Height of the tote not given: the pump is taken to lift from its bottom all the time.")
    notes.append("The hot store is taken as heated from its bottom, and full and hot at the start.")
    if tank.timed_fill is None or (tank.timed_drain is None and not household.hose.siphon):
        notes.append("The pump's curve is drawn as a parabola between its two figures (common practice, no source).")
    last = [name for name, times in (("draining", tank.timed_drain), ("filling", tank.timed_fill)) if times is not None]
    if last:
        notes.append(
            f"Minutes of {' and '.join(last)} follow the time it took last, within a tenth (common practice, no source)."
        )
    return notes
