"""A recipe with all that is told of it, or the refusal that says what stands in its way and what would do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tapwright.chemistry.errors import Fault, NoAnswer, NotInTime
from tapwright.cli.pages.recipe import Made

if TYPE_CHECKING:
    from tapwright.chemistry.dosing.recipe.conflicts import Conflict
    from tapwright.chemistry.dosing.recipe.remineralise import Recipe, RecipeRequest
    from tapwright.chemistry.findings import Finding
    from tapwright.cli.options.recipe_words import Shelf
    from tapwright.cli.options.water_sources import Source


def recipe_of(source: Source, request: RecipeRequest, shelf: Shelf) -> Made:
    """The recipe for one water; raises NoAnswer where no band of it can be held, NotInTime where none was found in time."""
    from tapwright.chemistry.dosing.premix.pouring import harsh_findings, not_proven, premix_findings, tote_findings
    from tapwright.chemistry.dosing.premix.prepared import prepared
    from tapwright.chemistry.dosing.recipe.conflicts import explained
    from tapwright.chemistry.dosing.recipe.delivered import delivered_spread, unsure_findings
    from tapwright.chemistry.findings import caution_notes
    from tapwright.chemistry.water.equilibrium import at_air, equilibrium_of
    from tapwright.chemistry.water.spread import closed_ph_spread

    found = prepared(source.water, shelf.salts, request)
    made, premix = found.recipe, found.premix
    conflict = explained(found.source, shelf.salts, request, made)
    if conflict is not None:
        raise _refusal(conflict, made, request)
    at_once = equilibrium_of(made.water)
    spread = None if at_once is None else closed_ph_spread(made.water, source.tested())
    spreads = delivered_spread(found.source, shelf.salts, request, made)
    findings = (
        *harsh_findings(made.harsh, at_once),
        *made.findings,
        *chlorine_first(source),
        *source.findings,
        *tote_findings(premix),
        *premix_findings(premix),
        *unsure_findings(made.reached, spreads),
        *not_proven(made),
        *(caution_notes("chemicals", "lifting") if made.grams else ()),
    )
    return Made(
        source,
        shelf.salts,
        request,
        made,
        premix,
        at_once,
        at_air(made.water, request.times_air),
        spread,
        spreads,
        findings,
        shelf.spoon,
    )


def chlorine_first(source: Source) -> list[Finding]:
    """What no recipe may let anyone forget."""
    water = source.water
    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.units import figure

    if not source.chlorine_known:
        text = "Chlorine is not known: test the tap. If there is any, NEUTRALISER first ('tapwright neutralise'), then salts."
        return [Finding("caution", "chlorine_unknown", text)]
    if water.total_chlorine_mg_l <= 0:
        return []
    text = (
        f"This water holds {figure(water.total_chlorine_mg_l)} mg/L of chlorine: NEUTRALISER first, then salts. "
        "'tapwright neutralise' says how much. What it does to pH and alkalinity is not counted here; 'tapwright plan' does."
    )
    return [Finding("caution", "chlorine_first", text, water.total_chlorine_mg_l, 0.0, "mg/L")]


def _refusal(conflict: Conflict, nearest: Recipe, request: RecipeRequest) -> NoAnswer:
    """No answer, as a person can read it: what conflicts, each way out on a line, and the nearest there is."""
    from tapwright.chemistry.units import figure
    from tapwright.chemistry.water.target import measures

    count = len(conflict.ways_out)
    ways_out = {
        0: conflict.advice(),
        1: "This alone would do it:",
    }.get(count, f"Any one of these {count} alone would do it:")
    faults = [Fault("no recipe" if conflict.proven else "not found in the time", conflict.sentence(), ways_out)]
    faults += [Fault(f"way out {number}", f"{way.text}.") for number, way in enumerate(conflict.ways_out, start=1)]
    if count and (rest := conflict.in_time()):
        faults.append(Fault("in the time", rest))
    words = measures()
    cups = ", ".join(f"{figure(grams, 4)} g {name}" for name, grams in nearest.grams.items()) or "nothing"
    reached = ", ".join(f"{words[at.band].words} {words[at.band].said(at.value)}" for at in nearest.reached)
    faults.append(Fault("nearest", f"{cups} in {figure(request.volume_l, 4)} L give {reached}."))
    ways = [{"text": way.text, "moves": way.moves} for way in conflict.ways_out]
    details: dict[str, Any] = {
        "conflict": [*conflict.bands, *([conflict.charge] if conflict.charge else [])],
        "ways_out": ways,
        "not_sought": conflict.not_sought,
    }
    # What could not be looked for may be the very way out that is wanted: that is a matter of time as well.
    in_time = conflict.proven and (count > 0 or not conflict.not_sought)
    return (NoAnswer if in_time else NotInTime)(faults, details)
