"""How sure a plan is: the errors of every reading carried through it at once, in one vectorised pass.

The plan stands as it was made: litres, grams and minutes are those of its steps. What the readings leave open is drawn many
times, and for each draw it is computed what these litres, grams and minutes really come to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tapwright.chemistry import reference
from tapwright.chemistry.change.heat.blending import blend_of_volumes
from tapwright.chemistry.change.hydraulics.pumping import Minutes
from tapwright.chemistry.change.nitrate.dilution import after_change, settled_peak
from tapwright.chemistry.errors import OutOfRange
from tapwright.chemistry.plan.figures.records import Figures
from tapwright.chemistry.plan.readings_off import (
    LEAST_SPAN_K,
    NINE_OF_TEN,
    Array,
    Draws,
    Off,
    Truth,
    truths,
    weighed_factors,
)
from tapwright.chemistry.water.ammonia import chronic_criterion_mg_n_l
from tapwright.chemistry.water.composition import Water, dgh_per_mmol
from tapwright.chemistry.water.equilibrium import Equilibrium, at_air, at_carbon, at_ph

DRAWS = 10_000


@dataclass(frozen=True)
class Range:
    """One figure: as planned, and its 90 % range."""

    figure: str
    unit: str
    planned: float
    low: float
    high: float


@dataclass(frozen=True)
class Chance:
    """How likely a limit is crossed."""

    code: str
    text: str
    limit: float
    unit: str
    chance: float


@dataclass(frozen=True)
class Worth:
    """A reading, and its part (0 to 1) in what makes the plan's limits doubtful."""

    reading: str
    part: float


@dataclass(frozen=True)
class Confidence:
    """ranges: of every figure.  chances: of every limit, the likeliest first.  readings: the one most worth a second test
    first.  left_out: why some figures are missing; empty where none are."""

    draws: int
    ranges: tuple[Range, ...]
    chances: tuple[Chance, ...]
    readings: tuple[Worth, ...]
    left_out: str


@dataclass(frozen=True)
class _Limit:
    """A figure held against a limit; crossed above it, or below it."""

    code: str
    text: str
    values: Draws
    limit: float
    unit: str
    above: bool = True

    @property
    def crossed(self) -> Draws:
        """Where the limit is crossed."""
        return self.values > self.limit if self.above else self.values < self.limit


def confidence(figures: Figures, draws: int = DRAWS) -> Confidence:
    """Ranges, chances and the readings that matter of one plan; `draws` of them, at least 100."""
    off = Off(max(draws, 100))
    truth = truths(figures, off)
    found: Found = {}
    limits: list[_Limit] = []
    _nitrate(figures, truth, found, limits)
    _chlorine(figures, truth, off, found, limits)
    _warmth(figures, truth, off, found, limits)
    left_out = _waters(figures, truth, off, found, limits)
    _times(figures, off, found)
    ranges = tuple(
        Range(name, unit, planned, *(float(end) for end in np.quantile(values, (0.05, 0.95))))
        for name, (unit, planned, values) in found.items()
    )
    chances = [
        Chance(limit.code, limit.text, limit.limit, limit.unit, float(np.mean(limit.crossed))) for limit in limits
    ]
    return Confidence(off.draws, ranges, tuple(sorted(chances, key=lambda c: -c.chance)), _worth(off, limits), left_out)


Found = dict[str, tuple[str, float, Draws]]


def _nitrate(figures: Figures, truth: Truth, found: Found, limits: list[_Limit]) -> None:
    after: Any = after_change(truth.tank_nitrate_mg_l, truth.tap_nitrate_mg_l, truth.share)
    found["nitrate after the change"] = ("mg/L NO3", figures.course.after_mg_l, after)
    if figures.tank.nitrate_rise_mg_l is None:
        return
    before_next, settled = after + truth.rise_mg_l, settled_peak(truth.tap_nitrate_mg_l, truth.rise_mg_l, truth.share)
    found["nitrate before the next"] = ("mg/L NO3", figures.course.before_next_mg_l, before_next)
    found["nitrate settles at"] = ("mg/L NO3", figures.course.settled_peak_mg_l, settled)
    ceiling = figures.tank.nitrate_ceiling_mg_l
    limits.append(
        _Limit("nitrate_next", "nitrate over its ceiling before the next change", before_next, ceiling, "mg/L NO3")
    )
    limits.append(_Limit("nitrate_settled", "nitrate over its ceiling for good", settled, ceiling, "mg/L NO3"))


def _chlorine(figures: Figures, truth: Truth, off: Off, found: Found, limits: list[_Limit]) -> None:
    """Chlorine that the dose as measured leaves in a tote, before anybody tests for it."""
    chosen, total = figures.neutraliser, figures.waters.tap.total_chlorine_mg_l
    if chosen is None or total <= 0:
        return
    # The exact dose takes `total` with the excess on top; what is measured is a little more than that.
    exact, measured = (
        (chosen.dose.agent_g, chosen.per_tote_g)
        if chosen.per_tote_g is not None
        else (chosen.dose.solution_ml, chosen.per_tote_ml)
    )
    # A label's own figure has no excess on it.
    excess = chosen.entry.excess if chosen.entry.substance.dose_from == "stoichiometry" else 0.0
    takes = total * (1 + excess) * (measured or 0.0) / (exact or 1.0)
    takes = takes * off.factor("neutraliser: purity", "purity") / truth.tote_factor
    if chosen.per_tote_ml is None and chosen.per_tote_g:
        step_g = figures.household.scale.resolution_g * reference.value("kits", "scale")
        takes = takes * np.maximum(1 + off.by("scale: neutraliser", step_g / chosen.per_tote_g), 0.0)
    left = np.maximum(truth.chlorine_mg_l - takes, 0.0)
    found["chlorine left in the tote"] = ("mg/L", float(chosen.dose.chlorine_left_mg_l), left)
    limit = reference.value("limits", "chlorine_acute")
    limits.append(
        _Limit("chlorine_left", "chlorine left in the tote: the test after dosing decides", left, limit, "mg/L")
    )


def _warmth(figures: Figures, truth: Truth, off: Off, found: Found, limits: list[_Limit]) -> None:
    """Temperature of the refill by its marks alone, and what it does to the tank."""
    blend = figures.heat.blends[0]
    hot_l = blend.hot_l * off.factor("tote: mark of the hot water", "volume")
    cold_l = blend.cold_l * off.factor("tote: mark of the cold water", "volume")
    vessel = figures.household.vessel()
    room_c: Draws = vessel.tub_c + off.by("room: temperature", reference.value("kits", "room"))
    warmer_k = figures.heat.arrives_c - vessel.tub_c
    lost: Draws = (blend.temperature_c - figures.heat.arrives_c) + 0.0 * room_c
    if vessel.tub_mass_kg and warmer_k > 1:
        # What is lost goes with how much warmer than the room the refill is.
        lost = lost * (figures.heat.arrives_c - room_c) / warmer_k
        vessel = replace(vessel, tub_c=room_c)
    # From a store that runs out the first tote's hot water is planned cooler than the tap reads.
    cooler_k = figures.heat.tappings[0].hot_c - figures.household.hot_water.temperature_c
    hot_c = np.maximum(truth.hot_c + cooler_k, truth.cold_c + LEAST_SPAN_K)
    mixed: Any = blend_of_volumes(hot_l, cold_l, hot_c, truth.cold_c, vessel).temperature_c
    arrives = mixed - lost
    after = truth.tank_c + truth.share * (arrives - truth.tank_c)
    step = after - truth.tank_c
    found["refill by the marks alone"] = ("°C", figures.refill_temperature_c, arrives)
    found["step of the tank's temperature"] = ("°C", figures.heat.step_k, step)
    limit = reference.value("limits", "temperature_step")
    limits.append(_Limit("temperature_step", "the tank's temperature moved too far", np.abs(step), limit, "°C"))


def _waters(figures: Figures, truth: Truth, off: Off, found: Found, limits: list[_Limit]) -> str:
    """Hardness, alkalinity, pH, ammonia and clouding of refill and tank; says what had to be left out."""
    waters, bare = figures.waters, figures.salting.bare
    refill, tank = _refill(figures, truth, off), _tank(waters.tank_before, truth)
    dgh = dgh_per_mmol()
    mixed = _mixed(tank, refill, truth.share)
    for name, water, planned in (("refill", refill, waters.refill), ("tank after", mixed, waters.tank_after)):
        found[f"hardness, {name}"] = ("dGH", planned.hardness_dgh, np.asarray(water.hardness_mmol_l) * dgh)
        found[f"alkalinity, {name}"] = ("dKH", planned.alkalinity_dkh, np.asarray(water.alkalinity_meq_l) * dgh / 2)
    _bands(figures, refill, limits)
    more: Found = {}
    crossed: list[_Limit] = []
    try:
        _equilibria(figures, truth, bare, (tank, refill, mixed), more, crossed)
    except OutOfRange as error:
        return f"pH, ammonia and clouding are left out: some draws are no water ({error.faults[0].message})"
    found |= more
    limits += crossed
    return ""


def _refill(figures: Figures, truth: Truth, off: Off) -> Water:
    """The refill as it may be: the tap as it may be, and what the salts as weighed bring to it."""
    planned, bare = figures.waters.refill, figures.salting.bare
    factors = weighed_factors(figures, off)
    used = {entry.stocked().salt.name: entry.stocked() for entry in figures.household.salts}
    litres = figures.totes.volume_l * truth.tote_factor
    hardness, alkalinity = np.zeros_like(litres), np.zeros_like(litres)
    for name, grams in figures.salts_per_tote_g.items():
        item = used[name]
        brought = grams * item.purity * factors[name] / litres
        hardness = hardness + brought * item.salt.hardness_mmol_per_g()
        alkalinity = alkalinity + brought * item.salt.alkalinity_meq_per_g()
    of_agent = bare.alkalinity_meq_l - figures.waters.tap.alkalinity_meq_l
    hardness_mmol_l = truth.tap_hardness_mmol_l + hardness
    calcium = planned.calcium_mmol_l / planned.hardness_mmol_l if planned.hardness_mmol_l > 0 else 0.0
    chlorine = figures.waters.tap.total_chlorine_mg_l
    return replace(
        planned,
        calcium_mmol_l=hardness_mmol_l * calcium,
        magnesium_mmol_l=hardness_mmol_l * (1 - calcium),
        alkalinity_meq_l=truth.tap_alkalinity_meq_l + of_agent + alkalinity,
        nitrate_mg_l=truth.tap_nitrate_mg_l,
        ammonia_mg_n_l=planned.ammonia_mg_n_l * (truth.chlorine_mg_l / chlorine if chlorine > 0 else 1.0),
        ph=None,
        carbon_mmol_l=None,
    )


def _tank(water: Water, truth: Truth) -> Water:
    """The tank before the change as it may be."""
    calcium = water.calcium_mmol_l / water.hardness_mmol_l if water.hardness_mmol_l > 0 else 0.0
    return replace(
        water,
        calcium_mmol_l=truth.tank_hardness_mmol_l * calcium,
        magnesium_mmol_l=truth.tank_hardness_mmol_l * (1 - calcium),
        alkalinity_meq_l=truth.tank_alkalinity_meq_l,
        nitrate_mg_l=truth.tank_nitrate_mg_l,
        ammonia_mg_n_l=truth.tank_ammonia_mg_n_l,
        ph=None,
        carbon_mmol_l=None,
    )


_MIXED = ("calcium_mmol_l", "magnesium_mmol_l", "sodium_mmol_l", "potassium_mmol_l", "chloride_mmol_l", "sulfate_mmol_l",
          "alkalinity_meq_l", "nitrate_mg_l", "ammonia_mg_n_l")  # fmt: skip


def _mixed(tank: Water, refill: Water, share: Draws) -> Water:
    """Tank and refill together, by volume: their densities differ by less than a thousandth."""
    return replace(tank, **{name: (1 - share) * getattr(tank, name) + share * getattr(refill, name) for name in _MIXED})


def _bands(figures: Figures, refill: Water, limits: list[_Limit]) -> None:
    """The refill against its own bands of hardness and alkalinity."""
    dgh = dgh_per_mmol()
    for name, values, band, scale, unit in (
        ("hardness", refill.hardness_mmol_l, figures.target.hardness_mmol_l, dgh, "dGH"),
        ("alkalinity", refill.alkalinity_meq_l, figures.target.alkalinity_meq_l, dgh / 2, "dKH"),
    ):
        shown = np.asarray(values) * scale
        for side, limit, above in (("below", band.low, False), ("above", band.high, True)):
            if np.isfinite(limit) and limit > 0:
                said = f"the refill's {name} {side} its band"
                limits.append(_Limit(f"{name}_{side}", said, shown, limit * scale, unit, above))


def _equilibria(
    figures: Figures, truth: Truth, bare: Water, waters: tuple[Water, Water, Water], found: Found, limits: list[_Limit]
) -> None:
    """pH at rest and at once, un-ionised ammonia and the index of calcite."""
    tank, refill, mixed = waters
    states, room = figures.states, figures.household.times_air
    before = None if truth.tank_ph is None else at_ph(tank, truth.tank_ph)
    rest_air = float(states.tank_before.at_rest.co2_times_air) if before is None else before.co2_times_air
    aired, rest = at_air(refill, room), at_air(mixed, rest_air)
    found["pH of the refill at rest"] = ("", float(states.refill.at_rest.ph), _array(aired.ph))
    found["pH of the tank at rest"] = ("", float(states.tank_after.at_rest.ph), _array(rest.ph))
    found["calcite index of the refill"] = ("", float(states.refill.at_rest.si_calcite), _array(aired.si_calcite))
    planned_us_cm = float(states.tank_after.at_rest.conductivity_us_cm)
    found["conductivity, tank after"] = ("µS/cm", planned_us_cm, _array(rest.conductivity_us_cm))
    ends = [rest, at_air(mixed, room)]
    if before is not None and truth.tap_ph is not None and states.tank_after.at_once is not None:
        once = _at_once(figures, truth, bare, before, refill, mixed)
        ends.append(once)
        found["pH of the tank at once"] = ("", float(states.tank_after.at_once.ph), _array(once.ph))
        step = np.abs(_array(once.ph) - truth.tank_ph)
        limits.append(
            _Limit("ph_step", "the tank's pH moved too far", step, reference.value("limits", "ph_step"), "pH")
        )
    ammonia = np.asarray(mixed.ammonia_mg_n_l)
    # Judged where the pH is highest, as the plan does.
    worst_share = np.max([_array(end.unionised_ammonia_share) for end in ends], axis=0)
    worst_ph = np.max([_array(end.ph) for end in ends], axis=0)
    planned = figures.waters.tank_after.ammonia_mg_n_l * float(states.tank_after.most_alkaline.unionised_ammonia_share)
    found["un-ionised ammonia at most"] = ("mg/L N", planned, ammonia * worst_share)
    # Held against its own criterion in every draw, as that moves with the pH: crossed where the ratio passes 1.
    ratio = ammonia / chronic_criterion_mg_n_l(worst_ph, truth.tank_c)
    limits.append(_Limit("ammonia", "ammonia over its thirty-day criterion", ratio, 1.0, "times the criterion"))
    calm = reference.value("limits", "calcite_calm")
    limits.append(
        _Limit("clouding", "the refill's calcite index where it may cloud", _array(aired.si_calcite), calm, "")
    )


def _at_once(
    figures: Figures, truth: Truth, bare: Water, before: Equilibrium, refill: Water, mixed: Water
) -> Equilibrium:
    """The tank just after the change, closed to the air: carbon is conserved."""
    tap = replace(bare, ammonia_mg_n_l=0.0, alkalinity_meq_l=truth.tap_alkalinity_meq_l, ph=None, carbon_mmol_l=None)
    planned = figures.waters.tap
    tap_carbon = at_ph(replace(tap, temperature_c=planned.temperature_c), truth.tap_ph).carbon_mmol_l
    # A bicarbonate brings carbon with its alkalinity: what is weighed too little of is short of both.
    brought: Draws = (
        refill.alkalinity_meq_l - truth.tap_alkalinity_meq_l - (bare.alkalinity_meq_l - planned.alkalinity_meq_l)
    )
    meant = figures.waters.refill.alkalinity_meq_l - bare.alkalinity_meq_l
    salts: Draws = (figures.waters.refill.carbon_mmol_l or 0.0) - (bare.carbon_mmol_l or 0.0)
    if meant > 0:
        salts = salts * brought / meant
    carbon = (1 - truth.share) * before.carbon_mmol_l + truth.share * (tap_carbon + salts)
    return at_carbon(replace(mixed, temperature_c=figures.waters.tank_after.temperature_c), carbon)


def _times(figures: Figures, off: Off, found: Found) -> None:
    """Minutes between their early and late bounds."""
    fill = figures.pump_minutes
    whole = Minutes(*(figures.totes.count * end for end in (fill.early, fill.predicted, fill.late)))
    for name, minutes in (("minutes to drain", figures.drain_minutes), ("minutes of filling", whole)):
        if minutes.predicted > 0:
            z = off.of(f"hose: {name}")
            # Predicted in the middle; early and late are no more alike than they are given.
            slower, sooner = np.log(minutes.late / minutes.predicted), np.log(minutes.predicted / minutes.early)
            spread = np.asarray(np.where(z > 0, slower, sooner)) / NINE_OF_TEN
            found[name] = ("min", minutes.predicted, minutes.predicted * np.exp(spread * z))


def _worth(off: Off, limits: Sequence[_Limit]) -> tuple[Worth, ...]:
    """Each reading's part in the doubt about the limits.

    A limit is the more in doubt the nearer it lies to the middle of its figure, in standard deviations of that; of the doubt
    about one, a reading makes the square of its correlation with the figure. One matrix product finds them all.
    """
    names = list(off.errors)
    errors = np.stack([off.errors[name] for name in names])
    parts = np.zeros(len(names))
    for limit in limits:
        sd = float(np.std(limit.values))
        if sd <= 1e-12 * max(abs(limit.limit), 1e-12):
            continue
        distance = abs(limit.limit - float(np.median(limit.values))) / sd
        correlation = errors @ (limit.values - np.mean(limit.values)) / (off.draws * sd * np.std(errors, axis=1))
        parts += np.exp(-(distance**2) / 2) * correlation**2
    whole = float(np.sum(parts)) or 1.0
    return tuple(
        sorted(
            (Worth(name, float(part) / whole) for name, part in zip(names, parts, strict=True)), key=lambda w: -w.part
        )
    )


def _array(values: Any) -> Array:
    return np.asarray(values, dtype=float)
