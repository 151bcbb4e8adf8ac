"""The `neutralise` command."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from tapwright.chemistry.words import quoted
from tapwright.cli.answer import Answer
from tapwright.cli.options.of_parts import NeutraliseOptions
from tapwright.cli.pages import pieces as pages
from tapwright.cli.reading import Reader

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.dosing.neutralise import ChlorineReadings, LabelDose, Neutralisation
    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.substances import Agent
    from tapwright.chemistry.water.equilibrium import Equilibrium
    from tapwright.cli.options.water_sources import Source


_ADVICE = "Less of this water at once brings less; feed little and test daily."


def answer(options: NeutraliseOptions) -> Answer:
    """The dose for a volume of tap water as an answer."""
    from tapwright.chemistry import substances
    from tapwright.chemistry.dosing import neutralise as engine
    from tapwright.chemistry.water.equilibrium import most_alkaline

    reader = Reader()
    volume_l = reader.needed(options.volume, "volume", "--volume")
    chlorine = engine.ChlorineReadings(
        reader.needed(options.total_chlorine, "chlorine", "--total-chlorine"),
        reader.quantity(options.free_chlorine, "chlorine", "--free-chlorine"),
        reader.number(options.cl2_to_n, "chlorine to nitrogen", "--cl2-to-n"),
        reader.quantity(options.free_ammonia, "ammonia", "--free-ammonia"),
    )
    ph = reader.number(options.ph, "ph", "--ph")
    temperature_c = reader.quantity(options.temperature, "water", "--temperature")
    purity = reader.quantity(options.purity, "purity", "--purity")
    excess = reader.quantity(options.excess, "excess", "--excess")
    solution_g_l = reader.quantity(options.solution, "strength", "--solution")
    given_g = _given(options, solution_g_l, reader)
    label = _label(options, reader)
    tap = reader.tried(lambda: _tap(options))
    agent = reader.tried(lambda: substances.agent(options.agent, "--agent"))
    reader.done()
    if agent is None:  # refused above
        raise AssertionError("a refusal was lost")
    if agent.dose_from == "label" and (options.excess or options.solution or options.purity):
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
    left = None if tap is None else _treated(options, tap, dose, agent, chlorine, temperature_c)
    share = None
    if left is not None:  # judged where it is worst: in the tank, or in itself with what its own ions make of it
        worst = most_alkaline(left.aerated, left.at_once)
        if ph is None or worst.ph > ph:
            ph, share = float(worst.ph), float(worst.unionised_ammonia_share)
    findings = [
        *engine.dose_findings(dose, agent),
        *engine.chlorine_findings(chlorine),
        *engine.label_findings(agent, label),
        *engine.ammonia_findings(float(dose.ammonia_mg_n_l), ph, temperature_c, "the treated water", share, _ADVICE),
        *(left.findings() if left else []),
    ]
    assumed = engine.assumptions_of(chlorine)
    if purity is None and dose.agent_g and agent.dose_from == "stoichiometry":
        assumed.append("Purity not given, taken as 100 %.")

    if left is not None:
        assumed += left.assumptions

    def show(screen: Console) -> None:
        _show(screen, dose, agent, given_g, left)
        pages.findings(screen, findings)
        pages.assumptions(screen, assumed)

    after = {} if left is None else left.figures()
    return Answer("neutralise", {**asdict(dose), "given_g": given_g, **after}, show, findings, assumed)


@dataclass(frozen=True)
class Treated:
    """The tap water once the neutraliser has done its work, at once (None without its pH) and in outdoor air."""

    alkalinity_meq_l: float
    at_once: Equilibrium | None
    ph_spread: float | None
    aerated: Equilibrium
    ammonia_mg_n_l: float
    assumptions: list[str]

    def findings(self) -> list[Finding]:
        """A caution where the dose takes the pH below what fish stand."""
        from tapwright.chemistry.dosing.neutralise import ph_findings

        return ph_findings(float((self.at_once or self.aerated).ph), float(self.aerated.ph))

    def figures(self) -> dict[str, float | None]:
        """For machines."""
        once = self.at_once
        return {
            "alkalinity_meq_l": self.alkalinity_meq_l,
            "ph_at_once": once.ph if once else None,
            "ph_spread": self.ph_spread,
            "ph_aerated": self.aerated.ph,
            "co2_times_air": once.co2_times_air if once else None,
            "co2_times_air_aerated": self.aerated.co2_times_air,
            "si_calcite_aerated": self.aerated.si_calcite,
            "unionised_ammonia_at_once_mg_n_l": self.ammonia_mg_n_l * once.unionised_ammonia_share if once else None,
            "unionised_ammonia_aerated_mg_n_l": self.ammonia_mg_n_l * self.aerated.unionised_ammonia_share,
        }


def _tap(options: NeutraliseOptions) -> Source | None:
    """The tap water by its readings; None where none is given."""
    from tapwright.cli.options.water_sources import of_readings

    given = (options.tap_hardness, options.tap_alkalinity, options.tap_ph, options.tap_temperature)
    if given == (None, None, None, None):
        return None
    readings = {
        "hardness": options.tap_hardness,
        "alkalinity": options.tap_alkalinity,
        "ph": options.tap_ph,
        "temperature": options.tap_temperature or options.temperature,
        "ammonia": options.free_ammonia,
    }
    named = {"temperature": "--tap-temperature", "ammonia": "--free-ammonia"}
    return of_readings(readings, "tap", lambda key: named.get(key, f"--tap-{key}"))


def _treated(
    options: NeutraliseOptions,
    tap: Source,
    dose: Neutralisation,
    agent: Agent,
    chlorine: ChlorineReadings,
    temperature_c: float | None,
) -> Treated:
    """What the dose makes of the tap water."""
    from dataclasses import replace

    from tapwright.chemistry.dosing.neutralise import treated
    from tapwright.chemistry.water.equilibrium import at_air, closed, equilibrium_of
    from tapwright.chemistry.water.spread import closed_ph_spread
    from tapwright.cli.commands.water import assumed_of_air

    water = replace(
        closed(tap.water),
        temperature_c=tap.water.temperature_c if temperature_c is None else temperature_c,
        total_chlorine_mg_l=chlorine.total_mg_l,
        free_chlorine_mg_l=chlorine.total_mg_l - chlorine.combined_mg_l(),
    )
    after = treated(water, dose, agent)
    once = equilibrium_of(after)
    spread = None if once is None else closed_ph_spread(after, [(1.0, tap.water)])
    notes = [note for note in tap.assumptions if "ammonia" not in note] + assumed_of_air(after, None)
    if options.tap_temperature is None and options.tap_ph is not None:
        notes.append("tap: its pH is taken as read at the temperature given.")
    if "S4O6" in agent.products and dose.chlorine_g > 0:
        notes.append(f"pH follows the route planned for {agent.name}, to tetrathionate; to sulfate it ends more acid.")
    return Treated(after.alkalinity_meq_l, once, spread, at_air(after), after.ammonia_mg_n_l, notes)


def _given(options: NeutraliseOptions, solution_g_l: float | None, reader: Reader) -> float | None:
    """Grams that are meant to go in, from grams or from millilitres of the solution."""
    from tapwright.chemistry.units import kind_of

    if options.dose is None or kind_of(options.dose) != "volume":
        return reader.quantity(options.dose, "mass, or none", "--dose")
    if solution_g_l is None:
        reader.refuse(
            "--dose", f"{quoted(options.dose)} is a volume, and the strength is not known.", "Give --solution as well."
        )
        return None
    return reader.needed(options.dose, "volume, or none", "--dose") * solution_g_l


def _label(options: NeutraliseOptions, reader: Reader) -> LabelDose | None:
    """The label's own figure, where all three parts of it are given."""
    from tapwright.chemistry.allowed import amount_of
    from tapwright.chemistry.dosing.neutralise import LabelDose

    amount = options.label_amount
    parts = (amount, options.label_volume, options.label_chlorine)
    if parts == (None, None, None):
        return None
    if amount is None or options.label_volume is None or options.label_chlorine is None:
        example = 'Write --label-amount "5 mL" --label-volume "40 L" --label-chlorine "2 mg/L".'
        reader.refuse("--label-amount, --label-volume, --label-chlorine", "a label's figure has three parts.", example)
        return None
    volume_l = reader.needed(options.label_volume, "volume", "--label-volume")
    chlorine_mg_l = reader.needed(options.label_chlorine, "chlorine", "--label-chlorine")
    amounts = reader.tried(lambda: amount_of(amount, "--label-amount"))
    return None if amounts is None else reader.made(LabelDose, volume_l, chlorine_mg_l, *amounts)


def _show(screen: Console, dose: Neutralisation, agent: Agent, given_g: float | None, left: Treated | None) -> None:
    from tapwright.chemistry.units import figure

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
        ("Alkalinity", f"{pages.signed(dose.alkalinity_change_meq_l, 3)} meq/L"),
    ]
    if dose.oxygen_demand_mg_l is not None:
        oxygen = f"what is left over can take up {figure(dose.oxygen_demand_mg_l, 2)} mg/L in the end"
        rows.append(("Oxygen", oxygen))
    if left is not None:
        rows.append(("pH", _ph(left)))
    pages.heading(screen, "Neutraliser")
    pages.pairs(screen, rows)


def _ph(left: Treated) -> str:
    """pH of the treated water, now and in air."""
    from tapwright.cli.pages.water import give_or_take

    rest = f"{left.aerated.ph:.1f} at rest with outdoor air"
    once = left.at_once
    if once is None:
        return rest
    sure = give_or_take(once, left.ph_spread, computed=True)
    return f"{once.ph:.1f} at once{sure} with {once.co2_times_air:.1f} times outdoor CO2, {rest}"


def _left(dose: Neutralisation) -> str:
    from tapwright.chemistry.units import figure

    chlorine = f"{figure(dose.chlorine_left_mg_l, 2)} mg/L of chlorine"
    ammonia = f"{figure(dose.ammonia_mg_n_l, 2)} mg/L N of ammonia"
    if dose.ammonia_low_mg_n_l < dose.ammonia_mg_n_l:
        ammonia += f" ({figure(dose.ammonia_low_mg_n_l, 2)} at least)"
    if dose.ammonia_unionised_mg_n_l is not None:
        ammonia += f", {figure(dose.ammonia_unionised_mg_n_l, 2)} of it un-ionised"
    return f"{chlorine}, {ammonia}"
