"""`Water`: the frozen record every engine passes on: ions, alkalinity, nitrogen, chlorine and temperature."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from tapwright.chemistry.record import Record, brief
from tapwright.chemistry.substances import molar_mass

# The large ions of a water, each in the field NAME_mmol_l of `Water` and under its formula elsewhere.
ION_SYMBOLS = {"calcium": "Ca", "magnesium": "Mg", "sodium": "Na", "potassium": "K", "chloride": "Cl", "sulfate": "SO4"}

# The amounts that mixing conserves, besides heat and, where every water's is known, inorganic carbon.
CONSERVED = (
    *(f"{ion}_mmol_l" for ion in ION_SYMBOLS),
    "alkalinity_meq_l",
    "nitrate_mg_l",
    "ammonia_mg_n_l",
    "free_chlorine_mg_l",
    "total_chlorine_mg_l",
)


@cache
def dgh_per_mmol() -> float:
    """German degrees of hardness per mmol/L of calcium and magnesium: 10 mg CaO to a degree (DIN 38409-6)."""
    return molar_mass("CaO") / 10


@dataclass(frozen=True, repr=False)
class Water(Record):
    """One water; every figure may be a scalar or an array of one common shape.

    Ions in mmol/L; alkalinity in meq/L; nitrate_mg_l as NO3; ammonia_mg_n_l is total ammonia nitrogen; free and total
    chlorine in mg/L as Cl2. ph: as measured at this temperature; carbon_mmol_l: all inorganic carbon, which mixing and
    dosing conserve where pH does not mix. Either, or neither (None), is known: see `chemistry.water.equilibrium.closed`.
    """

    calcium_mmol_l: float
    magnesium_mmol_l: float
    sodium_mmol_l: float
    potassium_mmol_l: float
    chloride_mmol_l: float
    sulfate_mmol_l: float
    alkalinity_meq_l: float
    nitrate_mg_l: float
    ammonia_mg_n_l: float
    free_chlorine_mg_l: float
    total_chlorine_mg_l: float
    temperature_c: float
    ph: float | None = None
    carbon_mmol_l: float | None = None

    @property
    def hardness_mmol_l(self) -> float:
        """Calcium and magnesium [mmol/L]."""
        return self.calcium_mmol_l + self.magnesium_mmol_l

    @property
    def hardness_dgh(self) -> float:
        """Hardness in German degrees."""
        return self.hardness_mmol_l * dgh_per_mmol()

    @property
    def alkalinity_dkh(self) -> float:
        """Alkalinity in German degrees of carbonate hardness: one mole of CaO takes two equivalents."""
        return self.alkalinity_meq_l * dgh_per_mmol() / 2

    @property
    def nitrate_mmol_l(self) -> float:
        """Nitrate [mmol/L]."""
        return self.nitrate_mg_l / molar_mass("NO3")

    @property
    def ammonium_mmol_l(self) -> float:
        """Total ammonia [mmol/L]; counted as ammonium in the charge balance, as alkalinity is by titration."""
        return self.ammonia_mg_n_l / molar_mass("N")

    @property
    def cations_meq_l(self) -> float:
        """Positive charge [meq/L]."""
        return 2 * self.hardness_mmol_l + self.sodium_mmol_l + self.potassium_mmol_l + self.ammonium_mmol_l

    @property
    def anions_meq_l(self) -> float:
        """Negative charge [meq/L], alkalinity counted as bicarbonate and carbonate."""
        return self.alkalinity_meq_l + self.chloride_mmol_l + 2 * self.sulfate_mmol_l + self.nitrate_mmol_l

    @property
    def charge_error_percent(self) -> float:
        """(cations - anions) / (cations + anions) in percent; 0 for water without ions."""
        total = self.cations_meq_l + self.anions_meq_l
        return 100 * (self.cations_meq_l - self.anions_meq_l) / (total + (total == 0))

    def headline(self) -> str:
        """Hardness, alkalinity, pH where it is known, temperature."""
        ph = "" if self.ph is None else f", pH {brief(self.ph)}"
        hardness, alkalinity = brief(self.hardness_dgh), brief(self.alkalinity_dkh)
        return f"{hardness} dGH, {alkalinity} dKH{ph}, {brief(self.temperature_c)} °C"
