"""How much reducing agent takes the chlorine out of a volume of tap water, and what it leaves behind."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tapwright.chemistry import reference
from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.findings import Finding, Level
from tapwright.chemistry.record import Record
from tapwright.chemistry.substances import Agent, molar_mass
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.ammonia import acute_criterion_mg_n_l, chronic_criterion_mg_n_l, unionised_share
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.mixing import with_alkalinity


@dataclass(frozen=True)
class LabelDose:
    """What a label says one dose does: amount_g or amount_ml neutralises chlorine_mg_l in volume_l; all above 0."""

    volume_l: float
    chlorine_mg_l: float
    amount_g: float | None = None
    amount_ml: float | None = None

    def __post_init__(self) -> None:
        amounts = [amount for amount in (self.amount_g, self.amount_ml) if amount is not None]
        if len(amounts) != 1 or min(self.volume_l, self.chlorine_mg_l, *amounts) <= 0:
            said = "a label's figure takes one amount, a volume and a chlorine, each above 0."
            raise BadInput.of("label", said, "Write what the label says.")


@dataclass(frozen=True, repr=False)
class Neutralisation(Record):
    """The dose and what it leaves; every figure scalar or array as the inputs were.

    agent_g: grams as weighed, purity and excess included; None where only a label's millilitres are known.
    solution_ml: the same as stock solution, or the label's millilitres.  chlorine_g: chlorine to neutralise (as Cl2).
    mass_ratio: g of pure agent per g of Cl2 without excess.  ammonia_mg_n_l: total after chloramine is broken;
    ammonia_low_mg_n_l: the least it can be.  ammonia_unionised_mg_n_l: None without pH and temperature.
    alkalinity_change_meq_l: by what is spent and by what is left over.  oxygen_demand_mg_l: oxygen the agent left over
    can take up in the end; None for an agent dosed by label, of which it is not known how much is left.
    """

    agent: str
    agent_g: float | None
    solution_ml: float | None
    chlorine_g: float
    mass_ratio: float
    combined_chlorine_mg_l: float
    ammonia_mg_n_l: float
    ammonia_low_mg_n_l: float
    ammonia_unionised_mg_n_l: float | None
    alkalinity_change_meq_l: float
    oxygen_demand_mg_l: float | None
    chlorine_left_mg_l: float = 0.0


@dataclass(frozen=True)
class ChlorineReadings:
    """Today's chlorine in the tap, mg/L as Cl2; free None: not read, all of it counted as combined.

    cl2_to_n: the utility's chlorine to nitrogen mass ratio.  free_ammonia_mg_n_l: as read on the tap water.
    """

    total_mg_l: float
    free_mg_l: float | None = None
    cl2_to_n: float | None = None
    free_ammonia_mg_n_l: float | None = None

    def combined_mg_l(self) -> float:
        """Chlorine bound to nitrogen; BadInput when free exceeds total or a reading is negative."""
        free = 0.0 if self.free_mg_l is None else self.free_mg_l
        read = 0.0 if self.free_ammonia_mg_n_l is None else self.free_ammonia_mg_n_l
        if any(np.any(np.asarray(reading) < 0) for reading in (self.total_mg_l, free, read)):
            raise BadInput.of("chlorine", "a reading of chlorine or ammonia is negative.", "Give 0 mg/L or more.")
        if np.any(np.asarray(free) > np.asarray(self.total_mg_l)):
            raise BadInput.of(
                "free chlorine",
                f"{free} mg/L free is more than {self.total_mg_l} mg/L total; total counts free and combined.",
                "Test both again, or swap the two.",
            )
        return self.total_mg_l - free


def neutralise(
    volume_l: float,
    chlorine: ChlorineReadings,
    agent: Agent,
    *,
    purity: float = 1.0,
    excess: float = 0.0,
    solution_g_l: float | None = None,
    label: LabelDose | None = None,
    given_g: float | None = None,
    ph: float | None = None,
    temperature_c: float | None = None,
) -> Neutralisation:
    """The dose for a volume of tap water, and what it leaves behind.

    volume_l, chlorine: scalars or arrays.  purity, excess: shares.  solution_g_l: strength of a stock solution of the
    agent as weighed.  label: wanted for an agent that has no stoichiometric dose.  given_g: what is meant to go in, if
    not the computed dose; chlorine left over is counted from it.
    Thiosulfate is planned on the tetrathionate route, the one that needs most. Products and stoichiometry: tables/
    agents.csv. Raises BadInput for figures out of range, NoAnswer for an agent dosed by label without one.
    """
    _refuse_impossible(volume_l, purity, excess, solution_g_l, given_g)
    combined = chlorine.combined_mg_l()
    chlorine_g = chlorine.total_mg_l * volume_l / 1000
    pure_g = chlorine_g * agent.mass_ratio
    agent_g, solution_ml = _amounts(agent, pure_g * (1 + excess) / purity, solution_g_l, label, volume_l, chlorine)
    in_g = given_g if given_g is not None else agent_g
    used_share, left_g = _spent(pure_g, in_g, purity)
    low, high = ammonia_after_mg_n_l(chlorine)
    share = None if ph is None or temperature_c is None else unionised_share(ph, temperature_c)
    free = chlorine.total_mg_l - combined
    alkalinity = (
        used_share
        * (
            free * agent.alkalinity_meq_per_mmol_cl2(as_chloramine=False)
            + combined * agent.alkalinity_meq_per_mmol_cl2(as_chloramine=True)
        )
        / molar_mass("Cl2")
    )
    alkalinity = alkalinity + 1000 * left_g / volume_l / agent.molar_mass_g_mol * agent.surplus_alkalinity
    return Neutralisation(
        agent=agent.name,
        agent_g=agent_g,
        solution_ml=solution_ml,
        chlorine_g=chlorine_g,
        mass_ratio=agent.mass_ratio,
        combined_chlorine_mg_l=combined,
        ammonia_mg_n_l=high,
        ammonia_low_mg_n_l=low,
        ammonia_unionised_mg_n_l=None if share is None else high * share,
        alkalinity_change_meq_l=alkalinity,
        oxygen_demand_mg_l=None if agent.dose_from == "label" else left_g * agent.oxygen_ratio * 1000 / volume_l,
        chlorine_left_mg_l=chlorine.total_mg_l * (1 - used_share),
    )


def ammonia_after_mg_n_l(chlorine: ChlorineReadings) -> tuple[float, float]:
    """Least and planned total ammonia [mg N/L] once the chloramine is broken.

    Least: one N per Cl2 bound, plus free ammonia read. Planned: from the utility's ratio, or from free ammonia read;
    with neither, from the most ammonia utilities use (Cl2:N 3:1, AWWA M20/M56, from memory).
    """
    combined = chlorine.combined_mg_l()
    bound = combined * molar_mass("N") / molar_mass("Cl2")
    read = chlorine.free_ammonia_mg_n_l
    low = bound if read is None else bound + read
    if chlorine.cl2_to_n is None and read is not None:
        return low, low
    ratio = chlorine.cl2_to_n
    if ratio is None:
        ratio = reference.value("limits", "ammonia_chlorine_ratio_low")
    high: Any = np.maximum(low, combined / ratio)
    return low, high


def treated(water: Water, dose: Neutralisation, agent: Agent) -> Water:
    """The water once the dose has done its work: chlorine as left, ammonia, and the ions the agent leaves behind.

    Its acid or base moves the alkalinity; inorganic carbon stays, and pH follows from both.
    """
    spent_mmol_l = (water.total_chlorine_mg_l - dose.chlorine_left_mg_l) / molar_mass("Cl2")
    return replace(
        with_alkalinity(water, dose.alkalinity_change_meq_l),
        sodium_mmol_l=water.sodium_mmol_l + spent_mmol_l * agent.products.get("Na", 0.0),
        chloride_mmol_l=water.chloride_mmol_l + spent_mmol_l * agent.products.get("Cl", 0.0),
        sulfate_mmol_l=water.sulfate_mmol_l + spent_mmol_l * agent.products.get("SO4", 0.0),
        ammonia_mg_n_l=dose.ammonia_mg_n_l,
        total_chlorine_mg_l=dose.chlorine_left_mg_l,
        free_chlorine_mg_l=np.minimum(water.free_chlorine_mg_l, dose.chlorine_left_mg_l)[()],
    )


def assumptions_of(chlorine: ChlorineReadings) -> list[str]:
    """What was taken for granted about the chlorine."""
    notes = []
    if chlorine.free_mg_l is None and np.any(np.asarray(chlorine.total_mg_l) > 0):
        notes.append("Free chlorine not read: all of the chlorine is counted as chloramine, which leaves most ammonia.")
    if chlorine.cl2_to_n is None and chlorine.free_ammonia_mg_n_l is None and np.any(chlorine.combined_mg_l() > 0):
        ratio = reference.value("limits", "ammonia_chlorine_ratio_low")
        notes.append(
            f"Chlorine to nitrogen ratio not given: {ratio:g} to 1 taken, the most ammonia utilities use "
            f"({reference.citation('limits', 'ammonia_chlorine_ratio_low')}). Ask the water company."
        )
    return notes


def _refuse_impossible(
    volume_l: float, purity: float, excess: float, solution_g_l: float | None, given_g: float | None
) -> None:
    if np.any(np.asarray(volume_l) <= 0):
        raise BadInput.of("volume", f"{volume_l} L is no volume to dose.", "Give more than 0 L.")
    if not 0 < purity <= 1:
        raise BadInput.of("purity", f"{purity:.0%} is read; above 0 % and up to 100 % is allowed.", "Write '98%'.")
    if excess < 0:
        raise BadInput.of(
            "excess", f"{excess:.0%} is read; 0 % or more is allowed: less would leave chlorine.", "Write '10%'."
        )
    if solution_g_l is not None and solution_g_l <= 0:
        raise BadInput.of("solution", f"{solution_g_l} g/L holds nothing.", "Write for example '50 g/L'.")
    if given_g is not None and given_g < 0:
        raise BadInput.of("dose", f"{given_g} g is less than nothing.", "Give 0 g or more.")


def _amounts(
    agent: Agent,
    dose_g: float,
    solution_g_l: float | None,
    label: LabelDose | None,
    volume_l: float,
    chlorine: ChlorineReadings,
) -> tuple[float | None, float | None]:
    """Grams and millilitres: from stoichiometry, or from the label where stoichiometry is no dose."""
    if agent.dose_from == "stoichiometry":
        return dose_g, None if solution_g_l is None else 1000 * dose_g / solution_g_l
    if label is None and not np.any(np.asarray(chlorine.total_mg_l) > 0):
        return 0.0, None
    if label is None:
        raise NoAnswer.of(
            agent.name,
            f"{agent.mass_ratio:.2f} g per g of chlorine is only the least it could take; products need far more, "
            "and no dose can be computed.",
            "Give the label's own figure: how much of it, for what volume, for what chlorine.",
        )
    doses = volume_l * chlorine.total_mg_l / (label.volume_l * label.chlorine_mg_l)
    grams = None if label.amount_g is None else doses * label.amount_g
    return grams, None if label.amount_ml is None else doses * label.amount_ml


def _spent(pure_g: float, in_g: float | None, purity: float) -> tuple[float, float]:
    """Share of the chlorine that is neutralised, and grams of pure agent left over."""
    if in_g is None:  # a label's millilitres: what is in them is not known
        return 1.0, 0.0
    in_pure_g = np.asarray(in_g * purity, dtype=float)
    needed = np.asarray(pure_g, dtype=float)
    share: Any = np.where(needed > 0, np.minimum(in_pure_g / np.where(needed > 0, needed, 1.0), 1.0), 1.0)
    # A dose equal to the need but for rounding neutralises everything.
    share = np.where(share > 1 - 1e-12, 1.0, share)
    left_g: Any = np.maximum(in_pure_g - needed, 0.0)
    return share[()], left_g[()]


def dose_findings(dose: Neutralisation, agent: Agent) -> list[Finding]:
    """What a keeper must know about one (scalar) dose; the ammonia it leaves is judged by `ammonia_findings`."""
    findings = []
    if dose.chlorine_left_mg_l > 0:
        findings.append(_chlorine_left(dose))
    if agent.on_chloramine == "unclear" and dose.combined_chlorine_mg_l > 0:
        text = (
            f"Sources conflict on {agent.name} against chloramine, and {figure(dose.combined_chlorine_mg_l, 2)} mg/L here is "
            "chloramine. Test total chlorine after dosing; it must read zero before the water meets fish."
        )
        findings.append(Finding("caution", "agent_on_chloramine", text))
    limit = reference.value("limits", "sulfite_excess")
    if agent.oxygen_pace == "fast" and dose.oxygen_demand_mg_l is not None and dose.oxygen_demand_mg_l > limit:
        text = (
            f"What is left over of {agent.name} takes {dose.oxygen_demand_mg_l:.1f} mg/L of oxygen out of the water "
            "within minutes. Measure it finer (a stock solution), use less excess, or aerate before it meets fish."
        )
        findings.append(
            Finding(
                "caution",
                "sulfite_oxygen",
                text,
                dose.oxygen_demand_mg_l,
                limit,
                "mg/L",
                reference.citation("limits", "sulfite_excess"),
            )
        )
    if agent.dose_from == "label":
        text = (
            f"The dose of {agent.name} is the label's own figure, not ours. Test total chlorine after dosing; it must "
            "read zero before the water meets fish."
        )
        findings.append(Finding("caution", "label_dose", text))
    return findings


def chlorine_findings(chlorine: ChlorineReadings) -> list[Finding]:
    """A caution for a reading above what utilities may carry on average."""
    limit = reference.value("limits", "chlorine_tap_usual_maximum")
    if chlorine.total_mg_l <= limit:
        return []
    text = (
        f"{figure(chlorine.total_mg_l)} mg/L of chlorine in the tap is more than utilities may carry on average. "
        "Test again before dosing."
    )
    source = reference.citation("limits", "chlorine_tap_usual_maximum")
    return [Finding("caution", "chlorine_high", text, chlorine.total_mg_l, limit, "mg/L", source)]


def label_findings(agent: Agent, label: LabelDose | None) -> list[Finding]:
    """A note where a label's figure is given for an agent that is dosed by its chemistry."""
    if label is None or agent.dose_from == "label":
        return []
    text = f"{agent.name} is dosed by its chemistry, not by the label's figure."
    if label.amount_g is not None:
        ratio = 1000 * label.amount_g / (label.volume_l * label.chlorine_mg_l)
        text += f" The label gives {figure(ratio)} g per g of chlorine, the chemistry {figure(agent.mass_ratio)}."
    return [Finding("note", "label_not_used", text)]


def _chlorine_left(dose: Neutralisation) -> Finding:
    limit = reference.value("limits", "chlorine_acute")
    level: Level = "stop" if dose.chlorine_left_mg_l > limit else "caution"
    text = (
        f"This dose leaves {figure(dose.chlorine_left_mg_l, 2)} mg/L of chlorine in the water; {limit * 1000:g} µg/L is the "
        "limit for one hour. Dose the full amount before the water meets fish."
    )
    return Finding(
        level,
        "chlorine_left",
        text,
        dose.chlorine_left_mg_l,
        limit,
        "mg/L",
        reference.citation("limits", "chlorine_acute"),
    )


def ammonia_findings(
    ammonia_mg_n_l: float,
    ph: float | None,
    temperature_c: float | None,
    water: str,
    share: float | None = None,
    advice: str = "Feed little and test daily.",
) -> list[Finding]:
    """Total ammonia of a water held against the published criteria at its pH and temperature.

    share: of it that is un-ionised, where the ions are known; else that of water without ions.  advice: what to do.
    """
    if ammonia_mg_n_l <= 0:
        return []
    if ph is None or temperature_c is None:
        text = f"pH and temperature of {water} are needed to judge its ammonia, {figure(ammonia_mg_n_l, 2)} mg/L N."
        return [Finding("note", "ammonia_not_judged", text, ammonia_mg_n_l, None, "mg/L N")]
    share = unionised_share(ph, temperature_c) if share is None else share
    acute, chronic = acute_criterion_mg_n_l(ph, temperature_c), chronic_criterion_mg_n_l(ph, temperature_c)
    if ammonia_mg_n_l <= chronic:
        return []
    level: Level = "stop" if ammonia_mg_n_l > acute else "caution"
    limit, period = (acute, "one hour") if level == "stop" else (chronic, "thirty days")
    text = (
        f"Ammonia in {water}: {figure(ammonia_mg_n_l, 2)} mg/L N, {share:.0%} of it un-ionised at pH {ph:.1f} and "
        f"{temperature_c:.0f} °C. The limit over {period} is {figure(limit, 2)} mg/L N. {advice}"
    )
    return [
        Finding(level, "ammonia", text, float(ammonia_mg_n_l), float(limit), "mg/L N", "US EPA 822-R-13-001 (2013)")
    ]


def ph_findings(*ph: float) -> list[Finding]:
    """A caution where a dose takes one of these pH of the treated water below what fish stand."""
    least = reference.value("limits", "lowest_ph")
    if min(ph) >= least:
        return []
    text = (
        f"The pH of the treated water falls to {min(ph):.1f}: the dose has used up its alkalinity. Put bicarbonate in "
        "before fish meet it, or take a neutraliser without acid."
    )
    return [Finding("caution", "ph_low", text, min(ph), least, "pH", reference.citation("limits", "lowest_ph"))]
