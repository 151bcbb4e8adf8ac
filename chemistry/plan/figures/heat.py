"""The heat's part of a plan: what to draw from each tap, what the hot store gives, and what the refill does to the tank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tapwright.chemistry import reference
from tapwright.chemistry.change.heat.blending import Blend, Vessel, blend_to_target
from tapwright.chemistry.change.heat.cooling import Room, Tub, Way, after_waiting_c, arrives_c, to_arrive_c
from tapwright.chemistry.change.heat.hot_store import Store, Supply, Tapping, minutes_to_next, supply, tappings
from tapwright.chemistry.change.heat.warmth import (
    Effect,
    Recovery,
    effects,
    largest_share,
    minutes_at_rate,
    mixed_c,
    recovery,
)
from tapwright.chemistry.plan.figures.flows import Flows
from tapwright.chemistry.plan.household.household import Household, Tank

_LEAST_SPAN_K = 0.05  # between hot water and what is made of it


@dataclass(frozen=True)
class Timing:
    """Minutes that a tote stands between tap and pump, and between one tote's draw and the next (the least they take)."""

    standing_min: tuple[float, ...]
    pauses_min: tuple[float, ...]


@dataclass(frozen=True)
class Drawn:
    """One tote from tap to tank [degC]: as drawn, as it stands when the pump is plugged in, as it comes out of the hose."""

    drawn_c: float
    pumped_c: float
    arrives_c: float


@dataclass(frozen=True)
class Heat:
    """wanted_c: of the refill.  totes: each on its way, drawn so much warmer as it loses, as far as that may be.  blends and
    tappings: likewise.

    supply: of the store without a pause; next_tote_min: minutes after the last tote until there could be another one.
    step_k: how far the tank moves; largest_share: that keeps the limit for it; slow_fill_min: minutes in which the step
    would keep to the limit an hour; recovery: to the temperature before.  effects: what each reading is worth.
    """

    times: Timing
    wanted_c: float
    totes: tuple[Drawn, ...]
    blends: tuple[Blend, ...]
    tappings: tuple[Tapping, ...]
    supply: Supply
    next_tote_min: float
    step_k: float
    largest_share: float
    slow_fill_min: float
    recovery: Recovery
    effects: tuple[Effect, ...]

    @property
    def drawn_c(self) -> tuple[float, ...]:
        """Temperature to draw, tote by tote."""
        return tuple(tote.drawn_c for tote in self.totes)

    @property
    def lost_k(self) -> tuple[float, ...]:
        """What each tote loses on its way."""
        return tuple(tote.drawn_c - tote.arrives_c for tote in self.totes)

    @property
    def arrives_c(self) -> float:
        """Mean temperature at which the totes come out of the hose."""
        return sum(tote.arrives_c for tote in self.totes) / len(self.totes)


def timing(flows: Flows, totes: int, ready_min: float, before_drain_min: float, jobs_min: float) -> Timing:
    """ready_min: from tap to a tote that may meet fish; before_drain_min: from there to the pump's start for the first
    tote; jobs_min: work while the level is low."""
    fill = flows.fill.total
    first = ready_min + before_drain_min + flows.drain.total.predicted + jobs_min
    soonest = ready_min + before_drain_min + flows.drain.total.early
    standing = (first, *[ready_min] * (totes - 1))
    pauses = (soonest + fill.early, *[ready_min + fill.early] * (totes - 2)) if totes > 1 else ()
    return Timing(standing, pauses)


def heat_of(household: Household, tank: Tank, flows: Flows, tote_l: float, times: Timing, share: float) -> Heat:
    """Every figure about heat; share: of the tank that is changed.

    Raises NoAnswer where no blend or store can do it.
    """
    refill_c, hot, cold_c = tank.refill_c, household.hot_water, household.tap.temperature_c
    store = Store(hot.store_l, hot.temperature_c, cold_c, hot.heater_power_kw)
    flow = household.tap.flow_l_min
    on_the_way = tuple(_drawn(household, tank, flows, tote_l, standing) for standing in times.standing_min)
    drawn_c = tuple(tote.drawn_c for tote in on_the_way)
    totes = _wanted(household, store, tote_l, drawn_c)
    draws = tuple(tappings(store, totes, flow, times.pauses_min))
    blends = _blends(household, tote_l, drawn_c, draws)
    before_c = tank.readings.temperature_c
    arrives = sum(tote.arrives_c for tote in on_the_way) / len(on_the_way)
    after_c = mixed_c(before_c, arrives, share)
    step_k = after_c - before_c
    rate = reference.value("limits", "temperature_rate")
    first = blends[0]
    return Heat(
        times=times,
        wanted_c=refill_c,
        totes=on_the_way,
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


def _drawn(household: Household, tank: Tank, flows: Flows, tote_l: float, standing_min: float) -> Drawn:
    """What to draw and what comes of it; the refill's own where room or tote are not known well enough to tell the loss."""
    height_m, wanted_c = household.tote_level_m(tote_l), tank.refill_c
    if household.room_temperature_c is None or height_m <= 0:
        return Drawn(wanted_c, wanted_c, wanted_c)
    vessel = household.vessel()
    tub = Tub(tote_l, height_m, vessel.tub_kj_k)
    way = Way(standing_min, flows.fill.total.predicted, household.hose.hose())
    room = Room(household.room_temperature_c, household.room_humidity)
    coldest_c, warmest_c = household.tap.temperature_c, min(_warmest_c(wanted_c), household.hot_water.temperature_c)
    if (comes_c := arrives_c(warmest_c, tub, way, room)) <= wanted_c:
        drawn_c = warmest_c
    elif (comes_c := arrives_c(coldest_c, tub, way, room)) >= wanted_c:
        drawn_c = coldest_c
    else:
        drawn_c, comes_c = to_arrive_c(wanted_c, tub, way, room), wanted_c
    return Drawn(drawn_c, after_waiting_c(drawn_c, standing_min, tub, room), comes_c)


def _warmest_c(wanted_c: float) -> float:
    """How warm a tote may be drawn: the loss is not made up for beyond that."""
    above_k, warmest_c = (reference.value("limits", key) for key in ("tote_above_arrival", "tote_warmest"))
    return max(min(wanted_c + above_k, warmest_c), wanted_c)


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
