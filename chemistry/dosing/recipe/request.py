"""What is asked of a refill."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tapwright.chemistry.dosing.recipe.choice import order_of
from tapwright.chemistry.dosing.recipe.cupboard import Deionised
from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.water.target import Target, measures


@dataclass(frozen=True)
class RecipeRequest:
    """What is asked of a refill.

    target: its bands.  volume_l.  step_g: the scale's step in one batch (0: any amount).  parts: equal batches.
    deionised: offered, or None.  prefer: what comes first in the choice.  times_air: CO2 of the room's air over outdoor's.
    """

    target: Target
    volume_l: float
    step_g: float = 0.0
    parts: int = 1
    deionised: Deionised | None = None
    prefer: tuple[str, ...] = ()
    times_air: float = 1.0

    def __post_init__(self) -> None:
        faults = []
        if not 0 < self.volume_l < math.inf:
            faults.append(Fault("volume", f"{self.volume_l:g} L is read; more than 0 is allowed.", 'Write "200 L".'))
        if not 0 <= self.step_g < math.inf or self.parts < 1:
            said = f"{self.parts} batches by {self.step_g:g} g are read; at least one batch and 0 g are allowed."
            faults.append(Fault("scale", said, 'Write "0.1 g".'))
        words = measures()
        faults += [
            Fault(words[name].words, f"its band runs from {words[name].said(band.low)} to {words[name].said(band.high)}.",
                  "Write the lower figure first.")
            for name, band in self.target.bands()
            if not band.low <= band.high
        ]  # fmt: skip
        if faults:
            raise BadInput(faults)
        order_of(self.prefer)
