"""From a household to a plan: share, blend, neutraliser, salts, waters, times, guards and steps, one after another."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from tapwright.chemistry import reference
from tapwright.chemistry.change.nitrate.dilution import NitrateCourse, course, share_for_ceiling
from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.findings import Finding, by_gravity
from tapwright.chemistry.plan.figures.doses import better_but_short, choose_neutraliser, mix_salts
from tapwright.chemistry.plan.figures.flows import Flows, flows_of
from tapwright.chemistry.plan.figures.heat import Timing, heat_of, timing
from tapwright.chemistry.plan.figures.records import Figures, Jobs, NeutraliserDose, Salting, Totes, Waters
from tapwright.chemistry.plan.figures.states import needs_airing, states_of
from tapwright.chemistry.plan.guards import assumptions
from tapwright.chemistry.plan.guards.account import envelope_findings
from tapwright.chemistry.plan.guards.guards import guards, guards_of_steps
from tapwright.chemistry.plan.guards.ways_out import with_ways_out
from tapwright.chemistry.plan.household.household import Household, Tank
from tapwright.chemistry.plan.steps.step import LOOK_AT_PLUGS_MIN, Step, minutes_of
from tapwright.chemistry.plan.steps.steps import steps_of
from tapwright.chemistry.plan.steps.totes import contact_minutes
from tapwright.chemistry.programmes.budget import question
from tapwright.chemistry.record import Record
from tapwright.chemistry.units import figure, rounded_up
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import closed
from tapwright.chemistry.water.mixing import mix
from tapwright.chemistry.water.reconstruction import Description, described
from tapwright.chemistry.words import nearest, quoted

# A share is proposed in steps a keeper can mark on the glass.
_SHARE_STEP = 0.05
_NEIGHBOUR = 0.10
_SAME_K = 1e-9


@dataclass(frozen=True, repr=False)
class Plan(Record):
    """One water change: its figures, its steps, what to know about it and what was assumed.

    of_the_waters: those of the assumptions that bear on the waters.
    """

    figures: Figures
    steps: tuple[Step, ...]
    findings: tuple[Finding, ...]
    assumptions: tuple[str, ...]
    of_the_waters: tuple[str, ...]

    def headline(self) -> str:
        """The tank, how much, and what stands in the way."""
        stops = sum(finding.level == "stop" for finding in self.findings)
        share = f"{self.figures.change_share:.0%} of '{self.figures.tank.name}'"
        return f"{share}, {len(self.steps)} steps, {stops} {'stop' if stops == 1 else 'stops'}"


def plan(household: Household, tank_name: str, share: float | None = None, jobs: Jobs | None = None) -> Plan:
    """The plan of one change in one tank.

    share: of the live water, 0 to 1; None takes the smallest that keeps nitrate under its ceiling, rounded up to 5 %.
    Raises BadInput for a household that does not fit together, a tank not in it or a share that cannot be, NoAnswer where
    no change, blend or pump can do what is asked.
    """
    household = household.checked()
    tank = tank_named(household, tank_name)
    tap, before = tested_waters(household, tank)
    jobs = jobs or Jobs()
    waters = tap.water, before.water

    def stops_of(changed: Household, share: float | None) -> set[str]:
        same = tank_named(changed, tank_name)
        read = tuple(described.water for described in tested_waters(changed, same))
        _, _, found = _judged(changed, same, (read[0], read[1]), share, jobs)
        return {finding.code for finding in found if finding.level == "stop"}

    with question():
        figures, steps, judged = _judged(household, tank, waters, share, jobs)
    with question():  # where none is open, what is tried has a budget of its own
        judged = with_ways_out(judged, household, figures, stops_of)
    findings = [*tap.findings, *before.findings, *judged]
    stops = [finding for finding in findings if finding.level == "stop"]
    if stops:
        steps = steps_of(figures, stops)
    of_doses = assumptions.of_doses(household, figures.neutraliser)
    of_the_waters = (*tap.assumptions, *before.assumptions, *assumptions.of_ph(figures), *of_doses)
    assumed = (*of_the_waters, *assumptions.of_jobs(figures), *assumptions.of_the_work(household, tank))
    return Plan(figures, steps, by_gravity(findings), assumed, of_the_waters)


def _judged(
    household: Household, tank: Tank, waters: tuple[Water, Water], share: float | None, jobs: Jobs
) -> tuple[Figures, tuple[Step, ...], list[Finding]]:
    """Figures, steps, and what guards and envelope find; waters: tap and tank.

    Where the envelope stops at what a guard only cautions about, its word stands alone.
    """
    figures = _figures(household, tank, *waters, share, jobs)
    steps = steps_of(figures)
    looked = envelope_findings(figures, steps)
    stopped = {finding.code for finding in looked if finding.level == "stop"}
    guarded = [*guards(figures), *guards_of_steps(steps)]
    return figures, steps, [*(finding for finding in guarded if finding.code not in stopped), *looked]


def tank_named(household: Household, name: str | None, where: str = "tank") -> Tank:
    """The tank of that name, however it is capitalised; None: the only one there is.

    BadInput, said of `where`, offers the nearest names there are.
    """
    names = [tank.name for tank in household.tanks]
    if name is None:
        if len(names) == 1:
            return household.tanks[0]
        raise BadInput.of(
            where, "not given, and the household has several.", f"Write {' or '.join(map(quoted, names[:5]))}."
        )
    folded = [each.casefold() for each in names]
    if name not in names and folded.count(name.casefold()) != 1:
        near = nearest(name, names, n=1, cutoff=0.4) or names[:5]
        choices = " or ".join(map(quoted, near))
        raise BadInput.of(where, f"there is no tank named {quoted(name)} in the file.", f"Write {choices}.")
    return household.tanks[names.index(name) if name in names else folded.index(name.casefold())]


def tested_waters(household: Household, tank: Tank) -> tuple[Description, Description]:
    """Tap and tank as their readings describe them."""
    chloramine = household.tap.chlorine().combined_mg_l() > 0
    tap = described(household.tap.readings(), "tap", chloramine=chloramine)
    return tap, described(tank.readings.readings(), tank.name, tank.target().usual_calcium_to_magnesium)


def change_share(tank: Tank, tap: Water, before: Water, share: float | None) -> float:
    """The share of the live water to change: as given, else for nitrate. Raises as `plan` does for the share."""
    return _given_share(share) if share is not None else _share_for_nitrate(tank, tap, before)


def _figures(household: Household, tank: Tank, tap: Water, before: Water, share: float | None, jobs: Jobs) -> Figures:
    """Every figure in the order the data flows."""
    chosen, courses = _share(tank, tap, before, share)
    volume_l = chosen * tank.live_volume_l
    totes = _totes(volume_l, household.tote.volume_l)
    refill_c = tank.refill_c
    neutraliser = choose_neutraliser(household, totes)
    salting = mix_salts(household, tank, replace(closed(tap), temperature_c=refill_c), neutraliser, totes)
    waters = _waters(tap, salting.recipe.water, before, chosen)
    states = states_of(waters, chosen, household.times_air)
    flows = flows_of(household, tank, chosen, totes.volume_l)
    times = _timing(
        flows, totes, neutraliser, salting, needs_airing(states), jobs, totes.volume_l / household.tap.flow_l_min
    )
    heat = heat_of(household, tank, flows, totes.volume_l, times, chosen)
    if (
        abs(heat.arrives_c - refill_c) > _SAME_K
    ):  # what is lost on the way cannot all be made up for: a stop, but told as it is
        waters = _waters(tap, replace(waters.refill, temperature_c=heat.arrives_c), before, chosen)
        states = states_of(waters, chosen, household.times_air)
    return Figures(
        household=household,
        tank=tank,
        target=tank.target(),
        change_share=chosen,
        share_from="nitrate ceiling" if share is None else "given",
        change_volume_l=volume_l,
        refill_temperature_c=heat.arrives_c,
        totes=totes,
        neutraliser=neutraliser,
        short_neutraliser=better_but_short(household, totes, neutraliser) if neutraliser else None,
        salting=salting,
        waters=waters,
        states=states,
        nitrate=courses,
        flows=flows,
        heat=heat,
        tap_minutes=totes.volume_l / household.tap.flow_l_min,
        jobs=jobs,
    )


def _waters(tap: Water, refill: Water, before: Water, share: float) -> Waters:
    """The four waters, the last by mixing."""
    after, _ = mix([before, refill], [1 - share, share])
    return Waters(tap, refill, before, after)


def _share(tank: Tank, tap: Water, before: Water, share: float | None) -> tuple[float, tuple[NitrateCourse, ...]]:
    """The share, and what 10 points less, this share and 10 points more do to nitrate."""
    chosen = change_share(tank, tap, before, share)
    rise = tank.nitrate_rise_mg_l or 0.0
    near = (round(chosen - _NEIGHBOUR, 10), chosen, round(chosen + _NEIGHBOUR, 10))
    return chosen, tuple(
        course(before.nitrate_mg_l, tap.nitrate_mg_l, rise, neighbour) for neighbour in near if 0 < neighbour <= 1
    )


def _given_share(share: float) -> float:
    largest = reference.value("limits", "largest_share") / 100
    if not 0 < share <= largest:
        raise BadInput.of(
            "change share",
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
            'Write how far nitrate rises between two changes, such as "15 mg/L NO3", or give the change share.',
        )
    ceiling, rise = tank.nitrate_ceiling_mg_l, tank.nitrate_rise_mg_l
    exact = share_for_ceiling(before.nitrate_mg_l, tap.nitrate_mg_l, rise, ceiling)
    if exact == 0:
        raise NoAnswer.of(
            "change",
            f"nitrate is {figure(before.nitrate_mg_l)} mg/L, does not rise, and stays under its ceiling of "
            f"{figure(ceiling)}: no change is needed for it.",
            "To plan one all the same, give the change share.",
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
        f"Plan {halves} changes of half the tank (change share 50%), a day or more apart; from then on {then:.0%} from one "
        "change to the next holds it."
    )


def _totes(volume_l: float, tote_l: float) -> Totes:
    totes = Totes.of(volume_l, tote_l)
    if totes.count > reference.value("practice", "most_totes"):
        raise NoAnswer.of(
            "tote",
            f"{figure(volume_l)} L would take {totes.count} totes of {figure(tote_l)} L.",
            "Use a larger tote, or change less at once.",
        )
    return totes


def _timing(
    flows: Flows,
    totes: Totes,
    neutraliser: NeutraliserDose | None,
    salting: Salting,
    airing: bool,
    jobs: Jobs,
    tap_min: float,
) -> Timing:
    """How long the totes stand, by the minutes their steps take (a test holds the two together)."""
    ready = minutes_of("small_minutes")
    if neutraliser is not None:
        ready += contact_minutes(neutraliser)
    if salting.recipe.grams:
        ready += minutes_of("dissolve_minutes")
    if airing:
        ready += minutes_of("airing_minutes")
    cooling = max(minutes_of("cooling_minutes") - tap_min - ready, 0.0) + LOOK_AT_PLUGS_MIN
    before_drain = cooling + 2 * minutes_of("small_minutes")
    clean = minutes_of("clean_minutes") * (jobs.clean_substrate + jobs.service_filter)
    return timing(flows, totes.count, ready, before_drain, clean + minutes_of("small_minutes"))
