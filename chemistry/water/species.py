"""The species of a water: what each is made of, and how much there is of each at given activities."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from tapwright.chemistry import reference
from tapwright.chemistry.water.activity import Factors
from tapwright.chemistry.water.constants import Amount

# They pair with nothing here.
_WHOLE = ("cl", "no3")


@dataclass(slots=True)
class Totals:
    """What a water holds [mol/kg; alkalinity eq/kg], however it is shared out; nh4 counts all ammonia."""

    ca: Amount
    mg: Amount
    na: Amount
    k: Amount
    nh4: Amount
    cl: Amount
    no3: Amount
    so4: Amount
    alkalinity: Amount


@dataclass(slots=True)
class Speciation:
    """A water shared out.

    h, co2, so4, ca, mg, co3: activities.  molality [mol/kg]: of every species but chloride and nitrate, which stay
    whole.  unionised_ammonia_share: NH3 in all ammonia, also where there is none.  charge, charges [eq/kg]: cations less
    anions, and both together.  used_strength: ionic strength [mol/kg] the activity coefficients were taken at;
    ionic_strength, water (its activity): as they come out.  settled: whether all of it agrees.
    """

    h: Amount
    co2: Amount
    so4: Amount
    ca: Amount
    mg: Amount
    co3: Amount
    molality: Mapping[str, Amount]
    unionised_ammonia_share: Amount
    charge: Amount
    charges: Amount
    used_strength: Amount
    ionic_strength: Amount
    water: Amount
    settled: Amount = False

    def alkalinity(self) -> Amount:
        """Alkalinity of all species together [eq/kg]: two for each carbonate, less the protons."""
        return 2 * self.total("CO3") - self.total("H")

    def total(self, part: str) -> Amount:
        """Sum of a part (CO3, H, SO4, Ca ...) over all species [mol/kg]."""
        amounts = ((self.molality[key], number) for key, number in _holders(part))
        return sum(amount if number == 1 else number * amount for amount, number in amounts)


@cache
def _holders(part: str) -> tuple[tuple[str, int], ...]:
    """Every species that holds a part, and how many of it, from tables/species.csv."""
    rows = reference.table("species").items()
    made_of = {key: dict(entry.split() for entry in row["made_of"].split(";")) for key, row in rows}
    return tuple((key, int(parts[part])) for key, parts in made_of.items() if part in parts and key not in _WHOLE)


@cache
def _by_charge(charge: int) -> tuple[str, ...]:
    """Species of so many charges, but those that stay whole."""
    rows = reference.table("species").items()
    return tuple(key for key, row in rows if int(row["charge"]) == charge and key not in _WHOLE)


def shared_out(totals: Totals, k: Factors, h: Amount, co2: Amount, so4: Amount, used_strength: Amount) -> Speciation:
    """Every species at the activities of H+, CO2 and SO4-2, each cation shared out among its own."""
    per_h = 1 / h
    co3 = co2 / k.co2_activity * per_h * per_h
    hco3 = h * co3  # the two activities bicarbonate and its pairs go with
    cahco3, caco3, caso4, caoh = k.cahco3 * hco3, k.caco3 * co3, k.caso4 * so4, k.caoh * per_h
    mghco3, mgco3, mgso4, mgoh = k.mghco3 * hco3, k.mgco3 * co3, k.mgso4 * so4, k.mgoh * per_h
    nahco3, naco3, naso4 = k.nahco3 * hco3, k.naco3 * co3, k.naso4 * so4
    kso4, nh4so4, nh3 = k.kso4 * so4, k.nh4so4 * so4, k.nh3 * per_h
    ca = totals.ca / (k.ca + cahco3 + caco3 + caso4 + caoh)
    mg = totals.mg / (k.mg + mghco3 + mgco3 + mgso4 + mgoh)
    na = totals.na / (k.na + nahco3 + naco3 + naso4)
    potassium = totals.k / (k.k + kso4)
    of_ammonia = 1 / (k.nh4 + nh3 + nh4so4)
    nh4 = totals.nh4 * of_ammonia
    molality = {
        "h": k.h * h,
        "oh": k.oh * per_h,
        "co2": k.co2 * h * hco3,
        "hco3": k.hco3 * hco3,
        "co3": k.co3 * co3,
        "so4": k.so4 * so4,
        "hso4": k.hso4 * h * so4,
        "ca": k.ca * ca,
        "cahco3": cahco3 * ca,
        "caco3": caco3 * ca,
        "caso4": caso4 * ca,
        "caoh": caoh * ca,
        "mg": k.mg * mg,
        "mghco3": mghco3 * mg,
        "mgco3": mgco3 * mg,
        "mgso4": mgso4 * mg,
        "mgoh": mgoh * mg,
        "na": k.na * na,
        "nahco3": nahco3 * na,
        "naco3": naco3 * na,
        "naso4": naso4 * na,
        "k": k.k * potassium,
        "kso4": kso4 * potassium,
        "nh4": k.nh4 * nh4,
        "nh3": nh3 * nh4,
        "nh4so4": nh4so4 * nh4,
    }
    minus_2, minus_1, neutral, plus_1, plus_2 = (sum(molality[key] for key in _by_charge(z)) for z in range(-2, 3))
    minus_1 = minus_1 + totals.cl + totals.no3
    single, double = plus_1 + minus_1, plus_2 + minus_2
    return Speciation(
        h=h,
        co2=co2,
        so4=so4,
        ca=ca,
        mg=mg,
        co3=co3,
        molality=molality,
        unionised_ammonia_share=nh3 * of_ammonia,
        charge=plus_1 - minus_1 + 2 * (plus_2 - minus_2),
        charges=single + 2 * double,
        used_strength=used_strength,
        ionic_strength=0.5 * single + 2 * double,
        water=1 - 0.017 * (neutral + single + double),  # Raoult's law with the slope of the reference program
    )
