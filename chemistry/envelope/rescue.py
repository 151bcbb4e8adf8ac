"""What the help for a forgotten neutraliser says, looked at once more: no answer that cannot be is ever told."""

from __future__ import annotations

from dataclasses import dataclass

from tapwright.chemistry.findings import Finding

_SLACK = 1e-6


@dataclass(frozen=True)
class Rescue:
    """Chlorine in the tank and in the tap [mg/L]; chlorine to mend, there and to come [g]; the dose, and that of a tank full of
    tap water, both in grams or both in millilitres, None where it is not known."""

    tank_mg_l: float
    tap_mg_l: float
    to_mend_g: float
    dose: float | None
    whole_tank_dose: float | None


def rescue_findings(rescue: Rescue) -> list[Finding]:
    """A stop for what contradicts itself; none where all fits."""
    slack, wrong = 1 + _SLACK, []
    if not 0 <= rescue.tank_mg_l <= rescue.tap_mg_l * slack:
        wrong.append(f"the tank is said to hold {rescue.tank_mg_l:.2g} mg/L of chlorine, the tap {rescue.tap_mg_l:.2g}")
    if rescue.dose is not None and rescue.to_mend_g > _SLACK and not rescue.dose > 0:
        wrong.append(f"{rescue.to_mend_g:.2g} g of chlorine are to be mended with nothing")
    if rescue.dose is not None and rescue.whole_tank_dose is not None and rescue.dose > rescue.whole_tank_dose * slack:
        wrong.append(
            f"{rescue.dose:.3g} are to go in where {rescue.whole_tank_dose:.3g} do for a tank full of tap water"
        )
    if not wrong:
        return []
    said = f"This answer contradicts itself: {'; '.join(wrong)}. Use the dose of a whole tank, and tell its makers."
    return [Finding("stop", "contradiction", said)]
