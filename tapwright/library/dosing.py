"""Doses from Python: neutraliser, salts for a refill, hot and cold tap."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tapwright.chemistry.change.heat.blending import Blend, Vessel, blend_to_target
from tapwright.chemistry.dosing.neutralise import (
    ChlorineReadings,
    Neutralisation,
    assumptions_of,
    chlorine_findings,
    dose_findings,
)
from tapwright.chemistry.dosing.neutralise import (
    neutralise as neutralised,
)
from tapwright.chemistry.dosing.premix.premix import Premix
from tapwright.chemistry.dosing.premix.prepared import prepared
from tapwright.chemistry.dosing.recipe.conflicts import explained
from tapwright.chemistry.dosing.recipe.cupboard import Deionised, Stocked
from tapwright.chemistry.dosing.recipe.remineralise import Recipe, RecipeRequest
from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.plan.household.tables import BandsTable, SaltTable
from tapwright.chemistry.programmes.budget import PATIENCE_S, question
from tapwright.chemistry.record import Record
from tapwright.chemistry.substances import agent as agent_named
from tapwright.chemistry.water.target import Target, lake_target
from tapwright.library.inputs import amount, times_air
from tapwright.library.waters import AnyWater, water_of


@dataclass(frozen=True, repr=False)
class Treatment(Record):
    """A neutraliser's dose, what to know about it, and what was assumed."""

    dose: Neutralisation
    findings: tuple[Finding, ...]
    assumptions: tuple[str, ...]

    def headline(self) -> str:
        """The dose."""
        return self.dose.headline()


def neutralise(
    volume: Any,
    total_chlorine: Any,
    agent: str,
    *,
    free_chlorine: Any = None,
    free_ammonia: Any = None,
    chlorine_to_nitrogen: float | None = None,
    purity: Any = "100%",
    excess: Any = "0%",
    solution: Any = None,
    given: Any = None,
) -> Treatment:
    """How much neutraliser takes the chlorine out of so much tap water, and what it leaves behind.

    volume, total_chlorine, free_chlorine, free_ammonia: text, pint, numbers or arrays in L, mg/L as Cl2 and mg/L as N.
    purity, excess: shares.  solution: strength of a stock solution (g/L).  given: grams that are meant to go in.
    Of arrays no findings are made: ask one by one.
    Raises BadInput, NoAnswer for an agent that is dosed by its label alone; see `Neutralisation` for what comes back.
    """
    chlorine = ChlorineReadings(
        amount(total_chlorine, "chlorine", "total_chlorine"),
        amount(free_chlorine, "chlorine", "free_chlorine"),
        chlorine_to_nitrogen,
        amount(free_ammonia, "ammonia", "free_ammonia"),
    )
    substance = agent_named(agent)
    dose = neutralised(
        amount(volume, "volume", "volume"),
        chlorine,
        substance,
        purity=amount(purity, "purity", "purity"),
        excess=amount(excess, "excess", "excess"),
        solution_g_l=amount(solution, "strength", "solution"),
        given_g=amount(given, "mass, or none", "given"),
    )
    if np.ndim(dose.chlorine_g):  # remarks are made of one dose
        return Treatment(dose, (), tuple(assumptions_of(chlorine)))
    findings = (*chlorine_findings(chlorine), *dose_findings(dose, substance))
    return Treatment(dose, findings, tuple(assumptions_of(chlorine)))


def target(lake: str | None = None, *, name: str = "own bands", **bands: Any) -> Target:
    """Bands of a target: around a lake's analysis, or one's own: hardness=("8 dGH", "12 dGH"), alkalinity=(...), ...

    bands: as in `[tank.bands]` of a household file.  Raises BadInput for a lake not known and bands that cannot be.
    """
    if (lake is None) == (not bands):
        raise BadInput.of(
            "target", "give a lake or bands, one of them.", 'Write lake="malawi", or hardness and alkalinity.'
        )
    return lake_target(lake, "lake") if lake is not None else BandsTable.in_python(bands).target(name)


@dataclass(frozen=True, repr=False)
class Refill(Record):
    """Salts for a refill, how they get into the tote, what to know about them."""

    recipe: Recipe
    premix: Premix
    findings: tuple[Finding, ...]

    @property
    def grams(self) -> Mapping[str, float]:
        """Grams of each salt for the whole volume."""
        return self.recipe.grams

    def plot(self, axes: Any = None) -> Any:
        """Where it stands in its bands; see `plot`."""
        from tapwright.library.plots import plot

        return plot(self, axes)

    def headline(self) -> str:
        """The salts."""
        return ", ".join(f"{grams:.4g} g {name}" for name, grams in self.grams.items()) or "no salts"


def recipe(
    water: AnyWater,
    target: Target | str,
    volume: Any,
    salts: Iterable[str | Mapping[str, Any]],
    *,
    scale: Any = None,
    totes: int = 1,
    deionised: Any = False,
    prefer: Sequence[str] = (),
    air: Any = 1.0,
    patience_s: float = PATIENCE_S,
) -> Refill:
    """Grams of salts, and deionised water where offered, that bring a water inside every band of a target.

    target: of `target`, or a lake's name.  volume: of the refill.  salts: names, or mappings as `[[salt]]` of a household
    file (name, purity, stock, price_per_kg).  scale: its step; None: any amount.  totes: equal batches.  deionised: True
    for enough of it, or how much there is.  prefer: what comes first in the choice.  air: over outdoor air, or "800 ppm".
    Raises BadInput; NoAnswer where no recipe of these holds every band, with what would do; NotInTime.
    """
    cupboard = [_stocked(entry) for entry in salts]
    bands = lake_target(target, "target") if isinstance(target, str) else target
    request = RecipeRequest(
        bands,
        amount(volume, "volume", "volume"),
        0.0 if scale is None else amount(scale, "step", "scale"),
        totes,
        _deionised(deionised),
        tuple(prefer),
        times_air(air),
    )
    with question(patience_s):
        found = prepared(water_of(water), cupboard, request)
        conflict = explained(found.source, cupboard, request, found.recipe)
    if conflict is not None:
        ways = [way.text for way in conflict.ways_out]
        raise NoAnswer.of("recipe", conflict.sentence(), " ".join(f"{way}." for way in ways) or conflict.advice())
    return Refill(found.recipe, found.premix, found.recipe.findings)


def _stocked(entry: str | Mapping[str, Any]) -> Stocked:
    return SaltTable.in_python({"name": entry} if isinstance(entry, str) else dict(entry)).stocked()


def _deionised(offered: Any) -> Deionised | None:
    if offered is False or offered is None:
        return None
    return Deionised(None if offered is True else amount(offered, "volume", "deionised"))


def blend(
    volume: Any,
    temperature: Any,
    hot: Any,
    cold: Any,
    *,
    standing: Any = None,
    standing_temperature: Any = None,
    tub_mass: Any = None,
    tub_temperature: Any = None,
) -> Blend:
    """Hot and cold tap that make so much water at a temperature.

    volume: in the tote [L].  temperature, hot, cold [degC].  standing: water that is in it already, with its temperature;
    tub_mass [g]: of the tote, with its own; both take their share of the heat.
    Raises BadInput, and for a temperature that the taps cannot make.
    """
    if (standing is None) != (standing_temperature is None) or (tub_mass is None) != (tub_temperature is None):
        raise BadInput.of("blend", "a mass or volume is given without its temperature.", "Give both, or neither.")
    there = {}
    if standing is not None:
        there["residual_l"] = amount(standing, "volume, or none", "standing")
        there["residual_c"] = amount(standing_temperature, "vessel", "standing_temperature")
    if tub_mass is not None:
        there["tub_mass_kg"] = amount(tub_mass, "mass", "tub_mass") / 1000
        there["tub_c"] = amount(tub_temperature, "vessel", "tub_temperature")
    return blend_to_target(
        amount(volume, "volume", "volume"),
        amount(temperature, "water", "temperature"),
        amount(hot, "hot water", "hot"),
        amount(cold, "water", "cold"),
        Vessel(**there),
    )
