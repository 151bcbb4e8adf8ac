"""How the salts of a recipe get into the tote: buckets, their water, the order of pouring, and where it might cloud.

Three places are worse than the finished tote: the bucket, where all is ten times stronger; the plume, where what is
poured meets what is there already; and the tote once it has given off its CO2. Each is solved for the recipe at hand.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.recipe.cupboard import dissolve
from tapwright.chemistry.dosing.solubility import solubility_g_l
from tapwright.chemistry.substances import Salt, ion_charge, salt
from tapwright.chemistry.water.composition import CONSERVED, Water
from tapwright.chemistry.water.equilibrium import Equilibrium, at_air, at_carbon, closed, deionised_water

# Parts of bucket in the mixture of a plume, from a first drop to all of it.
_PARTS = np.logspace(-3.5, 0, 60)
# Ionic strength a bucket is made for [mol/L]; activity coefficients are trusted to twice that.
_STRENGTH = 0.5
# A bucket is filled to at least this share of itself: thin dissolves faster and clouds less than strong.
_LEAST_SHARE = 0.2
# Buckets are made larger by these until the plume is calm.
_LARGER = (1, 2, 4)


@dataclass(frozen=True)
class Saturation:
    """How near to chalk a water stands: its indices, and what that means to the eye.

    where: 'tote at once', 'tote in air', 'bucket: ...' or 'plume: ...'.  level: calm, caution or cloud, by the limits of
    tables/limits.csv, which are judgements. Dolomite is not judged: it never comes out in a keeper's time.
    """

    where: str
    si_calcite: float
    si_aragonite: float
    level: str


@dataclass(frozen=True)
class Bucket:
    """Salts that are dissolved together, by name [g], in so many litres of tote water or deionised water.

    loads: how often a household bucket is filled for it.  strewn: not dissolved apart but strewn into the tote.
    """

    name: str
    salts: Mapping[str, float]
    volume_l: float
    water: str = "tote water"
    loads: int = 1
    strewn: bool = False


@dataclass(frozen=True)
class Premix:
    """Buckets in the order they go in, with the reason for it, and every place that may cloud, the worst first.

    other_order: the worst index of a plume in the best other order; None where there is none.
    """

    buckets: tuple[Bucket, ...]
    reason: str
    saturations: tuple[Saturation, ...]
    other_order: float | None

    @property
    def deionised_l(self) -> float:
        """Deionised water in the buckets of one tote; the tote's own water is so much less."""
        return sum(bucket.volume_l for bucket in self.buckets if bucket.water == "deionised water")

    @property
    def worst(self) -> Saturation | None:
        """The place most likely to cloud; None where nothing is dissolved."""
        return self.saturations[0] if self.saturations else None


def premixed(
    water: Water,
    grams: Mapping[str, float],
    purity: Mapping[str, float],
    volume_l: float,
    times_air: float,
    *,
    deionised: bool = True,
) -> Premix:
    """Buckets for one tote of `volume_l` that holds `water` and is to get these grams.

    purity: of each salt, by mass.  times_air: CO2 of the room's air over outdoor air; a water whose pH is not known is taken
    as at rest with it.  deionised: whether a bucket may be of deionised water.  Raises OutOfRange as the equilibrium does.
    """
    water = closed(water)
    if water.carbon_mmol_l is None:
        water = replace(water, carbon_mmol_l=float(at_air(water, times_air).carbon_mmol_l))
    if not grams:
        return Premix((), "", _tote(water, times_air), None)
    best: Premix | None = None
    for larger in _LARGER:
        buckets = _buckets(water, grams, purity, volume_l, larger)
        if not deionised:
            buckets = [replace(bucket, water="tote water") for bucket in buckets]
        if best is not None and sum(bucket.volume_l for bucket in buckets) > volume_l / 3:
            break
        found = _ordered(water, buckets, purity, volume_l, times_air)
        if best is None or _plume(found) < _plume(best):
            best = found
        if _plume(found) <= reference.value("limits", "plume_calm"):
            break
    if best is None:  # cannot be: the first size is always tried
        raise AssertionError("no buckets")
    return best


def _plume(found: Premix) -> float:
    return max((place.si_calcite for place in found.saturations if place.where.startswith("plume")), default=-math.inf)


# --- which buckets ---------------------------------------------------------------------------------------------------


def _buckets(
    water: Water, grams: Mapping[str, float], purity: Mapping[str, float], volume_l: float, larger: int
) -> list[Bucket]:
    """Salts that cloud or set with each other apart, each lot in the least water that dissolves it well."""
    most_l = min(reference.value("practice", "bucket_volume"), _most_l(volume_l))
    strewn = {name: gram for name, gram in grams.items() if _litres_for(salt(name), gram, water.temperature_c) > most_l}
    rest = {name: gram for name, gram in grams.items() if name not in strewn}
    hard = {name: gram for name, gram in rest.items() if salt(name).hardness_mmol_per_g() > 0}
    soft = {name: gram for name, gram in rest.items() if salt(name).alkalinity_meq_per_g() > 0}
    neutral = {name: gram for name, gram in rest.items() if name not in hard and name not in soft}
    lots = [*_hard_lots(water, hard, purity, neutral), ("alkalinity", soft)]
    buckets = [_bucket(water, name, lot, purity, volume_l, larger) for name, lot in lots if lot]
    return [Bucket("strewn", strewn, 0.0, strewn=True), *buckets] if strewn else buckets


def _most_l(volume_l: float) -> float:
    """Water that may be drawn from a tote for one bucket."""
    return volume_l / 4


def _litres_for(what: Salt, grams: float, temperature_c: float) -> float:
    """Water that dissolves so much at a share of what it could."""
    share = reference.value("practice", "bucket_saturation") / 100
    return grams / (share * solubility_g_l(what, temperature_c))


def _hard_lots(
    water: Water, hard: Mapping[str, float], purity: Mapping[str, float], neutral: Mapping[str, float]
) -> Iterator[tuple[str, dict[str, float]]]:
    """Calcium and magnesium together, or calcium apart from sulfates where gypsum would come out of the bucket."""
    lot = {**hard, **neutral}
    sulfates = {name: gram for name, gram in lot.items() if "SO4" in salt(name).ions}
    calcium = {name: gram for name, gram in lot.items() if "Ca" in salt(name).ions}
    litres = _litres(water, lot, purity)
    if sulfates and calcium and float(_state(_dissolved(water, lot, purity, litres)).si_gypsum) > 0:
        yield "calcium", {name: gram for name, gram in lot.items() if name not in sulfates}
        yield "sulfates", sulfates
    else:
        yield "hardness" if hard else "salts", lot


def _bucket(
    water: Water, name: str, lot: Mapping[str, float], purity: Mapping[str, float], volume_l: float, larger: int
) -> Bucket:
    """One bucket of tote water, larger where that keeps it clear, or of deionised water where only that does."""
    bucket_l, calm = reference.value("practice", "bucket_volume"), reference.value("limits", "bucket_calm")
    most_l = _most_l(volume_l)
    least_l = litres = min(max(_litres(water, lot, purity), min(_LEAST_SHARE * bucket_l, most_l)) * larger, most_l)

    def clouds() -> bool:
        return bool(_state(_dissolved(water, lot, purity, litres)).si_calcite > calm)

    while clouds() and 2 * litres <= min(bucket_l, most_l):
        litres *= 2
    deionised = clouds()
    litres = least_l if deionised else litres
    loads = math.ceil(litres / reference.value("practice", "bucket_volume") - 1e-9)
    return Bucket(name, dict(lot), litres, "deionised water" if deionised else "tote water", loads)


def _litres(water: Water, lot: Mapping[str, float], purity: Mapping[str, float]) -> float:
    """Least water, in half litres, that dissolves the lot well and is no stronger than the engine is trusted for."""
    by_solubility = sum(_litres_for(salt(name), gram, water.temperature_c) for name, gram in lot.items())
    moles = {name: purity[name] * gram / salt(name).molar_mass_g_mol for name, gram in lot.items()}
    strength = sum(
        0.5 * moles[name] * number * ion_charge(ion) ** 2 for name in lot for ion, number in salt(name).ions.items()
    )
    return max(math.ceil(2 * max(by_solubility, strength / _STRENGTH)) / 2, 0.5)


def _dissolved(water: Water, lot: Mapping[str, float], purity: Mapping[str, float], litres: float) -> Water:
    return dissolve(water, [(salt(name), purity[name] * gram / litres) for name, gram in lot.items()])


def _state(water: Water) -> Equilibrium:
    return at_carbon(water, water.carbon_mmol_l or 0.0)


# --- in which order --------------------------------------------------------------------------------------------------


def _ordered(
    water: Water, buckets: Sequence[Bucket], purity: Mapping[str, float], volume_l: float, times_air: float
) -> Premix:
    """The order whose worst plume is the calmest; what is strewn goes first, as it takes longest."""
    strewn = [bucket for bucket in buckets if bucket.strewn]
    poured = [bucket for bucket in buckets if not bucket.strewn]
    tried = []
    for order in permutations(poured):
        places = _poured(water, (*strewn, *order), purity, volume_l, times_air)
        worst = max((place.si_calcite for place in places if place.where.startswith("plume")), default=-math.inf)
        # A hundredth of the index decides nothing: then what makes hardness goes first.
        tried.append((round(worst, 2), [bucket.name == "alkalinity" for bucket in order], worst, order, places))
    tried.sort(key=lambda entry: entry[:2])
    _, _, worst, order, places = tried[0]
    other = min((entry[2] for entry in tried[1:]), default=None)
    places.sort(key=_by_saturation)
    return Premix((*strewn, *order), _reason(order, worst, other), tuple(places), other)


def _poured(
    water: Water, buckets: Sequence[Bucket], purity: Mapping[str, float], volume_l: float, times_air: float
) -> list[Saturation]:
    """Every place on the way, and the tote in the end."""
    drawn_l = sum(bucket.volume_l for bucket in buckets)  # a bucket of deionised water takes the place of tote water
    tote, tote_l = water, volume_l - drawn_l
    places = []
    for bucket in buckets:
        if bucket.strewn:
            tote = _dissolved(tote, bucket.salts, purity, tote_l)
            continue
        source = deionised_water(water.temperature_c) if bucket.water == "deionised water" else water
        strong = _dissolved(source, bucket.salts, purity, bucket.volume_l)
        places.append(_judged(f"bucket: {bucket.name}", _state(strong), "bucket"))
        places.append(_in_plume(bucket.name, strong, tote))
        tote = _mixed(strong, tote, bucket.volume_l / (tote_l + bucket.volume_l))
        tote_l += bucket.volume_l
    return [*places, *_tote(tote, times_air)]


def _by_saturation(place: Saturation) -> float:
    """Highest first; what differs by less than can be told stays in the order of the work."""
    return -round(place.si_calcite, 2)


def _tote(tote: Water, times_air: float) -> tuple[Saturation, ...]:
    both = [
        _judged("tote at once", _state(tote), "calcite"),
        _judged("tote in air", at_air(tote, times_air), "calcite"),
    ]
    return tuple(sorted(both, key=_by_saturation))


def _mixed(one: Water, other: Water, part: float | np.ndarray) -> Water:
    """So large a part of one water in another; both at one temperature."""
    names = (*CONSERVED, "carbon_mmol_l")
    amounts = {name: part * getattr(one, name) + (1 - part) * getattr(other, name) for name in names}
    return Water(**amounts, temperature_c=other.temperature_c)


def _in_plume(name: str, strong: Water, tote: Water) -> Saturation:
    """The worst of all mixtures of what is poured with what is there."""
    mixtures = _mixed(strong, tote, _PARTS)
    found = at_carbon(mixtures, mixtures.carbon_mmol_l)
    at = int(np.argmax(found.si_calcite))
    worst = replace(found, si_calcite=found.si_calcite[at], si_aragonite=found.si_aragonite[at])
    return _judged(f"plume: {name}", worst, "plume")


def _judged(where: str, found: Equilibrium, limit: str) -> Saturation:
    calcite = float(found.si_calcite)
    level = "calm"
    for name, key in (("caution", f"{limit}_calm"), ("cloud", f"{limit}_cloud")):
        if calcite > reference.value("limits", key):
            level = name
    return Saturation(where, calcite, float(found.si_aragonite), level)


def _reason(order: Sequence[Bucket], worst: float, other: float | None) -> str:
    if len(order) < 2 or other is None:
        return ""
    if max(worst, other) <= reference.value("limits", "plume_calm"):
        return "Together in one bucket they could cloud; apart, either may go in first."
    where = f"where bucket meets tote the saturation index of calcite reaches {worst:+.1f}"
    if other - worst < 0.05:
        return f"Together in one bucket they would cloud; {where} in any order."
    return f"In this order {where}, at best {other:+.1f} in another."
