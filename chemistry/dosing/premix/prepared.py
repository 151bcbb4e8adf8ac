"""A recipe and how it gets into the tote, each counting on the other.

A bucket of deionised water thins the tote it is poured into; the recipe must know of it, and the bucket of the recipe.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.premix.premix import Premix, premixed
from tapwright.chemistry.dosing.recipe.cupboard import Stocked
from tapwright.chemistry.dosing.recipe.remineralise import Recipe, RecipeRequest, recipe
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import closed, deionised_water
from tapwright.chemistry.water.mixing import mix

_ROUNDS = 3


@dataclass(frozen=True)
class Prepared:
    """A recipe for the whole, made of `source` (the water it is asked for, thinned by deionised buckets); and its buckets
    for one tote.
    """

    recipe: Recipe
    premix: Premix
    source: Water


def prepared(water: Water, cupboard: Sequence[Stocked], request: RecipeRequest) -> Prepared:
    """The recipe, and the buckets of one tote of it. Raises as `recipe` and `premixed` do."""
    purity = {item.salt.name: item.purity for item in cupboard}
    tote_l, source, counted_l = request.volume_l / request.parts, closed(water), 0.0
    for _ in range(_ROUNDS):
        made = recipe(source, cupboard, request)
        if made.missed or made.missed_by_scale:
            break
        per_tote_g = {name: grams / request.parts for name, grams in made.grams.items()}
        bare = thinned(water, made.deionised_l / request.parts, tote_l)
        premix = premixed(bare, per_tote_g, purity, tote_l, request.times_air)
        if abs(premix.deionised_l - counted_l) < 1e-9:
            break
        counted_l, source = premix.deionised_l, thinned(water, premix.deionised_l, tote_l)
    unheld = made.missed or made.missed_by_scale  # of the water as it is: what is told of a conflict must be of that
    if unheld or (request.deionised is None and premix.deionised_l * request.parts > _carried_l()):
        return _plain(closed(water), cupboard, request, purity)
    return Prepared(made, premix, source)


def _carried_l() -> float:
    """Deionised water for buckets that anybody can have standing by, where none is said to be there."""
    return reference.value("limits", "buckets_deionised")


def _plain(water: Water, cupboard: Sequence[Stocked], request: RecipeRequest, purity: dict[str, float]) -> Prepared:
    """The same with buckets of tote water alone, even where that clouds them."""
    made, tote_l = recipe(water, cupboard, request), request.volume_l / request.parts
    per_tote_g = {name: grams / request.parts for name, grams in made.grams.items()}
    bare = thinned(water, made.deionised_l / request.parts, tote_l)
    return Prepared(made, premixed(bare, per_tote_g, purity, tote_l, request.times_air, deionised=False), water)


def thinned(water: Water, deionised_l: float, volume_l: float) -> Water:
    """The water with so many of its litres replaced by deionised water; by its carbon, where that is known."""
    if deionised_l <= 0:
        return closed(water)
    pure = deionised_water(water.temperature_c)
    return mix([closed(water), pure], [volume_l - deionised_l, deionised_l])[0]
