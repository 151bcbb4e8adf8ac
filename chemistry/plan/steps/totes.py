"""Steps that make one tote of refill: hot water, blend, neutraliser, salts, and the check before it meets fish."""

from __future__ import annotations

import math

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.premix.pouring import pouring
from tapwright.chemistry.plan.figures.records import Figures, NeutraliserDose
from tapwright.chemistry.plan.figures.states import needs_airing
from tapwright.chemistry.plan.steps.step import Dose, Sheet, centimetres, minutes_of, tote_named
from tapwright.chemistry.units import figure

_NEXT_TO_NOTHING_L = 0.5


def make_tote(sheet: Sheet, figures: Figures, number: int) -> None:
    """Fill, neutralise, salt and check one tote."""
    wait, tote = figures.hot_waits_min[number - 1], tote_named(number, figures.totes.count)
    if wait > 0:
        sheet.add(
            "reheat",
            f"Hot water is there for {tote}",
            _reheating(figures, number, wait),
            wait,
            tote=number,
        )
    sheet.add(
        "fill",
        f"{tote.capitalize()} filled",
        _filling(figures, number),
        figures.tap_minutes,
        tote=number,
        cautions=("scald", "metals", "standing") if number == 1 else (),
    )
    _neutralise(sheet, figures, number)
    if figures.salts_per_tote_g:
        sheet.add(
            "salts",
            f"Salts in {tote}",
            _dissolving(figures),
            minutes_of("dissolve_minutes"),
            tote=number,
            hold=True,
            doses=tuple(Dose(name, grams) for name, grams in figures.salts_per_tote_g.items()),
        )
    if needs_airing(figures.states):
        refill = figures.states.refill
        sheet.add(
            "air",
            f"{tote.capitalize()} aired",
            f"Let air bubble through {_of_all(figures, number)} until its pH has come from {refill.first.ph:.1f} near "
            f"{refill.at_rest.ph:.1f}: it holds {refill.first.co2_times_air:.0f} times the CO2 of outdoor air.",
            minutes_of("airing_minutes"),
            tote=number,
            hold=True,
        )
    sheet.add(
        "check",
        f"{tote.capitalize()} checked",
        _checking(figures, number),
        minutes_of("small_minutes"),
        tote=number,
        hold=True,
    )


def _reheating(figures: Figures, number: int, wait_min: float) -> str:
    """Why the hot tap must rest before a tote, and what it then gives."""
    hot_c, set_c = figures.heat.tappings[number - 1].hot_c, figures.household.hot_water.temperature_c
    cooler = f" Towards its end the hot tap runs cooler: {hot_c:.0f} °C on the mean." if hot_c < set_c - 1 else ""
    return (
        f"Let the hot-water store heat for {math.ceil(wait_min)} minutes before you draw: at most so long, it holds too little "
        f"hot water for this tote as it is.{cooler} Feel it with a thermometer, not a hand."
    )


def cups(figures: Figures) -> list[tuple[str, str]]:
    """What goes into one tote, neutraliser first: (name, amount)."""
    found = []
    if figures.neutraliser:
        found.append((neutraliser_name(figures), neutraliser_amount(figures)))
    return found + [(name, f"{figure(grams, 4)} g") for name, grams in figures.salts_per_tote_g.items()]


def neutraliser_name(figures: Figures) -> str:
    """What the cup holds: the agent, or its stock solution with its strength; empty where none is needed."""
    chosen = figures.neutraliser
    if chosen is None:
        return ""
    strength = chosen.entry.solution_g_l
    return chosen.entry.substance.name + (f" solution ({figure(strength)} g/L)" if strength else "")


def neutraliser_dose(figures: Figures, chosen: NeutraliserDose) -> Dose:
    """The same as figures."""
    if chosen.per_tote_ml is not None:
        return Dose(neutraliser_name(figures), millilitres=chosen.per_tote_ml)
    return Dose(neutraliser_name(figures), chosen.per_tote_g or 0.0)


def neutraliser_amount(figures: Figures) -> str:
    """The dose for one tote as measured; empty where none is needed."""
    chosen = figures.neutraliser
    if chosen is None:
        return ""
    if chosen.per_tote_ml is not None:
        return f"{figure(chosen.per_tote_ml, 4)} mL"
    return f"{figure(chosen.per_tote_g or 0.0, 4)} g"


def _of_all(figures: Figures, number: int) -> str:
    return f"the tote ({number} of {figures.totes.count})" if figures.totes.count > 1 else "the tote"


def _filling(figures: Figures, number: int) -> str:
    blend, drawn_c = figures.heat.blends[number - 1], figures.heat.drawn_c[number - 1]
    litres, heights = figures.totes.volume_l, marks_in_tote(figures, number)
    marks = f" Cold up to {heights[0]} in the tote, then hot up to {heights[1]}." if heights else ""
    return (
        f"Fill {_of_all(figures, number)}: {blend.cold_l:.0f} L cold and {blend.hot_l:.0f} L hot make {litres:.0f} L."
        f"{marks} Stay with it and stir: the thermometer must end at {drawn_c:.1f} °C, within 1{_loses(figures, number)}."
    )


def levels_in_tote(figures: Figures, number: int) -> tuple[float, float] | None:
    """How high [m] the cold water stands in the tote, and then the hot on top of it; None where its height is not given."""
    if figures.household.tote.height_m is None:
        return None
    blend, full_m = figures.heat.blends[number - 1], figures.household.tote_level_m(figures.totes.volume_l)
    return full_m * blend.cold_l / (blend.cold_l + blend.hot_l), full_m


def low_mark_m(figures: Figures, number: int) -> float | None:
    """A height that would have to be read in the tote and is too low for that; a tap that gives next to nothing needs none."""
    levels, blend = levels_in_tote(figures, number), figures.heat.blends[number - 1]
    if levels is None:
        return None
    parts = ((blend.cold_l, levels[0]), (blend.hot_l, levels[1] - levels[0]))
    least_m = reference.value("limits", "mark_least")
    return next((height for litres, height in parts if litres >= _NEXT_TO_NOTHING_L and height < least_m), None)


def marks_in_tote(figures: Figures, number: int) -> tuple[str, str] | None:
    """The same as marks; None as well where one would be too low to be read, so that litres are measured instead."""
    levels = levels_in_tote(figures, number)
    if levels is None or low_mark_m(figures, number) is not None:
        return None
    return centimetres(levels[0]), centimetres(levels[1])


def _loses(figures: Figures, number: int) -> str:
    """Why it is drawn warmer than it is meant to arrive."""
    lost_k = figures.heat.lost_k[number - 1]
    return f" (it loses {lost_k:.1f} until it is in the tank)" if lost_k >= 0.05 else ""


def contact_minutes(chosen: NeutraliserDose) -> float:
    """How long a neutraliser is stirred in; on chloramine it is slower."""
    chloramine = chosen.dose.combined_chlorine_mg_l > 0
    return minutes_of("contact_minutes_chloramine" if chloramine else "contact_minutes")


def _neutralise(sheet: Sheet, figures: Figures, number: int) -> None:
    if figures.neutraliser is None:
        return
    contact = contact_minutes(figures.neutraliser)
    sheet.add(
        "neutralise",
        f"NEUTRALISER in {tote_named(number, figures.totes.count)}, no chlorine left",
        f"NEUTRALISER: put {neutraliser_amount(figures)} of {neutraliser_name(figures)} into {_of_all(figures, number)} "
        f"and stir for {contact:.0f} minutes, then test total chlorine in it. It must read zero; if not, put in half as "
        "much again, stir and test again, at most twice. If chlorine is left then, do not use this tote: test a blank, "
        "pour it away.",
        contact,
        tote=number,
        hold=True,
        cautions=("chemicals",),
        doses=(neutraliser_dose(figures, figures.neutraliser),),
        vital=True,
    )


def _dissolving(figures: Figures) -> str:
    """How to bring the salts of one tote in, bucket by bucket."""
    premix = figures.salting.premix
    return " ".join([*pouring(premix), premix.reason]).strip()


def _checking(figures: Figures, number: int) -> str:
    """What the tote must read, and how to mend its temperature."""
    target_c = figures.heat.drawn_c[number - 1]
    refill = figures.waters.refill
    made = (
        f" If you doubt the salts, test it: hardness {refill.hardness_dgh:.1f} dGH, alkalinity "
        f"{refill.alkalinity_dkh:.1f} dKH."
        if figures.salts_per_tote_g
        else ""
    )
    first, rest = figures.states.refill.at_once, figures.states.refill.at_rest
    if first is not None and needs_airing(figures.states):
        made += f" Its pH reads near {rest.ph:.1f} after the airing."
    elif first is not None:
        made += f" Its pH reads about {first.ph:.1f} now, and {rest.ph:.1f} after hours in air: do not correct it."
    treated = (
        "neutraliser is in and its cup empty, total chlorine zero" if figures.neutraliser else "total chlorine zero"
    )
    return (
        f"Check {_of_all(figures, number)}: {treated}, clear, {target_c:.1f} °C within 1{_mending(figures, number)}.{made} "
        "Only then may it meet the fish."
    )


def _mending(figures: Figures, number: int) -> str:
    """Litres of hot or cold for each degree the tote is off; a tap too near the target mends nothing."""
    target_c, litres, house = figures.heat.drawn_c[number - 1], figures.totes.volume_l, figures.household
    taps = (
        (house.hot_water.temperature_c - target_c, "each degree short takes", "hot"),
        (target_c - house.tap.temperature_c, "each degree over", "cold"),
    )
    mends = [f"{when} {figure(litres / span_c, 2)} L more {tap}" for span_c, when, tap in taps if span_c > 3]
    again = "; then test chlorine again" if figures.neutraliser else ""
    return f" ({', '.join(mends)}{again})" if mends else ""
