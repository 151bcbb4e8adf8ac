"""Saturation indices: how far a water is from depositing a mineral, and from when on a keeper will see it."""

from __future__ import annotations

from typing import NamedTuple

from tapwright.chemistry.water.activity import Maths
from tapwright.chemistry.water.constants import LN_10, Amount, Constants
from tapwright.chemistry.water.species import Speciation


class Indices(NamedTuple):
    """log10 of ion activity product over solubility product; minus infinity where an ion is missing."""

    calcite: Amount
    aragonite: Amount
    dolomite: Amount
    gypsum: Amount


def indices(found: Speciation, at: Constants, maths: Maths) -> Indices:
    """The saturation indices of a water shared out, with the solubility products of tables/reactions.csv."""

    def log10(x: Amount) -> Amount:
        return maths.log(x) * (1 / LN_10)

    calcium_carbonate = log10(found.ca * found.co3)
    return Indices(
        calcite=calcium_carbonate - at.calcite,
        aragonite=calcium_carbonate - at.aragonite,
        dolomite=calcium_carbonate + log10(found.mg * found.co3) - at.dolomite,
        gypsum=log10(found.ca * found.so4 * found.water * found.water) - at.gypsum,
    )
