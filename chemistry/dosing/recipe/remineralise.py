"""Salts from the cupboard, and deionised water where it is offered, that bring a water into a target's bands.

Amounts are whole steps of scale or spoon from the start, so that a weighed recipe lies inside every band wherever one
does: rounding the cheapest recipe afterwards leaves a band nine times out of ten. Which of all such recipes is taken is
settled by a strict order (`chemistry.dosing.recipe.choice`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.recipe.bands import NEEDS_PIVOT, Cap, Row, Standing, amounts_of, rows_of, standings
from tapwright.chemistry.dosing.recipe.choice import choose, order_of
from tapwright.chemistry.dosing.recipe.cupboard import Columns, Stocked, columns
from tapwright.chemistry.dosing.recipe.nearest import least_miss, made_of, nearest, programme_of, some_miss
from tapwright.chemistry.dosing.recipe.request import RecipeRequest as RecipeRequest
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.programmes.budget import Budget, OutOfWork, question, rungs
from tapwright.chemistry.programmes.linear_programme import Array, Programme, solve
from tapwright.chemistry.record import Record
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import closed
from tapwright.chemistry.water.met import refill_met

# Rows that need a pivot are drawn anew at the answer; each time the answer moves a hundredth as far.
_ROUNDS = 10
# Of what is left of a question's budget, so much goes into a recipe (the rest is kept for saying why there is none); and
# of one attempt so much into that without carbonates.
_FOR_RECIPE, _FOR_GENTLE = 0.75, 0.7


@dataclass(frozen=True)
class Bound:
    """What no recipe of these salts inside the bands can do better than.

    salts: there are at least so many.  cost: at least so much, in the cupboard's currency; in grams where not `priced`.
    """

    salts: int
    cost: float
    priced: bool

    @property
    def text(self) -> str:
        """For a person."""
        least = f"cost less than {figure(self.cost, 3)}" if self.priced else f"weigh less than {figure(self.cost, 3)} g"
        count = "no salt" if self.salts == 0 else f"{self.salts} salt{'s' * (self.salts > 1)}"
        return f"the fewest salts are at least {count}, and no recipe can {least}"


@dataclass(frozen=True, repr=False)
class Recipe(Record):
    """Grams of each salt for the whole volume (used salts only, by name) and the water that comes of it.

    steps: the same in steps of scale or spoon, of all batches; None where any amount can be measured.  deionised_l: of the
    volume.  cost: in the cupboard's currency; None where a price is not known.  reached: every band.  missed: bands that the
    cupboard cannot reach, measured however finely.  missed_by_scale: bands that only the rounding to the scale loses.
    harsh: salts in it that raise pH far (carbonates), taken only where gentle ones fail.  proven: whether it is the first by
    the order or, where it misses a band, whether there is none; else it is the best that was found in the time, and
    `bound` says how much better any other could be (None where it is proven, or misses a band).  findings: what the
    envelope finds in its water.
    """

    grams: Mapping[str, float]
    water: Water
    reached: tuple[Standing, ...]
    missed: tuple[Standing, ...]
    missed_by_scale: tuple[Standing, ...] = ()
    harsh: tuple[str, ...] = ()
    steps: Mapping[str, int] | None = None
    deionised_l: float = 0.0
    cost: float | None = None
    proven: bool = True
    bound: Bound | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def found(self) -> bool:
        """Whether it lies inside every band."""
        return not (self.missed or self.missed_by_scale)


def recipe(water: Water, cupboard: Sequence[Stocked], request: RecipeRequest) -> Recipe:
    """The recipe for the refill that is wished for, made of `water`.

    Carbonates are left in the cupboard unless they reach a band that the other salts cannot. A refill that would cloud is
    made clearer where the bands leave room for that. Where the cupboard cannot meet every band, hardness and alkalinity
    are missed least, then pH, then the rest. Raises BadInput where pH at once has a band and the carbon of the water is not
    known, OutOfRange for a band of pH that no such water can have.
    """
    made = _searched(water, cupboard, request)
    return replace(made, findings=tuple(refill_met(made.water, request.times_air)))


def _searched(water: Water, cupboard: Sequence[Stocked], request: RecipeRequest) -> Recipe:
    """The best recipe that the budget of the question allows to find."""
    with question() as budget:
        best: tuple[_Sought, ...] = ()
        at_least = 0
        for rung in (*rungs(_FOR_RECIPE * budget.left), 0.0):
            with budget.at_most(rung):
                tried = _attempted(water, cupboard, request, budget)
            if all(each.proven for each in tried):
                return _told(tried, request)
            at_least = max(at_least, min(each.at_least for each in tried))
            if not best or (tried[-1].found and _rank(tried, request) < _rank(best, request)):
                best = tried
        made = _told(best, request)
        return replace(made, bound=_bound(water, cupboard, request, at_least, budget)) if made.found else made


@dataclass(frozen=True)
class _Sought:
    """What a search among exactly these columns came to.

    amounts: inside every band; None where none were found.  by_scale: whether some would lie there measured finely.
    proven: whether the amounts are the first by the order, or there are none.  at_least: so many salts are needed.
    """

    water: Water
    shelf: Columns
    amounts: Array | None
    by_scale: bool = False
    proven: bool = True
    at_least: int = 0

    @property
    def found(self) -> bool:
        """Whether there are any."""
        return self.amounts is not None


def _sought(water: Water, cupboard: Sequence[Stocked], request: RecipeRequest) -> _Sought:
    """Search among exactly these salts, as far as the budget goes."""
    water = closed(water)
    shelf = _shelf(water, cupboard, request)
    try:
        amounts = _inside(water, shelf, request)
        by_scale = amounts is None and shelf.whole and _inside(water, shelf.finely(), request) is not None
        return _Sought(water, shelf, amounts, by_scale)
    except OutOfWork as end:
        return _Sought(water, shelf, end.best, proven=False, at_least=end.at_least)


def _attempted(
    water: Water, cupboard: Sequence[Stocked], request: RecipeRequest, budget: Budget
) -> tuple[_Sought, ...]:
    """Search without carbonates and, where that finds nothing, with them."""
    gentle = [item for item in cupboard if item.salt.gentle]
    if len(gentle) == len(cupboard):
        return (_sought(water, cupboard, request),)
    with budget.at_most(_FOR_GENTLE * budget.left):
        without = _sought(water, gentle, request)
    return (without,) if without.found else (without, _sought(water, cupboard, request))


def _told(tried: Sequence[_Sought], request: RecipeRequest) -> Recipe:
    """The recipe of an attempt: what it found or, of what misses the bands least, that which loses fewer; gentle rather."""
    made = _made(tried[-1], request) if tried[-1].found else min((_made(each, request) for each in tried), key=_lost)
    return replace(made, proven=all(each.proven for each in tried))


def _rank(tried: Sequence[_Sought], request: RecipeRequest) -> tuple[float, ...]:
    """Of attempts that are not proven, the one of least rank is kept: gentle, clear, and first by the order."""
    if not tried[-1].found:
        return (math.inf,)
    made = _made(tried[-1], request)
    cost = sum(made.grams.values()) if made.cost is None else made.cost
    counts = {"salts": len(made.grams), "cost": cost, "sodium": made.water.sodium_mmol_l, "water": made.deionised_l}
    clouds = not _clear(made.water, request, reference.value("limits", "calcite_calm"))
    order = (float(counts[word]) for word in order_of(request.prefer) if word in counts)
    return (float(bool(made.harsh)), float(clouds), *order)


def _bound(water: Water, cupboard: Sequence[Stocked], request: RecipeRequest, at_least: int, budget: Budget) -> Bound:
    """What holds for every recipe: from the bands whose rows hold everywhere, and amounts measured finely."""
    water = closed(water)
    shelf = _shelf(water, cupboard, request).finely()
    rows = programme_of(rows_of(request.target, None, request.times_air), water, shelf)
    with budget.one_call():
        found = solve(Programme(shelf.cost, rows.matrix, rows.low, rows.high, shelf.most))
    cost = 0.0 if found is None else float(shelf.cost @ found)
    return Bound(at_least if order_of(request.prefer)[0] == "salts" else 0, cost, shelf.priced)


def can_be_held(water: Water, cupboard: Sequence[Stocked], request: RecipeRequest) -> bool:
    """Whether `recipe` would lie inside every band; spares what it does where none does.

    Raises as it does, and OutOfWork where the budget of the question ends before that is known.
    """
    water = closed(water)
    gentle = [item for item in cupboard if item.salt.gentle]

    def holds(salts: Sequence[Stocked]) -> bool:
        try:
            return _inside(water, _shelf(water, salts, request), request) is not None
        except OutOfWork as end:
            if end.best is None:
                raise
            return True

    return any(holds(salts) for salts in ([gentle] if len(gentle) == len(cupboard) else [gentle, cupboard]))


def _shelf(water: Water, cupboard: Sequence[Stocked], request: RecipeRequest) -> Columns:
    return columns(
        water, cupboard, request.volume_l, step_g=request.step_g, parts=request.parts, deionised=request.deionised
    )


def _lost(made: Recipe) -> tuple[int, bool]:
    """Bands it cannot reach, and whether the scale loses any besides."""
    return len(made.missed), bool(made.missed_by_scale)


def _made(sought: _Sought, request: RecipeRequest) -> Recipe:
    """The recipe of what was found, or of what misses the bands least where nothing was."""
    water, shelf, amounts, by_scale = sought.water, sought.shelf, sought.amounts, sought.by_scale
    if amounts is None:
        amounts = least_miss(water, shelf, request) if sought.proven else some_miss(water, shelf, request)
    made = made_of(water, shelf, amounts, request.volume_l)
    reached = standings(made, request.target, request.times_air)
    missed = tuple(standing for standing in reached if not standing.held)
    used = {item.salt.name: number for item, number in zip(shelf.salts, amounts, strict=False) if number > 1e-9}
    unit = {item.salt.name: float(unit_g) for item, unit_g in zip(shelf.salts, shelf.unit, strict=False)}
    return Recipe(
        grams={name: float(number) * unit[name] for name, number in used.items()},
        water=made,
        reached=reached,
        missed=() if by_scale else missed,
        missed_by_scale=missed if by_scale else (),
        harsh=tuple(item.salt.name for item in shelf.salts if not item.salt.gentle and item.salt.name in used),
        steps={name: round(number) * request.parts for name, number in used.items()} if shelf.whole else None,
        deionised_l=float(amounts[shelf.count :] @ shelf.unit[shelf.count :]),
        cost=float(amounts @ shelf.cost) if shelf.priced else None,
        proven=sought.proven,
    )


def _inside(water: Water, shelf: Columns, request: RecipeRequest) -> Array | None:
    """Units inside every band, and clear where that can be had; None where there are none.

    Raises OutOfWork, with the best that was found, where the budget of the question ends first.
    """
    pivot, amounts = None, None
    needs_pivot = any(name in NEEDS_PIVOT for name, _ in request.target.bands())
    older: list[Row] = []
    edge = None  # inside every band by no more than is forgiven, where rows see nothing
    at_least = 0
    drawn: set[tuple[bytes, int]] = set()

    def held(amounts: Array | None) -> bool:
        return amounts is not None and _held(made_of(water, shelf, amounts, request.volume_l), request)

    for _ in range(_ROUNDS):
        rows = rows_of(request.target, pivot, request.times_air)
        programme = programme_of([*rows, *older], water, shelf)
        try:
            amounts = choose(programme, shelf, request.prefer)
            if amounts is None and pivot is None:
                return None
            lasting = _lasting(rows, pivot)
            near = _place(rows, water, shelf, request) if amounts is None else amounts
        except OutOfWork as end:
            at_least = end.at_least if pivot is None else at_least
            raise OutOfWork(end.best if held(end.best) else edge, at_least) from None
        if pivot is None and amounts is not None:  # the rows of all other pivots hold besides these
            at_least = int(np.count_nonzero(amounts[: shelf.count] > 1e-9))
        pivot = made_of(water, shelf, near, request.volume_l)
        if not needs_pivot or _held(pivot, request):
            if amounts is not None:
                break
            edge = near
        older += _new(lasting, older)
        if (place := (near.tobytes(), len(older))) in drawn:  # from here on everything would come again
            amounts = edge
            break
        drawn.add(place)
    else:
        amounts = edge
    try:
        return None if amounts is None else _cleared(water, shelf, request, amounts)
    except OutOfWork as end:
        raise OutOfWork(end.best, at_least) from None


def _new(rows: Sequence[Row], older: Sequence[Row]) -> list[Row]:
    return [row for row in rows if not any(np.array_equal(row.weights, other.weights) for other in older)]


def _place(rows: Sequence[Row], water: Water, shelf: Columns, request: RecipeRequest) -> Array:
    """Units where rows are better drawn that leave none, as those drawn far from any answer may: the nearest to them.

    Whole units are sought only where any amount would lie inside: they take a hundred times as long.
    """
    near = nearest(rows, water, shelf.finely())
    fits = shelf.whole and _held(made_of(water, shelf, near, request.volume_l), request)
    return nearest(rows, water, shelf) if fits else near


def _held(made: Water, request: RecipeRequest) -> bool:
    return all(standing.held for standing in standings(made, request.target, request.times_air))


def _lasting(rows: Sequence[Row], pivot: Water | None) -> list[Row]:
    """Rows that hold for every water inside the bands, not only near the pivot.

    Salts conduct the less the more there are: at a pivot that conducts too little, the plane lies above all that
    conduct enough. None is forgotten, or answers could swing between two pivots for ever.
    """
    if pivot is None:
        return []
    at, name = amounts_of(pivot), "conductivity_us_cm"
    return [replace(row, high=math.inf) for row in rows if row.band == name and row.weights @ at < row.low]


def _cleared(water: Water, shelf: Columns, request: RecipeRequest, first: Array) -> Array:
    """The same, or units inside every band whose saturation stays calm, where there are such.

    Raises OutOfWork, with either, where the budget of the question ends first.
    """
    cap = reference.value("limits", "calcite_calm")
    if _clear(made_of(water, shelf, first, request.volume_l), request, cap):
        return first
    try:
        for tried in Cap(cap).tries(water.calcium_mmol_l):
            if (found := _under(water, shelf, request, first, tried)) is not None:
                return found
    except OutOfWork as end:
        raise OutOfWork(first if end.best is None else end.best) from None
    return first


def _under(water: Water, shelf: Columns, request: RecipeRequest, amounts: Array, cap: Cap) -> Array | None:
    """Units inside every band and under the cap, from the row at one pivot to the next; None where that leads nowhere.

    The row holds its own pivot where that is clear: from there on each answer is at least as good.
    """
    clear = None
    for _ in range(_ROUNDS):
        pivot = made_of(water, shelf, amounts, request.volume_l)
        if _clear(pivot, request, cap.index):
            if clear is not None and np.array_equal(amounts, clear):
                break
            clear = amounts
        rows = rows_of(request.target, pivot, request.times_air, cap)
        try:
            found = choose(programme_of(rows, water, shelf), shelf, request.prefer)
        except OutOfWork as end:
            better = end.best is not None and _clear(
                made_of(water, shelf, end.best, request.volume_l), request, cap.index
            )
            raise OutOfWork(end.best if better and clear is None else clear) from None
        if found is None:
            break
        amounts = found
    return clear


def _clear(made: Water, request: RecipeRequest, cap: float) -> bool:
    return all(standing.held for standing in standings(made, request.target, request.times_air, cap))
