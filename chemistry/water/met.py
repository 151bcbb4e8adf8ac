"""A water as fish meet it, and what the envelope finds in a refill by itself."""

from __future__ import annotations

from dataclasses import replace

from tapwright.chemistry.envelope.water import Met, refill_findings
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import Equilibrium, at_air, equilibrium_of, most_alkaline


def met(water: Water, at_once: Equilibrium | None, at_rest: Equilibrium, aired: Equilibrium | None = None) -> Met:
    """At once where its pH is known; its ammonia at the highest pH of at once, at rest and aired."""
    worst = most_alkaline(at_rest, at_once, aired)
    return Met(
        temperature_c=float(water.temperature_c),
        hardness_dgh=float(water.hardness_dgh),
        alkalinity_dkh=float(water.alkalinity_dkh),
        conductivity_us_cm=float(at_rest.conductivity_us_cm),
        nitrate_mg_l=float(water.nitrate_mg_l),
        chlorine_mg_l=float(water.total_chlorine_mg_l),
        ammonia_mg_n_l=float(water.ammonia_mg_n_l),
        unionised_mg_n_l=float(water.ammonia_mg_n_l * worst.unionised_ammonia_share),
        strength_mol_l=float((at_once or at_rest).ionic_strength_mol_kg),
        ph=None if at_once is None else float(at_once.ph),
    )


def met_in_air(water: Water, times_air: float, *, rested: bool = False) -> Met:
    """The same by itself in air of so many times the CO2 of outdoor air; rested: as it stands hours later.

    Raises OutOfRange as the equilibrium does.
    """
    rest = at_air(water, times_air)
    return met(water, rest if rested else equilibrium_of(water), rest)


def refill_met(refill: Water, times_air: float) -> list[Finding]:
    """What fish by the hose meet of a refill; its chlorine is left out, as the neutraliser comes before any salt.

    times_air: CO2 of the room's air over outdoor air.  Raises OutOfRange as the equilibrium does.
    """
    return refill_findings(replace(met_in_air(refill, times_air), chlorine_mg_l=0.0))
