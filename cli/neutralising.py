"""The `neutralise` command."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from cli import pages
from cli.answer import Answer
from cli.options import Reader

if TYPE_CHECKING:
    from rich.console import Console

    from chemistry.dosing.neutralise import LabelDose, Neutralisation
    from chemistry.substances import Agent


@dataclass(frozen=True)
class Asked:
    """The options of the command as written."""

    volume: str
    total_chlorine: str
    free_chlorine: str | None
    agent: str
    solution: str | None
    purity: str | None
    excess: str | None
    dose: str | None
    cl2_to_n: str | None
    free_ammonia: str | None
    ph: str | None
    temperature: str | None
    label_amount: str | None
    label_volume: str | None
    label_chlorine: str | None


def answer(asked: Asked) -> Answer:
    """The dose for a volume of tap water as an answer."""
    from chemistry import substances
    from chemistry.dosing import neutralise as engine

    reader = Reader()
    volume_l = reader.needed(asked.volume, "volume", "--volume")
    reader.between(volume_l, asked.volume, "--volume", 0, 1e6, "up to 1000000 L")
    chlorine = engine.ChlorineReadings(
        reader.needed(asked.total_chlorine, "chlorine", "--total-chlorine"),
        reader.quantity(asked.free_chlorine, "chlorine", "--free-chlorine"),
        reader.number(asked.cl2_to_n, "--cl2-to-n", 1, 100, "4.5"),
        reader.quantity(asked.free_ammonia, "ammonia", "--free-ammonia"),
    )
    ph = reader.number(asked.ph, "--ph", 4, 11, "8.2")
    temperature_c = reader.quantity(asked.temperature, "temperature", "--temperature")
    reader.between(temperature_c, asked.temperature, "--temperature", 0, 45, "0 to 45 °C (32 to 113 °F)")
    purity = reader.quantity(asked.purity, "share", "--purity")
    excess = reader.quantity(asked.excess, "share", "--excess")
    reader.between(excess, asked.excess, "--excess", 0, 2, "0 % to 200 %")
    solution_g_l = reader.quantity(asked.solution, "strength", "--solution")
    given_g = _given(asked, solution_g_l, reader)
    label = _label(asked, reader)
    reader.done()
    agent = substances.agent(asked.agent, "--agent")
    if agent.dose_from == "label" and (asked.excess or asked.solution or asked.purity):
        said = f"{agent.name} is dosed by its label alone: purity, excess and solution have no place in that."
        reader.refuse("--purity, --excess, --solution", said, "Leave them out.")
        reader.done()
    dose = engine.neutralise(
        volume_l,
        chlorine,
        agent,
        purity=1.0 if purity is None else purity,
        excess=excess or 0.0,
        solution_g_l=solution_g_l,
        label=label,
        given_g=given_g,
        ph=ph,
        temperature_c=temperature_c,
    )
    findings = [
        *engine.dose_findings(dose, agent),
        *engine.chlorine_findings(chlorine),
        *engine.label_findings(agent, label),
        *engine.ammonia_findings(float(dose.ammonia_mg_n_l), ph, temperature_c, "the treated water"),
    ]
    assumed = engine.assumptions_of(chlorine)
    if purity is None and dose.agent_g and agent.dose_from == "stoichiometry":
        assumed.append("Purity not given, taken as 100 %.")

    def show(screen: Console) -> None:
        _show(screen, dose, agent, given_g)
        pages.findings(screen, findings)
        pages.assumptions(screen, assumed)

    return Answer("neutralise", {**asdict(dose), "given_g": given_g}, show, findings, assumed)


def _given(asked: Asked, solution_g_l: float | None, reader: Reader) -> float | None:
    """Grams that are meant to go in, from grams or from millilitres of the solution."""
    from chemistry.units import kind_of

    if asked.dose is None or kind_of(asked.dose) != "volume":
        return reader.quantity(asked.dose, "mass", "--dose")
    if solution_g_l is None:
        reader.refuse(
            "--dose", f"'{asked.dose}' is a volume, and the strength is not known.", "Give --solution as well."
        )
        return None
    return reader.needed(asked.dose, "volume", "--dose") * solution_g_l


def _label(asked: Asked, reader: Reader) -> LabelDose | None:
    """The label's own figure, where all three parts of it are given."""
    from chemistry.dosing.neutralise import LabelDose
    from chemistry.units import kind_of

    amount = asked.label_amount
    parts = (amount, asked.label_volume, asked.label_chlorine)
    if parts == (None, None, None):
        return None
    if amount is None or asked.label_volume is None or asked.label_chlorine is None:
        example = 'Write --label-amount "5 mL" --label-volume "40 L" --label-chlorine "2 mg/L".'
        reader.refuse("--label-amount, --label-volume, --label-chlorine", "a label's figure has three parts.", example)
        return None
    volume_l = reader.needed(asked.label_volume, "volume", "--label-volume")
    chlorine_mg_l = reader.needed(asked.label_chlorine, "chlorine", "--label-chlorine")
    in_grams = kind_of(amount) == "mass"
    size = reader.needed(amount, "mass" if in_grams else "volume", "--label-amount")
    reader.done()
    if in_grams:
        return LabelDose(volume_l, chlorine_mg_l, amount_g=size)
    return LabelDose(volume_l, chlorine_mg_l, amount_ml=1000 * size)


def _show(screen: Console, dose: Neutralisation, agent: Agent, given_g: float | None) -> None:
    from chemistry.units import figure

    rows = []
    needed = []
    if dose.agent_g is not None:
        needed.append(f"{figure(dose.agent_g, 4)} g of {agent.name}")
    if dose.solution_ml is not None:
        needed.append(f"{figure(dose.solution_ml, 4)} mL of {'its solution' if needed else agent.name}")
    if dose.chlorine_g == 0:
        rows.append(("Put in", "nothing: the water reads no chlorine"))
    elif given_g is None:
        rows.append(("Put in", ", which is ".join(needed)))
    else:
        rows += [("Needed", ", which is ".join(needed)), ("You put in", f"{figure(given_g, 4)} g")]
    combined = (
        f", {figure(dose.combined_chlorine_mg_l)} mg/L of it chloramine" if dose.combined_chlorine_mg_l > 0 else ""
    )
    rows += [
        ("Against", f"{figure(dose.chlorine_g)} g of chlorine{combined}"),
        ("Ratio", f"{figure(dose.mass_ratio)} g per g of chlorine{f'; {agent.note}' if agent.note else ''}"),
        ("Leaves", _left(dose)),
        ("Alkalinity", f"{dose.alkalinity_change_meq_l:+.3f} meq/L"),
    ]
    if dose.oxygen_demand_mg_l is not None:
        oxygen = f"what is left over can take up {figure(dose.oxygen_demand_mg_l, 2)} mg/L in the end"
        rows.append(("Oxygen", oxygen))
    pages.heading(screen, "Neutraliser")
    pages.pairs(screen, rows)


def _left(dose: Neutralisation) -> str:
    from chemistry.units import figure

    chlorine = f"{figure(dose.chlorine_left_mg_l, 2)} mg/L of chlorine"
    ammonia = f"{figure(dose.ammonia_mg_n_l, 2)} mg/L N of ammonia"
    if dose.ammonia_low_mg_n_l < dose.ammonia_mg_n_l:
        ammonia += f" ({figure(dose.ammonia_low_mg_n_l, 2)} at least)"
    if dose.ammonia_unionised_mg_n_l is not None:
        ammonia += f", {figure(dose.ammonia_unionised_mg_n_l, 2)} of it un-ionised"
    return f"{chlorine}, {ammonia}"
