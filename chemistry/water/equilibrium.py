"""A water at equilibrium: its pH, carbon, saturation, ammonia and conductivity, for one water or a million.

Three questions, by what is known of the carbon: the pH (`at_ph`), the air the water is at rest with (`at_air`), or all
of its inorganic carbon (`at_carbon`, a closed vessel). Mixing and dosing conserve totals, never pH: mix, then ask.

The model and its constants are the USGS set named in tables/reactions.csv (Plummer & Busenberg 1982 for the carbonates,
extended Debye-Hueckel activities, ion pairs). It is worth about 0.02 in pH and 0.05 in a saturation index. CaHSO4+, NaOH
and the dimer of CO2, which that set holds as well, are left out: below 0.3 % of what they are made of at pH 5.5 to 11.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from tapwright.chemistry import reference
from tapwright.chemistry.errors import BadInput, OutOfRange
from tapwright.chemistry.record import Record
from tapwright.chemistry.substances import molar_mass
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.activity import ARRAYS, FLOATS, Maths
from tapwright.chemistry.water.chunks import in_chunks
from tapwright.chemistry.water.composition import CONSERVED, ION_SYMBOLS, Water
from tapwright.chemistry.water.conductivity import conductivity_of
from tapwright.chemistry.water.constants import HIGHEST_C, LN_10, LOWEST_C, Amount, Constants, constants
from tapwright.chemistry.water.refusals import Column, in_rows, refuse_outside
from tapwright.chemistry.water.saturation import indices
from tapwright.chemistry.water.speciation import Given, speciate
from tapwright.chemistry.water.species import Totals

# Seawater (0.7) is the strongest water that activity coefficients of this kind have been held against [mol/kg].
_STRONGEST = 1.0


@dataclass(frozen=True, repr=False)
class Equilibrium(Record):
    """One water, or an array of them, at equilibrium; every figure has the shape of the question.

    ph: as a meter reads it, -log10 of the activity of H+.  carbon_mmol_l: all inorganic carbon; bicarbonate_mmol_l and
    carbonate_mmol_l: what of it is so, free or paired.  co2_pressure_atm: pressure of CO2 the water is at rest with;
    co2_times_air: the same as a multiple of outdoor air.  si_calcite to si_gypsum: saturation indices, minus infinity
    where an ion is missing.  unionised_ammonia_share: NH3 in all ammonia at this ionic strength.
    ionic_strength_mol_kg.  conductivity_us_cm: at 25 degC.  charge_error_percent: cations less anions, over both.
    """

    ph: Amount
    carbon_mmol_l: Amount
    bicarbonate_mmol_l: Amount
    carbonate_mmol_l: Amount
    co2_pressure_atm: Amount
    co2_times_air: Amount
    si_calcite: Amount
    si_aragonite: Amount
    si_dolomite: Amount
    si_gypsum: Amount
    unionised_ammonia_share: Amount
    ionic_strength_mol_kg: Amount
    conductivity_us_cm: Amount
    charge_error_percent: Amount


def outdoor_air_ppm() -> float:
    """CO2 in outdoor air [umol/mol]: at one atmosphere, so many millionths of an atmosphere."""
    return reference.value("air", "outdoor_co2")


def times_outdoor(air_ppm: float) -> float:
    """CO2 in air [umol/mol] as a multiple of that of outdoor air."""
    return air_ppm / outdoor_air_ppm()


def at_ph(water: Water, ph: Amount = None) -> Equilibrium:
    """The water at a known pH: `ph`, else the water's own; scalars, or arrays that broadcast.

    Raises OutOfRange as `at_carbon` does, and where the alkalinity is less than water of that pH carries without any
    carbon.
    """
    known = water.ph if ph is None else ph
    if known is None:
        raise OutOfRange.of("pH", "the pH of this water is not known.", "Give it, or ask for the water in air.")
    return _answer(water, Given.ACIDITY, known)


def at_air(water: Water, times_air: Amount = 1.0) -> Equilibrium:
    """The water at rest with air that holds `times_air` times the CO2 of outdoor air; scalars, or arrays that broadcast.

    Rooms stand at 1 to 2.4 times (420 to 1000 ppm), a stocked tank above its room. Left out are the vapour
    in the air, 0.01 of pH, and the height above the sea, 0.07 at 1500 m. Raises OutOfRange as `at_carbon` does.
    """
    return _answer(water, Given.CO2, times_air)


def at_carbon(water: Water, carbon_mmol_l: Amount) -> Equilibrium:
    """The water with so much inorganic carbon [mmol/L], closed to the air; scalars, or arrays that broadcast.

    Raises OutOfRange, naming the rows, for amounts below 0 or that are not numbers, temperatures outside 0 to 40 degC and
    ionic strengths above 1 mol/kg.
    """
    return _answer(water, Given.CARBON, carbon_mmol_l)


def deionised_water(temperature_c: float) -> Water:
    """Water without ions, at rest with outdoor air: membranes and resins let CO2 through."""
    bare = Water(**dict.fromkeys(CONSERVED, 0.0), temperature_c=temperature_c)
    return replace(bare, carbon_mmol_l=at_air(bare).carbon_mmol_l)


def in_stuffy_room(water: Water) -> tuple[Equilibrium, float]:
    """The water at rest with the air of a closed room with people in it, and the CO2 of that air [umol/mol]."""
    air_ppm = reference.value("air", "stuffy_room_co2")
    return at_air(water, times_outdoor(air_ppm)), air_ppm


def most_alkaline(first: Equilibrium, *others: Equilibrium | None) -> Equilibrium:
    """The one of highest pH: ammonia is most poisonous and calcium carbonate least soluble there."""
    return max((first, *(other for other in others if other)), key=lambda found: float(found.ph))


def equilibrium_of(water: Water) -> Equilibrium | None:
    """The water as it stands, by its pH or its carbon; None where neither is known. Raises OutOfRange as these do."""
    if water.ph is not None:
        return at_ph(water)
    return None if water.carbon_mmol_l is None else at_carbon(water, water.carbon_mmol_l)


def closed(water: Water) -> Water:
    """The same water by what is conserved: its carbon in place of its pH, both None where the pH is not known."""
    if water.ph is None:
        return water
    return replace(water, ph=None, carbon_mmol_l=at_ph(water).carbon_mmol_l)


# Twice what a water of that strength can hold of one ion [mmol/L]; nothing beyond it is worth a search.
_MOST = 2000.0
_COLUMNS = (
    *(Column(f"{ion}_mmol_l", ion, "mmol/L", 0.0, _MOST) for ion in ION_SYMBOLS),
    Column("nitrate_mg_l", "nitrate", "mg/L NO3", 0.0, 100_000.0),
    Column("ammonia_mg_n_l", "ammonia", "mg/L N", 0.0, 30_000.0),
    Column("alkalinity_meq_l", "alkalinity", "meq/L", -_MOST, _MOST),
    Column("temperature_c", "temperature", "°C", LOWEST_C, HIGHEST_C),
)
_TEMPERATURE = len(_COLUMNS) - 1
_CARBON = {
    Given.ACIDITY: Column("ph", "pH", "", 2.0, 13.0),
    Given.CO2: Column("co2_times_air", "CO2 over that of outdoor air", "", 0.0, 10_000.0),
    Given.CARBON: Column("carbon_mmol_l", "inorganic carbon", "mmol/L", 0.0, _MOST),
}


def _answer(water: Water, given: Given, value: Amount) -> Equilibrium:
    columns: list[Amount] = [*(getattr(water, column.name) for column in _COLUMNS), value]
    if all(np.ndim(column) == 0 for column in columns):
        return _of_one([float(column) for column in columns], given)
    columns = [np.asarray(column, dtype=float) for column in columns]
    refuse_outside((*_COLUMNS, _CARBON[given]), columns)
    shape = _shape(columns)
    # One temperature for all stays a number: its constants are computed once.
    shared_c = [float(water.temperature_c)] if np.ndim(water.temperature_c) == 0 else []
    arrays = columns[:_TEMPERATURE] + columns[_TEMPERATURE + len(shared_c) :]

    def solve(chunk: list[Amount], patient: bool) -> tuple[Equilibrium, Amount]:
        # The logarithm of nothing is minus infinity here, and a search that fails is told by its balances.
        with np.errstate(all="ignore"):
            return _solved([*chunk[:_TEMPERATURE], *shared_c, *chunk[_TEMPERATURE:]], given, ARRAYS, patient)

    answers, unsolved = in_chunks(arrays, shape, solve, [field.name for field in fields(Equilibrium)])
    if np.any(unsolved):
        first = np.flatnonzero(unsolved)[0]
        numbers = [float(np.broadcast_to(column, shape).flat[first]) for column in columns]
        raise _unsolved(numbers, given, in_rows(unsolved))
    return Equilibrium(**answers)


def _shape(columns: Sequence[Amount]) -> tuple[int, ...]:
    try:
        return np.broadcast_shapes(*(np.shape(column) for column in columns))
    except ValueError:
        sizes = ", ".join(dict.fromkeys(str(np.shape(column)) for column in columns if np.ndim(column)))
        raise BadInput.of("water", f"its figures are arrays of shapes {sizes}, which do not go together.") from None


def _of_one(numbers: list[float], given: Given) -> Equilibrium:
    refuse_outside((*_COLUMNS, _CARBON[given]), numbers)
    try:
        found, solved = _solved(numbers, given, FLOATS, patient=True)
    except (ArithmeticError, ValueError):
        solved = False  # a search that runs away: arrays carry that as infinities, floats raise it
    if not solved:
        raise _unsolved(numbers, given, "")
    return found


def _totals(columns: Sequence[Amount], at: Constants) -> Totals:
    """The columns of `_COLUMNS` per kilogram of water; the mass of the salts, 0.1 % in lake waters, is not taken off it."""
    ca, mg, na, k, cl, so4, nitrate, ammonia, alkalinity, _ = columns
    per_kg = 0.001 / at.density_kg_l
    return Totals(
        ca=ca * per_kg,
        mg=mg * per_kg,
        na=na * per_kg,
        k=k * per_kg,
        nh4=ammonia * (per_kg * (1 / molar_mass("N"))),
        cl=cl * per_kg,
        no3=nitrate * (per_kg * (1 / molar_mass("NO3"))),
        so4=so4 * per_kg,
        alkalinity=alkalinity * per_kg,
    )


def _solved(columns: Sequence[Amount], given: Given, maths: Maths, patient: bool) -> tuple[Equilibrium, Amount]:
    """The equilibrium of waters given column by column, and which of them are solved."""
    *composition, value = columns
    at = constants(composition[-1])
    totals, per_l = _totals(composition, at), 1000 * at.density_kg_l
    if given is Given.ACIDITY:
        value = maths.exp(value * -LN_10)
    elif given is Given.CO2:
        value = value * (1e-6 * outdoor_air_ppm()) * at.co2_gas
    else:
        value = value / per_l
    found = speciate(totals, at, given, value, patient=patient)
    molality, strength = found.molality, found.ionic_strength
    saturation = indices(found, at, maths)
    bicarbonate = molality["hco3"] + molality["cahco3"] + molality["mghco3"] + molality["nahco3"]
    carbonate = molality["co3"] + molality["caco3"] + molality["mgco3"] + molality["naco3"]
    pressure_atm = found.co2 / at.co2_gas
    answer = Equilibrium(
        ph=maths.log(found.h) * (-1 / LN_10),
        carbon_mmol_l=(bicarbonate + carbonate + molality["co2"]) * per_l,
        bicarbonate_mmol_l=bicarbonate * per_l,
        carbonate_mmol_l=carbonate * per_l,
        co2_pressure_atm=pressure_atm,
        co2_times_air=pressure_atm * (1e6 / outdoor_air_ppm()),
        si_calcite=saturation.calcite,
        si_aragonite=saturation.aragonite,
        si_dolomite=saturation.dolomite,
        si_gypsum=saturation.gypsum,
        unionised_ammonia_share=found.unionised_ammonia_share,
        ionic_strength_mol_kg=strength,
        conductivity_us_cm=conductivity_of(found, totals, maths),
        charge_error_percent=100 * found.charge / found.charges,
    )
    return answer, found.settled & (strength <= _STRONGEST)


def _unsolved(numbers: Sequence[float], given: Given, where: str) -> OutOfRange:
    """Why the first of the waters that have no equilibrium has none."""
    *composition, value = numbers
    at = constants(composition[-1])
    totals = _totals(composition, at)
    if given is Given.ACIDITY:
        highest = -math.log10(speciate(totals, at, Given.CARBON, 0.0).h)
        if value > highest - 0.001:  # the edge itself is not to be had either
            return OutOfRange.of(
                f"alkalinity{where}",
                f"{figure(composition[-2])} meq/L is read; without any carbon that makes pH {highest:.2f} and never more, and "
                f"pH {value:g} is read beside it.",
                "One of the two readings is off: test pH and alkalinity once more.",
            )
    return OutOfRange.of(
        f"water{where}",
        f"no equilibrium is found: it would hold more than {_STRONGEST:g} mol/kg of ions, or more CO2 than water takes up.",
        "Check the amounts and their units.",
    )


def ions_mmol_l(water: Water, found: Equilibrium) -> dict[str, Amount]:
    """Every ion of a water at equilibrium, free or paired [mmol/L]; ammonia in all."""
    return {
        **{ion: getattr(water, f"{ion}_mmol_l") for ion in ION_SYMBOLS},
        "nitrate": water.nitrate_mmol_l,
        "ammonia": water.ammonium_mmol_l,
        "bicarbonate": found.bicarbonate_mmol_l,
        "carbonate": found.carbonate_mmol_l,
    }
