"""A scale and its ticks."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Axis:
    """Figures from `low` to `high`, which differ, on the places of a picture from `start` to `end`."""

    low: float
    high: float
    start: float
    end: float

    def place(self, value: float) -> float:
        """Where a figure lies."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    def ticks(self, most: int) -> list[tuple[float, str]]:
        """Places and what is written there: round figures, each written out in full, so that it says where it stands.

        most: as many as there may be, 6 or more; two there always are.
        """
        step, decimals = _step((self.high - self.low) / (most - 1))
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        # A step is 1, 2 or 5 tenths, ones, tens ...: so many decimals hold every multiple of it.
        return [(self.place(n * step), f"{n * step:.{decimals}f}".replace("-", "−")) for n in range(first, last + 1)]


def _step(least: float) -> tuple[float, int]:
    """The smallest of 1, 2 and 5 times a power of ten that is no smaller, and the decimals it has."""
    power = math.floor(math.log10(least))
    found = ((times * 10.0**at, max(0, -at)) for at in (power, power + 1) for times in (1, 2, 5))
    return min((step, decimals) for step, decimals in found if step >= least * (1 - 1e-9))
