"""Why a label and its own contents may disagree: one confusion at a time, then two at once, ranked."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from itertools import combinations

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.label.case import Case, Part, powder_kg_l
from tapwright.chemistry.dosing.label.claims import Claim, other_readings
from tapwright.chemistry.dosing.spoons import spoon_ml
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.substances import Agent, Substance, hydrates_of, molar_mass
from tapwright.chemistry.units import figure, read

_WATER_KG_L = 1.0
_GALLONS = {"US": "imperial", "imperial": "US"}
_MOST_PAIRS = 5
# Ratios closer to one another than this count as the same: no label's figures are better.
_SAME_SHARE = 0.01


@dataclass(frozen=True)
class Explanation:
    """What would make a label true.

    text: what was taken for what, and what to do.  ratio_after: computed to claimed once that is put right.
    codes: stable names of the confusions, one or two.  odd: how many of them are seldom met.  strength_percent,
    strength_g_l: of the product, where the explanation is what could be in it.
    """

    text: str
    ratio_after: float
    codes: tuple[str, ...]
    odd: int = 0
    strength_percent: float | None = None
    strength_g_l: float | None = None


@dataclass(frozen=True)
class _Change:
    """One confusion: its code, what it touches (two that touch the same exclude each other), words, and the case after.

    odd: 1 for what is seldom confused, else 0.
    """

    code: str
    touches: str
    what: str
    advice: tuple[str, ...]
    apply: Callable[[Case], Case]
    odd: int = 0


def explanations_of(case: Case) -> tuple[Explanation, ...]:
    """Every single confusion that brings the label within its tolerance, or, where there is none, pairs of them.

    Ranked by how close they bring the ratio to 1, then by how common they are.
    """
    changes = list(_changes(case))
    return _reconciled(case, [(change,) for change in changes]) or _reconciled(case, _pairs(changes))[:_MOST_PAIRS]


def _pairs(changes: list[_Change]) -> list[tuple[_Change, ...]]:
    return [pair for pair in combinations(changes, 2) if pair[0].touches != pair[1].touches]


def _reconciled(case: Case, groups: list[tuple[_Change, ...]]) -> tuple[Explanation, ...]:
    """The groups of changes after which the label agrees, ranked."""
    found = []
    for group in groups:
        after = case
        for change in group:
            after = change.apply(after)
        if after.ratio() > 0 and after.verdict() == "agrees":
            text = " And: ".join(change.what for change in group)
            advice = " ".join(dict.fromkeys(sentence for change in group for sentence in change.advice))
            odd = sum(change.odd for change in group)
            found.append(Explanation(f"{text} {advice}", after.ratio(), tuple(change.code for change in group), odd))
    return ranked(found)


def ranked(found: Iterable[Explanation]) -> tuple[Explanation, ...]:
    """Fewest confusions first, then the closest to a ratio of 1, then the commonest."""

    def rank(entry: Explanation) -> tuple[int, int, int, str]:
        closeness = round(abs(math.log(entry.ratio_after)) / _SAME_SHARE)
        return len(entry.codes), closeness, entry.odd, entry.text

    return tuple(sorted(found, key=rank))


def _changes(case: Case) -> Iterator[_Change]:
    """Every single confusion there could be."""
    yield from _claim_changes(case)
    for part in case.parts:
        yield from _hydrate_changes(case, part)
        yield from _route_changes(case, part)
    yield from _gallon_changes(case)
    yield from _spoon_changes(case)
    yield from _percent_changes(case)


def _count_on(case: Case) -> str:
    """What to do where the stated contents are right."""
    return f"Count on {case.claim.shown(case.computed())}, which is what the stated contents give."


def _claim_changes(case: Case) -> Iterator[_Change]:
    """Another unit for the figure claimed."""
    own = case.claim
    for code, other in other_readings(own):
        what = f"The figure is in {other.words}, not in {own.words}"
        if other.effect == own.effect:
            what += f": {figure(own.number, 6)} {other.unit} is {own.shown(other.claimed)}"
        odd = int(code == "equivalents" or other.effect.kind == "product")
        yield _Change(code, "claim", f"{what}.", (_count_on(case),), partial(_claiming, claim=other), odd)


def _claiming(case: Case, claim: Claim) -> Case:
    return replace(case, claim=claim)


def _with_part(case: Case, name: str, change: Callable[[Part], Part]) -> Case:
    """The case with the parts of that name changed."""
    return replace(case, parts=tuple(change(part) if part.substance.name == name else part for part in case.parts))


def _hydrate_changes(case: Case, part: Part) -> Iterator[_Change]:
    """Another amount of crystal water in one substance."""
    name = part.substance.name
    for other in hydrates_of(part.substance):
        if other is part.substance:
            continue
        what = f"The dose was reckoned with {other.name}, while the label states {name}."
        advice = (_count_on(case), "Ask the supplier which of the two is in it.")

        def swap(seen: Case, other: Substance = other) -> Case:
            return _with_part(seen, name, lambda part: replace(part, substance=other))

        yield _Change("hydrate", f"hydrate of {name}", what, advice, swap)


def _route_changes(case: Case, part: Part) -> Iterator[_Change]:
    """Another way for thiosulfate to take up chlorine than the planned one, which needs most."""
    agent = part.substance
    if not (case.claim.effect.removes_chlorine and isinstance(agent, Agent) and "S4O6" in agent.products):
        return
    advice = (
        "A tank does not promise that: take the dose from `tapwright neutralise`, which plans on the safe route.",
    )
    for key, row in reference.table("thiosulfate_routes").items():
        moles = float(row["value"])
        if row["unit"].startswith("g "):
            moles *= molar_mass("Cl2") / agent.molar_mass_g_mol
        other = replace(agent, moles_per_mole_cl2=moles)
        grams = f"{figure(other.mass_ratio)} g of {agent.name} per g of chlorine in place of {figure(agent.mass_ratio)}"
        what = f"The label counts on {row['words']}: {grams}."

        def swap(seen: Case, moles: float = moles) -> Case:
            return replace(seen, parts=tuple(_rerouted(part, moles) for part in seen.parts))

        yield _Change(f"{key}_route", "route", what, advice, swap, int(key != "short"))


def _rerouted(part: Part, moles: float) -> Part:
    agent = part.substance
    if not (isinstance(agent, Agent) and "S4O6" in agent.products):
        return part
    return replace(part, substance=replace(agent, moles_per_mole_cl2=moles))


def _gallon_changes(case: Case) -> Iterator[_Change]:
    """The other gallon."""
    own = case.dose.gallon
    if not own or case.claim.by_product:
        return
    other = _GALLONS[own]
    volume_l = case.dose.volume_l * _gallon_l(other) / _gallon_l(own)
    what = f"The gallons are {other}, not {own}: {figure(volume_l)} L in place of {figure(case.dose.volume_l)} L."
    advice = ("Measure the water in litres.",)

    def swap(seen: Case) -> Case:
        return replace(seen, dose=replace(seen.dose, volume_l=volume_l))

    yield _Change("gallon", "gallon", what, advice, swap)


def _gallon_l(whose: str) -> float:
    return read("1 US gal" if whose == "US" else "1 imp gal", "volume")


def _spoon_changes(case: Case) -> Iterator[_Change]:
    """A spoon taken for grams it does not hold, or grams that were a spoon."""
    dose = case.dose
    if any(part.per_volume for part in case.parts):
        return
    advice = ("Weigh the dose: how a powder lies in a spoon is no measure.",)
    if dose.spoon and dose.millilitres is not None:
        water_g = dose.millilitres * _WATER_KG_L
        what = f"A {dose.spoon} was taken for {figure(spoon_ml(dose.spoon))} g, as if it held water."
        yield _Change("spoon", "dose", what, advice, partial(_weighing, grams=water_g, spread=0.0))
        for other in reference.table("spoons"):
            if other == dose.spoon or dose.grams is None:
                continue
            grams = dose.grams * spoon_ml(other) / spoon_ml(dose.spoon)
            what = f"The spoon meant is a {other}, not a {dose.spoon}."
            yield _Change("spoon", "dose", what, advice, partial(_weighing, grams=grams, spread=dose.spread), 1)
    elif dose.grams is not None and not case.claim.by_product:
        yield from _grams_for_spoons(case, dose.grams, advice)


def _grams_for_spoons(case: Case, grams: float, advice: tuple[str, ...]) -> Iterator[_Change]:
    """Grams that are whole teaspoons of water: who wrote them may have scooped, not weighed."""
    spoons = grams / (spoon_ml("teaspoon") * _WATER_KG_L)
    if abs(spoons - round(spoons)) > 1e-9:
        return
    try:
        low, high = powder_kg_l(case.parts)
    except BadInput:  # no bulk density, so no such reckoning
        return
    volume_ml = spoons * spoon_ml("teaspoon")
    what = (
        f"The {figure(grams)} g were {figure(spoons)} level teaspoon{'s' if spoons != 1 else ''} by measure: "
        f"{figure(low * volume_ml)} to {figure(high * volume_ml)} g on a scale."
    )
    middle_g, spread = volume_ml * (low + high) / 2, (high - low) / (high + low)
    yield _Change("spoon", "dose", what, advice, partial(_weighing, grams=middle_g, spread=spread), 1)


def _weighing(case: Case, grams: float, spread: float) -> Case:
    return replace(case, dose=replace(case.dose, grams=grams, spread=spread))


def _percent_changes(case: Case) -> Iterator[_Change]:
    """Percent by mass against grams in 100 mL, or grams per litre against grams per kilogram, in a liquid."""
    density = case.density_kg_l
    if density is None or case.dose.grams is None or case.dose.millilitres is None:
        return
    by_volume = {part.per_volume for part in case.parts}
    if len(by_volume) != 1 or case.dose.spoon:
        return
    if by_volume == {False}:
        what = "The percentage is grams in 100 mL (by volume), not grams in 100 g (by mass)."
    else:
        what = "The grams are in one kilogram, not in one litre."
    advice = (_count_on(case), "Ask for grams per litre.")

    def swap(seen: Case) -> Case:
        return replace(seen, parts=tuple(replace(part, per_volume=not part.per_volume) for part in seen.parts))

    yield _Change("percent", "percent", what, advice, swap)
