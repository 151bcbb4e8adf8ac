"""What the planner computes of one change, before guards and steps read it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from tapwright.chemistry.change.heat.blending import Blend
from tapwright.chemistry.change.hydraulics.pumping import Minutes
from tapwright.chemistry.change.nitrate.dilution import NitrateCourse
from tapwright.chemistry.dosing.neutralise import Neutralisation
from tapwright.chemistry.dosing.premix.premix import Premix
from tapwright.chemistry.dosing.recipe.conflicts import Conflict
from tapwright.chemistry.dosing.recipe.remineralise import Recipe
from tapwright.chemistry.plan.figures.flows import Flows
from tapwright.chemistry.plan.figures.heat import Heat
from tapwright.chemistry.plan.household.household import Household, Tank
from tapwright.chemistry.plan.household.tables import NeutraliserTable
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import Equilibrium, most_alkaline
from tapwright.chemistry.water.target import Target


@dataclass(frozen=True)
class Jobs:
    """What else is meant to be done today, and how many days ago it was last done (None: not known)."""

    clean_substrate: bool = False
    service_filter: bool = False
    days_since_substrate: int | None = None
    days_since_filter: int | None = None


@dataclass(frozen=True)
class Totes:
    """How many totes of refill, and the litres in each."""

    count: int
    volume_l: float

    @classmethod
    def of(cls, volume_l: float, tote_l: float) -> Totes:
        """As few equal ones as hold this much refill."""
        count = max(math.ceil(volume_l / tote_l - 1e-9), 1)
        return cls(count, volume_l / count)


@dataclass(frozen=True)
class Waters:
    """The four waters of a change."""

    tap: Water
    refill: Water
    tank_before: Water
    tank_after: Water


@dataclass(frozen=True)
class State:
    """One water at equilibrium: at once, None where its pH is not known; at rest; and aired by the room until it is at rest.

    A tank at rest keeps the CO2 that its stock gives it; any other water is at rest once it is aired.
    ph_spread: give or take of a pH at once that was computed, for the errors of the tests behind it; None if unknown.
    """

    at_once: Equilibrium | None
    at_rest: Equilibrium
    aired: Equilibrium
    ph_spread: float | None = None

    @property
    def first(self) -> Equilibrium:
        """At once where that is known, else at rest."""
        return self.at_once or self.at_rest

    @property
    def most_alkaline(self) -> Equilibrium:
        """Where the pH is highest: ammonia is most poisonous and calcium carbonate least soluble there."""
        return most_alkaline(self.at_rest, self.at_once, self.aired)


@dataclass(frozen=True)
class States:
    """The four waters of a change at equilibrium."""

    tap: State
    refill: State
    tank_before: State
    tank_after: State


@dataclass(frozen=True)
class NeutraliserDose:
    """A neutraliser and its dose as measured out: for one tote, rounded up to what can be measured, and for all.

    dose: of one tote, with what the measured amount leaves behind.  per_tote_g is None for a label's millilitres,
    per_tote_ml for grams of the dry agent.
    """

    entry: NeutraliserTable
    dose: Neutralisation
    per_tote_g: float | None
    per_tote_ml: float | None
    totes: int

    @property
    def in_all_g(self) -> float | None:
        """Grams for all totes."""
        return None if self.per_tote_g is None else self.totes * self.per_tote_g

    @property
    def in_all_ml(self) -> float | None:
        """Millilitres for all totes."""
        return None if self.per_tote_ml is None else self.totes * self.per_tote_ml

    @property
    def short(self) -> bool:
        """Whether the cupboard holds less than is needed."""
        stock_g = self.entry.stock_g
        return stock_g is not None and self.in_all_g is not None and self.in_all_g > stock_g


@dataclass(frozen=True)
class Salting:
    """Salts of the whole refill, made of `bare` (tap water, neutralised); why they miss a band (None: they miss none);
    and how those of one tote get into it.
    """

    recipe: Recipe
    conflict: Conflict | None
    premix: Premix
    bare: Water
    totes: int

    @property
    def deionised_l(self) -> float:
        """Deionised water for the buckets of all totes."""
        return self.totes * self.premix.deionised_l

    @property
    def per_tote_g(self) -> dict[str, float]:
        """Grams for one tote, by name."""
        return {name: grams / self.totes for name, grams in self.recipe.grams.items()}


@dataclass(frozen=True)
class Figures:
    """Every figure of one change.

    change_share of the live water; share_from: 'nitrate ceiling' or 'given'.  neutraliser: None where the tap has no
    chlorine; short_neutraliser: a better one there is too little of.  nitrate: courses at 10 points less, this share, 10
    more.  flows, heat: minutes of the hose, and what is drawn from the taps.  tap_minutes: to draw one tote.
    """

    household: Household
    tank: Tank
    target: Target
    change_share: float
    share_from: str
    change_volume_l: float
    refill_temperature_c: float
    totes: Totes
    neutraliser: NeutraliserDose | None
    short_neutraliser: NeutraliserDose | None
    salting: Salting
    waters: Waters
    states: States
    nitrate: tuple[NitrateCourse, ...]
    flows: Flows
    heat: Heat
    tap_minutes: float
    jobs: Jobs

    @property
    def drain_minutes(self) -> Minutes:
        """Minutes to drain, in all."""
        return self.flows.drain.total

    @property
    def pump_minutes(self) -> Minutes:
        """Minutes to pump one tote into the tank."""
        return self.flows.fill.total

    @property
    def hot_waits_min(self) -> tuple[float, ...]:
        """For every tote, how long the hot store must heat first."""
        return tuple(tapping.wait_min for tapping in self.heat.tappings)

    @property
    def recipe(self) -> Recipe:
        """Salts of the whole refill."""
        return self.salting.recipe

    @property
    def salts_per_tote_g(self) -> Mapping[str, float]:
        """Grams for one tote, by name."""
        return self.salting.per_tote_g

    @property
    def blend(self) -> Blend:
        """Hot and cold of all totes together."""
        hot_l = sum(blend.hot_l for blend in self.heat.blends)
        cold_l = sum(blend.cold_l for blend in self.heat.blends)
        return Blend(hot_l, cold_l, self.refill_temperature_c, hot_l / (hot_l + cold_l), self.change_volume_l)

    @property
    def course(self) -> NitrateCourse:
        """Nitrate at the share of this plan."""
        return next(course for course in self.nitrate if course.change_share == self.change_share)

    def tank_c_before_tote(self, number: int) -> float:
        """What the tank's thermometer should read [degC] before this tote is pumped in: what is left, and the totes so far."""
        left_l, brought_l = self.tank.live_volume_l - self.change_volume_l, (number - 1) * self.totes.volume_l
        before_c = self.tank.readings.temperature_c
        return (left_l * before_c + brought_l * self.heat.arrives_c) / (left_l + brought_l)

    @property
    def low_level_m(self) -> float:
        """Water level above the tank's bottom once drained."""
        return self.tank.water_height_m * (1 - self.change_share)

    @property
    def spare_l(self) -> float:
        """Litres between the usual level and the overflow."""
        free_m = self.tank.overflow_height_m - self.tank.water_height_m
        return self.tank.live_volume_l * free_m / self.tank.water_height_m

    @property
    def spare_minutes(self) -> float:
        """Minutes of pumping, at its fastest, from the usual level to the overflow."""
        return self.spare_l * self.pump_minutes.early / self.totes.volume_l
