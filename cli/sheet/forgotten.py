"""The box for the forgotten neutraliser: advice in words, and the engine's table for the script."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from cli.late_words import advice, ammonia_left, said

if TYPE_CHECKING:
    from chemistry.plan.late import Case

# Where the page puts the dose, which its script keeps up to the minute.
DOSE = "{dose}"


@dataclass(frozen=True)
class Box:
    """advice: what to do, with DOSE where the dose stands.  dose: for the whole refill.  rows: minute, chlorine, dose.

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


def box(case: Case) -> Box:
    """The box of a case, at every minute of the filling."""
    from chemistry.plan.late_table import late_table
    from chemistry.units import figure

    minutes = float(case.filling.minutes)
    rows = late_table(case)
    half, full = case.at(minutes / 2), case.at(minutes)
    return Box(
        advice=advice(case, half, DOSE),
        dose=said(full.dose_now, case),
        flow=f"{figure(float(case.filling.flow_l_min))} L/min",
        worst=f"{figure(full.now_mg_l, 2)} mg/L",
        hose=f"{figure(full.hose_mg_l, 2)} mg/L",
        ammonia=ammonia_left(full),
        assumptions=case.assumptions,
        data={
            "agent": case.bottle.agent.name,
            "minutes": minutes,
            "rows": [[row.minute, row.chlorine_mg_l, row.dose.grams, row.dose.millilitres] for row in rows],
        },
    )
