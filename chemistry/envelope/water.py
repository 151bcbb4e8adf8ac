"""What a change of water does to fish: the refill they meet by the hose, and how far it moves the tank."""

from __future__ import annotations

from dataclasses import dataclass, fields

from tapwright.chemistry import reference
from tapwright.chemistry.envelope.carbonate import Plain
from tapwright.chemistry.envelope.grading import beyond
from tapwright.chemistry.findings import Finding

_MEQ_PER_DKH = 0.3566  # 10 mg/L CaO to a degree (DIN 38409-6): 20 / 56.077
_TINY = 1e-9


@dataclass(frozen=True)
class Met:
    """A water as fish meet it.

    ph: at once; None where it is not known.  ammonia_mg_n_l: all of it; unionised_mg_n_l: as NH3, at the highest pH it may
    have.  strength_mol_l: ionic strength.
    """

    temperature_c: float
    hardness_dgh: float
    alkalinity_dkh: float
    conductivity_us_cm: float
    nitrate_mg_l: float
    chlorine_mg_l: float
    ammonia_mg_n_l: float
    unionised_mg_n_l: float
    strength_mol_l: float
    ph: float | None = None

    @property
    def plain(self) -> Plain:
        """What decides its pH beside its carbon."""
        alkalinity_meq_l = self.alkalinity_dkh * _MEQ_PER_DKH
        return Plain(alkalinity_meq_l, self.ammonia_mg_n_l, self.temperature_c, self.strength_mol_l)

    def carbon_mmol_l(self, times_air: float) -> float:
        """All inorganic carbon: by its pH, or at rest with so many times the CO2 of outdoor air where that is not known."""
        return self.plain.carbon_at(self.plain.ph_in_air(times_air) if self.ph is None else self.ph)


@dataclass(frozen=True)
class Exchange:
    """One change: a share of the tank (0 to 1) goes, refill comes; after: the tank as the answer says it will be.

    oxygen_demand_mg_l: what is left over of a fast reducing agent takes so much out of the refill.
    """

    share: float
    before: Met
    refill: Met
    after: Met
    oxygen_demand_mg_l: float = 0.0


def water_findings(change: Exchange) -> list[Finding]:
    """Every finding about the refill and about what the change does to the tank."""
    chlorine_mg_l = change.before.chlorine_mg_l
    text = (
        f"The tank itself holds {chlorine_mg_l:.2g} mg/L of chlorine: neutralise the whole tank now, and plan once it "
        "reads zero."
    )
    return [
        *beyond("tank_chlorine", chlorine_mg_l, text, stop="chlorine_acute"),
        *refill_findings(change.refill, change.oxygen_demand_mg_l),
        *_balances(change),
        *_steps(change),
        *_ph_step(change),
        *_thin(change),
        *_nitrate(change),
    ]


def refill_findings(refill: Met, oxygen_demand_mg_l: float = 0.0) -> list[Finding]:
    """What fish by the hose meet."""
    found = []
    if refill.ph is not None:
        text = f"The refill stands at pH {refill.ph:.1f}: fish by the hose meet it so."
        acid = f"{text} Use another neutraliser, or a bicarbonate; test the tap's pH and alkalinity again."
        found += beyond("refill_acid", refill.ph, acid, caution="lowest_ph", stop="refill_ph_lowest_stop", least=True)
        alkaline = f"{text} Use a bicarbonate in place of a carbonate; test the tap's pH and alkalinity again."
        found += beyond("refill_alkaline", refill.ph, alkaline, caution="highest_ph", stop="refill_ph_highest_stop")
    text = (
        f"The refill's alkalinity is {max(refill.alkalinity_dkh, 0):.1f} dKH: nothing holds its pH, and it takes the tank's "
        "alkalinity down."
    )
    found += beyond("refill_thin", refill.alkalinity_dkh, text, caution="alkalinity_least", least=True)
    text = f"The refill still holds {refill.chlorine_mg_l:.2g} mg/L of chlorine after its neutraliser."
    found += beyond("refill_chlorine", refill.chlorine_mg_l, text, stop="chlorine_acute")
    text = (
        f"The refill may hold {refill.unionised_mg_n_l:.2f} mg/L N of un-ionised ammonia at its highest pH: fish by the hose "
        "meet it so. Let it fall where they do not stand, slowly."
    )
    found += beyond("refill_ammonia", refill.unionised_mg_n_l, text, caution="unionised_ammonia_refill")
    text = (
        f"What is left over of the neutraliser takes {oxygen_demand_mg_l:.1f} mg/L of oxygen out of the refill at once: fish "
        "by the hose gasp. Measure it finer, or use another; let air bubble through the tote first."
    )
    return found + beyond("refill_oxygen", oxygen_demand_mg_l, text, stop="sulfite_excess_stop")


def _steps(change: Exchange) -> list[Finding]:
    """How far one change moves the tank, against how far fish are usually moved."""
    before, after = change.before, change.after
    found = []
    for name, unit, start, end, caution, stop in (
        ("hardness", "dGH", before.hardness_dgh, after.hardness_dgh, "hardness_step", "hardness_step_stop"),
        ("alkalinity", "dKH", before.alkalinity_dkh, after.alkalinity_dkh, "alkalinity_step", "alkalinity_step_stop"),
    ):
        text = f"This change moves the tank's {name} from {start:.1f} to {end:.1f} {unit}. A smaller share helps."
        found += beyond(caution, abs(end - start), text, caution=caution, stop=stop)
    start, end = before.conductivity_us_cm, after.conductivity_us_cm
    text = f"This change moves the tank's conductivity from {start:.0f} to {end:.0f} µS/cm. A smaller share helps."
    percent = 100 * abs(end / start - 1) if start > 0 else 0.0
    return found + beyond(
        "conductivity_step", percent, text, caution="conductivity_step", stop="conductivity_step_stop"
    )


def _ph_step(change: Exchange) -> list[Finding]:
    """How far pH may move at once, at the worst where the tank's or the refill's is not known, and whether it ends acid."""
    before, refill = change.before, change.refill
    moves = [_moved(change, tank, tap) for tank in _airs(before) for tap in _airs(refill)]
    worst, start, end = max(moves)
    known = before.ph is not None
    said = "" if known else " The tank's pH is not given: this is the worst its alkalinity allows; test it."
    text = f"This change may move the tank's pH from {start:.1f} to {end:.1f} at once.{said} A smaller share helps."
    found = beyond("ph_step", worst, text, stop="ph_step_stop", caution="" if known else "ph_step")
    _, from_ph, to_ph = min(moves, key=lambda move: move[2])
    text = f"After the change the tank may stand at pH {to_ph:.1f}."
    # What the change makes better is no reason not to begin.
    found += beyond(
        "tank_acid", to_ph, text, caution="lowest_ph", stop="lowest_ph" if to_ph < from_ph else "", least=True
    )
    planned = change.after.ph
    if not found and known and planned is not None and refill.ph is not None:
        text = (
            f"The plan takes the tank to pH {planned:.1f}; a plain reckoning takes it to {end:.1f}. Do not follow this plan; "
            "tell its makers."
        )
        if abs(planned - end) > reference.value("limits", "ph_doubt"):
            return [Finding("stop", "contradiction", text, planned, end, "pH")]
    return found


def _airs(water: Met) -> tuple[float, ...]:
    """The CO2 of a water over that of outdoor air: one figure where its carbon is known, else the ends of what is usual."""
    if water.ph is not None:
        return (1.0,)
    return reference.value("practice", "tank_least_times_air"), reference.value("practice", "tank_most_times_air")


def _moved(change: Exchange, tank_air: float, refill_air: float) -> tuple[float, float, float]:
    """How far pH moves, from where, to where: carbon, alkalinity and heat mix, pH follows."""
    before, refill, share = change.before, change.refill, change.share

    def mixed(one: float, other: float) -> float:
        return (1 - share) * one + share * other

    start = before.plain.ph_in_air(tank_air) if before.ph is None else before.ph
    one, other = before.plain, refill.plain
    after = Plain(*(mixed(getattr(one, field.name), getattr(other, field.name)) for field in fields(Plain)))
    end = after.ph_of(mixed(before.carbon_mmol_l(tank_air), refill.carbon_mmol_l(refill_air)))
    return abs(end - start), start, end


def _thin(change: Exchange) -> list[Finding]:
    """A tank that is left without alkalinity; what the change makes better is no reason not to begin."""
    before, after = change.before, change.after
    text = (
        f"After the change the tank's alkalinity is {max(after.alkalinity_dkh, 0):.1f} dKH: its pH may fall in a night."
    )
    worse = after.alkalinity_dkh < before.alkalinity_dkh - _TINY
    return beyond(
        "tank_thin",
        after.alkalinity_dkh,
        text,
        caution="alkalinity_least",
        stop="alkalinity_least_stop" if worse else "",
        least=True,
    )


def _nitrate(change: Exchange) -> list[Finding]:
    before, after = change.before.nitrate_mg_l, change.after.nitrate_mg_l
    if after <= before + 0.05:
        return []
    text = (
        f"This change raises nitrate from {before:.0f} to {after:.0f} mg/L: the tap brings {change.refill.nitrate_mg_l:.0f}. A "
        "smaller share raises it less; only other water lowers it."
    )
    return [Finding("caution", "nitrate_raised", text, after, before, "mg/L NO3")]


def _balances(change: Exchange) -> list[Finding]:
    """What of the tank after the change is not the mixture of its two parts."""
    percent = reference.value("limits", "water_doubt")
    for name, least in (("hardness_dgh", 0.1), ("alkalinity_dkh", 0.1), ("nitrate_mg_l", 0.5)):
        parts = getattr(change.before, name), getattr(change.refill, name)
        mixed = (1 - change.share) * parts[0] + change.share * parts[1]
        said = getattr(change.after, name)
        if not abs(said - mixed) <= least + percent / 100 * max(map(abs, parts)):
            text = f"Tank and refill make {name} {mixed:.2f}, not {said:.2f}. Do not follow this plan; tell its makers."
            return [Finding("stop", "contradiction", text, said, mixed)]
    return []
