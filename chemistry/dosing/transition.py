"""The way from one water to another in the fewest changes that fish stand, and what goes into the refill of each.

Salts and charge couple the quantities: what raises hardness brings chloride or sulfate and conductivity with it, so the
largest of the counts of each quantity for itself is too few four times in ten. All changes are one linear programme
(`chemistry.dosing.course`); the fewest that have a solution are weighed one after another in whole steps of the scale, each
so that the rest can still follow.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from itertools import combinations, product
from typing import Any

import numpy as np

from chemistry import reference
from chemistry.dosing.bands import Cap, standings
from chemistry.dosing.conflicts import explained
from chemistry.dosing.course import Course, Limits, Way, tracked, with_tracked
from chemistry.dosing.cupboard import Stocked, columns
from chemistry.dosing.journey import (
    ANYTHING,
    MOST_CHANGES,
    Change,
    Journey,
    Transition,
    alone,
    arrived,
    rested,
    settled,
    temperatures,
    with_target_refill,
)
from chemistry.dosing.legs import Found, amounts_inside, kept, reached, solved, under
from chemistry.dosing.remineralise import Wish, recipe
from chemistry.errors import NoAnswer
from chemistry.programmes.linear_programme import Array
from chemistry.units import figure
from chemistry.water.equilibrium import at_air, closed, deionised_water
from chemistry.water.target import Band

# Parts of the limits kept back for later roundings, tried one after another.
_KEPT_BACK = (0.05, 0.0, 0.15)
_MOST_ROUNDINGS = 4
# More whole numbers than this are not looked for all at once (it would take minutes), and a part more of every limit is
# allowed at first where they are.
_MOST_AT_ONCE = 16
_LOOSENED = 0.05
# A scale that would make the way longer than this is too coarse for it.
_MOST_LONGER = 4
# More sets of salts than this of one size are not gone through: then all of the cupboard is offered.
_MOST_SETS = 400


def transition(journey: Journey, cupboard: Sequence[Stocked]) -> Transition:
    """The fewest changes from the tank's water into the target's bands.

    Raises NoAnswer where the first change already breaks a limit at this share (with the largest share that does not), and
    where no number of changes up to MOST_CHANGES arrives.
    """
    way = _way(journey, [item for item in cupboard if item.salt.gentle])
    least = max(len(way.degrees_c) - 1, 0 if arrived(journey) else 1)
    if least == 0:
        here = standings(rested(journey.tank), journey.target, journey.times_air)
        return Transition((), here, 0, 0, False, settled(journey))
    _refuse_illegal(way, journey)
    finely = None
    for count in range(least, MOST_CHANGES + 1):
        if (found := solved(way, count)) is None:
            continue
        finely = finely or count
        if count > finely + _MOST_LONGER:
            break
        for tried in (_fewest_salts(way, found), way):
            amounts = _weighed(tried, count) if way.shelf.whole else _exact(tried, count)
            if amounts is not None:
                return _told(journey, tried, Course.of(tried, count), amounts, by_scale=count > finely)
    by_scale = finely is not None or _stock_lost_to_steps(way, least)
    raise _never(journey, way, cupboard, by_scale=by_scale)


def _stock_lost_to_steps(way: Way, least: int) -> bool:
    """Whether it arrives with the whole of a stock of which whole steps leave a rest in the jar."""
    fine = way.shelf.finely()
    if np.array_equal(fine.most, way.shelf.most):
        return False
    whole = replace(way, shelf=fine)
    return any(solved(whole, count) is not None for count in range(least, MOST_CHANGES + 1))


def _exact(way: Way, count: int) -> Array | None:
    found = solved(way, count)
    return None if found is None else found.amounts


def _way(journey: Journey, cupboard: Sequence[Stocked]) -> Way:
    """The journey as a course sees it."""
    source = closed(journey.source)
    refill_l = journey.volume_l * journey.share
    shelf = columns(source, cupboard, refill_l, step_g=journey.step_g, deionised=journey.deionised)
    topping = source if journey.top_off == "source" else deionised_water(source.temperature_c)
    way = Way(
        tank=rested(journey.tank),
        source=source,
        share=journey.share,
        refill_l=refill_l,
        shelf=shelf,
        limits=journey.limits,
        target=journey.target,
        refill=journey.refill,
        topped=journey.evaporated_share * tracked(topping),
        degrees_c=(journey.tank.temperature_c, *temperatures(journey)),
        times_air=journey.times_air,
        room_times_air=journey.room_times_air,
        cap=Cap(reference.value("limits", "calcite_calm")),
    )
    # A source that stands past calm by itself is no reason not to go: its refills shall not be worse than it is.
    fresh = [replace(source, temperature_c=float(refill_c)) for refill_c in way.refill_c(len(way.degrees_c))]
    own = max(float(at_air(water, journey.room_times_air).si_calcite) for water in fresh)
    return replace(way, cap=Cap(max(way.cap.index, own)))


def _fewest_salts(way: Way, found: Found) -> Way:
    """The same way with as few salts as still do it in so many changes; of those the set of least cost, then by name."""
    count, total = found.course.changes, way.shelf.count
    for size in range(total):
        sets = list(combinations(range(total), size))
        if len(sets) > _MOST_SETS:
            break
        best, best_way = math.inf, None
        for least, _, narrowed in sorted(_candidates(way, sets, count), key=lambda entry: entry[:2]):
            if least >= best - 1e-6:  # no other can be cheaper
                break
            tried = solved(narrowed, count)
            if tried is not None and tried.cost < best - 1e-6:
                best, best_way = tried.cost, narrowed
        if best_way is not None:
            return best_way
    return way


def _candidates(way: Way, sets: Sequence[Sequence[int]], count: int) -> Iterator[tuple[float, Sequence[int], Way]]:
    """Sets of salts that may do it, and the least they can cost."""
    cost = np.tile(way.shelf.cost, count)
    for chosen in sets:
        most = way.shelf.most.copy()
        most[[place for place in range(way.shelf.count) if place not in chosen]] = 0.0
        narrowed = replace(way, shelf=replace(way.shelf, most=most))
        course = Course.of(narrowed, count)
        amounts = amounts_inside(course, course.rows(None), 0)
        if amounts is not None:
            yield round(float(cost @ amounts), 6), chosen, narrowed


def _weighed(way: Way, count: int) -> Array | None:
    """Whole steps for all changes; a little of every limit and band is kept back for roundings yet to come, where it takes
    that.
    """
    tries = (_one_by_one(way, count, kept_back) for kept_back in _KEPT_BACK)
    found = next((found for found in tries if found is not None), None)
    return _all_at_once(way, count) if found is None else found


def _all_at_once(way: Way, count: int) -> Array | None:
    """Whole steps for all changes as one integer programme, where it is small: finds what no rounding one by one does."""
    fine, whole = solved(way, count), count * len(way.shelf.unit)
    if fine is None or count * np.count_nonzero(way.shelf.most) > _MOST_AT_ONCE:
        return None
    for cap in way.cap.tries(way.source.calcium_mmol_l):
        course = Course.of(replace(way, cap=cap), count)
        # Whole steps may lie far from the fine amounts: what all but keeps the limits is a better place to draw rows.
        loose = Course.of(_narrowed(course.way, -_LOOSENED), count)
        near = amounts_inside(loose, loose.rows(fine.pivots), whole)
        for pivots in (fine.pivots, *([] if near is None else [course.pivots(near)])):
            if (found := under(course, pivots, whole)) is not None:
                return found.amounts
    return None


def _one_by_one(way: Way, count: int, kept_back: float) -> Array | None:
    """Whole steps for one change after another: the nearest to the fine amounts from which the rest can still follow."""
    columns_each = len(way.shelf.unit)
    weighed: list[Array] = []
    rest = solved(_narrowed(way, kept_back), count)
    if rest is None:
        return None
    for left in range(count - 1, 0, -1):
        followed = None
        for first in _roundings(rest.amounts[:columns_each], way.shelf.most):
            tank = _after_one(way, first)
            if tank is not None:
                then = _after(way, tank, first)
                narrowed = replace(_narrowed(then, kept_back), cap=rest.course.way.cap)
                followed = under(Course.of(narrowed, left), rest.pivots.without_first(), 0)
            if followed is not None:
                break
        if followed is None:
            return None
        weighed.append(first)
        way, rest = then, followed
    last = solved(way, 1)
    whole = None if last is None else under(last.course, last.pivots, columns_each)
    return None if whole is None else np.concatenate([*weighed, whole.amounts])


def _roundings(amounts: Array, most: Array) -> list[Array]:
    """Whole numbers next to the amounts, nearest first."""
    used = [place for place in range(len(amounts)) if abs(amounts[place] - round(amounts[place])) > 1e-6]
    found = []
    for ups in product((0.0, 1.0), repeat=len(used)):
        whole = np.round(amounts)
        whole[used] = np.floor(amounts[used]) + ups
        if np.all(whole <= most):
            found.append(whole)
    return sorted(found, key=lambda whole: float(np.abs(whole - amounts).sum()))[:_MOST_ROUNDINGS]


def _after_one(way: Way, amounts: Array) -> Array | None:
    """The tank after one change of these amounts; None where that breaks a limit."""
    course = Course.of(_anywhere(way), 1)
    rows = course.rows(None)
    inside = rows.matrix @ amounts
    if np.any(inside < rows.low) or np.any(inside > rows.high):
        return None
    pivots = course.pivots(amounts)
    tank: Array = pivots.after[:, 0]
    return tank if kept(course, pivots) else None


def _narrowed(way: Way, part: float) -> Way:
    """The way with a part less of every limit, of the width of every band of the target, and of a step of saturation."""
    limits = Limits(**{field.name: getattr(way.limits, field.name) * (1 - part) for field in fields(Limits)})
    bands: dict[str, Any] = {
        name: Band(band.low + part / 2 * (band.high - band.low), band.high - part / 2 * (band.high - band.low))
        for name, band in way.target.bands()
        if math.isfinite(band.high)
    }
    cap = replace(way.cap, index=way.cap.index - part / 2)
    return replace(way, limits=limits, target=replace(way.target, **bands), cap=cap)


def _after(way: Way, tank: Array, used: Array) -> Way:
    """The way that is left once the first change is done and topped off."""
    salts = np.arange(len(used)) < way.shelf.count
    most = np.where(salts, way.shelf.most - used, way.shelf.most)
    return replace(
        way,
        tank=with_tracked(way.tank, tank + way.topped),
        degrees_c=way.degrees_c[1:] or way.degrees_c,
        shelf=replace(way.shelf, most=most),
    )


def _told(journey: Journey, way: Way, course: Course, amounts: Array, *, by_scale: bool) -> Transition:
    """The course in grams and litres."""
    shelf, at, changes = way.shelf, course.pivots(amounts), []
    for number, units in enumerate(amounts.reshape(course.changes, -1)):
        weights = units * shelf.unit
        refill = course.refill(at.refill[:, number], number)
        changes.append(
            Change(
                grams={
                    item.salt.name: float(gram) for item, gram in zip(shelf.salts, weights, strict=False) if gram > 1e-9
                },
                deionised_l=float(weights[shelf.count :].sum()),
                refill_temperature_c=refill.temperature_c,
                before=course.tank(at.before[:, number], number),
                refill=refill,
                after=course.tank(at.after[:, number], number + 1),
                ph_before=float(at.ph[0, number]),
                ph_after=float(at.ph[1, number]),
                conductivity_before_us_cm=float(at.conductivity_us_cm[0, number]),
                conductivity_after_us_cm=float(at.conductivity_us_cm[1, number]),
            )
        )
    return Transition(
        tuple(changes), reached(course, at), alone(journey), with_target_refill(journey), by_scale, settled(journey)
    )


def _refuse_illegal(way: Way, journey: Journey) -> None:
    """Raises NoAnswer, with the largest share that does not, where even one change breaks a limit however it is salted."""
    if solved(_anywhere(way), 1) is not None:
        return
    low, high = 0.0, journey.share
    for _ in range(12):
        middle = (low + high) / 2
        tried = _anywhere(_way(replace(journey, share=middle, temperature_c=None), [*way.shelf.salts]))
        low, high = (middle, high) if solved(tried, 1) is not None else (low, middle)
    percent = math.floor(100 * low)
    hint = (
        f"At most {percent} % at once keeps every limit (--share {percent}%)."
        if percent
        else "Take another source water."
    )
    raise NoAnswer.of("share", _broken(way, journey), hint)


def _anywhere(way: Way) -> Way:
    """The same way, wherever it leads."""
    return replace(way, target=ANYTHING)


def _broken(way: Way, journey: Journey) -> str:
    """Which limits stand in the way of one change, each by itself."""
    names = {
        "hardness_mmol_l": "hardness",
        "alkalinity_meq_l": "alkalinity",
        "ph": "pH",
        "conductivity": "conductivity",
    }
    none = Limits(*(math.inf for _ in fields(Limits)))
    alone = [
        word
        for name, word in names.items()
        if solved(replace(_anywhere(way), limits=replace(none, **{name: getattr(way.limits, name)})), 1) is None
    ]
    said = f"the limit of {' and of '.join(alone)}" if alone else "its limits"
    return f"a change of {journey.share:.0%} with this source breaks {said}, whatever salts are put in."


def _never(journey: Journey, way: Way, cupboard: Sequence[Stocked], *, by_scale: bool) -> NoAnswer:
    """Why no number of changes arrives: the scale, the bands themselves, or the limits."""
    if by_scale:
        said = f"no whole steps of {figure(journey.step_g)} g are found that keep every limit and band all the way."
        return NoAnswer.of("transition", said, "Weigh finer, or widen a band or a limit a little.")
    refill_l = journey.volume_l * journey.share
    wish = Wish(journey.target, refill_l, deionised=journey.deionised, times_air=journey.times_air)
    conflict = explained(journey.source, cupboard, wish, recipe(journey.source, cupboard, wish))
    said = f"the target is not reached in {MOST_CHANGES} changes of {journey.share:.0%}"
    if conflict is None:
        return NoAnswer.of("transition", f"{said} within the limits.", "Change a larger share, or widen a limit.")
    return NoAnswer.of("transition", f"{said}: in a refill {conflict.sentence()}", conflict.advice())
