"""Nitrate through a change: the share that keeps it under its ceiling, and what another share would do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chemistry.errors import BadInput, NoAnswer
from chemistry.units import figure
from chemistry.water.properties import Number


@dataclass(frozen=True)
class NitrateCourse:
    """Nitrate [mg/L NO3] for one share: right after this change, before the next one, and the peak it settles at."""

    change_share: float
    after_mg_l: float
    before_next_mg_l: float
    settled_peak_mg_l: float


def after_change(before_mg_l: Number, refill_mg_l: Number, share: Number) -> Number:
    """Nitrate after a share (0 to 1) of the tank is replaced by refill: the mean weighted by volume."""
    return before_mg_l * (1 - share) + refill_mg_l * share


def settled_peak(refill_mg_l: Number, rise_mg_l: Number, share: Number) -> Number:
    """Nitrate just before a change, once every interval is alike: refill + rise per interval / share.

    From peak = (peak (1 - share) + refill share) + rise. Raises BadInput for a share of 0: nothing settles then.
    """
    if np.any(np.asarray(share) <= 0):
        raise BadInput.of("share", f"a share of {share} settles nowhere.", "Give more than 0 %.")
    return refill_mg_l + rise_mg_l / share


def course(before_mg_l: float, refill_mg_l: float, rise_mg_l: float, share: float) -> NitrateCourse:
    """What one share does to nitrate, now and for good."""
    after = after_change(before_mg_l, refill_mg_l, share)
    return NitrateCourse(share, after, after + rise_mg_l, settled_peak(refill_mg_l, rise_mg_l, share))


def share_for_ceiling(before_mg_l: float, refill_mg_l: float, rise_mg_l: float, ceiling_mg_l: float) -> float:
    """Smallest share that keeps nitrate at or under its ceiling until the next change, and at every later one.

    The larger of (before + rise - ceiling) / (before - refill), this time, and rise / (ceiling - refill), for good.
    0 when neither is needed. May exceed 1: then no single change does it. Raises NoAnswer when the refill itself is at
    or above the ceiling.
    """
    if refill_mg_l >= ceiling_mg_l:
        raise NoAnswer.of(
            "nitrate_ceiling",
            f"the refill has {figure(refill_mg_l)} mg/L NO3 and the ceiling is {figure(ceiling_mg_l)}: "
            "no change brings the tank under it.",
            "Raise the ceiling, or blend the tap with deionised water.",
        )
    room = ceiling_mg_l - refill_mg_l
    for_good = rise_mg_l / room
    too_much = before_mg_l + rise_mg_l - ceiling_mg_l
    # A tank not above its refill cannot be brought down by it; the settled share then rules.
    now = too_much / (before_mg_l - refill_mg_l) if before_mg_l > refill_mg_l else 0.0
    return max(now, for_good, 0.0)
