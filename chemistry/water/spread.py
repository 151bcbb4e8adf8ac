"""How far the pH of a closed mixture may lie off for what the tests of its parts cannot tell apart.

Closed pH amplifies errors: an alkalinity 5 % too high moves it by 0.16 in the median. The errors of pH and alkalinity
tests (tables/kits.csv, common practice) are taken one by one and added as squares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tapwright.chemistry import reference
from tapwright.chemistry.errors import OutOfRange
from tapwright.chemistry.water.composition import Water, dgh_per_mmol
from tapwright.chemistry.water.equilibrium import at_carbon, at_ph

# The computation itself is worth so much.
MODEL_PH = 0.02


def closed_ph_spread(result: Water, parts: Sequence[tuple[float, Water]]) -> float | None:
    """Give or take of the pH of `result`, a water by its carbon.

    parts: the waters it was made of, with the share of each, that were tested for pH and alkalinity; what else went in is
    taken as exact. A test that cannot be off to one side, as there is no such water, counts by its other side; None where
    it cannot be off to either.
    """
    ph = at_carbon(result, result.carbon_mmol_l or 0.0).ph
    halves = []
    for share, part in parts:
        read_mmol_l = at_ph(part).carbon_mmol_l
        alkalinity_off = min(reference.value("kits", "alkalinity") * 2 / dgh_per_mmol(), part.alkalinity_meq_l / 2)
        for off_meq, off_ph in ((alkalinity_off, 0.0), (0.0, reference.value("kits", "ph"))):
            sides = [_ph_if(result, share, part, read_mmol_l, sign * off_meq, sign * off_ph) for sign in (1, -1)]
            both = [side for side in sides if side is not None]
            if not both:
                return None
            # One side alone is measured from the middle, two from each other.
            other = 2 * ph - both[0] if len(both) == 1 else both[1]
            halves.append((both[0] - other) / 2)
    return float(np.sqrt(sum(half**2 for half in halves) + MODEL_PH**2))


def _ph_if(result: Water, share: float, part: Water, read_mmol_l: float, off_meq: float, off_ph: float) -> float | None:
    """pH of the result, were the part's tests so much off; None where there is no such water.

    read_mmol_l: carbon of the part as its tests have it.
    """
    try:
        varied = replace(part, alkalinity_meq_l=part.alkalinity_meq_l + off_meq)
        carbon_off = at_ph(varied, (part.ph or 0.0) + off_ph).carbon_mmol_l - read_mmol_l
        made = replace(result, alkalinity_meq_l=result.alkalinity_meq_l + share * off_meq)
        return float(at_carbon(made, max((result.carbon_mmol_l or 0.0) + share * carbon_off, 0.0)).ph)
    except OutOfRange:
        return None
