"""Why no recipe lies inside every band, and what would let one: which bands conflict, what to move, what to buy."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from chemistry.dosing.bands import CALCITE, CONSERVED, NEEDS_PIVOT, amounts_of, rows_of
from chemistry.dosing.cupboard import Stocked, columns
from chemistry.dosing.remineralise import Recipe, Wish, least_miss, made_of
from chemistry.dosing.ways_out import (
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
from chemistry.programmes.linear_programme import Array, Programme, solve
from chemistry.substances import ion_charge
from chemistry.units import figure
from chemistry.water.composition import ION_SYMBOLS, Water
from chemistry.water.equilibrium import closed
from chemistry.water.target import measures


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
    it; those of several moves are told only where no single thing to get, or no single band, would.
    """

    bands: tuple[str, ...]
    charge: str
    by_scale: bool
    ways_out: tuple[WayOut, ...]

    def sentence(self) -> str:
        """What stands in the way."""
        if self.by_scale:
            return f"the steps of the scale are too coarse for {listed(self.bands)} in so little water."
        said = f"{listed(self.bands)} cannot be held at once with what is in the cupboard."
        if len(self.bands) == 1:
            said = f"{self.bands[0]} cannot be reached with what is in the cupboard."
        return f"{said} {self.charge}".strip()

    def advice(self) -> str:
        """What would do it."""
        ways = [way.text for way in self.ways_out]
        if not ways:
            return "Choose another target, or other source water."
        if len(ways) == 1:
            return f"This would do it: {ways[0]}."
        return f"Any one of these alone would do it: {'; or '.join(ways)}."


def explained(water: Water, cupboard: Sequence[Stocked], wish: Wish, found: Recipe) -> Conflict | None:
    """Why `found`, the nearest recipe there is, misses a band; None where it misses none."""
    by_scale = bool(found.missed_by_scale)
    if not (found.missed or by_scale):
        return None
    water = closed(water)
    shelf = columns(water, cupboard, wish.volume_l, step_g=wish.step_g, parts=wish.parts, deionised=wish.deionised)
    pivot = made_of(water, shelf.finely(), least_miss(water, shelf.finely(), wish), wish.volume_l)
    asked = Asked(water, cupboard, wish, shelf, rows_of(wish.target, pivot, wish.times_air))
    gets = of_the_scale(asked) if by_scale else chain(more_stock(asked), deionised_offered(asked), bought(asked))
    single = _true(asked, ((move,) for move in gets))
    moved = _true(asked, ((move,) for move in bands_moved(asked)))
    # What takes two things to get, or several bands to move, is told only where one does not do.
    several = [] if single or by_scale else _true(asked, [tuple(all_bought(asked))])
    together = [] if single or moved else _true(asked, [tuple(all_moved(asked))])
    ways = [*single, *several, *moved, *together]
    bands = tuple(
        standing_in_words(standing.band, standing.limit, standing.value) for standing in found.missed_by_scale
    )
    return Conflict(
        bands if by_scale else _fewest_ends(asked.with_shelf(shelf.finely())),
        _charge(asked),
        by_scale,
        tuple(WayOut(moves) for moves in ways),
    )


def _true(asked: Asked, ways: Iterable[tuple[Move, ...]]) -> list[tuple[Move, ...]]:
    """The ways that lead out, each tried as it would be done: with a finer scale besides where whole steps want that."""
    if not asked.shelf.whole and not any(name in NEEDS_PIVOT for name, _ in asked.wish.target.bands()):
        return [moves for moves in ways if moves]  # the rows hold everywhere, and any amount can be measured
    return [found for moves in ways if moves and (found := _leading_out(asked, moves))]


def _leading_out(asked: Asked, moves: tuple[Move, ...]) -> tuple[Move, ...]:
    """The moves, and a finer scale if that is what they lack; none where they do not lead out all the same."""
    cupboard, wish = asked.cupboard, asked.wish
    for move in moves:
        cupboard, wish = done(cupboard, wish, move)
    if holds(asked.water, cupboard, wish):
        return moves
    finer = finer_scale(asked.water, cupboard, wish) if wish.step_g > 0 else None
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
