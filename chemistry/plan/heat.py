"""The heat's part of a plan: what to draw from each tap, what the hot store gives, and what the refill does to the tank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chemistry import reference
from chemistry.change.blending import Blend, Vessel, blend_to_target
from chemistry.change.cooling import Room, Tub, Way, to_arrive_c
from chemistry.change.hot_store import Store, Supply, Tapping, minutes_to_next, supply, tappings
from chemistry.change.warmth import Effect, Recovery, effects, largest_share, minutes_at_rate, recovery
from chemistry.plan.flows import Flows
from chemistry.plan.household import Household, Tank

_LEAST_SPAN_K = 0.05  # between hot water and what is made of it


@dataclass(frozen=True)
class Timing:
    """Minutes that a tote stands between tap and pump, and between one tote's draw and the next (the least they take)."""

    standing_min: tuple[float, ...]
    pauses_min: tuple[float, ...]


@dataclass(frozen=True)
class Heat:
    """drawn_c: temperature to draw, tote by tote, so that the water arrives at arrives_c.  blends and tappings: likewise.

    supply: of the store without a pause; next_tote_min: minutes after the last tote until there could be another one.
    step_k: how far the tank moves; largest_share: that keeps the limit for it; slow_fill_min: minutes in which the step
    would keep to the limit an hour; recovery: to the temperature before.  effects: what each reading is worth.
    """

    times: Timing
    arrives_c: float
    drawn_c: tuple[float, ...]
    blends: tuple[Blend, ...]
    tappings: tuple[Tapping, ...]
    supply: Supply
    next_tote_min: float
    step_k: float
    largest_share: float
    slow_fill_min: float
    recovery: Recovery
    effects: tuple[Effect, ...]


def timing(flows: Flows, totes: int, ready_min: float, before_drain_min: float, jobs_min: float) -> Timing:
    """ready_min: from tap to a tote that may meet fish; before_drain_min: from there to the pump's start for the first
    tote; jobs_min: work while the level is low."""
    fill = flows.fill.total
    first = ready_min + before_drain_min + flows.drain.total.predicted + jobs_min
    soonest = ready_min + before_drain_min + flows.drain.total.early
    standing = (first, *[ready_min] * (totes - 1))
    pauses = (soonest + fill.early, *[ready_min + fill.early] * (totes - 2)) if totes > 1 else ()
    return Timing(standing, pauses)


def heat_of(
    household: Household, tank: Tank, flows: Flows, tote_l: float, times: Timing, after_c: float, change_l: float
) -> Heat:
    """Every figure about heat; after_c: the tank once it is full.

    Raises NoAnswer where no blend or store can do it.
    """
    refill_c, hot, cold_c = tank.refill_c, household.hot_water, household.tap.temperature_c
    store = Store(hot.store_l, hot.temperature_c, cold_c, hot.heater_power_kw)
    flow = household.tap.flow_l_min
    drawn_c = tuple(_drawn_c(household, tank, flows, tote_l, standing) for standing in times.standing_min)
    drawn_c = tuple(min(temperature_c, hot.temperature_c) for temperature_c in drawn_c)
    totes = _wanted(household, store, tote_l, drawn_c)
    draws = tuple(tappings(store, totes, flow, times.pauses_min))
    blends = _blends(household, tote_l, drawn_c, draws)
    before_c = tank.readings.temperature_c
    step_k = after_c - before_c
    rate = reference.value("limits", "temperature_rate")
    first = blends[0]
    return Heat(
        times=times,
        arrives_c=refill_c,
        drawn_c=drawn_c,
        blends=blends,
        tappings=draws,
        supply=supply(store, totes[0][1], flow),
        next_tote_min=minutes_to_next(store, totes, flow, times.pauses_min),
        step_k=step_k,
        largest_share=largest_share(before_c, refill_c, reference.value("limits", "temperature_step")),
        slow_fill_min=minutes_at_rate(step_k, rate),
        recovery=recovery(tank.live_volume_l, after_c, before_c, tank.heater_power_kw),
        effects=tuple(effects(first, draws[0].hot_c, cold_c, household.vessel())),
    )


def _drawn_c(household: Household, tank: Tank, flows: Flows, tote_l: float, standing_min: float) -> float:
    """Temperature to draw; the refill's own where room or tote are not known well enough to tell what is lost."""
    height_m = household.tote_level_m(tote_l)
    if household.room_temperature_c is None or height_m <= 0:
        return tank.refill_c
    vessel = household.vessel()
    tub = Tub(tote_l, height_m, vessel.tub_kj_k)
    way = Way(standing_min, flows.fill.total.predicted, household.hose.hose())
    return to_arrive_c(tank.refill_c, tub, way, Room(household.room_temperature_c, household.room_humidity))


def _wanted(household: Household, store: Store, tote_l: float, drawn_c: Sequence[float]) -> list[tuple[float, float]]:
    """Each tote as litres at a temperature that take as much hot water as it does with its plastic and its densities."""
    hot_and_cold = (store.set_c, store.cold_c)
    found = []
    for number, temperature_c in enumerate(drawn_c):
        hot_l = blend_to_target(tote_l, temperature_c, *hot_and_cold, _vessel(household, number)).hot_l
        rise_k = temperature_c - store.cold_c
        as_much_l = hot_l * (store.set_c - store.cold_c) / rise_k if rise_k > _LEAST_SPAN_K and hot_l > 0 else tote_l
        found.append((as_much_l, max(temperature_c, store.cold_c)))
    return found


def _vessel(household: Household, number: int) -> Vessel:
    """The tote before the taps run: the first time its plastic is at room temperature, later it is warm already."""
    return household.vessel() if number == 0 else Vessel()


def _blends(
    household: Household, tote_l: float, drawn_c: Sequence[float], draws: Sequence[Tapping]
) -> tuple[Blend, ...]:
    """Hot and cold for each tote, the hot as warm as the store gives it."""
    cold_c = household.tap.temperature_c
    return tuple(
        blend_to_target(
            tote_l, temperature_c, max(draw.hot_c, temperature_c + _LEAST_SPAN_K), cold_c, _vessel(household, number)
        )
        for number, (temperature_c, draw) in enumerate(zip(drawn_c, draws, strict=True))
    )
