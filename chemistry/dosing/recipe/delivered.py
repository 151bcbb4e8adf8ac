"""How far hardness and alkalinity of the finished refill may lie off, and which error makes how much of that.

The errors of test kit, scale or spoon, volume and purity (tables/kits.csv, common practice) are taken one by one and
added as squares; the share of each is its part of that sum.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.recipe.bands import Standing
from tapwright.chemistry.dosing.recipe.cupboard import Stocked
from tapwright.chemistry.dosing.recipe.remineralise import Recipe, RecipeRequest
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.composition import Water, dgh_per_mmol
from tapwright.chemistry.water.target import measures


@dataclass(frozen=True)
class Spread:
    """Give or take of a quantity, in its canonical unit, and the share of each error in it, adding up to 1."""

    give_or_take: float
    shares: Mapping[str, float]

    @property
    def largest(self) -> str:
        """The error that makes most of it; empty where there is none."""
        return max(self.shares, key=lambda name: self.shares[name], default="")


def delivered_spread(
    water: Water, cupboard: Sequence[Stocked], request: RecipeRequest, made: Recipe
) -> dict[str, Spread]:
    """Spread of `hardness_mmol_l` and `alkalinity_meq_l` of the recipe made of `water`.

    A water without any of it, such as deionised, is taken as not tested.
    """
    own = 1 - made.deionised_l / request.volume_l
    dgh, dkh = 1 / dgh_per_mmol(), 2 / dgh_per_mmol()
    return {
        "hardness_mmol_l": _spread(
            own * reference.value("kits", "hardness") * dgh if water.hardness_mmol_l > 0 else 0.0,
            [(item, item.salt.hardness_mmol_per_g()) for item in cupboard],
            request,
            made,
        ),
        "alkalinity_meq_l": _spread(
            own * reference.value("kits", "alkalinity") * dkh if water.alkalinity_meq_l > 0 else 0.0,
            [(item, item.salt.alkalinity_meq_per_g()) for item in cupboard],
            request,
            made,
        ),
    }


def _spread(kit: float, brings: Sequence[tuple[Stocked, float]], request: RecipeRequest, made: Recipe) -> Spread:
    """brings: every salt with what one gram of it brings, pure."""
    used = [(item, per_g * item.purity / request.volume_l) for item, per_g in brings if item.salt.name in made.grams]
    each = [made.grams[item.salt.name] * per_g for item, per_g in used]
    step_g = request.step_g * reference.value("kits", "scale") * math.sqrt(request.parts)
    weighed = [step_g * per_g for item, per_g in used if item.step_g is None]
    off = reference.value("kits", "spoon") / 100
    spooned = [off * share for (item, _), share in zip(used, each, strict=True) if item.step_g is not None]
    errors = {
        "test kit": kit,
        "scale": math.hypot(*weighed),
        "spoon": math.hypot(*spooned),
        "volume": sum(each) * reference.value("kits", "volume") / 100,
        "purity": math.hypot(*each) * reference.value("kits", "purity") / 100,
    }
    whole = math.hypot(*errors.values())
    return Spread(whole, {name: (error / whole) ** 2 for name, error in errors.items() if error > 0})


def unsure_findings(reached: Iterable[Standing], spreads: Mapping[str, Spread]) -> list[Finding]:
    """A caution where what cannot be known of a figure is more than half the width of its band."""
    findings = []
    for at in reached:
        spread, width = spreads.get(at.band), at.within.high - at.within.low
        if spread is None or spread.give_or_take <= width / 2:
            continue
        measure = measures()[at.band]
        off, half = spread.give_or_take * measure.scale, width / 2 * measure.scale
        text = (
            f"{measure.words.capitalize()} may lie {figure(off, 2)} {measure.unit} to either side, more than its band allows; "
            f"most of that is the {spread.largest}. Test the tote before it meets fish."
        )
        findings.append(Finding("caution", "unsure", text, off, half, measure.unit))
    return findings
