"""Nitrate through a change: the share that keeps it under its ceiling, and what another share would do."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from tapwright.chemistry.errors import BadInput, NoAnswer
from tapwright.chemistry.substances import molar_mass
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.properties import Number


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

    From peak = (peak (1 - share) + refill share) + rise. Raises BadInput for a share of 0, with which nothing settles, and
    above 1.
    """
    if np.any(np.asarray(share) <= 0) or np.any(np.asarray(share) > 1):
        said = f"a share of {share} is read; a change is of more than 0 and at most 1."
        raise BadInput.of("share", said, "Give more than 0 % and up to 100 %.")
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


def settled_trough(refill_mg_l: Number, rise_mg_l: Number, share: Number) -> Number:
    """Nitrate just after a change, once every interval is alike: the settled peak less the rise. Raises as it does."""
    return settled_peak(refill_mg_l, rise_mg_l, share) - rise_mg_l


def peak_after_changes(
    before_mg_l: Number, refill_mg_l: Number, rise_mg_l: Number, share: Number, changes: Number
) -> Number:
    """Nitrate just before the next change, so many changes after one found it at `before`.

    Each change leaves 1 - share of the distance to the settled peak. Raises as `settled_peak` does.
    """
    peak = settled_peak(refill_mg_l, rise_mg_l, share)
    after: Number = peak + (before_mg_l - peak) * (1 - share) ** changes
    return after


def changes_to_settle(before_mg_l: float, refill_mg_l: float, rise_mg_l: float, share: float, near_mg_l: float) -> int:
    """Changes until the nitrate before a change is within `near` [mg/L] of the settled peak.

    Raises BadInput for a distance of nothing, which no number of changes reaches.
    """
    if not near_mg_l > 0:
        raise BadInput.of("near", f"within {near_mg_l} mg/L.", "Give more than 0.")
    distance = abs(before_mg_l - settled_peak(refill_mg_l, rise_mg_l, share))
    if distance <= near_mg_l:
        return 0
    return 1 if share >= 1 else math.ceil(math.log(near_mg_l / distance) / math.log(1 - share) - 1e-9)


@dataclass(frozen=True)
class AlkalinityLoss:
    """Alkalinity [meq/L] that goes with so much nitrate made: at least (of food) and at most (of ammonia in the tap)."""

    least_meq_l: float
    most_meq_l: float


def alkalinity_loss(nitrate_made_mg_l: Number) -> AlkalinityLoss:
    """What making nitrate [mg/L NO3] does to alkalinity.

    NH4+ + 2 O2 -> NO3- + H2O + 2 H+ takes two equivalents a mole (7.14 mg CaCO3 per mg N, stoichiometry). Where the ammonia
    comes from food, taking protein apart has given one back: N in protein becomes NH4+ and HCO3- first. Charges say the
    same: every nitrate that stays takes the place of one bicarbonate.
    """
    moles: Any = nitrate_made_mg_l / molar_mass("NO3")
    return AlkalinityLoss(moles, 2 * moles)
