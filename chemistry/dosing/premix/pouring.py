"""Buckets and their order in sentences, and what of it is worth a caution."""

from __future__ import annotations

from collections.abc import Sequence

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.premix.premix import Bucket, Premix, Saturation
from tapwright.chemistry.dosing.recipe.remineralise import Recipe
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.substances import salt
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.equilibrium import Equilibrium

_MEANS = {"calm": "stays clear", "caution": "may cloud or leave a white film", "cloud": "will cloud"}


def pouring(premix: Premix) -> list[str]:
    """One sentence or two for each bucket, in the order they go in."""
    return [_sentence(bucket, last=bucket is premix.buckets[-1]) for bucket in premix.buckets]


def _sentence(bucket: Bucket, *, last: bool) -> str:
    cups = ", ".join(f"{figure(grams, 4)} g {name}" for name, grams in bucket.salts.items())
    clear = " until no grain is left" if last else " until clear"
    if bucket.strewn:
        return f"Strew {cups} into the moving tote and stir{clear}.{_notes(bucket)}"
    loads = f" ({bucket.loads} bucketfuls)" if bucket.loads > 1 else ""
    why = ""
    if bucket.water == "deionised water":
        why = f" (tote water would cloud it; take {figure(bucket.volume_l)} L out of the tote first)"
    return (
        f"Dissolve {cups} in {figure(bucket.volume_l)} L of {bucket.water}{why}{loads}, pour it in slowly where the water "
        f"moves most, and stir{clear}.{_notes(bucket)}"
    )


def _notes(bucket: Bucket) -> str:
    """How its salts want to be handled: heat, slow ones, and what fizzes."""
    notes = [f" {name.capitalize()} {salt(name).note}." for name in bucket.salts if salt(name).note]
    if any(salt(name).carbon_mmol_per_g() > 0 for name in bucket.salts):
        notes.append(" It fizzes with anything acid, vitamin C too, and in hot water: keep those out of this bucket.")
    return "".join(notes)


def premix_findings(premix: Premix) -> list[Finding]:
    """A finding for every bucket and plume that is not calm; the tote itself is judged where its bands are."""
    return [
        _finding(place) for place in premix.saturations if place.level != "calm" and not place.where.startswith("tote")
    ]


def harsh_findings(names: Sequence[str], at_once: Equilibrium | None) -> list[Finding]:
    """A carbonate in the recipe: a stop, unless the pH the tote will have is known and fish can stand it."""
    if not names:
        return []
    row, said = reference.table("limits")["highest_ph"], " and ".join(names)
    highest = float(row["value"])
    if at_once is not None and at_once.ph <= highest:
        text = f"This recipe needs {said}: with it the tote stands at pH {at_once.ph:.1f} at once. Stir it well."
        return [Finding("note", "harsh_salt", text, float(at_once.ph), highest, "pH", reference.cited(row))]
    stands = "past 10" if at_once is None else f"to {at_once.ph:.1f}"
    text = (
        f"This recipe needs {said}, which lifts the pH of the tote {stands} and turns ammonia poisonous. Put a bicarbonate "
        "into the cupboard, or more of it."
    )
    source = "carbonate equilibrium: pK2 10.33 at 25 °C" if at_once is None else reference.cited(row)
    return [Finding("stop", "harsh_salt", text, None if at_once is None else float(at_once.ph), highest, "pH", source)]


def tote_findings(premix: Premix) -> list[Finding]:
    """A finding for the finished tote, at its worst, where that is not calm."""
    return [
        _finding(place) for place in premix.saturations if place.where.startswith("tote") and place.level != "calm"
    ][:1]


def _finding(place: Saturation) -> Finding:
    kind, _, name = place.where.partition(": ")
    limit = f"{kind}_calm" if name else "calcite_calm"
    what = f"The {name} bucket" if kind == "bucket" else f"Where the {name} bucket meets the tote it"
    advice = {
        "bucket": "More water in it, or deionised water, keeps it clear.",
        "plume": "Pour it slowly, in a thin stream, into the strongest current; what comes out as a haze may take hours to go.",
    }.get(kind, "Less calcium or less bicarbonate keeps it clear.")
    text = (
        f"{what if name else f'The {place.where}'} {_MEANS[place.level]}: the saturation index of calcite reaches "
        f"{place.si_calcite:+.1f}. {advice}"
    )
    row = reference.table("limits")[limit]
    code = f"clouding_{kind.split()[0]}"
    return Finding("caution", code, text, place.si_calcite, float(row["value"]), row["unit"], reference.cited(row))


def not_proven(made: Recipe) -> list[Finding]:
    """A note where the time ended before a recipe was proven the first by the order."""
    if made.proven or not made.found:
        return []
    bound = f": {made.bound.text}" if made.bound else ""
    text = (
        f"The recipe lies in every band and is the best found in the time{bound}. More patience may find a better one."
    )
    return [Finding("note", "best_found_in_time", text)]
