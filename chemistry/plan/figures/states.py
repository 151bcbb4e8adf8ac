"""The waters of a change at equilibrium: each at once, and once it has come to rest with its air."""

from __future__ import annotations

from tapwright.chemistry import reference
from tapwright.chemistry.plan.figures.records import State, States, Waters
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import at_air, equilibrium_of
from tapwright.chemistry.water.spread import closed_ph_spread


def states_of(waters: Waters, change_share: float, room: float) -> States:
    """The four waters at equilibrium.

    room: CO2 of the room's air over outdoor air; tap and refill come to rest with it.  The tank keeps the multiple of
    CO2 that its pH and alkalinity show, as its stock and its surface stay the same.
    """
    tank = _tank_times_air(waters.tank_before, room)
    tested = [(1 - change_share, waters.tank_before), (change_share, waters.tap)]
    return States(
        tap=_state(waters.tap, room, room),
        refill=_state(waters.refill, room, room, [(1.0, waters.tap)]),
        tank_before=tank_at_rest(waters.tank_before, room),
        tank_after=_state(waters.tank_after, tank, room, tested),
    )


def tank_at_rest(water: Water, room: float) -> State:
    """A stocked tank's water, which rests with the CO2 that its stock gives it."""
    return _state(water, _tank_times_air(water, room), room)


def _tank_times_air(water: Water, room: float) -> float:
    """CO2 a tank keeps over outdoor air: by its pH, else the room's."""
    found = equilibrium_of(water)
    return room if found is None else float(found.co2_times_air)


def _state(water: Water, times_air: float, room: float, parts: list[tuple[float, Water]] | None = None) -> State:
    at_once = equilibrium_of(water)
    spread = closed_ph_spread(water, parts) if at_once is not None and parts else None
    at_rest = at_air(water, times_air)
    return State(at_once, at_rest, at_rest if times_air == room else at_air(water, room), spread)


def needs_airing(states: States) -> bool:
    """Whether the refill's CO2 would drop the tank's pH by more than a step, so that the tote is aired first."""
    before, after = states.tank_before.at_once, states.tank_after.at_once
    if before is None or after is None or not brings_gas(states):
        return False
    return bool(before.ph - after.ph > reference.value("limits", "ph_step"))


def brings_gas(states: States) -> bool:
    """Whether it is CO2 of the refill that pulls pH down: the tank comes back up as it leaves."""
    before, after, refill = states.tank_before.at_once, states.tank_after, states.refill.at_once
    if before is None or after.at_once is None or refill is None:
        return False
    richer = refill.co2_times_air > max(before.co2_times_air, states.refill.at_rest.co2_times_air)
    return bool(richer and after.at_once.ph < min(before.ph, after.at_rest.ph))
