"""Why no recipe lies inside every band, and what would let one: which bands conflict, what to move, what to buy."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np

from tapwright.chemistry.dosing.recipe.bands import CALCITE, CONSERVED, NEEDS_PIVOT, amounts_of, rows_of
from tapwright.chemistry.dosing.recipe.cupboard import Stocked, columns
from tapwright.chemistry.dosing.recipe.nearest import least_miss, made_of
from tapwright.chemistry.dosing.recipe.remineralise import Recipe, RecipeRequest
from tapwright.chemistry.dosing.recipe.ways_out import (
    Asked,
    Move,
    all_bought,
    all_moved,
    bands_moved,
    bought,
    deionised_offered,
    done,
    finer_scale,
    holds,
    more_stock,
    most_of,
    name_of,
    of_the_scale,
    own_end,
    unit_of,
)
from tapwright.chemistry.programmes.budget import Budget, OutOfWork, question
from tapwright.chemistry.programmes.linear_programme import Array, Programme, solve
from tapwright.chemistry.substances import ion_charge
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.composition import ION_SYMBOLS, Water
from tapwright.chemistry.water.equilibrium import closed
from tapwright.chemistry.water.target import measures

# Of the question's budget for the rows that ways out are sought at; of what is left of it for one kind of them, and of
# that for one of its kind.
_FOR_PIVOT, _FOR_ONE_KIND, _FOR_ONE_WAY = 0.1, 0.4, 0.5


@dataclass(frozen=True)
class WayOut:
    """What would let a recipe be found: one move, or several that are needed together."""

    moves: tuple[Move, ...]

    @property
    def text(self) -> str:
        """The moves for a person."""
        return listed([move.text for move in self.moves])


@dataclass(frozen=True)
class Conflict:
    """Why there is no recipe.

    bands: the few that cannot hold at once; none of them can be left out.  charge: why no salts whatever could hold them,
    or empty.  by_scale: whether only the steps of the scale stand in the way.  ways_out: any one of them alone would do
    it; those of several moves are told only where no single thing to get, or no single band, would.  proven: whether there is
    no recipe, and not only none found in the time.  not_sought: kinds of ways out that the time did not suffice for.
    """

    bands: tuple[str, ...]
    charge: str
    by_scale: bool
    ways_out: tuple[WayOut, ...]
    proven: bool = True
    not_sought: tuple[str, ...] = ()

    def sentence(self) -> str:
        """What stands in the way."""
        if not self.proven:
            return f"no recipe was found in the time, though there may be one; the nearest misses {listed(self.bands)}."
        if self.by_scale:
            return f"the steps of the scale are too coarse for {listed(self.bands)} in so little water."
        said = f"{listed(self.bands)} cannot be held at once with what is in the cupboard."
        if len(self.bands) == 1:
            said = f"{self.bands[0]} cannot be reached with what is in the cupboard."
        return f"{said} {self.charge}".strip()

    def advice(self) -> str:
        """What would do it, and what was not looked for."""
        ways = [way.text for way in self.ways_out]
        if len(ways) > 1:
            said = f"Any one of these alone would do it: {'; or '.join(ways)}."
        elif ways:
            said = f"This would do it: {ways[0]}."
        elif self.proven and not self.not_sought:
            said = "Choose another target, or other source water."
        else:
            said = ""
        return f"{said} {self.in_time()}".strip()

    def in_time(self) -> str:
        """What more patience may do; empty where it cannot."""
        if self.not_sought:
            return f"The time did not suffice to look for {listed(self.not_sought)}: have more patience."
        return "" if self.proven else "More patience may find one."


def explained(water: Water, cupboard: Sequence[Stocked], request: RecipeRequest, found: Recipe) -> Conflict | None:
    """Why `found`, the nearest recipe there is, misses a band; None where it misses none."""
    if found.found:
        return None
    with question() as budget:
        return _explained(water, cupboard, request, found, budget)


def _explained(
    water: Water, cupboard: Sequence[Stocked], request: RecipeRequest, found: Recipe, budget: Budget
) -> Conflict:
    by_scale, water = bool(found.missed_by_scale), closed(water)
    shelf = columns(
        water, cupboard, request.volume_l, step_g=request.step_g, parts=request.parts, deionised=request.deionised
    )
    with budget.apart(_FOR_PIVOT):
        pivot = made_of(water, shelf.finely(), least_miss(water, shelf.finely(), request), request.volume_l)
        asked = Asked(water, cupboard, request, shelf, rows_of(request.target, pivot, request.times_air))
        bands, charge = _standing_in_the_way(asked, found)
    search = _Search(asked, budget)
    # A scale is blamed where any amount would do; where nothing is proven, a finer one may help as well as all the rest.
    single = [*search.ways("a finer scale or a larger volume", of_the_scale)] if by_scale or not found.proven else []
    if not by_scale:
        single += search.ways("more of a stock", more_stock)
        single += search.ways("deionised water", deionised_offered)
        single += search.ways("a salt to get", bought)
    moved = search.ways("a band to move", bands_moved)
    # What takes two things to get, or several bands to move, is told only where one does not do.
    several = [] if single or by_scale else search.together("several salts to get", all_bought)
    together = [] if single or moved else search.together("several bands to move", all_moved)
    ways = [*single, *several, *moved, *together]
    return Conflict(
        bands,
        charge,
        by_scale,
        tuple(WayOut(moves) for moves in ways),
        found.proven,
        tuple(search.not_sought),
    )


def _standing_in_the_way(asked: Asked, found: Recipe) -> tuple[tuple[str, ...], str]:
    """The bands that cannot hold at once, and why no salts could; those that the nearest misses where that is not known."""
    missed = found.missed_by_scale or found.missed
    bands, charge = tuple(standing_in_words(at.band, at.limit, at.value) for at in missed), ""
    if found.proven:
        with suppress(OutOfWork):
            charge = _charge(asked)
            bands = bands if found.missed_by_scale else _fewest_ends(asked.with_shelf(asked.shelf.finely()))
    return bands, charge


class _Search:
    """Ways out, kind by kind, and the kinds that the budget did not suffice for."""

    def __init__(self, asked: Asked, budget: Budget) -> None:
        self.not_sought: list[str] = []
        self._asked, self._budget = asked, budget

    def ways(self, kind: str, moves: Callable[[Asked], Iterator[Move]]) -> list[tuple[Move, ...]]:
        """All of one kind, each of one move."""
        return self._sought(kind, lambda: ((move,) for move in moves(self._asked)))

    def together(self, kind: str, moves: Callable[[Asked], list[Move]]) -> list[tuple[Move, ...]]:
        """One of several moves."""
        return self._sought(kind, lambda: iter([tuple(moves(self._asked))]))

    def _sought(self, kind: str, ways: Callable[[], Iterator[tuple[Move, ...]]]) -> list[tuple[Move, ...]]:
        """Those that lead out, each tried as it would be done."""
        budget, asked, found = self._budget, self._asked, []
        # Where any amount can be measured and the rows hold everywhere, there is nothing to try.
        sure = not asked.shelf.whole and not any(name in NEEDS_PIVOT for name, _ in asked.request.target.bands())
        try:
            with budget.at_most(_FOR_ONE_KIND * budget.left):
                for moves in ways():
                    if moves and (done := moves if sure else self._leading_out(kind, moves)):
                        found.append(done)
        except OutOfWork:
            self._lost(kind)
        return found

    def _leading_out(self, kind: str, moves: tuple[Move, ...]) -> tuple[Move, ...]:
        try:
            with self._budget.at_most(_FOR_ONE_WAY * self._budget.left):
                return _leading_out(self._asked, moves)
        except OutOfWork:
            self._lost(kind)
            return ()

    def _lost(self, kind: str) -> None:
        if kind not in self.not_sought:
            self.not_sought.append(kind)


def _leading_out(asked: Asked, moves: tuple[Move, ...]) -> tuple[Move, ...]:
    """The moves, and a finer scale if that is what they lack; none where they do not lead out all the same."""
    cupboard, request = asked.cupboard, asked.request
    for move in moves:
        cupboard, request = done(cupboard, request, move)
    if holds(asked.water, cupboard, request):
        return moves
    finer = finer_scale(asked.water, cupboard, request) if request.step_g > 0 else None
    return () if finer is None else (*moves, finer)


def standing_in_words(band: str, limit: float, value: float) -> str:
    """'hardness of at most 4.4 dGH'."""
    measure = measures()[band]
    return f"{measure.words} of at {'least' if value < limit else 'most'} {measure.said(limit)}"


def listed(words: Sequence[str]) -> str:
    """'a, b and c'."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _fewest_ends(asked: Asked) -> tuple[str, ...]:
    """Ends of bands and of stocks that cannot hold at once, and could if any one of them were left out.

    Left out one after another, for good where the rest still cannot hold: the minor ones first, stocks last.
    """
    programme, most = asked.programme, asked.shelf.most.copy()
    low, high = programme.low.copy(), programme.high.copy()
    ends = [(ends, row) for row in reversed(range(len(low))) for ends in (high, low)]
    ends += [(most, column) for column in range(len(most))]
    kept = []
    for values, place in ends:
        was, free = values[place], -math.inf if values is low else math.inf
        if values is most:
            free = most_of(asked, place)
        if was == free:
            continue
        values[place] = free
        if solve(Programme(asked.shelf.cost, programme.matrix, low, high, most)) is not None:
            values[place] = was
            kept.append(_end_in_words(asked, "stock" if values is most else "low" if values is low else "high", place))
    return tuple(dict.fromkeys(reversed(kept)))


def _end_in_words(asked: Asked, side: str, place: int) -> str:
    shelf = asked.shelf
    if side == "stock":
        amount = f"{figure(shelf.most[place] * shelf.unit[place])}"
        return f"the {amount} {unit_of(shelf, place)} of {name_of(shelf, place)} there are"
    low, limit = own_end(asked, asked.rows[place], side)
    measure = measures()[asked.rows[place].band]
    return f"{measure.words} of at {'least' if low else 'most'} {measure.said(limit)}"


def _charge(asked: Asked) -> str:
    """Why no water at all lies in the bands: what it is charged with must come to nothing. Empty where one does."""
    charges = np.array([*(ion_charge(symbol) for symbol in ION_SYMBOLS.values()), -1, 0])
    water, linear = asked.water, [row for row in asked.rows if row.band not in (*NEEDS_PIVOT, CALCITE)]
    own = float(charges @ amounts_of(water))  # what nitrate, ammonium and the error of a report leave over
    matrix = np.array([row.weights for row in linear]).reshape(len(linear), len(CONSERVED))
    low, high = (np.array([getattr(row, end) for row in linear]) for end in ("low", "high"))
    # Large but not without end: a sum that would run off is told by its size.
    most = np.full(len(CONSERVED), 1e4)

    def least(weights: Array) -> float | None:
        """Least of a sum over all waters in the bands; None where the bands hold no water even if charge did not matter."""
        found = solve(Programme(weights, matrix, low, high, most))
        return None if found is None else float(weights @ found)

    lowest, negative = least(charges), least(-charges)
    if lowest is None or negative is None:
        return "No water at all lies in these bands."
    if lowest <= max(own, 0.0) + 1e-6 and -negative >= min(own, 0.0) - 1e-6:
        return ""
    short, much = ("anions", "cations") if lowest > 0 else ("cations", "anions")
    gap = lowest if lowest > 0 else negative
    return (
        f"No salts whatever could: the {much} of any such water come to at least {figure(gap, 2)} meq/L more than its "
        f"{short}, and they must be equal."
    )
