"""Ways out of a stop, each tried: what may be asked instead so that a plan has no such stop, and none it had not before."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from tapwright.chemistry import reference
from tapwright.chemistry.errors import TapwrightError
from tapwright.chemistry.findings import Finding, WayOut
from tapwright.chemistry.plan.figures.records import Figures
from tapwright.chemistry.plan.household.household import Household
from tapwright.chemistry.plan.household.tables import SaltTable
from tapwright.chemistry.programmes.budget import current
from tapwright.chemistry.units import figure

# Of the whole budget, for one that is tried: a hard one must not take the time of all others.
_EACH = 0.2
_LESS = (0.75, 0.5, 0.25, 0.1)
_MORE = (0.05, 0.1, 0.2, 0.4)
_TOTES = (0.5, 0.25, 0.1)
_STRENGTHS_G_L = (50.0, 10.0, 2.0)
_STEPS_G = (0.1, 0.01)


@dataclass(frozen=True)
class Variation:
    """Something else to ask: a household and a share (None: as nitrate decides), and what that is as a way out."""

    household: Household
    share: float | None
    way: WayOut


# The stops of a variation by code; it may refuse, as `plan` does.
Stops = Callable[[Household, float | None], set[str]]
_Family = Callable[[Household, Figures], Iterator[Variation]]


def with_ways_out(
    findings: Sequence[Finding], household: Household, figures: Figures, stops_of: Stops
) -> list[Finding]:
    """The findings, every stop with the ways out of it that are found, in its text as well.

    Each family of ways is tried from its mildest on, and gives one at most.
    """
    known = {finding.code for finding in findings if finding.level == "stop"}
    told: dict[str, set[str] | None] = {}
    budget = current()

    def leads_out(variation: Variation, code: str) -> bool:
        key = variation.way.text
        if key not in told and budget.left > 0:  # what there was no time to try is not told
            try:
                with budget.apart(_EACH):
                    told[key] = stops_of(variation.household, variation.share)
            except TapwrightError:
                told[key] = None
        found = told.get(key)
        return found is not None and code not in found and found <= known

    def ways(code: str) -> tuple[WayOut, ...]:
        tried = (next((one.way for one in family(household, figures) if leads_out(one, code)), None)
                 for family in _FAMILIES.get(code, ()))  # fmt: skip
        return tuple(way for way in tried if way is not None)

    return [_with(finding, ways(finding.code)) if finding.level == "stop" else finding for finding in findings]


def _with(finding: Finding, ways: tuple[WayOut, ...]) -> Finding:
    if not ways:
        return finding
    return replace(finding, text=f"{finding.text} What does: {'; or '.join(way.text for way in ways)}.", ways_out=ways)


def _share(household: Household, share: float) -> Variation:
    return Variation(household, share, WayOut(f"change {figure(100 * share)} % at once", {"change_share": share}))


def _less(household: Household, figures: Figures) -> Iterator[Variation]:
    """A smaller share; then one whose neutraliser is so little that only a stock solution measures it."""
    shares = list(_smaller_shares(figures))
    yield from (_share(household, share) for share in shares)
    for share in shares:
        for finer in _solution(household, figures):
            text = f"change {figure(100 * share)} % at once and {finer.way.text}"
            yield Variation(finer.household, share, WayOut(text, {**finer.way.set, "change_share": share}))


def _smaller_shares(figures: Figures) -> Iterator[float]:
    """Smaller shares in steps a keeper can mark on the glass."""
    seen = set()
    for part in _LESS:
        share = part * figures.change_share
        share = round(share / 0.05) * 0.05 if share >= 0.05 else round(share, 2)
        share = round(share, 10)
        if 0 < share < figures.change_share and share not in seen:
            seen.add(share)
            yield share


def _more(household: Household, figures: Figures) -> Iterator[Variation]:
    """A larger share, up to the largest that is proposed unasked."""
    largest = reference.value("limits", "large_change") / 100
    for more in _MORE:
        share = round(round((figures.change_share + more) / 0.05) * 0.05, 10)
        if figures.change_share < share <= largest:
            yield _share(household, share)


def _refill(household: Household, figures: Figures) -> Iterator[Variation]:
    """Another temperature of the refill: the tank's own, then nearer to the room, within what fish are used to."""
    tank_c, near_k = figures.tank.readings.temperature_c, reference.value("limits", "refill_apart")
    lowest_c, highest_c = household.tap.temperature_c, household.hot_water.temperature_c
    room_c = household.room_temperature_c
    sign = 1.0 if room_c is not None and room_c > tank_c else -1.0
    for degrees_c in (tank_c, tank_c + sign * near_k / 2, tank_c + sign * near_k, tank_c - sign * near_k):
        if lowest_c <= degrees_c <= highest_c and degrees_c != figures.tank.refill_c:
            text = f"{degrees_c:.1f} degC"
            way = WayOut(
                f'write refill_temperature = "{text}" for this tank',
                {_key(household, figures, "refill_temperature"): text},
            )
            yield _with_tank(household, figures, way, refill_temperature_c=round(degrees_c, 1))


def _key(household: Household, figures: Figures, key: str) -> str:
    """A key of the tank, dotted."""
    return f"tank.{household.tanks.index(figures.tank)}.{key}"


def _with_tank(household: Household, figures: Figures, way: WayOut, **update: Any) -> Variation:
    """The tank with some of its fields replaced."""
    tanks = [tank.model_copy(update=update) if tank is figures.tank else tank for tank in household.tanks]
    return Variation(household.model_copy(update={"tanks": tanks}), figures.change_share, way)


def _smaller_tote(household: Household, figures: Figures) -> Iterator[Variation]:
    """A tote that is full with what it is to hold, then smaller ones."""
    full_l = figures.totes.volume_l
    for litres in (full_l * 1.05, *(part * household.tote.volume_l for part in _TOTES)):
        if litres < household.tote.volume_l:
            yield _tote(household, figures, litres)


def _larger_tote(household: Household, figures: Figures) -> Iterator[Variation]:
    for part in (1.5, 2, 3, 5, 10):
        yield _tote(household, figures, part * household.tote.volume_l)


def _tote(household: Household, figures: Figures, litres: float) -> Variation:
    """A tote of another size, of the same build: each length of it changes alike."""
    litres = float(figure(litres, 2))
    tote, scale = household.tote, litres / household.tote.volume_l
    update: dict[str, Any] = {"volume_l": litres}
    said: dict[str, float | str | Mapping[str, str]] = {"tote.volume": f"{figure(litres)} L"}
    if tote.height_m is not None:
        update["height_m"] = round(tote.height_m * scale ** (1 / 3), 2)
        said["tote.height"] = f"{100 * update['height_m']:.0f} cm"
    if tote.mass_g is not None:
        update["mass_g"] = round(tote.mass_g * scale, -2) or tote.mass_g
        said["tote.mass"] = f"{update['mass_g']:g} g"
    tall = f", filled {said['tote.height']} high" if tote.height_m is not None else ""
    changed = household.model_copy(update={"tote": tote.model_copy(update=update)})
    return Variation(changed, figures.change_share, WayOut(f"use a tote of {figure(litres)} L{tall}", said))


def _solution(household: Household, figures: Figures) -> Iterator[Variation]:
    """The neutraliser as a stock solution, which is measured finer."""
    chosen = figures.neutraliser
    if chosen is None or chosen.entry.substance.dose_from != "stoichiometry":
        return
    at = household.neutralisers.index(chosen.entry)
    now = chosen.entry.solution_g_l
    for strength in (each for each in _STRENGTHS_G_L if now is None or each < now):
        entries = list(household.neutralisers)
        entries[at] = chosen.entry.model_copy(update={"solution_g_l": strength})
        text = f"{strength:g} g/L"
        way = WayOut(
            f'use {chosen.entry.substance.name} as a stock solution, solution = "{text}"',
            {f"neutraliser.{at}.solution": text},
        )
        yield Variation(household.model_copy(update={"neutralisers": entries}), figures.change_share, way)


def _scale(household: Household, figures: Figures) -> Iterator[Variation]:
    for step_g in _STEPS_G:
        if step_g < household.scale.resolution_g:
            text = f"{step_g:g} g"
            scale = household.scale.model_copy(update={"resolution_g": step_g})
            way = WayOut(f"use a scale that shows {text}", {"scale.resolution": text})
            yield Variation(household.model_copy(update={"scale": scale}), figures.change_share, way)


def _gentle(household: Household, figures: Figures) -> Iterator[Variation]:
    """A bicarbonate in the cupboard, where only carbonates raise alkalinity now."""
    names = [entry.name.name for entry in household.salts]
    for name in ("sodium bicarbonate", "potassium bicarbonate"):
        if name not in names:
            salts = [*household.salts, SaltTable.model_validate({"name": name})]
            way = WayOut(f"put {name} into the cupboard", {f"salt.{len(names)}": {"name": name}})
            yield Variation(household.model_copy(update={"salts": salts}), figures.change_share, way)


def _tank_neutralised(household: Household, figures: Figures) -> Iterator[Variation]:
    """The tank's own chlorine taken out first."""
    readings = figures.tank.readings.model_copy(update={"total_chlorine_mg_l": 0.0, "free_chlorine_mg_l": None})
    text = 'neutralise the tank, and write total_chlorine = "0 mg/L" once it reads so'
    way = WayOut(text, {_key(household, figures, "readings.total_chlorine"): "0 mg/L"})
    yield _with_tank(household, figures, way, readings=readings)


# Which ways may lead out of a stop, by its code, the least trouble first.
_FAMILIES: dict[str, tuple[_Family, ...]] = {
    "tote_drawn_warm": (_refill, _more, _smaller_tote, _less),
    "refill_arrives_cool": (_refill, _more, _smaller_tote, _less),
    "refill_arrives_warm": (_refill, _more, _smaller_tote, _less),
    "refill_apart": (_refill,),
    "temperature_step": (_refill, _less),
    "hardness_step": (_less,),
    "alkalinity_step": (_less,),
    "conductivity_step": (_less,),
    "ph_step": (_less,),
    "tank_chlorine": (_tank_neutralised,),
    "refill_acid": (_solution, _scale),
    "refill_alkaline": (_gentle, _solution, _scale),
    "harsh_salt": (_gentle, _less),
    "refill_oxygen": (_solution, _scale),
    "tank_thin": (_less,),
    "tank_acid": (_less,),
    "level_low": (_less,),
    "tote_left": (_more, _smaller_tote),
    "evening_long": (_larger_tote, _less),
    "below_scale": (_scale,),
    "coarse_scale": (_solution, _scale),
    "neutraliser_stock": (_less,),
    "ammonia": (_less,),
    "ammonia_by_ph": (_less,),
}
