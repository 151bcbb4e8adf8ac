"""What must be so of every finished plan, whatever the household: one small law each, in plain arithmetic of its own.

A law takes the household and its plan and says, in words, what is not so. It may read the tables, but calls nothing of
the planner: what both had wrong would look right. To add one, write it here, or where it belongs, and name it in `LAWS`.
"""

from __future__ import annotations

import json
import math
import re
import time
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from random import Random
from typing import Any

from tapwright.chemistry import reference
from tapwright.chemistry.errors import OutOfRange, TapwrightError
from tapwright.chemistry.plan.figures.records import Jobs
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.planner import Plan
from tapwright.chemistry.plan.planner import plan as plan_of
from tapwright.chemistry.record import plain
from tapwright.chemistry.substances import agents, molar_mass, salts
from tapwright.chemistry.water.composition import CONSERVED
from tapwright.cli.commands.plan import _result

from . import Seen
from .contradictions import contradictions
from .households import drawn, wish
from .limits import no_limit_is_passed

Law = Callable[[Household, Plan], list[str]]

_KJ_KG_K = 4.18
# Mixing warm and cool water contracts it by less than this, and so does what is dissolved in it.
_CONTRACTION = 2e-3
_BLEND_K = 0.3
_OVERDOSE = 11  # ten times on top of what is needed
_MULTIPLE = 1e-6


def _off(what: str, found: float, wanted: float, *, rel: float = 1e-9, abs_: float = 1e-9) -> list[str]:
    near = math.isclose(found, wanted, rel_tol=rel, abs_tol=abs_)
    return [] if near else [f"{what} is {found:g} and should be {wanted:g}"]


def _stopped(plan: Plan) -> bool:
    return any(finding.level == "stop" for finding in plan.findings)


def _live_l(plan: Plan) -> float:
    tank = plan.figures.tank
    full_l = tank.volume_l or 1000 * (tank.length_m or 0) * (tank.width_m or 0) * tank.water_height_m
    return full_l * tank.live_water


def _kg_l(celsius: float) -> float:
    """Density of water, Kell's fit in the form of Maidment's handbook; good to 0.001 from 0 to 90 degC."""
    return 1 - (celsius + 288.9414) * (celsius - 3.9863) ** 2 / (508929.2 * (celsius + 68.12963))


# --- volumes, masses, heat ------------------------------------------------------------------------------------------


def volumes_add_up(household: Household, plan: Plan) -> list[str]:
    figures = plan.figures
    totes, share = figures.totes, figures.change_share
    wrong = [] if 0 < share <= 0.9 else [f"the share is {share:g}"]
    wrong += _off("the change", figures.change_volume_l, share * _live_l(plan))
    wrong += _off("the totes together", totes.count * totes.volume_l, figures.change_volume_l)
    wrong += _off("the low level", figures.low_level_m, figures.tank.water_height_m * (1 - share))
    if totes.volume_l > household.tote.volume_l * (1 + 1e-9):
        wrong.append(f"{totes.volume_l:g} L do not go into a tote of {household.tote.volume_l:g} L")
    counted = len(figures.heat.blends), len(figures.heat.drawn_c), len(figures.heat.tappings)
    return wrong + ([] if set(counted) == {totes.count} else [f"{totes.count} totes, but {counted} draws"])


def hot_and_cold_make_the_tote(household: Household, plan: Plan) -> list[str]:
    """By mass, and by heat: what is poured together stands where the thermometer is to stand."""
    wrong, cold_c, tub = [], household.tap.temperature_c, household.vessel()
    heat = plan.figures.heat
    for number, (blend, drawn_c, tapping) in enumerate(zip(heat.blends, heat.drawn_c, heat.tappings, strict=True), 1):
        hot_kg, cold_kg = blend.hot_l * _kg_l(tapping.hot_c), blend.cold_l * _kg_l(cold_c)
        wanted_kg = plan.figures.totes.volume_l * _kg_l(drawn_c)
        wrong += _off(f"the mass of tote {number}", hot_kg + cold_kg, wanted_kg, rel=2e-3)
        tub_kg = tub.tub_mass_kg * reference.value("practice", "tub_heat_capacity") / _KJ_KG_K if number == 1 else 0.0
        kg_k = hot_kg * tapping.hot_c + cold_kg * cold_c + tub_kg * tub.tub_c
        mixed_c = kg_k / (hot_kg + cold_kg + tub_kg)
        wrong += _off(f"the blend of tote {number}", drawn_c, mixed_c, abs_=_BLEND_K)
        if tapping.hot_c > household.hot_water.temperature_c + 1e-6:
            wrong.append(f"the hot tap gives {tapping.hot_c:g} °C out of {household.hot_water.temperature_c:g}")
    return wrong


def the_tank_before_is_as_read(household: Household, plan: Plan) -> list[str]:
    read, before, tap = plan.figures.tank.readings, plan.figures.waters.tank_before, plan.figures.waters.tap
    wrong = []
    for name, said, water in (("tank", read, before), ("tap", household.tap, tap)):
        for key in ("nitrate_mg_l", "alkalinity_meq_l", "hardness_mmol_l", "temperature_c"):
            if (given := getattr(said, key)) is not None:
                # Hardness may be read twice over, once as its ions.
                wrong += _off(f"{key} of the {name}", getattr(water, key), given, rel=0.01 if key[0] == "h" else 1e-6)
    return wrong


def mixing_conserves(household: Household, plan: Plan) -> list[str]:
    """The tank after the change is so much of the old water and so much refill, in every substance and in heat."""
    share, waters = plan.figures.change_share, plan.figures.waters
    wrong = []
    for name in (*CONSERVED, "hardness_mmol_l", "temperature_c"):
        before, refill = getattr(waters.tank_before, name), getattr(waters.refill, name)
        mixed, slack = (1 - share) * before + share * refill, 0.15 if name == "temperature_c" else 1e-9
        wrong += _off(f"{name} after", getattr(waters.tank_after, name), mixed, rel=_CONTRACTION, abs_=slack)
    return wrong


@cache
def _ions_per_gram(name: str) -> Mapping[str, float]:
    """mmol of each ion in a gram of a salt, by its formula and its ions alone."""
    made_of = salts()[name]
    return {ion: 1000 * count / molar_mass(made_of.formula) for ion, count in made_of.ions.items()}


def salts_make_the_refill(household: Household, plan: Plan) -> list[str]:
    """Tap, what the neutraliser leaves, grams of salts, and deionised water in buckets are the refill."""
    figures = plan.figures
    purity = {entry.name.name: entry.purity or 1.0 for entry in household.salts}
    added = dict.fromkeys(("Ca", "Mg", "Na", "K", "Cl", "SO4", "HCO3", "CO3"), 0.0)
    for name, grams in figures.recipe.grams.items():
        for ion, mmol in _ions_per_gram(name).items():
            added[ion] += grams * purity[name] * mmol / figures.change_volume_l
    buckets_l = sum(bucket.volume_l for bucket in figures.salting.premix.buckets if bucket.water == "deionised water")
    tap_share = 1 - buckets_l / figures.totes.volume_l
    tap, refill, bare = figures.waters.tap, figures.waters.refill, figures.salting.bare
    comes_of = {
        "hardness_mmol_l": tap.hardness_mmol_l * tap_share + added["Ca"] + added["Mg"],
        "nitrate_mg_l": tap.nitrate_mg_l * tap_share,
        "alkalinity_meq_l": bare.alkalinity_meq_l * tap_share + added["HCO3"] + 2 * added["CO3"],
    }
    for name, ion in (("sodium", "Na"), ("potassium", "K"), ("chloride", "Cl"), ("sulfate", "SO4")):
        comes_of[f"{name}_mmol_l"] = getattr(bare, f"{name}_mmol_l") * tap_share + added[ion]
    thinned = 1e-6 if buckets_l == 0 else _CONTRACTION
    return [
        text for name, amount in comes_of.items()
        for text in _off(f"the refill's {name}", getattr(refill, name), amount, rel=thinned, abs_=1e-6)
    ]  # fmt: skip


# --- doses ------------------------------------------------------------------------------------------------------------


def neutraliser_suffices(household: Household, plan: Plan) -> list[str]:
    """At least what the chlorine takes, and not ten times that on top without a stop; none where there is none."""
    chosen, total = plan.figures.neutraliser, household.tap.total_chlorine_mg_l
    if chosen is None:
        return ["the tap has chlorine and the plan no neutraliser"] if total > 0 else []
    agent = agents()[chosen.entry.substance.name]
    if agent.dose_from == "label" or chosen.per_tote_g is None:
        return []
    row = reference.table("agents")[agent.name]
    moles = total / 1000 * plan.figures.totes.volume_l / molar_mass("Cl2")
    needed_g = moles * float(row["moles_per_mole_cl2"]) * molar_mass(row["formula"]) / (chosen.entry.purity_given or 1)
    asked_g = needed_g * (1 + (chosen.entry.excess_given or 0))
    if chosen.per_tote_g < asked_g * (1 - 1e-6):
        return [f"{chosen.per_tote_g:g} g of {agent.name} where {asked_g:g} are needed"]
    if chosen.per_tote_g > asked_g * _OVERDOSE and not _stopped(plan):
        return [f"{chosen.per_tote_g:g} g of {agent.name} where {asked_g:g} do, and no stop"]
    return []


def amounts_can_be_weighed(household: Household, plan: Plan) -> list[str]:
    """Whole steps of the scale for every tote; millilitres by tenths."""
    figures, step = plan.figures, household.scale.resolution_g
    weighed = {name: (grams, step) for name, grams in figures.salts_per_tote_g.items()}
    if (chosen := figures.neutraliser) is not None:
        if chosen.per_tote_ml is not None:
            if chosen.entry.solution_g_l is not None or chosen.per_tote_g is None:
                weighed["mL of neutraliser"] = (chosen.per_tote_ml, 0.1)
        elif chosen.per_tote_g is not None:
            weighed["neutraliser"] = (chosen.per_tote_g, step)
    return [
        f"{amount:g} of {name} is no multiple of {size:g}"
        for name, (amount, size) in weighed.items()
        if abs(amount / size - round(amount / size)) > _MULTIPLE * max(amount / size, 1) or amount <= 0
    ]


def the_cupboard_holds_it(household: Household, plan: Plan) -> list[str]:
    """Nothing is taken that is not in stock, or a stop says so."""
    stocks = {entry.name.name: entry.stock_g for entry in household.salts}
    wanted = dict(plan.figures.recipe.grams)
    if (chosen := plan.figures.neutraliser) is not None and chosen.per_tote_g is not None and not _stopped(plan):
        stocks["neutraliser"], wanted["neutraliser"] = (
            chosen.entry.stock_g,
            chosen.per_tote_g * plan.figures.totes.count,
        )
    return [
        f"{grams:g} g of {name} are planned and {stocks[name]:g} g in stock"
        for name, grams in wanted.items()
        if (stock := stocks[name]) is not None and grams > stock * (1 + 1e-9)
    ]


# --- steps ------------------------------------------------------------------------------------------------------------


def steps_stand_in_order(household: Household, plan: Plan) -> list[str]:
    """Ids once each, what must be before named earlier, and nothing begins before what stands above it."""
    seen: list[str] = []
    wrong, last = [], 0.0
    for step in plan.steps:
        wrong += [f"{step.id} stands twice"] * (step.id in seen)
        wrong += [f"{step.id} comes after {other}, which is not earlier" for other in step.after if other not in seen]
        if step.start_minute < last - 1e-9 or step.minutes < 0:
            wrong.append(f"{step.id} begins at {step.start_minute:g} for {step.minutes:g}, after {last:g}")
        seen, last = [*seen, step.id], step.start_minute
    return wrong


def _before(totes: int, neutralised: bool) -> Iterator[tuple[str, str]]:
    """What must be over before what begins."""
    yield from (("test_tap", "tote_1_fill"), ("heater_off", "heater_cooled"), ("heater_cooled", "drain_start"))
    yield from (("filter_off", "drain_start"), ("outflow_secured", "drain_start"), ("drain_end", "inflow_secured"))
    yield from (("fill_end", "filter_on"), ("fill_end", "heater_on"))
    for number in range(1, totes + 1):
        tote = f"tote_{number}"
        yield from (
            (f"{tote}_fill", f"{tote}_check"),
            (f"{tote}_check", f"{tote}_pump"),
            ("inflow_secured", f"{tote}_pump"),
        )
        if neutralised:
            yield from ((f"{tote}_fill", f"{tote}_neutralise"), (f"{tote}_neutralise", f"{tote}_check"))
    if neutralised:
        yield "tote_1_neutralise", "drain_start"


def what_protects_comes_first(household: Household, plan: Plan) -> list[str]:
    """Neutraliser before any pump into the tank; heaters and filter off before the drain and on after the fill."""
    at = {step.id: step for step in plan.steps}
    pairs = list(_before(plan.figures.totes.count, household.tap.total_chlorine_mg_l > 0))
    absent = {step for pair in pairs for step in pair} - at.keys()
    wrong = [f"{step} is missing" for step in sorted(absent)]
    for first, then in pairs:
        if not {first, then} & absent and at[first].end_minute > at[then].start_minute + 1e-9:
            wrong.append(f"{first} is not over before {then}")
    cooled = at["heater_cooled"].start_minute - at["heater_off"].end_minute
    if cooled < reference.value("practice", "cooling_minutes") - 1e-6:
        wrong.append(f"heaters cool for {cooled:g} minutes")
    holds = ("test_tap", "heater_off", "heater_cooled", "filter_off", "drain_end", "fill_end", "heater_on")
    unheld = [key for key in at if (key in holds or key.endswith("_neutralise")) and not at[key].hold]
    return wrong + [f"{key} need not be confirmed" for key in unheld]


def a_stop_says_what_to_do(household: Household, plan: Plan) -> list[str]:
    """More than what is wrong: a word that tells a thing to do; and the first step repeats it all.

    What stands in the way of a band that is missed is said of all of them together.
    """
    stops = [finding for finding in plan.findings if finding.level == "stop"]
    told = {stop.code for stop in stops if _TO_DO.search(stop.text)}
    told |= {"band_missed"} if "bands_conflict" in told else set()
    wrong = [f"stop {stop.code} names nothing to do: {stop.text}" for stop in stops if stop.code not in told]
    first = plan.steps[0]
    if stops and (first.id != "resolve" or any(stop.text not in first.text for stop in stops)):
        wrong.append("the first step does not repeat every stop")
    return wrong + (["a step to resolve nothing"] if first.id == "resolve" and not stops else [])


_TO_DO = re.compile(
    r"(?i)\b(add|buy|change|choose|cover|dose|draw|fill|give|have|leave|let|lower|make|measure|plan|put|raise|repeat|spread|take|"
    r"test|use|wait|warm|write|without|brings?|clears?|would)\b"
)


# --- figures ----------------------------------------------------------------------------------------------------------

# Where nothing ever happens, it happens after an endless time or takes an endless amount.
_ENDLESS = ("cycle.", "supply.", "next_tote_min", "findings.", ".missed", ".conflict", ".reached", "target.", "si_")
# What may lie below nothing: differences, indices, charges, lifts, and bands without a lower end.
_SIGNED = ("si_", "step_k", "moves_k", "lift", "alkalinity", "charge", "saturation", "findings.", "target.", "other_order",
           ".missed", ".reached", ".conflict", "temperature_c", "ph", "log", "error", "room", "days")  # fmt: skip


def nothing_is_endless_or_less_than_nothing(household: Household, plan: Plan) -> list[str]:
    wrong = []
    for place, number in _numbers(plan, ""):
        if math.isnan(number) or (math.isinf(number) and not any(part in place for part in _ENDLESS)):
            wrong.append(f"{place} is {number}")
        elif number < -1e-9 and not any(part in place for part in _SIGNED):
            wrong.append(f"{place} is {number:g}")
    return wrong


def _numbers(value: Any, place: str) -> Iterator[tuple[str, float]]:
    """Every number in a record, by its place; the household's own figures left out."""
    if isinstance(value, bool | str) or value is None:
        return
    if is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            yield from _numbers(getattr(value, field.name), f"{place}.{field.name}")
    elif isinstance(value, Mapping):
        for key, entry in value.items():
            yield from _numbers(entry, f"{place}.{key}")
    elif isinstance(value, Sequence):
        for entry in value:
            yield from _numbers(entry, place)
    elif hasattr(value, "tolist"):
        yield from _numbers(value.tolist(), place)
    elif isinstance(value, int | float):
        yield place, float(value)


def early_is_not_after_late(household: Household, plan: Plan) -> list[str]:
    flows = plan.figures.flows
    times = {"drain": flows.drain.total, "fill": flows.fill.total} | {mark.event: mark.minutes for mark in flows.marks}
    slack = 1 + 1e-6
    return [
        f"{name}: {minutes.early:g}, {minutes.predicted:g}, {minutes.late:g} minutes"
        for name, minutes in times.items()
        if not minutes.early <= minutes.predicted * slack <= minutes.late * slack**2
    ]


LAWS: tuple[Law, ...] = (
    volumes_add_up,
    hot_and_cold_make_the_tote,
    the_tank_before_is_as_read,
    mixing_conserves,
    salts_make_the_refill,
    neutraliser_suffices,
    amounts_can_be_weighed,
    the_cupboard_holds_it,
    steps_stand_in_order,
    what_protects_comes_first,
    a_stop_says_what_to_do,
    nothing_is_endless_or_less_than_nothing,
    early_is_not_after_late,
    contradictions,
    no_limit_is_passed,
)


def broken(household: Household, plan: Plan) -> list[str]:
    """Everything that is not so, each with the name of its law."""
    return [f"{law.__name__}: {text}" for law in LAWS for text in law(household, plan)]


# --- the attack -------------------------------------------------------------------------------------------------------

SLOW_S = 5.0  # of the processor: a person asks again before that
_TWICE = 5  # one household in so many is planned twice


def attack(key: str) -> Seen:
    """Draws a household, plans a change in it, and holds the plan to every law."""
    random = Random(key)
    return attacked(drawn(random), *wish(random), random.randrange(_TWICE) == 0)


def attacked(table: Mapping[str, Any], share: float | None, jobs: Jobs, twice: bool = True) -> Seen:
    """Plans one change and holds the plan to every law; twice: and to its second self."""
    household = Household.model_validate(table)
    began_s = time.process_time()
    try:
        made = plan_of(household, household.tanks[0].name, share, jobs)
    except OutOfRange as error:  # what is asked of the formulas is the planner's to see to, not the keeper's
        return Seen(["refused"], [f"a valid household is out of range: {error}"])
    except TapwrightError as error:
        return Seen([f"no plan ({error.kind})"], slow(began_s))
    except Exception as error:
        return Seen(["crashed"], [f"{error!r} at {traceback.extract_tb(error.__traceback__)[-1]}"])
    seen = Seen(["planned with a stop" if _stopped(made) else "planned"], slow(began_s) + broken(household, made))
    if twice:
        again = plan_of(Household.model_validate(table), household.tanks[0].name, share, jobs)
        if _said(again) != _said(made):
            seen.broken.append("the same household gives another plan the second time")
    return seen


def slow(began_s: float) -> list[str]:
    """A complaint where more of the processor's time than a person's patience went by since then."""
    took_s = time.process_time() - began_s
    return [f"slow: {took_s:.0f} s of the processor"] if took_s > SLOW_S else []


def _said(plan: Plan) -> object:
    return plain(_result(plan, None)), plan.steps, plan.findings, plan.assumptions


def shown(key: str) -> str:
    """The household of a key, as JSON a person can read, and what was asked of it."""
    random = Random(key)
    table = drawn(random)
    return f"{json.dumps(table, indent=1, ensure_ascii=False, default=str)}\nshare, jobs: {wish(random)}"
