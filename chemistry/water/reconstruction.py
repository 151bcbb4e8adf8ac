"""From what a keeper knows of a water - a supplier's report or drop tests - to a whole `Water`.

What is not given is reconstructed so that charges balance, and every guess is listed. Hardness and alkalinity are
never guessed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from tapwright.chemistry import reference
from tapwright.chemistry.errors import BadInput, OutOfRange
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.record import Record
from tapwright.chemistry.substances import ion_charge, molar_mass
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.composition import ION_SYMBOLS, Water, dgh_per_mmol
from tapwright.chemistry.water.equilibrium import Equilibrium, at_air, equilibrium_of


@dataclass(frozen=True)
class Readings:
    """What is known of a water; None is 'not given'.

    Ions in mg/L of the ion; hardness_mmol_l (Ca + Mg); alkalinity_meq_l; nitrate_mg_l as NO3; ammonia_mg_n_l;
    chlorine in mg/L as Cl2; conductivity at 25 degC.
    """

    temperature_c: float
    hardness_mmol_l: float | None = None
    alkalinity_meq_l: float | None = None
    ph: float | None = None
    conductivity_us_cm: float | None = None
    calcium_mg_l: float | None = None
    magnesium_mg_l: float | None = None
    sodium_mg_l: float | None = None
    potassium_mg_l: float | None = None
    chloride_mg_l: float | None = None
    sulfate_mg_l: float | None = None
    nitrate_mg_l: float | None = None
    ammonia_mg_n_l: float | None = None
    free_chlorine_mg_l: float | None = None
    total_chlorine_mg_l: float | None = None


# uS/cm of a millimole per litre, to start from (CRC Handbook: 118 at 10 mmol/L, 124 at 1).
_PER_MMOL_NACL = 118.0


@dataclass(frozen=True, repr=False)
class Description(Record):
    """A whole water, what was assumed to make it whole, and what does not fit."""

    water: Water
    assumptions: tuple[str, ...]
    findings: tuple[Finding, ...]

    def headline(self) -> str:
        """The water, and how much of it was assumed."""
        return f"{self.water.headline()}; {len(self.assumptions)} assumptions, {len(self.findings)} findings"


def described(
    readings: Readings, who: str, calcium_to_magnesium: float | None = None, *, chloramine: bool = False
) -> Description:
    """The whole water behind the readings.

    who: how to name it in assumptions and findings.  calcium_to_magnesium: amount ratio to assume where only the
    hardness is known (None: the usual 3).  chloramine: the neutraliser accounts for the ammonia, nothing is assumed.
    Raises BadInput when hardness or alkalinity is missing and does not follow from the other ions, when calcium or
    magnesium exceeds the hardness, and when no water has this pH with this alkalinity.
    """
    notes: list[str] = []
    findings: list[Finding] = []
    calcium, magnesium = _hardness_ions(readings, who, calcium_to_magnesium, notes, findings)
    if readings.alkalinity_meq_l is None:
        readings = _with_alkalinity(readings, calcium + magnesium, who, notes)
    water = Water(
        calcium_mmol_l=calcium,
        magnesium_mmol_l=magnesium,
        sodium_mmol_l=_given(readings, "sodium"),
        potassium_mmol_l=_given(readings, "potassium"),
        chloride_mmol_l=_given(readings, "chloride"),
        sulfate_mmol_l=_given(readings, "sulfate"),
        alkalinity_meq_l=readings.alkalinity_meq_l or 0.0,
        nitrate_mg_l=_or_none_there(readings.nitrate_mg_l, "nitrate", who, notes),
        ammonia_mg_n_l=_or_none_there(readings.ammonia_mg_n_l, "ammonia", who, [] if chloramine else notes),
        free_chlorine_mg_l=readings.free_chlorine_mg_l or 0.0,
        total_chlorine_mg_l=readings.total_chlorine_mg_l or 0.0,
        temperature_c=readings.temperature_c,
        ph=readings.ph,
    )
    try:
        water = _charge_balanced(water, readings, who, notes)
        water = _matching_conductivity(water, readings, who, notes)
        found = equilibrium_of(water)
        _refuse_more_gas_than_open_water_holds(water, found, who)
        findings += _misfits(water, found, readings, who)
    except OutOfRange as error:
        raise OutOfRange(replace(fault, where=f"{who}.{fault.where}") for fault in error.faults) from error
    return Description(water, tuple(notes), tuple(findings))


def conductivity_us_cm(water: Water, found: Equilibrium | None = None) -> float:
    """Conductivity at 25 degC [uS/cm] of the water as it stands; where pH and carbon are not known, at rest with air.

    found: the water at equilibrium, where it has been computed.
    """
    conductivity: float = (found or equilibrium_of(water) or at_air(water)).conductivity_us_cm
    return conductivity


def _refuse_more_gas_than_open_water_holds(water: Water, found: Equilibrium | None, who: str) -> None:
    """BadInput for a pH and an alkalinity that together take more CO2 than stays in an open vessel."""
    most = reference.value("limits", "open_vessel_times_air")
    if found is not None and found.co2_times_air > most:
        raise BadInput.of(
            f"{who}.ph",
            f"{water.ph:g} beside {water.alkalinity_dkh:.1f} dKH takes {found.co2_times_air:.0f} times the CO2 of outdoor air; "
            f"no open water holds more than {most:g}.",
            "One of the two readings is off: test pH and alkalinity once more.",
        )


def _trusted(key: str) -> float:
    """A limit [%] of tables/limits.csv."""
    return reference.value("limits", key)


def _given(readings: Readings, ion: str) -> float:
    """Amount [mmol/L] of an ion that was given, else 0."""
    return (getattr(readings, f"{ion}_mg_l") or 0.0) / molar_mass(ION_SYMBOLS[ion])


def _unknown(readings: Readings, ion: str) -> bool:
    return getattr(readings, f"{ion}_mg_l") is None


def _or_none_there(value: float | None, name: str, who: str, notes: list[str]) -> float:
    if value is None:
        notes.append(f"{who}: {name} not given, taken as none.")
    return value or 0.0


def _hardness_ions(
    readings: Readings, who: str, ratio: float | None, notes: list[str], findings: list[Finding]
) -> tuple[float, float]:
    """Calcium and magnesium [mmol/L] from whichever of the two and the hardness are given."""
    calcium, magnesium = _given(readings, "calcium"), _given(readings, "magnesium")
    no_calcium, no_magnesium = _unknown(readings, "calcium"), _unknown(readings, "magnesium")
    hardness = readings.hardness_mmol_l
    if not no_calcium and not no_magnesium:
        if hardness is not None:
            findings += _hardness_misfit(calcium + magnesium, hardness, who)
        return calcium, magnesium
    if hardness is None:
        raise BadInput.of(
            f"{who}.hardness",
            "not given, nor both calcium and magnesium; it cannot be guessed.",
            'Write for example hardness = "12 dGH".',
        )
    if no_calcium and no_magnesium:
        why = "" if ratio else "; common practice, no source"
        ratio = ratio or reference.value("practice", "usual_calcium_to_magnesium")
        notes.append(
            f"{who}: calcium to magnesium taken as {figure(ratio, 2)} to 1 by amount (neither was given{why})."
        )
        return hardness * ratio / (1 + ratio), hardness / (1 + ratio)
    known, known_name = (calcium, "calcium") if no_magnesium else (magnesium, "magnesium")
    rest_name = "magnesium" if no_magnesium else "calcium"
    if known > hardness * 1.0001:
        raise BadInput.of(
            f"{who}.{known_name}",
            f"{known * dgh_per_mmol():.1f} dGH of {known_name} alone is more than the hardness of "
            f"{hardness * dgh_per_mmol():.1f} dGH.",
            "Check both readings and their units.",
        )
    rest = max(hardness - known, 0.0)
    notes.append(
        f"{who}: {rest_name} taken as the rest of the hardness, {figure(rest * molar_mass(ION_SYMBOLS[rest_name]))} mg/L."
    )
    return (known, rest) if no_magnesium else (rest, known)


def _hardness_misfit(from_ions: float, hardness: float, who: str) -> list[Finding]:
    off = 100 * abs(from_ions - hardness) / max(hardness, 0.05)
    if off <= _trusted("charge_imbalance"):
        return []
    text = (
        f"{who}: calcium and magnesium make {from_ions * dgh_per_mmol():.1f} dGH, the hardness given is "
        f"{hardness * dgh_per_mmol():.1f} dGH. The ions are used."
    )
    return [_doubt("hardness_misfit", text, off, _trusted("charge_imbalance"), "%", "charge_imbalance")]


def _doubt(code: str, text: str, value: float, limit: float, unit: str, key: str) -> Finding:
    """A caution held against the limit `key`, whose source goes with it."""
    return Finding("caution", code, text, value, limit, unit, reference.citation("limits", key))


def _with_alkalinity(readings: Readings, hardness_mmol_l: float, who: str, notes: list[str]) -> Readings:
    """The readings with their alkalinity as what balances a report that gives every other large ion."""
    others = ("sodium", "chloride", "sulfate")
    if any(_unknown(readings, ion) for ion in others):
        hint = 'Write for example alkalinity = "8 dKH", or sodium, chloride and sulfate as well.'
        raise BadInput.of(f"{who}.alkalinity", "not given, nor every other ion it follows from.", hint)
    cations = 2 * hardness_mmol_l + _given(readings, "sodium") + _given(readings, "potassium")
    anions = _given(readings, "chloride") + 2 * _given(readings, "sulfate")
    anions += (readings.nitrate_mg_l or 0.0) / molar_mass("NO3")
    if cations < anions:
        text = f"not given, and the other ions leave no room for it: {figure(anions - cations)} meq/L too many anions."
        raise BadInput.of(f"{who}.alkalinity", text, "Check the report, and test the alkalinity.")
    rest = cations - anions
    notes.append(f"{who}: alkalinity taken as what balances the other ions, {figure(rest * dgh_per_mmol() / 2)} dKH.")
    return replace(readings, alkalinity_meq_l=rest)


def _charge_balanced(water: Water, readings: Readings, who: str, notes: list[str]) -> Water:
    """The water with its missing charge put on ions that were not given."""
    surplus = water.cations_meq_l - water.anions_meq_l
    anions = [ion for ion in ("chloride", "sulfate") if _unknown(readings, ion)]
    cation = _cation_to_fill(water, readings)
    if surplus > 0 and anions:
        share = surplus / len(anions)
        filled = {f"{ion}_mmol_l": share / abs(ion_charge(ION_SYMBOLS[ion])) for ion in anions}
        notes.append(f"{who}: {_amounts(filled)} put in to balance the charges (not given).")
        return replace(water, **filled)
    if surplus < 0 and cation:
        filled = {f"{cation}_mmol_l": -surplus}
        both = cation == "sodium" and _unknown(readings, "potassium")
        also = ", standing for sodium and potassium together" if both else ""
        notes.append(f"{who}: {_amounts(filled)} put in to balance the charges (not given{also}).")
        return replace(water, **filled)
    return water


def _cation_to_fill(water: Water, readings: Readings) -> str | None:
    """Sodium where it was not given; else potassium, but only for a gap no larger than a trusted report leaves."""
    if _unknown(readings, "sodium"):
        return "sodium"
    small = abs(water.charge_error_percent) <= _trusted("charge_imbalance")
    return "potassium" if _unknown(readings, "potassium") and small else None


def _matching_conductivity(water: Water, readings: Readings, who: str, notes: list[str]) -> Water:
    """The water with so much sodium chloride, where neither ion was given, that it conducts as read."""
    target = readings.conductivity_us_cm
    free = _unknown(readings, "sodium") and _unknown(readings, "chloride")
    if target is None or not free or (bare := conductivity_us_cm(water)) >= target:
        return water

    def with_salt(amount_mmol_l: float) -> Water:
        return replace(
            water,
            sodium_mmol_l=water.sodium_mmol_l + amount_mmol_l,
            chloride_mmol_l=water.chloride_mmol_l + amount_mmol_l,
        )

    # Nearly a straight line: the secant meets the reading in a few steps.
    (x0, y0), x1 = (0.0, bare), (target - bare) / _PER_MMOL_NACL
    for _ in range(8):
        y1 = conductivity_us_cm(with_salt(x1))
        if abs(y1 / target - 1) < 1e-9 or y1 == y0:
            break
        (x0, y0), x1 = (x1, y1), x1 + (target - y1) * (x1 - x0) / (y1 - y0)
    notes.append(f"{who}: {figure(x1 * molar_mass('NaCl'))} mg/L of sodium chloride put in to match the conductivity.")
    return with_salt(x1)


def _amounts(filled: dict[str, float]) -> str:
    names = {f"{ion}_mmol_l": ion for ion in ION_SYMBOLS}
    return " and ".join(
        f"{figure(amount * molar_mass(ION_SYMBOLS[names[key]]))} mg/L of {names[key]}" for key, amount in filled.items()
    )


def _misfits(water: Water, found: Equilibrium | None, readings: Readings, who: str) -> list[Finding]:
    """Cautions for charges that do not balance and for a conductivity the ions cannot have."""
    findings = []
    error = water.charge_error_percent
    trusted = _trusted("charge_imbalance")
    if abs(error) > trusted:
        text = _imbalance(water, readings, who)
        findings.append(_doubt("charge_imbalance", text, abs(error), trusted, "%", "charge_imbalance"))
    if readings.conductivity_us_cm:
        computed, read = conductivity_us_cm(water, found), readings.conductivity_us_cm
        if 100 * abs(computed / read - 1) > _trusted("conductivity_misfit"):
            text = (
                f"{who}: these ions conduct {computed:.0f} µS/cm at 25 °C, {read:.0f} was read. Test hardness and "
                "alkalinity once more, or the meter."
            )
            findings.append(_doubt("conductivity_misfit", text, computed, read, "uS/cm", "conductivity_misfit"))
    return findings


def _imbalance(water: Water, readings: Readings, who: str) -> str:
    """By how much the charges miss each other, and which ion would explain it."""
    missing = abs(water.cations_meq_l - water.anions_meq_l)
    cations, anions = ("sodium", "potassium", "calcium"), ("chloride", "sulfate")
    anions_short = water.charge_error_percent > 0
    lacking, excess = (anions, cations) if anions_short else (cations[:2], anions)
    by_ion = {
        ion: missing / abs(ion_charge(ION_SYMBOLS[ion])) * molar_mass(ION_SYMBOLS[ion]) for ion in (*lacking, *excess)
    }
    # An ion that was not reported is the likelier gap.
    likeliest = sorted(lacking, key=lambda ion: not _unknown(readings, ion))
    more = [f"{figure(by_ion[ion])} mg/L more {ion}{' (not given)' * _unknown(readings, ion)}" for ion in likeliest]
    less = [
        f"{figure(by_ion[ion])} mg/L less {ion}"
        for ion in excess
        if by_ion[ion] / molar_mass(ION_SYMBOLS[ion]) <= getattr(water, f"{ion}_mmol_l")
    ]
    short, long = ("anions", "cations") if anions_short else ("cations", "anions")
    return (
        f"{who}: the report does not balance: {missing:.2f} meq/L of {short} are missing against the {long} "
        f"({abs(water.charge_error_percent):.0f} %). {' or '.join(more + less)} would explain it."
    )
