"""The way from one water to another in the fewest changes that fish stand, and what goes into the refill of each.

Salts and charge couple the quantities: what raises hardness brings chloride or sulfate and conductivity with it, so the
largest of the counts of each quantity for itself is too few four times in ten. All changes are one linear programme
(`stages.py`); the fewest that have a solution are weighed one after another in whole steps of the scale, each
so that the rest can still follow.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from itertools import combinations

import numpy as np

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.recipe.bands import Cap, standings
from tapwright.chemistry.dosing.recipe.conflicts import explained
from tapwright.chemistry.dosing.recipe.cupboard import Stocked, columns
from tapwright.chemistry.dosing.recipe.remineralise import RecipeRequest, recipe
from tapwright.chemistry.dosing.transition.envelope import way_met
from tapwright.chemistry.dosing.transition.multistage import Limits, Multistage, Way, tracked
from tapwright.chemistry.dosing.transition.request import (
    MOST_CHANGES,
    Change,
    Transition,
    TransitionRequest,
    alone,
    arrived,
    rested,
    settled,
    temperatures,
    with_target_refill,
)
from tapwright.chemistry.dosing.transition.roundings import anywhere, exact, weighed
from tapwright.chemistry.dosing.transition.stages import Found, amounts_inside, reached, solved
from tapwright.chemistry.errors import NoAnswer, NotInTime
from tapwright.chemistry.programmes.budget import Budget, OutOfWork, question
from tapwright.chemistry.programmes.linear_programme import Array
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.equilibrium import at_air, closed, deionised_water

# A scale that would make the way longer than this is too coarse for it.
_MOST_LONGER = 4
# Of what is left of a question's budget: for the way (the rest is kept for saying why there is none), for the fewest salts
# of one number of changes, and for their roundings.
_FOR_WAY, _FOR_SALTS, _FOR_STEPS = 0.8, 0.4, 0.6
# More sets of salts than this of one size are not gone through: then all of the cupboard is offered.
_MOST_SETS = 400


def transition(request: TransitionRequest, cupboard: Sequence[Stocked]) -> Transition:
    """The fewest changes from the tank's water into the target's bands.

    Raises NoAnswer where the first change already breaks a limit at this share (with the largest share that does not), and
    where no number of changes up to MOST_CHANGES arrives; NotInTime where the budget of the question ends before that is
    known.
    """
    way = _way(request, [item for item in cupboard if item.salt.gentle])
    least = max(len(way.degrees_c) - 1, 0 if arrived(request) else 1)
    if least == 0:
        here = standings(rested(request.tank), request.target, request.times_air)
        return Transition((), here, 0, 0, False, settled(request))
    with question() as budget:
        search = _Search(request, way, budget)
        try:
            with budget.at_most(_FOR_WAY * budget.left):
                _refuse_illegal(way, request)
                if (found := search.fewest(least)) is not None:
                    return found
                by_scale = search.finely is not None or _stock_lost_to_steps(way, least)
        except OutOfWork:
            raise search.not_in_time() from None
        if search.cut_short:
            raise search.not_in_time()
        raise _never(request, way, cupboard, by_scale=by_scale)


class _Search:
    """One number of changes after the other, until one does it, and what is known when the budget ends.

    finely: the fewest that do it measured finely, if any.  cut_short: whether roundings were left untried for want of time.
    """

    def __init__(self, request: TransitionRequest, way: Way, budget: Budget) -> None:
        self.finely: int | None = None
        self.cut_short = False
        self._journey, self._way, self._budget = request, way, budget
        self._tried = 0

    def fewest(self, least: int) -> Transition | None:
        """The fewest changes; None where there are none, or the scale makes it much longer."""
        for count in range(least, MOST_CHANGES + 1):
            found = solved(self._way, count)
            self._tried = count
            if found is None:
                continue
            self.finely = self.finely or count
            if count > self.finely + _MOST_LONGER:
                break
            if (made := self._in_steps(found, count)) is not None:
                return made
        return None

    def _in_steps(self, found: Found, count: int) -> Transition | None:
        """So many changes with the fewest salts, else with all of them, in whole steps; None where none are found."""
        budget, finely = self._budget, self.finely or count
        with budget.at_most(_FOR_SALTS * budget.left):
            narrow, salts, proven = _fewest_salts(self._way, found)
        for tried in (narrow, *([self._way] if np.any(narrow.shelf.most != self._way.shelf.most) else [])):
            try:
                with budget.at_most(_FOR_STEPS * budget.left):
                    amounts = weighed(tried, count) if tried.shelf.whole else exact(tried, count)
            except OutOfWork:
                self.cut_short = True
                continue
            if amounts is not None:
                made = _told(self._journey, tried, Multistage.of(tried, count), amounts, by_scale=count > finely)
                if proven and not self.cut_short:
                    return made
                return replace(made, proven=False, at_least=(finely if self.cut_short else count, salts))
        return None

    def not_in_time(self) -> NotInTime:
        """What is known when the budget is used up."""
        share = f"{self._journey.share:.0%}"
        if self.finely is not None:
            near = f"measured finely, {self.finely} change{'s' * (self.finely > 1)} of {share} would do it"
            hint = "Have more patience, or weigh finer."
        elif self._tried:
            near = f"up to {self._tried} change{'s' * (self._tried > 1)} of {share} do not do it"
            hint = "Have more patience, change a larger share, or widen a limit or a band."
        else:
            near = "not even one change was settled"
            hint = "Have more patience."
        return NotInTime.of("transition", f"no way was found in the time, though there may be one; {near}.", hint)


def _stock_lost_to_steps(way: Way, least: int) -> bool:
    """Whether it arrives with the whole of a stock of which whole steps leave a rest in the jar."""
    fine = way.shelf.finely()
    if np.array_equal(fine.most, way.shelf.most):
        return False
    whole = replace(way, shelf=fine)
    return any(solved(whole, count) is not None for count in range(least, MOST_CHANGES + 1))


def _way(request: TransitionRequest, cupboard: Sequence[Stocked]) -> Way:
    """The request as the programme sees it."""
    source = closed(request.source)
    refill_l = request.volume_l * request.share
    shelf = columns(source, cupboard, refill_l, step_g=request.step_g, deionised=request.deionised)
    topping = source if request.top_off == "source" else deionised_water(source.temperature_c)
    way = Way(
        tank=rested(request.tank),
        source=source,
        share=request.share,
        refill_l=refill_l,
        shelf=shelf,
        limits=request.limits,
        target=request.target,
        refill=request.refill,
        topped=request.evaporated_share * tracked(topping),
        degrees_c=(request.tank.temperature_c, *temperatures(request)),
        times_air=request.times_air,
        room_times_air=request.room_times_air,
        cap=Cap(reference.value("limits", "calcite_calm")),
    )
    # A source that stands past calm by itself is no reason not to go: its refills shall not be worse than it is.
    fresh = [replace(source, temperature_c=float(refill_c)) for refill_c in way.refill_c(len(way.degrees_c))]
    own = max(float(at_air(water, request.room_times_air).si_calcite) for water in fresh)
    return replace(way, cap=Cap(max(way.cap.index, own)))


def _fewest_salts(way: Way, found: Found) -> tuple[Way, int, bool]:
    """The same way with as few salts as still do it in so many changes; of those the set of least cost, then by name.

    Besides, how few salts there are at least, and whether that is settled or the budget ended first.
    """
    count, total = found.stages.changes, way.shelf.count
    best, best_way, size = math.inf, None, 0
    try:
        for size in range(total):
            sets = list(combinations(range(total), size))
            if len(sets) > _MOST_SETS:
                break
            for least, _, narrowed in sorted(_candidates(way, sets, count), key=lambda entry: entry[:2]):
                if least >= best - 1e-6:  # no other can be cheaper
                    break
                tried = solved(narrowed, count)
                if tried is not None and tried.cost < best - 1e-6:
                    best, best_way = tried.cost, narrowed
            if best_way is not None:
                return best_way, size, True
    except OutOfWork:
        return best_way or way, size, False
    return way, size, size + 1 >= total


def _candidates(way: Way, sets: Sequence[Sequence[int]], count: int) -> Iterator[tuple[float, Sequence[int], Way]]:
    """Sets of salts that may do it, and the least they can cost."""
    cost = np.tile(way.shelf.cost, count)
    for chosen in sets:
        most = way.shelf.most.copy()
        most[[place for place in range(way.shelf.count) if place not in chosen]] = 0.0
        narrowed = replace(way, shelf=replace(way.shelf, most=most))
        stages = Multistage.of(narrowed, count)
        amounts = amounts_inside(stages, stages.rows(None), 0)
        if amounts is not None:
            yield round(float(cost @ amounts), 6), chosen, narrowed


def _told(request: TransitionRequest, way: Way, stages: Multistage, amounts: Array, *, by_scale: bool) -> Transition:
    """The stages in grams and litres."""
    shelf, at, changes = way.shelf, stages.pivots(amounts), []
    for number, units in enumerate(amounts.reshape(stages.changes, -1)):
        weights = units * shelf.unit
        refill = stages.refill(at.refill[:, number], number)
        changes.append(
            Change(
                grams={
                    item.salt.name: float(gram) for item, gram in zip(shelf.salts, weights, strict=False) if gram > 1e-9
                },
                deionised_l=float(weights[shelf.count :].sum()),
                refill_temperature_c=refill.temperature_c,
                before=stages.tank(at.before[:, number], number),
                refill=refill,
                after=stages.tank(at.after[:, number], number + 1),
                ph_before=float(at.ph[0, number]),
                ph_after=float(at.ph[1, number]),
                conductivity_before_us_cm=float(at.conductivity_us_cm[0, number]),
                conductivity_after_us_cm=float(at.conductivity_us_cm[1, number]),
            )
        )
    return Transition(
        tuple(changes),
        reached(stages, at),
        alone(request),
        with_target_refill(request),
        by_scale,
        settled(request),
        findings=tuple(way_met(request, changes)),
    )


def _refuse_illegal(way: Way, request: TransitionRequest) -> None:
    """Raises NoAnswer, with the largest share that does not, where even one change breaks a limit however it is salted."""
    if solved(anywhere(way), 1) is not None:
        return
    low, high = 0.0, request.share
    for _ in range(12):
        middle = (low + high) / 2
        tried = anywhere(_way(replace(request, share=middle, temperature_c=None), [*way.shelf.salts]))
        low, high = (middle, high) if solved(tried, 1) is not None else (low, middle)
    percent = math.floor(100 * low)
    hint = (
        f"At most {percent} % at once keeps every limit (change share {percent}%)."
        if percent
        else "Take another source water."
    )
    raise NoAnswer.of("change share", _broken(way, request), hint)


def _broken(way: Way, request: TransitionRequest) -> str:
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
        if solved(replace(anywhere(way), limits=replace(none, **{name: getattr(way.limits, name)})), 1) is None
    ]
    said = f"the limit of {' and of '.join(alone)}" if alone else "its limits"
    return f"a change of {request.share:.0%} with this source breaks {said}, whatever salts are put in."


def _never(request: TransitionRequest, way: Way, cupboard: Sequence[Stocked], *, by_scale: bool) -> NoAnswer:
    """Why no number of changes arrives: the scale, the bands themselves, or the limits."""
    if by_scale:
        said = f"no whole steps of {figure(request.step_g)} g are found that keep every limit and band all the way."
        return NoAnswer.of("transition", said, "Weigh finer, or widen a band or a limit a little.")
    refill_l = request.volume_l * request.share
    refill_request = RecipeRequest(request.target, refill_l, deionised=request.deionised, times_air=request.times_air)
    conflict = explained(request.source, cupboard, refill_request, recipe(request.source, cupboard, refill_request))
    said = f"the target is not reached in {MOST_CHANGES} changes of {request.share:.0%}"
    if conflict is None:
        return NoAnswer.of("transition", f"{said} within the limits.", "Change a larger share, or widen a limit.")
    return NoAnswer.of("transition", f"{said}: in a refill {conflict.sentence()}", conflict.advice())
