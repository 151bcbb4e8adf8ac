"""The `neutralise` command."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from cli import pages
from cli.answer import Answer

if TYPE_CHECKING:
    from rich.console import Console

    from chemistry.dosing.neutralise import LabelDose, Neutralisation


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
    from chemistry.units import read

    def given(text: str | None, kind: str, option: str) -> float | None:
        return None if text is None else read(text, kind, option)

    ratio = _number(asked.cl2_to_n, "--cl2-to-n", 1, 100, "4.5")
    ph = _number(asked.ph, "--ph", 4, 11, "8.2")
    agent = substances.agent(asked.agent, "--agent")
    temperature_c = given(asked.temperature, "temperature", "--temperature")
    purity, excess = given(asked.purity, "share", "--purity"), given(asked.excess, "share", "--excess")
    chlorine = engine.ChlorineReadings(
        read(asked.total_chlorine, "chlorine", "--total-chlorine"),
        given(asked.free_chlorine, "chlorine", "--free-chlorine"),
        ratio,
        given(asked.free_ammonia, "ammonia", "--free-ammonia"),
    )
    dose = engine.neutralise(
        read(asked.volume, "volume", "--volume"),
        chlorine,
        agent,
        purity=1.0 if purity is None else purity,
        excess=excess or 0.0,
        solution_g_l=given(asked.solution, "strength", "--solution"),
        label=_label(asked),
        given_g=given(asked.dose, "mass", "--dose"),
        ph=ph,
        temperature_c=temperature_c,
    )
    findings = [
        *engine.dose_findings(dose, agent),
        *engine.ammonia_findings(float(dose.ammonia_mg_n_l), ph, temperature_c, "the treated water"),
    ]

    def show(screen: Console) -> None:
        _show(screen, dose, agent.note)
        pages.findings(screen, findings)
        pages.assumptions(screen, assumed)

    assumed = engine.assumptions_of(chlorine)
    return Answer("neutralise", _result(dose), show, findings, assumed)


def _number(text: str | None, option: str, low: float, high: float, example: str) -> float | None:
    """A bare number between two limits; None stays None."""
    from chemistry.errors import BadInput

    if text is None:
        return None
    try:
        number = float(text)
    except ValueError:
        number = float("nan")
    if not low <= number <= high:
        said = f"'{text}' is read; a number from {low:g} to {high:g} is allowed."
        raise BadInput.of(option, said, f"Write for example {example}.")
    return number


def _label(asked: Asked) -> LabelDose | None:
    """The label's own figure, where all three parts of it are given."""
    from chemistry.dosing.neutralise import LabelDose
    from chemistry.errors import BadInput
    from chemistry.units import kind_of, read

    parts = (asked.label_amount, asked.label_volume, asked.label_chlorine)
    if parts == (None, None, None):
        return None
    if asked.label_amount is None or asked.label_volume is None or asked.label_chlorine is None:
        raise BadInput.of(
            "--label-amount, --label-volume, --label-chlorine",
            "a label's figure has three parts and not all are given.",
            'Write --label-amount "5 mL" --label-volume "40 L" --label-chlorine "2 mg/L".',
        )
    volume_l = read(asked.label_volume, "volume", "--label-volume")
    chlorine_mg_l = read(asked.label_chlorine, "chlorine", "--label-chlorine")
    if volume_l <= 0 or chlorine_mg_l <= 0:
        raise BadInput.of("--label-volume, --label-chlorine", "both must be above 0.", "Write what the label says.")
    if kind_of(asked.label_amount) == "mass":
        return LabelDose(volume_l, chlorine_mg_l, amount_g=read(asked.label_amount, "mass", "--label-amount"))
    amount_ml = 1000 * read(asked.label_amount, "volume", "--label-amount")
    return LabelDose(volume_l, chlorine_mg_l, amount_ml=amount_ml)


def _result(dose: Neutralisation) -> dict[str, Any]:
    from dataclasses import asdict

    return asdict(dose)


def _show(screen: Console, dose: Neutralisation, note: str) -> None:
    rows = []
    if dose.agent_g is not None:
        rows.append(("Put in", f"{dose.agent_g:.3g} g of {dose.agent}"))
    if dose.solution_ml is not None:
        rows.append(("As solution", f"{dose.solution_ml:.3g} mL"))
    rows += [
        ("Against", f"{dose.chlorine_g:.3g} g of chlorine, {dose.combined_chlorine_mg_l:.2g} mg/L of it chloramine"),
        ("Ratio", f"{dose.mass_ratio:.3g} g per g of chlorine{f'; {note}' if note else ''}"),
        ("Leaves", _left(dose)),
        ("Alkalinity", f"{dose.alkalinity_change_meq_l:+.3f} meq/L"),
        ("Oxygen", f"the excess can take up {dose.oxygen_demand_mg_l:.2g} mg/L in the end"),
    ]
    pages.heading(screen, "Neutraliser")
    pages.pairs(screen, rows)


def _left(dose: Neutralisation) -> str:
    ammonia = f"{dose.ammonia_mg_n_l:.2g} mg/L N of ammonia"
    if dose.ammonia_low_mg_n_l < dose.ammonia_mg_n_l:
        ammonia += f" ({dose.ammonia_low_mg_n_l:.2g} at least)"
    if dose.ammonia_unionised_mg_n_l is None:
        return ammonia
    return f"{ammonia}, {dose.ammonia_unionised_mg_n_l:.2g} of it un-ionised"
