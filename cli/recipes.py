"""A recipe with all that is told of it, or the refusal that says what stands in its way and what would do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from chemistry.errors import Fault, NoAnswer

if TYPE_CHECKING:
    from chemistry.dosing.conflicts import Conflict
    from chemistry.dosing.cupboard import Stocked
    from chemistry.dosing.delivered import Spread
    from chemistry.dosing.premix import Premix
    from chemistry.dosing.remineralise import Recipe, Wish
    from chemistry.findings import Finding
    from chemistry.water.composition import Water
    from chemistry.water.equilibrium import Equilibrium
    from cli.recipe_words import Shelf
    from cli.water_sources import Source


@dataclass(frozen=True)
class Made:
    """A recipe and all that is told of it: its water at once (None where the pH of its source is not known) and in air."""

    source: Source
    cupboard: Sequence[Stocked]
    wish: Wish
    recipe: Recipe
    premix: Premix
    at_once: Equilibrium | None
    aerated: Equilibrium
    ph_spread: float | None
    spread: dict[str, Spread]
    findings: tuple[Finding, ...]


def recipe_of(source: Source, wish: Wish, shelf: Shelf) -> Made:
    """The recipe for one water; raises NoAnswer where no band of it can be held."""
    from chemistry.dosing.conflicts import explained
    from chemistry.dosing.delivered import delivered_spread
    from chemistry.dosing.pouring import premix_findings, tote_findings
    from chemistry.dosing.prepared import prepared
    from chemistry.findings import caution_notes
    from chemistry.water.equilibrium import at_air, equilibrium_of
    from chemistry.water.spread import closed_ph_spread

    found = prepared(source.water, shelf.salts, wish)
    made, premix = found.recipe, found.premix
    conflict = explained(found.source, shelf.salts, wish, made)
    if conflict is not None:
        raise _refusal(conflict, made, wish)
    at_once = equilibrium_of(made.water)
    spread = None if at_once is None else closed_ph_spread(made.water, source.tested())
    findings = (*source.findings, *chlorine_first(source.water), *tote_findings(premix), *premix_findings(premix))
    findings += tuple(caution_notes("chemicals", "lifting")) if made.grams else ()
    return Made(
        source,
        shelf.salts,
        wish,
        made,
        premix,
        at_once,
        at_air(made.water, wish.times_air),
        spread,
        delivered_spread(found.source, shelf.salts, wish, made),
        findings,
    )


def chlorine_first(water: Water) -> list[Finding]:
    """What no recipe may let anyone forget."""
    from chemistry.findings import Finding
    from chemistry.units import figure

    if water.total_chlorine_mg_l <= 0:
        return []
    text = (
        f"This water holds {figure(water.total_chlorine_mg_l)} mg/L of chlorine: NEUTRALISER first, then salts. "
        "'tapwright neutralise' says how much; 'tapwright plan' counts what it leaves in the recipe."
    )
    return [Finding("caution", "chlorine_first", text, water.total_chlorine_mg_l, 0.0, "mg/L")]


def _refusal(conflict: Conflict, nearest: Recipe, wish: Wish) -> NoAnswer:
    """No answer, as a person can read it: what conflicts, each way out on a line, and the nearest there is."""
    from chemistry.units import figure
    from chemistry.water.target import measures

    count = len(conflict.ways_out)
    ways_out = {
        0: "Choose another target, or other source water.",
        1: "This alone would do it:",
    }.get(count, f"Any one of these {count} alone would do it:")
    faults = [Fault("no recipe", conflict.sentence(), ways_out)]
    faults += [Fault(f"way out {number}", f"{way.text}.") for number, way in enumerate(conflict.ways_out, start=1)]
    words = measures()
    cups = ", ".join(f"{figure(grams, 4)} g {name}" for name, grams in nearest.grams.items()) or "nothing"
    reached = ", ".join(f"{words[at.band].words} {words[at.band].said(at.value)}" for at in nearest.reached)
    faults.append(Fault("nearest", f"{cups} in {figure(wish.volume_l, 4)} L give {reached}."))
    ways = [{"text": way.text, "moves": way.moves} for way in conflict.ways_out]
    details: dict[str, Any] = {
        "conflict": [*conflict.bands, *([conflict.charge] if conflict.charge else [])],
        "ways_out": ways,
    }
    return NoAnswer(faults, details)
