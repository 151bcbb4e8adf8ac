"""What a keeper must know beside the verdict on a label, and what the verdict takes for granted."""

from __future__ import annotations

from tapwright.chemistry import reference
from tapwright.chemistry.dosing.label.case import Case
from tapwright.chemistry.dosing.label.verdict import Judgement, Label
from tapwright.chemistry.dosing.neutralise import ChlorineReadings, ammonia_after_mg_n_l
from tapwright.chemistry.findings import Finding, by_gravity, caution_notes
from tapwright.chemistry.substances import Agent
from tapwright.chemistry.units import figure


def findings_of(label: Label, judgement: Judgement) -> tuple[Finding, ...]:
    """Remarks on a judged label, gravest first; the chemistry of chlorine wherever a neutraliser is concerned."""
    found = _on_the_verdict(label, judgement)
    if label.claims[0].effect.removes_chlorine:
        found += _on_chlorine(label, judgement)
    return by_gravity(found)


def _on_the_verdict(label: Label, judgement: Judgement) -> list[Finding]:
    found = []
    coarse = reference.value("label_tolerance", "coarse")
    tolerance = judgement.tolerance_percent
    if judgement.verdict == "agrees" and tolerance is not None and tolerance > coarse:
        text = (
            f"The label's figures are so coarse that anything within {tolerance:.0f} % of its claim agrees with it. "
            "Test the water after the first dose."
        )
        source = reference.citation("label_tolerance", "coarse")
        found.append(Finding("note", "coarse_label", text, tolerance, coarse, "%", source))
    if judgement.case is None and judgement.verdict == "overstates":
        text = "Even if the dose were nothing but the very ions it is to bring, it could do no more than computed here."
        found.append(Finding("caution", "impossible", text))
    if judgement.computed == 0:
        effect = label.claims[0].effect.name
        text = f"Nothing the label says is in it does anything to {effect}: contents or claim are wrong."
        found.append(Finding("caution", "no_effect", text))
    stated = [content for content in label.contents if content.strength is not None]
    unstated = label.dose is not None and not label.dose.spoon and not stated
    if unstated and not judgement.explanations and judgement.verdict == "cannot be judged":
        text = "No single substance known here does this, pure or dissolved in as much as water takes up at 20 °C."
        found.append(Finding("caution", "no_known_content", text))
    return found


def _on_chlorine(label: Label, judgement: Judgement) -> list[Finding]:
    found = []
    agents = {one.name: one for content in label.contents for one in content.candidates if isinstance(one, Agent)}
    claim = label.claims[0]
    if judgement.verdict == "overstates" and judgement.computed is not None:
        found.append(_chlorine_left(claim.claimed, judgement.computed))
    found.append(_ammonia(claim.claimed, chloramine=claim.effect.kind == "chloramine"))
    for agent in agents.values():
        if agent.on_chloramine == "unclear" and claim.effect.kind == "chloramine":
            text = f"Sources conflict on {agent.name} against chloramine: test total chlorine after dosing."
            found.append(Finding("caution", "agent_on_chloramine", text))
        if agent.dose_from == "label":
            text = f"{agent.name} takes far more than its chemistry says: test total chlorine after dosing."
            found.append(Finding("caution", "label_dose", text))
    if judgement.case is not None and judgement.verdict == "understates":
        found += _oxygen(judgement.case)
    found += caution_notes("chemicals")
    return found


def _chlorine_left(claimed: float, computed: float) -> Finding:
    limit = reference.value("limits", "chlorine_acute")
    left = claimed - computed
    text = (
        f"Do not dose by this label: in water with {figure(claimed)} mg/L of chlorine its dose leaves up to "
        f"{figure(left, 2)} mg/L; {limit * 1000:g} µg/L is the limit for one hour."
    )
    source = reference.citation("limits", "chlorine_acute")
    return Finding("stop", "label_leaves_chlorine", text, left, limit, "mg/L", source)


def _ammonia(claimed: float, *, chloramine: bool) -> Finding:
    """Breaking chloramine frees its ammonia, which no such product takes away by its chemistry alone."""
    low, planned = (float(amount) for amount in ammonia_after_mg_n_l(ChlorineReadings(claimed, 0.0)))
    freed = f"{figure(low, 2)} to {figure(planned, 2)} mg/L N of ammonia"
    if chloramine:
        text = f"Breaking that much chloramine leaves {freed} in the water. Feed little and test daily."
        return Finding("caution", "label_ammonia", text, planned, None, "mg/L N")
    text = f"If the tap water carries chloramine, breaking that much of it leaves {freed}."
    return Finding("note", "label_ammonia", text, planned, None, "mg/L N")


def _oxygen(case: Case) -> list[Finding]:
    """A caution where the label's dose is so much too large that what is left over takes oxygen at once."""
    limit = reference.value("limits", "sulfite_excess")
    spare = 1 - 1 / case.ratio()
    demand = sum(
        spare * chlorine_mg_l * part.substance.mass_ratio * part.substance.oxygen_ratio
        for part, chlorine_mg_l in case.effects()
        if isinstance(part.substance, Agent) and part.substance.oxygen_pace == "fast"
    )
    if demand <= limit:
        return []
    text = f"What the label's dose has too much of takes {demand:.1f} mg/L of oxygen out of the water within minutes."
    source = reference.citation("limits", "sulfite_excess")
    return [Finding("caution", "sulfite_oxygen", text, demand, limit, "mg/L", source)]


def assumptions_of(label: Label, judgement: Judgement) -> list[str]:
    """What was taken for granted about a label."""
    if judgement.case is None:
        return []
    open_ = sorted(content.name for content in label.contents if content.purity is None)
    notes = []
    if open_:
        percent = reference.value("label_tolerance", "purity_open")
        notes.append(
            f"Purity not stated for {', '.join(open_)}: taken as pure, give or take {percent:g} % "
            f"({reference.citation('label_tolerance', 'purity_open')})."
        )
    case = judgement.case
    notes.append("Dose and water are taken as measured; every other figure may be off by half of its last digit.")
    if case.dose.spoon and case.dose.spread:
        notes.append(f"A level {case.dose.spoon} by the powder's usual weight, give or take {case.dose.spread:.0%}.")
    agents = [part.substance for part in case.parts if isinstance(part.substance, Agent)]
    if case.claim.effect.removes_chlorine and any("S4O6" in agent.products for agent in agents):
        notes.append(
            "Thiosulfate is planned on the route that needs most, to tetrathionate; by other routes the same dose "
            "would take up more chlorine."
        )
    if case.claim.effect.kind == "alkalinity" and agents:
        notes.append("What the neutraliser in it does to alkalinity depends on the chlorine it meets, and is left out.")
    return notes
