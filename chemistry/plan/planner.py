"""From a household to a plan: share, blend, neutraliser, salts, waters, times, guards and steps, one after another."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from difflib import get_close_matches

from chemistry import reference
from chemistry.change.blending import Blend, Vessel, blend_to_target, reheat_minutes
from chemistry.change.dilution import NitrateCourse, course, share_for_ceiling
from chemistry.change.flow import Minutes, minutes_to_move
from chemistry.errors import BadInput, NoAnswer
from chemistry.findings import Finding, by_gravity
from chemistry.plan import assumptions
from chemistry.plan.cupboard import better_but_short, choose_neutraliser, mix_salts
from chemistry.plan.figures import Figures, Jobs, Totes, Waters
from chemistry.plan.guards import guards, guards_of_steps
from chemistry.plan.household import Household, Tank
from chemistry.plan.sheet import Step
from chemistry.plan.states import states_of
from chemistry.plan.steps import steps_of
from chemistry.units import figure, rounded_up
from chemistry.water.composition import Water
from chemistry.water.equilibrium import closed
from chemistry.water.mixing import mix
from chemistry.water.reconstruction import described

# A share is proposed in steps a keeper can mark on the glass.
_SHARE_STEP = 0.05
_NEIGHBOUR = 0.10


@dataclass(frozen=True)
class Plan:
    """One water change: its figures, its steps, what to know about it and what was assumed.

    of_the_waters: those of the assumptions that bear on the waters.
    """

    figures: Figures
    steps: tuple[Step, ...]
    findings: tuple[Finding, ...]
    assumptions: tuple[str, ...]
    of_the_waters: tuple[str, ...]


def plan(household: Household, tank_name: str, share: float | None = None, jobs: Jobs | None = None) -> Plan:
    """The plan of one change in one tank.

    share: of the live water, 0 to 1; None takes the smallest that keeps nitrate under its ceiling, rounded up to 5 %.
    Raises BadInput for a tank not in the file or a share that cannot be, NoAnswer where no change, blend or pump can do
    what is asked.
    """
    tank = tank_named(household, tank_name)
    chloramine = household.tap.chlorine().combined_mg_l() > 0
    tap = described(household.tap.readings(), "tap", chloramine=chloramine)
    before = described(tank.readings.readings(), tank.name, tank.target().usual_calcium_to_magnesium)
    figures = _figures(household, tank, tap.water, before.water, share, jobs or Jobs())
    findings = [*tap.findings, *before.findings, *guards(figures)]
    stops = [finding for finding in findings if finding.level == "stop"]
    steps = steps_of(figures, stops)
    findings += guards_of_steps(steps)
    of_doses = assumptions.of_doses(household, figures.neutraliser)
    of_the_waters = (*tap.assumptions, *before.assumptions, *assumptions.of_ph(figures), *of_doses)
    assumed = (*of_the_waters, *assumptions.of_jobs(figures), *assumptions.of_the_work(household, tank))
    return Plan(figures, steps, by_gravity(findings), assumed, of_the_waters)


def tank_named(household: Household, name: str, where: str = "--tank") -> Tank:
    """The tank of that name; BadInput, said of `where`, offers the nearest names there are."""
    names = [tank.name for tank in household.tanks]
    if name not in names:
        near = get_close_matches(name, names, n=1, cutoff=0.4) or names
        choices = " or ".join(f"'{known}'" for known in near)
        raise BadInput.of(where, f"there is no tank named '{name}' in the file.", f"Write {choices}.")
    return household.tanks[names.index(name)]


def _figures(household: Household, tank: Tank, tap: Water, before: Water, share: float | None, jobs: Jobs) -> Figures:
    """Every figure in the order the data flows."""
    chosen, courses = _share(tank, tap, before, share)
    volume_l = chosen * tank.live_volume_l
    totes = _totes(volume_l, household.tote.volume_l)
    refill_c = tank.refill_c
    first, later = _blends(household, totes, refill_c)
    neutraliser = choose_neutraliser(household, totes)
    salting = mix_salts(household, tank, replace(closed(tap), temperature_c=refill_c), neutraliser, totes)
    refill = salting.recipe.water
    after, _ = mix([before, refill], [tank.live_volume_l - volume_l, volume_l])
    waters = Waters(tap, refill, before, after)
    drain, pump = _pumping(household, tank, chosen, totes)
    return Figures(
        household=household,
        tank=tank,
        target=tank.target(),
        change_share=chosen,
        share_from="nitrate ceiling" if share is None else "given",
        change_volume_l=volume_l,
        refill_temperature_c=refill_c,
        totes=totes,
        first_blend=first,
        next_blend=later,
        neutraliser=neutraliser,
        short_neutraliser=better_but_short(household, totes, neutraliser) if neutraliser else None,
        salting=salting,
        waters=waters,
        states=states_of(waters, chosen, household.times_air),
        nitrate=courses,
        drain_minutes=drain,
        pump_minutes=pump,
        tap_minutes=totes.volume_l / household.tap.flow_l_min,
        hot_waits_min=_hot_waits(household, first, later, totes),
        jobs=jobs,
    )


def _share(tank: Tank, tap: Water, before: Water, share: float | None) -> tuple[float, tuple[NitrateCourse, ...]]:
    """The share, and what 10 points less, this share and 10 points more do to nitrate."""
    chosen = _given_share(share) if share is not None else _share_for_nitrate(tank, tap, before)
    rise = tank.nitrate_rise_mg_l or 0.0
    near = (round(chosen - _NEIGHBOUR, 10), chosen, round(chosen + _NEIGHBOUR, 10))
    return chosen, tuple(
        course(before.nitrate_mg_l, tap.nitrate_mg_l, rise, neighbour) for neighbour in near if 0 < neighbour <= 1
    )


def _given_share(share: float) -> float:
    largest = reference.value("limits", "largest_share") / 100
    if not 0 < share <= largest:
        raise BadInput.of(
            "--change",
            f"{share:.0%} is read; more than 0 % and up to {largest:.0%} is allowed.",
            "The fish need water to stand in: split a larger change over several days.",
        )
    return share


def _share_for_nitrate(tank: Tank, tap: Water, before: Water) -> float:
    """Smallest share that keeps the ceiling, rounded up to the next step."""
    if tank.nitrate_rise_mg_l is None:
        raise BadInput.of(
            f"tank '{tank.name}': nitrate_rise",
            "not given; it is needed to find the share.",
            'Write how far nitrate rises between two changes, such as "15 mg/L NO3", or give --change.',
        )
    ceiling, rise = tank.nitrate_ceiling_mg_l, tank.nitrate_rise_mg_l
    exact = share_for_ceiling(before.nitrate_mg_l, tap.nitrate_mg_l, rise, ceiling)
    if exact == 0:
        raise NoAnswer.of(
            "change",
            f"nitrate is {figure(before.nitrate_mg_l)} mg/L, does not rise, and stays under its ceiling of "
            f"{figure(ceiling)}: no change is needed for it.",
            "To plan one all the same, give --change.",
        )
    stepped = round(rounded_up(exact, _SHARE_STEP), 10)
    if stepped > _largest_proposed():
        raise NoAnswer.of("change", *_too_large(exact, tank, tap, before))
    return stepped


def _largest_proposed() -> float:
    """Largest share proposed unasked; a larger one may be given."""
    return reference.value("limits", "large_change") / 100


def _too_large(exact: float, tank: Tank, tap: Water, before: Water) -> tuple[str, str]:
    """Why one change cannot do it, and what can: changing oftener, or several changes of half the tank."""
    ceiling, rise = tank.nitrate_ceiling_mg_l, tank.nitrate_rise_mg_l or 0.0
    room = ceiling - tap.nitrate_mg_l
    said = f"keeping nitrate at or under {figure(ceiling)} mg/L would take {exact:.0%} of the water at once."
    if rise >= _largest_proposed() * room:
        return said, f"It rises {figure(rise)} between changes and there is room for {figure(room)}: change oftener."
    halves = math.ceil(math.log((before.nitrate_mg_l - tap.nitrate_mg_l) / (room - rise), 2))
    then = max(rounded_up(rise / room, _SHARE_STEP), _SHARE_STEP)
    return said, (
        f"Plan {halves} changes of half the tank (--change 50%), a day or more apart; from then on {then:.0%} from one "
        "change to the next holds it."
    )


def _totes(volume_l: float, tote_l: float) -> Totes:
    count = max(math.ceil(volume_l / tote_l - 1e-9), 1)
    if count > reference.value("practice", "most_totes"):
        raise NoAnswer.of(
            "tote",
            f"{figure(volume_l)} L would take {count} totes of {figure(tote_l)} L.",
            "Use a larger tote, or change less at once.",
        )
    return Totes(count, volume_l / count)


def _blends(household: Household, totes: Totes, refill_c: float) -> tuple[Blend, Blend]:
    """Blend of the first tote, whose plastic takes heat, and of every later one, whose plastic is warm already."""
    hot_c, cold_c = household.hot_water.temperature_c, household.tap.temperature_c
    first = blend_to_target(totes.volume_l, refill_c, hot_c, cold_c, household.vessel())
    later = blend_to_target(totes.volume_l, refill_c, hot_c, cold_c, Vessel())
    return first, later


def _hot_waits(household: Household, first: Blend, later: Blend, totes: Totes) -> tuple[float, ...]:
    """Minutes to wait for the hot store before each tote: what is drawn beyond the store must be heated first.

    No heat is counted that the store takes up while other steps go on, so the waits are upper bounds. Raises NoAnswer
    where the store does not suffice and has no heater.
    """
    hot, cold_c = household.hot_water, household.tap.temperature_c
    waits = []
    drawn_l = 0.0
    for blend in (first, *[later] * (totes.count - 1)):
        lacking_l = max(drawn_l + blend.hot_l - hot.store_l, 0.0) - max(drawn_l - hot.store_l, 0.0)
        drawn_l += blend.hot_l
        waits.append(
            reheat_minutes(lacking_l, hot.temperature_c, cold_c, hot.heater_power_kw) if lacking_l > 0 else 0.0
        )
    if math.isinf(sum(waits)):
        raise NoAnswer.of(
            "hot_water",
            f"{drawn_l:.0f} L of hot water are needed, the store holds {hot.store_l:.0f} L and its heater has no power.",
            "Change less at once, make the refill cooler (refill_temperature), or give heater_power.",
        )
    return tuple(waits)


def _pumping(household: Household, tank: Tank, share: float, totes: Totes) -> tuple[Minutes, Minutes]:
    """Minutes to drain the tank and to pump one tote up; the lift grows as the level falls."""
    pump, hose = household.pump.pump(), household.hose.hose()
    drain_lift_m, fill_lift_m = household.lifts_m(tank)
    full_m = tank.water_height_m
    drain = minutes_to_move(
        share * tank.live_volume_l, pump, hose, drain_lift_m - full_m, drain_lift_m - full_m * (1 - share)
    )
    tote_level_m = (household.tote.height_m or 0.0) * totes.volume_l / household.tote.volume_l
    return drain, minutes_to_move(totes.volume_l, pump, hose, fill_lift_m - tote_level_m, fill_lift_m)
