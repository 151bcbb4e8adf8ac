"""What would let a recipe be found where there is none: ends of bands to move, salts to get, water, a finer scale."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tapwright.chemistry.dosing.recipe.bands import CONSERVED, NEEDS_PIVOT, Row, rows_of, value_of
from tapwright.chemistry.dosing.recipe.choice import Rows, choose
from tapwright.chemistry.dosing.recipe.cupboard import DEIONISED, Columns, Deionised, Stocked, columns
from tapwright.chemistry.dosing.recipe.elastic import give
from tapwright.chemistry.dosing.recipe.nearest import made_of, programme_of
from tapwright.chemistry.dosing.recipe.remineralise import RecipeRequest, can_be_held
from tapwright.chemistry.errors import OutOfRange
from tapwright.chemistry.programmes.linear_programme import Array, Programme, solve
from tapwright.chemistry.substances import Salt, salts
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.target import measures

_ROUNDS = 4
_PH_OF_TANKS, _MOST_TIMES = (6.0, 10.0), 3.0
_FINER_G = (0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001)


@dataclass(frozen=True)
class Move:
    """One thing to do.

    kind: band, stock, deionised, buy, scale or volume.  name: what of.  now, then: its end or amount in `unit`; now is None
    where there is nothing yet.  text: the same for a person.
    """

    kind: str
    name: str
    now: float | None
    then: float
    unit: str
    text: str


@dataclass(frozen=True)
class Asked:
    """The question that has no answer: rows near the least miss, over columns measured as they are or finely."""

    water: Water
    cupboard: Sequence[Stocked]
    request: RecipeRequest
    shelf: Columns
    rows: list[Row]

    @property
    def programme(self) -> Rows:
        """The rows over the units of every column."""
        return programme_of(self.rows, self.water, self.shelf)

    def made(self, amounts: Array) -> Water:
        """The refill of so many units."""
        return made_of(self.water, self.shelf, amounts, self.request.volume_l)

    @property
    def rounds(self) -> int:
        """How often an answer is sought and its rows drawn anew there; once where no row needs that."""
        return _ROUNDS if any(row.band in NEEDS_PIVOT for row in self.rows) else 1

    def near(self, amounts: Array) -> Asked:
        """The same with its rows drawn at the refill of so many units."""
        return replace(self, rows=rows_of(self.request.target, self.made(amounts), self.request.times_air))

    def with_shelf(self, shelf: Columns) -> Asked:
        """The same of other columns."""
        return replace(self, shelf=shelf)


def own_end(asked: Asked, row: Row, side: str) -> tuple[bool, float]:
    """Whether the end of the row is the band's low one, and where that lies; a ratio's high end is a row's low one."""
    band = dict(asked.request.target.bands())[row.band]
    low = side == "low"
    if row.band == "calcium_to_magnesium":
        low = row.weights[CONSERVED.index("calcium_mmol_l")] > 0
    elif row.band == "ph_at_once":
        low = not low  # much carbon is low pH
    return low, band.low if low else band.high


def name_of(shelf: Columns, place: int) -> str:
    """What the column is."""
    return shelf.salts[place].salt.name if place < shelf.count else DEIONISED


def unit_of(shelf: Columns, place: int) -> str:
    """What the column is counted in."""
    return "g" if place < shelf.count else "L"


def most_of(asked: Asked, place: int) -> float:
    """Units of a column there can be at most, however much is in stock: water no more than the refill."""
    return math.inf if place < asked.shelf.count else asked.request.volume_l / float(asked.shelf.unit[place])


def bands_moved(asked: Asked) -> Iterator[Move]:
    """Every band that would do it if one of its ends moved, and where to."""
    programme, shelf = asked.programme, asked.shelf
    for place, row in enumerate(asked.rows):
        for side in ("low", "high"):
            same = _rows_of_end(asked, row, side)
            if same[0] != place or not math.isfinite((programme.low if side == "low" else programme.high)[place]):
                continue
            ends = np.full((2, len(asked.rows)), math.inf)
            ends[("low", "high").index(side), same] = 1.0
            near, found = asked, None
            for _ in range(asked.rounds):
                found = give(near.programme, shelf.cost, shelf.most, shelf.whole, *ends)
                if found is None:
                    break
                near = near.near(found.amounts)
            if found is not None and _can_be_meant(move := _moved(asked, row, side, found.amounts)):
                yield move


def _can_be_meant(move: Move) -> bool:
    """Whether anyone would move a band so far: not to a pH no tank has, and not to many times what it was."""
    if move.name.startswith("ph_"):
        return _PH_OF_TANKS[0] <= move.then <= _PH_OF_TANKS[1]
    return math.isfinite(move.then) and (not move.now or move.then <= _MOST_TIMES * move.now)


def _rows_of_end(asked: Asked, row: Row, side: str) -> list[int]:
    """Every row that stands for the same end of the same band."""
    end = own_end(asked, row, side)
    return [place for place, at in enumerate(asked.rows) if at.band == row.band and own_end(asked, at, side) == end]


def _moved(asked: Asked, row: Row, side: str, amounts: Array) -> Move:
    """One end of a band where these amounts put it, rounded outwards to what a person writes."""
    measure = measures()[row.band]
    low, now = own_end(asked, row, side)
    then = value_of(asked.made(amounts), row.band, asked.request.times_air) * measure.scale
    then = _outwards(then, up=not low)
    said = f"{figure(then, 4)} {measure.unit}".rstrip() if math.isfinite(then) else "any height"
    text = f"let {measure.words} go {'down' if low else 'up'} to {said} instead of {measure.said(now)}"
    return Move("band", row.band, now * measure.scale, then, measure.unit, text)


def _outwards(value: float, *, up: bool) -> float:
    """Three significant digits, rounded to the side that still does it."""
    if not math.isfinite(value):
        return value
    if abs(value) < 1e-5:  # what a solver leaves of nothing
        return 0.0
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 2)
    nudge = 1e-6  # what a solver leaves
    return (math.ceil(value / step - nudge) if up else math.floor(value / step + nudge)) * step


def more_stock(asked: Asked) -> Iterator[Move]:
    """Every stock that would do it if there were more."""
    shelf = asked.shelf
    for place in np.flatnonzero(np.isfinite(shelf.most)):
        most = shelf.most.copy()
        most[place] = most_of(asked, int(place))
        only = np.zeros(len(most))
        only[place] = shelf.unit[place]
        found = _least_of(only, asked, most)
        if found is not None:
            then, now = _outwards(float(only @ found), up=True), _in_stock(asked, int(place))
            if then <= now:  # what rounding leaves of a stock is no way out
                continue
            unit, name = unit_of(shelf, int(place)), name_of(shelf, int(place))
            text = f"have {figure(then, 4)} {unit} of {name} at hand instead of {figure(now, 4)}"
            yield Move("stock", name, now, then, unit, text)


def _in_stock(asked: Asked, place: int) -> float:
    """Grams or litres there are of what is limited."""
    shelf = asked.shelf
    water = asked.request.deionised
    kept = shelf.salts[place].stock_g if place < shelf.count else water.stock_l if water else None
    return float(shelf.most[place] * shelf.unit[place]) if kept is None else kept


def _least_of(cost: Array, asked: Asked, most: Array) -> Array | None:
    """Units inside all rows of the least cost, whole ones where only these can be measured; None where there are none."""
    found = None
    for _ in range(asked.rounds):
        rows = asked.programme
        found = solve(Programme(cost, rows.matrix, rows.low, rows.high, most, len(most) if asked.shelf.whole else 0))
        if found is None:
            return None
        asked = asked.near(found)
    return found


def deionised_offered(asked: Asked) -> Iterator[Move]:
    """Deionised water, where none is offered."""
    if asked.request.deionised is not None:
        return
    offered = _shelf(asked, asked.cupboard, Deionised())
    only = np.append(np.zeros(offered.count), offered.unit[-1])
    found = _least_of(only, asked.with_shelf(offered), offered.most)
    if found is not None:
        then_l = _outwards(float(only @ found), up=True)
        whole_l = figure(asked.request.volume_l)
        text = f"take at least {figure(then_l)} L of deionised or reverse-osmosis water in the {whole_l} L"
        yield Move("deionised", DEIONISED, None, then_l, "L", text)


def bought(asked: Asked) -> Iterator[Move]:
    """Every salt that would do it if it were in the cupboard. Carbonates only if need be."""
    found = []
    for salt in _lacking(asked):
        shelf = _shelf(asked, [*asked.cupboard, Stocked(salt)])
        is_it = [float(item.salt is salt) for item in shelf.salts] + [0.0] * (len(shelf.unit) - shelf.count)
        only = shelf.unit * np.array(is_it)
        amounts = _least_of(only, asked.with_shelf(shelf), shelf.most)
        if amounts is not None:
            found.append((float(only @ amounts), salt))
    gentle = [entry for entry in found if entry[1].gentle]
    for grams, salt in sorted(gentle or found, key=lambda entry: entry[0]):
        yield _buy(salt, grams)


def _buy(salt: Salt, grams: float) -> Move:
    """A salt to get, in any of the forms it is sold in."""
    forms = [form for form in salts().values() if form.ions == salt.ions and _advisable(form)]
    amounts = [(form.name, grams * form.molar_mass_g_mol / salt.molar_mass_g_mol) for form in forms]
    choices = " or ".join(f"{figure(_outwards(grams, up=True))} g {name}" for name, grams in amounts)
    return Move("buy", salt.name, None, _outwards(grams, up=True), "g", f"get {choices}")


def _lacking(asked: Asked) -> list[Salt]:
    """One salt for each kind that the cupboard has in no form: the form that is easiest to handle."""
    there = [dict(item.salt.ions) for item in asked.cupboard]
    kinds: dict[tuple[tuple[str, float], ...], Salt] = {}
    for salt in sorted(salts().values(), key=lambda salt: (salt.note != "", salt.molar_mass_g_mol)):
        if dict(salt.ions) not in there and _advisable(salt):
            kinds.setdefault(tuple(sorted(salt.ions.items())), salt)
    return sorted(kinds.values(), key=lambda salt: salt.name)


def _advisable(salt: Salt) -> bool:
    return "better not used" not in salt.note


def _shelf(asked: Asked, cupboard: Sequence[Stocked], deionised: Deionised | None = None) -> Columns:
    request, step_g = asked.request, asked.request.step_g if asked.shelf.whole else 0.0
    return columns(
        asked.water,
        cupboard,
        request.volume_l,
        step_g=step_g,
        parts=request.parts,
        deionised=deionised or request.deionised,
    )


def all_bought(asked: Asked) -> list[Move]:
    """The fewest salts to get, and deionised water if it takes that, where several are needed."""
    others = [Stocked(salt) for salt in _lacking(asked) if salt.gentle]
    for deionised in (asked.request.deionised, Deionised()):
        shelf = _shelf(asked, [*asked.cupboard, *others], deionised)
        amounts = choose(asked.with_shelf(shelf).programme, shelf)
        if amounts is not None:
            there = {item.salt for item in asked.cupboard}
            moves = [
                Move("buy", item.salt.name, None, grams, "g", f"get {figure(grams)} g {item.salt.name}")
                for item, grams in zip(
                    shelf.salts, (_outwards(float(number), up=True) for number in amounts * shelf.unit), strict=False
                )
                if grams > 0 and item.salt not in there
            ]
            litres = float(amounts[shelf.count :] @ shelf.unit[shelf.count :])
            return [*moves, *_more_water(asked, litres)]
    return []


def _more_water(asked: Asked, litres: float) -> Iterator[Move]:
    """Deionised water, where it takes more than is offered."""
    offered, then_l = asked.request.deionised, _outwards(litres, up=True)
    if offered is None and then_l > 0:
        yield Move("deionised", DEIONISED, None, then_l, "L", f"take {figure(then_l)} L of deionised water")
    elif offered is not None and offered.stock_l is not None and litres > offered.stock_l + 1e-6:
        text = f"have {figure(then_l, 4)} L of {DEIONISED} at hand instead of {figure(offered.stock_l, 4)}"
        yield Move("stock", DEIONISED, offered.stock_l, then_l, "L", text)


def all_moved(asked: Asked) -> list[Move]:
    """The least total move of all bands, each against its own size."""
    shelf = asked.shelf
    price = 1 / np.array([row.size for row in asked.rows])
    found = give(asked.programme, shelf.cost, shelf.most, shelf.whole, price, price)
    if found is None:
        return []
    moves = [
        _moved(asked, row, side, found.amounts)
        for row, below, above in zip(asked.rows, found.below, found.above, strict=True)
        for side, moved in (("low", below), ("high", above))
        if moved > 1e-6
    ]
    return list(dict.fromkeys(moves))


def of_the_scale(asked: Asked) -> Iterator[Move]:
    """The coarsest finer step, and the smallest larger volume, that hold every band."""
    request = asked.request
    if (finer := finer_scale(asked.water, asked.cupboard, request)) is not None:
        yield finer
    if (volume_l := _larger(asked)) is not None:
        text = f"make {figure(volume_l, 4)} L at once instead of {figure(request.volume_l, 4)} L"
        yield Move("volume", "volume", request.volume_l, volume_l, "L", text)


def finer_scale(water: Water, cupboard: Sequence[Stocked], request: RecipeRequest) -> Move | None:
    """The coarsest finer step that holds every band; None where none does."""
    spoons = [item.step_g for item in cupboard if item.step_g is not None]
    weighed = [replace(item, step_g=None) for item in cupboard]
    now_g, now = (max(spoons), "by spoons") if spoons else (request.step_g, f"in steps of {figure(request.step_g)} g")
    finer = [step_g for step_g in _FINER_G if step_g < now_g]
    if not finer or not holds(
        water, weighed, replace(request, step_g=finer[-1])
    ):  # the finest does if any does, but for luck
        return None
    step_g = next(step_g for step_g in finer if holds(water, weighed, replace(request, step_g=step_g)))
    return Move(
        "scale", "scale", now_g, step_g, "g", f"weigh in steps of {figure(step_g)} g instead of measuring {now}"
    )


def holds(water: Water, cupboard: Sequence[Stocked], request: RecipeRequest) -> bool:
    """Whether such a recipe lies inside every band."""
    try:
        return can_be_held(water, cupboard, request)
    except OutOfRange:  # no such water
        return False


def done(cupboard: Sequence[Stocked], request: RecipeRequest, move: Move) -> tuple[Sequence[Stocked], RecipeRequest]:
    """The cupboard and the request once the move is made."""
    if move.kind == "band" and move.now is not None:
        band, scale = dict(request.target.bands())[move.name], measures()[move.name].scale
        end = "low" if move.then < move.now else "high"
        changes: dict[str, Any] = {move.name: replace(band, **{end: move.then / scale})}
        return cupboard, replace(request, target=replace(request.target, **changes))
    if move.name == DEIONISED:
        return cupboard, replace(request, deionised=replace(request.deionised or Deionised(), stock_l=move.then))
    if move.kind == "stock":
        return [replace(item, stock_g=move.then) if item.salt.name == move.name else item for item in cupboard], request
    if move.kind == "buy":
        return [*cupboard, Stocked(salts()[move.name])], request
    if move.kind == "scale":
        return [replace(item, step_g=None) for item in cupboard], replace(request, step_g=move.then)
    return cupboard, replace(request, volume_l=move.then)


def _larger(asked: Asked) -> float | None:
    """The smallest volume found that works: doubled until one does, then halved in between to a tenth."""
    low = high = asked.request.volume_l
    for _ in range(6):
        high *= 2
        if holds(asked.water, asked.cupboard, replace(asked.request, volume_l=high)):
            break
        low = high
    else:
        return None
    while high > 1.1 * low:
        middle = (low + high) / 2
        low, high = (
            (low, middle)
            if holds(asked.water, asked.cupboard, replace(asked.request, volume_l=middle))
            else (middle, high)
        )
    rounded = _outwards(high, up=True)
    return rounded if holds(asked.water, asked.cupboard, replace(asked.request, volume_l=rounded)) else high
