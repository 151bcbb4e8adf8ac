"""What the cupboard gives for one change: which neutraliser and how much, and the salts of the refill."""

from __future__ import annotations

from tapwright.chemistry.dosing.neutralise import Neutralisation, neutralise, treated
from tapwright.chemistry.dosing.premix.prepared import prepared
from tapwright.chemistry.dosing.recipe.conflicts import explained
from tapwright.chemistry.dosing.recipe.remineralise import RecipeRequest
from tapwright.chemistry.errors import NoAnswer, OutOfRange
from tapwright.chemistry.plan.figures.records import NeutraliserDose, Salting, Totes
from tapwright.chemistry.plan.household.household import Household, Tank
from tapwright.chemistry.plan.household.tables import NeutraliserTable
from tapwright.chemistry.units import figure, rounded_up
from tapwright.chemistry.water.composition import Water


def choose_neutraliser(household: Household, totes: Totes) -> NeutraliserDose | None:
    """The most fitting neutraliser in the cupboard, dosed; None where the tap has no chlorine.

    The order of the file never decides. Raises NoAnswer when none in the cupboard can be dosed.
    """
    if household.tap.total_chlorine_mg_l == 0:
        return None
    doses = []
    refused: list[NoAnswer] = []
    for entry in household.neutralisers:
        try:
            doses.append(_dosed(entry, household, totes))
        except NoAnswer as error:  # dosed by label, and the file gives none
            refused.append(error)
    if not doses:
        raise NoAnswer(fault for error in refused for fault in error.faults)
    return min(doses, key=lambda dose: (dose.short, *unfitness(dose)))


def unfitness(chosen: NeutraliserDose) -> tuple[bool, bool, bool, float, str]:
    """Smaller is better: works on chloramine, dose not from a label, spares oxygen, few grams, name."""
    agent = chosen.entry.substance
    unclear = agent.on_chloramine == "unclear" and chosen.dose.combined_chlorine_mg_l > 0
    from_label, takes_oxygen = agent.dose_from == "label", agent.oxygen_pace == "fast"
    return unclear, from_label, takes_oxygen, chosen.in_all_g or 0.0, agent.name


def better_but_short(household: Household, totes: Totes, chosen: NeutraliserDose) -> NeutraliserDose | None:
    """A neutraliser that fits better than the chosen one and of which there is too little; None where there is none."""
    others = [entry for entry in household.neutralisers if entry.substance is not chosen.entry.substance]
    dosable = [entry for entry in others if entry.label or entry.substance.dose_from == "stoichiometry"]
    doses = [_dosed(entry, household, totes) for entry in dosable]
    better = [dose for dose in doses if dose.short and unfitness(dose) < unfitness(chosen)]
    return min(better, key=unfitness, default=None)


def _dosed(entry: NeutraliserTable, household: Household, totes: Totes) -> NeutraliserDose:
    """One neutraliser's dose, each tote rounded up to what can be measured, and what is left over counted from that."""
    agent, chlorine = entry.substance, household.tap.chlorine()

    def dose(given_g: float | None) -> Neutralisation:
        return neutralise(
            totes.volume_l,
            chlorine,
            agent,
            purity=entry.purity,
            excess=entry.excess,
            solution_g_l=entry.solution_g_l,
            label=entry.label.dose() if entry.label else None,
            given_g=given_g,
        )

    exact = dose(None)
    millilitres = None if exact.solution_ml is None else rounded_up(exact.solution_ml, _readable_ml(exact.solution_ml))
    if exact.agent_g is None:  # a label's millilitres
        grams = None
    elif entry.solution_g_l is not None and millilitres is not None:
        grams = millilitres * entry.solution_g_l / 1000
    else:
        grams = rounded_up(exact.agent_g, household.scale.resolution_g)
    return NeutraliserDose(entry, dose(grams), grams, millilitres, totes.count)


def _readable_ml(millilitres: float) -> float:
    """Step that can be read off what one measures with: syringe, small and large cylinder (common practice)."""
    return 0.1 if millilitres < 10 else 0.5 if millilitres < 50 else 1.0


def mix_salts(
    household: Household, tank: Tank, tap: Water, neutraliser: NeutraliserDose | None, totes: Totes
) -> Salting:
    """Salts for the refill, on top of what the neutraliser leaves behind."""
    bare = tap if neutraliser is None else treated(tap, neutraliser.dose, neutraliser.entry.substance)
    request = RecipeRequest(
        tank.target(),
        totes.count * totes.volume_l,
        household.scale.resolution_g,
        totes.count,
        times_air=household.times_air,
    )
    cupboard = [entry.stocked() for entry in household.salts]
    try:
        made = prepared(bare, cupboard, request)
        conflict = explained(made.source, cupboard, request, made.recipe)
    except OutOfRange:
        if neutraliser is None or bare.alkalinity_meq_l >= 0:
            raise
        raise _no_water(neutraliser, totes) from None
    return Salting(made.recipe, conflict, made.premix, bare, totes.count)


def _no_water(chosen: NeutraliserDose, totes: Totes) -> NoAnswer:
    """The least that can be measured of a neutraliser makes a strong acid of so small a tote."""
    name = chosen.entry.substance.name
    text = (
        f"{figure(chosen.per_tote_g or 0)} g of {name}, the least that is measured here, in {figure(totes.volume_l)} L leave "
        "no water that fish or salts could go into."
    )
    hint = 'Weigh it on a finer scale, or dissolve 5 g to a litre and write solution = "5 g/L", or change more at once.'
    return NoAnswer.of("neutraliser", text, hint)
