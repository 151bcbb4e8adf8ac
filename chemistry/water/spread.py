"""How far the pH of a closed mixture may lie off for what the tests of its parts cannot tell apart.

Closed pH amplifies errors: an alkalinity 5 % too high moves it by 0.16 in the median. The errors of pH and alkalinity
tests (tables/kits.csv, common practice) are taken one by one and added as squares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from chemistry import reference
from chemistry.errors import OutOfRange
from chemistry.water.composition import Water, dgh_per_mmol
from chemistry.water.equilibrium import at_carbon, at_ph

# The computation itself is worth so much.
MODEL_PH = 0.02


def closed_ph_spread(result: Water, parts: Sequence[tuple[float, Water]]) -> float | None:
    """Give or take of the pH of `result`, a water by its carbon.

    parts: the waters it was made of, with the share of each, that were tested for pH and alkalinity; what else went in is
    taken as exact. None where a test off by its error would be no water at all.
    """
    meq, carbon = [], []
    for share, part in parts:
        alkalinity_off = min(reference.value("kits", "alkalinity") * 2 / dgh_per_mmol(), part.alkalinity_meq_l / 2)
        off = np.array([0.0, alkalinity_off, -alkalinity_off, 0.0, 0.0])
        ph_off = np.array([0.0, 0.0, 0.0, 1.0, -1.0]) * reference.value("kits", "ph")
        try:
            varied = replace(part, alkalinity_meq_l=part.alkalinity_meq_l + off)  # type: ignore[arg-type]
            found = at_ph(varied, (part.ph or 0.0) + ph_off)
        except OutOfRange:
            return None
        meq.append(share * off[1:])
        carbon.append(share * (found.carbon_mmol_l[1:] - found.carbon_mmol_l[0]))
    alkalinity_meq_l = result.alkalinity_meq_l + np.concatenate(meq)
    try:
        varied = replace(result, alkalinity_meq_l=alkalinity_meq_l)  # type: ignore[arg-type]
        ph = at_carbon(varied, np.maximum((result.carbon_mmol_l or 0.0) + np.concatenate(carbon), 0.0)).ph
    except OutOfRange:
        return None
    halves = (ph[0::2] - ph[1::2]) / 2
    return float(np.sqrt(np.sum(halves**2) + MODEL_PH**2))
