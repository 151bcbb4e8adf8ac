"""What could be in a product whose label does not say: each known substance, and how strong it would have to be."""

from __future__ import annotations

import math
from collections.abc import Iterable

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.label.case import Dose
from tapwright.chemistry.dosing.label.claims import Claim
from tapwright.chemistry.dosing.label.explanations import Explanation
from tapwright.chemistry.dosing.spoons import bulk_density_kg_l
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.substances import Agent, Substance, anhydrous_formula, molar_mass, nitrates, substances
from tapwright.chemistry.units import figure


def plausible_contents(
    claim: Claim, dose: Dose, density_kg_l: float | None, among: Iterable[Substance] | None = None
) -> tuple[Explanation, ...]:
    """Single contents that would make the claim true, nearest to the pure substance (or weakest solution) first.

    among: the substances the label names, if it names any; else all that are known.  A powder cannot hold more than
    all of a substance, within the tolerance of its purity and of the claim's rounding; a solution not more than water
    dissolves at 20 degC.
    """
    candidates = _usual(claim) if among is None else among
    found = [_content(claim, dose, density_kg_l, substance) for substance in candidates]
    return tuple(entry[1] for entry in sorted(filter(None, found), key=lambda entry: (entry[0], entry[1].text)))


def _usual(claim: Claim) -> list[Substance]:
    """Every known substance; nitrates only where nitrate or an ion is claimed: nobody hardens a tank with them."""
    fertiliser = claim.effect.kind in ("nitrate", "ion")
    return [entry for name, entry in substances().items() if fertiliser or name not in nitrates()]


def most_possible(claim: Claim, dose: Dose) -> float | None:
    """The most a dose in grams could do, in the claim's unit, if it were nothing but what is claimed; None if unknown."""
    most = claim.effect.most_per_gram()
    return None if most is None or dose.grams is None else dose.grams * most / dose.volume_l


def _content(
    claim: Claim, dose: Dose, density_kg_l: float | None, substance: Substance
) -> tuple[float, Explanation] | None:
    """(Rank, explanation) for one substance; None where it cannot be."""
    per_gram = claim.effect.per_gram(substance)
    if per_gram <= 0 or (isinstance(substance, Agent) and substance.dose_from == "label"):
        return None
    needed_g = claim.claimed * dose.volume_l / per_gram
    grams = dose.grams if dose.grams is not None else _spoon_g(dose, substance)
    if grams is not None:
        return _powder(claim, substance, needed_g / grams, dose.spoon)
    if dose.millilitres is None or dose.spoon:
        return None
    return _solution(substance, 1000 * needed_g / dose.millilitres, density_kg_l)


def _spoon_g(dose: Dose, substance: Substance) -> float | None:
    """Grams of a spoon of the substance; None where the dose is no spoon or the substance has no bulk density."""
    if not dose.spoon or dose.millilitres is None:
        return None
    try:
        low, high = bulk_density_kg_l(substance.name)
    except BadInput:
        return None
    return dose.millilitres * (low + high) / 2


def _powder(claim: Claim, substance: Substance, share: float, spoon: str) -> tuple[float, Explanation] | None:
    tolerance = reference.value("label_tolerance", "purity_open") / 100 + claim.half / claim.claimed
    if share > 1 + tolerance:
        return None
    amount = "Pure" if share > 1 - tolerance else f"{figure(100 * share)}% by mass of"
    measured = f", a level {spoon} taken at its usual weight" if spoon else ""
    text = f"{amount} {substance.name} would do it{measured}."
    return abs(math.log(share)), Explanation(
        text, min(1 / share, 1.0), ("contents",), strength_percent=min(100 * share, 100.0)
    )


def _solution(
    substance: Substance, strength_g_l: float, density_kg_l: float | None
) -> tuple[float, Explanation] | None:
    most_g_l = soluble_g_l(substance)
    if most_g_l is not None and strength_g_l > most_g_l:
        return None
    text = f"{figure(strength_g_l)} g/L of {substance.name} would do it"
    text += f"; water takes up about {figure(most_g_l)} g/L at most." if most_g_l is not None else "."
    percent = None if density_kg_l is None else strength_g_l / (10 * density_kg_l)
    return strength_g_l, Explanation(text, 1.0, ("contents",), strength_percent=percent, strength_g_l=strength_g_l)


def soluble_g_l(substance: Substance) -> float | None:
    """More grams than this [g/L] no solution holds at 20 degC; None where the solubility is not known.

    Grams per litre of water, crystal water counted: a litre of solution holds less than a litre of water.
    """
    bare = anhydrous_formula(substance)
    row = reference.table("solubilities").get(bare)
    return None if row is None else 10 * float(row["at_20"]) * substance.molar_mass_g_mol / molar_mass(bare)
