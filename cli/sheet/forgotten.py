"""The box for the forgotten neutraliser: advice in words, and the engine's table for the script."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tapwright.cli.pages.late_words import advice, ammonia_left, said

if TYPE_CHECKING:
    from tapwright.chemistry.plan.late.dose import Case

# Where the page puts the dose, which its script keeps up to the minute.
DOSE = "{dose}"


@dataclass(frozen=True)
class Box:
    """advice: what to do, with DOSE where the dose stands.  dose: for the whole refill.  data: the engine's rows for the
    script, for every tote that may have been the first without neutraliser.

    flow, worst, hose: into the tank, in a tank filled without any, and as fish meet it at the hose, with units.  ammonia: what
    then is left; assumptions: what was taken for granted.
    """

    advice: list[str]
    dose: str
    flow: str
    worst: str
    hose: str
    ammonia: str
    assumptions: tuple[str, ...]
    data: dict[str, Any]


def box(cases: Sequence[Case]) -> Box:
    """The box of these cases, the first of which is the worst: no tote was neutralised."""
    from tapwright.chemistry.plan.late.table import late_table
    from tapwright.chemistry.units import figure

    worst = cases[0]
    half, full = worst.at(float(worst.filling.minutes) / 2), worst.at(float(worst.filling.minutes))
    return Box(
        advice=advice(worst, half, DOSE),
        dose=said(full.dose_now, worst),
        flow=f"{figure(float(worst.filling.flow_l_min))} L/min",
        worst=f"{figure(full.now_mg_l, 2)} mg/L",
        hose=f"{figure(full.hose_mg_l, 2)} mg/L",
        ammonia=ammonia_left(full),
        assumptions=worst.assumptions,
        data={
            "agent": worst.bottle.agent.name,
            "from_tote": [
                [
                    [round(row.minute, 4), round(row.chlorine_mg_l, 5), row.dose.grams, row.dose.millilitres]
                    for row in late_table(case)
                ]
                for case in cases
            ],
        },
    )
