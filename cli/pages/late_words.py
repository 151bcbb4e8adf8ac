"""What to do about a forgotten neutraliser, in words: shared by the terminal's page and the sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tapwright.chemistry.plan.late.dose import Amount, Case, Late

_SHORT = 0.0005


def advice(case: Case, made: Late, dose: str | None = None) -> list[str]:
    """What to do, in order; dose: to stand for the one computed, where minutes go on and what it covers changes."""
    from tapwright.chemistry import reference
    from tapwright.chemistry.plan.late.dose import STOP_WATER
    from tapwright.chemistry.units import figure

    chloramine = case.chlorine.combined_mg_l() > 0
    contact = reference.value("practice", "contact_minutes_chloramine" if chloramine else "contact_minutes")
    parts = ((made.remaining_chlorine_g, "of chlorine in it"), (made.to_come_g, "the rest of the water brings"))
    covers = " and ".join(f"the {figure(grams, 2)} g {what}" for grams, what in parts if grams > 1e-9)
    if dose is not None:
        covers = "what is in it and what the rest of the new water brings"
    most = said(made.dose_whole_tank, case)
    jug = ", dissolved in a jug of its own water" if made.dose_now.millilitres is None else ""
    steps = [] if made.water_off else [STOP_WATER]
    steps += [
        f"Put {dose or said(made.dose_now, case)} into the tank{jug}, where the current is strongest. That covers {covers}.",
        "Let air bubble hard. Filter and circulation stay off as long as the water is below their intake. Look at the fish: "
        "gasping at the surface, darting or lying on the side means chlorine has reached their gills; leave them in the dark "
        "and in peace.",
        f"After {contact:.0f} minutes test total chlorine in the tank, far from the hose. It must read zero; if not, put in "
        f"half as much again, wait and test again, twice and no more, and never over {most} in all. If chlorine is left then, "
        "test a blank of water that has none, and take the fish out of this water.",
    ]
    if made.to_come_g > 1e-9 or made.may_run:
        steps.append("Only then let the rest of the water in, slowly, and the hose's end away from the fish.")
    if made.ammonia_mg_n_l > 0:
        steps.append("Test ammonia now and tomorrow: broken chloramine leaves it behind. Feed nothing today.")
    return steps


def ammonia_left(made: Late) -> str:
    """Ammonia once the tank is full, and what of it is un-ionised; empty where there is none."""
    from tapwright.chemistry.units import figure

    if made.ammonia_mg_n_l <= 0:
        return ""
    part = made.ammonia_unionised_mg_n_l
    unionised = "" if part is None else f", {figure(part, 2)} of it un-ionised"
    return f"{figure(made.ammonia_mg_n_l, 2)} mg/L N once the tank is full{unionised}"


def said(amount: Amount, case: Case) -> str:
    """A dose in words, short of what is computed by no more than one part in two thousand."""
    name = case.bottle.agent.name
    grams = None if amount.grams is None else f"{rounded_dose(amount.grams)} g of {name}"
    if amount.millilitres is None:
        return grams or "nothing"
    millilitres = f"{rounded_dose(amount.millilitres)} mL of {name}"
    return f"{millilitres} solution ({grams})" if grams else millilitres


def rounded_dose(amount: float) -> str:
    """Three digits, rounded up but for one part in two thousand."""
    from math import floor, log10

    from tapwright.chemistry.units import figure, rounded_up

    step = 10.0 ** (floor(log10(amount)) - 2) if amount > 0 else 1.0
    return figure(rounded_up(amount * (1 - _SHORT), step), 3)
