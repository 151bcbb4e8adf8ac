"""Which share at which interval holds nitrate under its ceiling, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tapwright.chemistry.change.nitrate.dilution import settled_peak, settled_trough
from tapwright.chemistry.change.nitrate.production import Posterior
from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.units import figure, rounded_up

SHARES = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6)
INTERVALS_DAYS = (3.0, 5.0, 7.0, 10.0, 14.0, 21.0)
_SHARE_STEP = 0.05


@dataclass(frozen=True)
class Regime:
    """One schedule kept for good.

    peak_mg_l, trough_mg_l: nitrate [mg/L NO3] before and after a change that is not exceeded at the confidence asked.
    chance: how likely the peak stays at or under the ceiling; holds: whether that is at least the confidence.
    """

    share: float
    interval_days: float
    peak_mg_l: float
    trough_mg_l: float
    chance: float
    holds: bool


def regime(
    known: Posterior, refill_mg_l: float, ceiling_mg_l: float, confidence: float, share: float, interval_days: float
) -> Regime:
    """What a share (0 to 1) at an interval [days] comes to.

    Raises BadInput for a share, interval or confidence that cannot be, NoAnswer where the refill has no room below the
    ceiling.
    """
    refuse_ceiling(refill_mg_l, ceiling_mg_l)
    _refuse(confidence, interval_days)
    rises = known.rate_mg_l_day * interval_days
    peaks: NDArray[np.float64] = settled_peak(np.asarray(refill_mg_l), rises, np.asarray(share))
    rate = known.quantile(known.rate_mg_l_day, [confidence])[0]
    chance = known.chance(peaks <= ceiling_mg_l)
    peak = float(settled_peak(refill_mg_l, rate * interval_days, share))
    trough = float(settled_trough(refill_mg_l, rate * interval_days, share))
    return Regime(share, interval_days, peak, trough, chance, peak <= ceiling_mg_l)


def schedules(
    known: Posterior,
    refill_mg_l: float,
    ceiling_mg_l: float,
    confidence: float,
    shares: Sequence[float] = SHARES,
    intervals_days: Sequence[float] = INTERVALS_DAYS,
) -> list[Regime]:
    """Every share at every interval, shares in rows. Raises as `regime` does."""
    return [
        regime(known, refill_mg_l, ceiling_mg_l, confidence, share, interval)
        for share in shares
        for interval in intervals_days
    ]


def share_that_holds(
    known: Posterior, refill_mg_l: float, ceiling_mg_l: float, confidence: float, interval_days: float
) -> float:
    """Smallest share, in steps of 5 %, whose settled peak stays at or under the ceiling at that confidence.

    Raises NoAnswer where even all of the water at once does not, and as `regime` does.
    """
    refuse_ceiling(refill_mg_l, ceiling_mg_l)
    _refuse(confidence, interval_days)
    rate = known.quantile(known.rate_mg_l_day, [confidence])[0]
    exact = rate * interval_days / (ceiling_mg_l - refill_mg_l)
    if exact > 1:
        days = (ceiling_mg_l - refill_mg_l) / rate
        raise NoAnswer.of(
            "interval",
            f"in {interval_days:g} days nitrate may rise by {figure(rate * interval_days)} mg/L, and there is room for "
            f"{figure(ceiling_mg_l - refill_mg_l)}: no share holds it.",
            f"Change oftener than every {figure(days, 2)} days, or feed and stock less.",
        )
    return min(rounded_up(exact, _SHARE_STEP), 1.0)


def _refuse(confidence: float, interval_days: float) -> None:
    if not 0 < confidence < 1:
        raise BadInput.of(
            "confidence", f"{confidence:.0%}; more than 0 % and less than 100 % is allowed.", "Write 90%."
        )
    if not interval_days > 0:
        raise BadInput.of("interval", f"{interval_days:g} days from one change to the next.", "Write '7 days'.")


def refuse_ceiling(refill_mg_l: float, ceiling_mg_l: float) -> None:
    """NoAnswer where the refill is at or above the ceiling."""
    if not refill_mg_l < ceiling_mg_l:
        raise NoAnswer.of(
            "nitrate_ceiling",
            f"no schedule works: the refill has {figure(refill_mg_l)} mg/L NO3 and the ceiling is {figure(ceiling_mg_l)}.",
            "Raise the ceiling, or blend the tap with deionised water.",
        )
