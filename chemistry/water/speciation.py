"""How the ions of a water share themselves out: free ions, ion pairs, carbonic acid and ammonia at equilibrium.

Two balances must close, alkalinity and sulfate, and a third, inorganic carbon, where that is what is given. Newton's
method closes them in the logarithms of three activities: H+, CO2 and SO4-2. Every ion pair holds just one cation, so
calcium, magnesium, sodium, potassium and ammonium follow in closed form, and so do the slopes of all balances.

The same lines serve floats and arrays: of an array a water costs about a microsecond, alone some 0.2 milliseconds.
"""

from __future__ import annotations

from dataclasses import fields
from enum import Enum
from typing import Any, NamedTuple

import numpy as np

from tapwright.chemistry.water.activity import ARRAYS, FLOATS, Factors, Maths, factors, inverses, rough_inverses
from tapwright.chemistry.water.constants import Amount, Constants
from tapwright.chemistry.water.species import Speciation, Totals, shared_out

# Stands in for nothing where nothing would be divided by, and for no carbon where its logarithm is sought [mol/kg].
_NOTHING = 1e-30
_NO_CARBON = 1e-25
# A balance is closed to this share of the ions. Ionic strength is met to this share, which moves log10 of an activity
# coefficient by less than 0.0002.
_CLOSED = 1e-10
_MET = 5e-4
# A round moves the ionic strength by about a sixteenth of what the last one did, in the same direction.
_FURTHER = 0.06
# No activity coefficient is taken at a strength beyond these [mol/kg], wherever the search passes through.
_WEAKEST, _STRONGEST = 1e-9, 2.0
_MOST_ROUNDS = 60


class Given(Enum):
    """What is known of the carbon: the activity of H+, the activity of CO2, or all inorganic carbon [mol/kg]."""

    ACIDITY = "activity of H+"
    CO2 = "activity of CO2"
    CARBON = "inorganic carbon"


class _Question(NamedTuple):
    totals: Totals
    at: Constants
    given: Given
    value: Amount
    maths: Maths


class _Activities(NamedTuple):
    """The three unknowns."""

    h: Amount
    co2: Amount
    so4: Amount


def speciate(totals: Totals, at: Constants, given: Given, value: Amount, *, patient: bool = True) -> Speciation:
    """The equilibrium of waters whose carbon is `given` as `value`.

    totals, value: floats, or one-dimensional arrays of one length; at: the same, or floats for one temperature.
    patient: whether to go on with rows that the first rounds leave open. Rows that stay so, as those without a solution
    do, come back with `settled` false; inputs are not checked here.
    """
    maths = FLOATS if isinstance(totals.ca, float) else ARRAYS
    question = _Question(totals, at, given, maths.maximum(value, _NO_CARBON), maths)
    strength = _unpaired_strength(totals)
    # Rough coefficients bring the ionic strength within a few per cent; two rounds with the true ones do the rest.
    k = factors(at, rough_inverses(at, strength, maths), 1.0)
    found = _closed(question, k, _start(question, k), strength, steps=1)
    found = _refined(question, found, steps=1)
    found = _refined(question, found, steps=2)
    found.settled = _settled(question, found)
    for _ in range(_MOST_ROUNDS if patient else 0):
        if np.all(found.settled):
            break
        if maths is FLOATS:
            found = _refined(question, found, steps=2)
            found.settled = _settled(question, found)
        else:
            rows = np.flatnonzero(~found.settled)
            asked = _rows(question, rows)
            again = _refined(asked, _rows(found, rows), steps=2)
            again.settled = _settled(asked, again)
            _put(found, rows, again)
    return found


def _unpaired_strength(totals: Totals) -> Amount:
    """Ionic strength [mol/kg] if nothing paired and all alkalinity were bicarbonate; that of pure water at least."""
    single = totals.na + totals.k + totals.nh4 + totals.cl + totals.no3 + abs(totals.alkalinity)
    return 0.5 * single + 2 * (totals.ca + totals.mg + totals.so4) + 1e-7


def _start(question: _Question, k: Factors) -> _Activities:
    """A first guess: cations as if nothing had paired, carbon between its two neighbouring species."""
    totals, _, given, value, maths = question
    sqrt, maximum, minimum = maths.sqrt, maths.maximum, maths.minimum
    ca, mg, na = totals.ca / k.ca, totals.mg / k.mg, totals.na / k.na
    so4 = totals.so4 / (k.so4 + ca * k.caso4 + mg * k.mgso4)
    # Molality of bicarbonate and of carbonate, pairs included, over the activities of H+ and CO3.
    bicarbonate = k.hco3 + ca * k.cahco3 + mg * k.mghco3 + na * k.nahco3
    carbonate = k.co3 + ca * k.caco3 + mg * k.mgco3 + na * k.naco3
    alkalinity = totals.alkalinity
    if given is Given.ACIDITY:
        of_carbon = maximum(alkalinity - k.oh / value + k.h * value, _NO_CARBON)
        co3 = of_carbon / (2 * carbonate + bicarbonate * value)
        return _Activities(value, co3 * value * value * k.co2_activity, so4)
    if given is Given.CO2:
        # CO3 is co3_h2 / h^2. Without carbonate h is the root of one quadratic; with it, 1 / h that of another.
        co3_h2 = value / k.co2_activity
        per_h = bicarbonate * co3_h2 + k.oh
        water = per_h * k.h
        acid = 2 * water / (sqrt(alkalinity * alkalinity + 4 * water) + abs(alkalinity))
        base = acid + maximum(alkalinity, 0.0)
        return _Activities((per_h + sqrt(per_h * per_h + 8 * carbonate * co3_h2 * base)) / (2 * base), value, so4)
    # Closed: the quadratic of carbonic acid where alkalinity lies between none and two per carbon, else acid or base.
    within = minimum(maximum(alkalinity, 1e-3 * value), 1.998 * value)
    linear = bicarbonate * (within - value)
    root = sqrt(linear * linear + 4 * k.co2 * carbonate * within * (2 * value - within))
    # No more acid than the carbon and a negative alkalinity can give, beside that of water.
    h = minimum((root - linear) / (2 * within * k.co2), (value + 2e-7) / k.h) + maximum(-alkalinity, 0.0) / k.h
    h = 1 / (1 / h + maximum(alkalinity - 2 * value, 0.0) / k.oh)
    co3 = value / (carbonate + bicarbonate * h + k.co2 * h * h)
    return _Activities(h, co3 * h * h * k.co2_activity, so4)


def _refined(question: _Question, found: Speciation, steps: int) -> Speciation:
    """One round more: activity coefficients at the ionic strength found, and Newton's steps with them."""
    at, maths = question.at, question.maths
    strength = found.ionic_strength + _FURTHER * (found.ionic_strength - found.used_strength)
    strength = maths.minimum(maths.maximum(strength, _WEAKEST), _STRONGEST)
    k = factors(at, inverses(at, strength, maths), found.water)
    return _closed(question, k, _Activities(found.h, found.co2, found.so4), strength, steps)


def _closed(question: _Question, k: Factors, activities: _Activities, strength: Amount, steps: int) -> Speciation:
    """The balances closed by so many steps, and the water shared out accordingly."""
    for _ in range(steps):
        activities = _stepped(question, k, activities)
    return shared_out(question.totals, k, *activities, strength)


class _Held(NamedTuple):
    """What all species of one cation hold, and how that grows with the logarithm of an activity.

    What a cation gives to one pair it takes from its others; so the slopes are less than what is held.
    """

    alkalinity: Amount
    carbon: Amount
    sulfate: Amount
    alkalinity_by_h: Amount
    alkalinity_by_co2: Amount
    carbon_by_co2: Amount
    alkalinity_by_so4: Amount
    carbon_by_so4: Amount
    sulfate_by_so4: Amount


def _held(
    total: Amount, free: Amount, bicarbonate: Amount, carbonate: Amount, sulfate: Amount, hydroxide: Amount
) -> _Held:
    """What a cation holds, from its total [mol/kg] and its species over its activity."""
    carbon = bicarbonate + carbonate
    charge = carbon + carbonate
    alkalinity = charge + hydroxide
    share = 1 / (free + carbon + sulfate + hydroxide)
    activity = total * share
    alkaline, carbonic, sulfuric = activity * alkalinity, activity * carbon, activity * sulfate
    of_carbon, of_sulfate = carbon * share, sulfate * share
    return _Held(
        alkaline,
        carbonic,
        sulfuric,
        activity * (alkalinity + carbonate + carbonate) - alkaline * alkalinity * share,
        activity * charge - alkaline * of_carbon,
        carbonic - carbonic * of_carbon,
        -alkaline * of_sulfate,
        -carbonic * of_sulfate,
        sulfuric - sulfuric * of_sulfate,
    )


def _stepped(question: _Question, k: Factors, activities: _Activities) -> _Activities:
    """One step of Newton's method.

    With u, w and v the steps in ln of H+, CO2 and SO4-2 (CO3 being CO2 / H^2) the equations are
    -P u + Q w + N v = alkalinity missing, -Q u + R w + M v = carbon missing, -N u + M w + Z v = sulfate missing.
    """
    totals, _, given, value, maths = question
    h, co2, so4 = activities
    per_h = 1 / h
    co3 = co2 / k.co2_activity * per_h * per_h
    hco3 = h * co3  # the two activities bicarbonate and its pairs go with
    calcium = _held(totals.ca, k.ca, k.cahco3 * hco3, k.caco3 * co3, k.caso4 * so4, k.caoh * per_h)
    magnesium = _held(totals.mg, k.mg, k.mghco3 * hco3, k.mgco3 * co3, k.mgso4 * so4, k.mgoh * per_h)
    sodium = _held(totals.na, k.na, k.nahco3 * hco3, k.naco3 * co3, k.naso4 * so4, 0.0)
    held = _Held(*(a + b + c for a, b, c in zip(calcium, magnesium, sodium, strict=True)))
    kso4, nh4so4, nh3 = k.kso4 * so4, k.nh4so4 * so4, k.nh3 * per_h
    share = 1 / (k.nh4 + nh3 + nh4so4)
    ammonium = totals.nh4 * share
    ammonia = ammonium * nh3
    bicarbonate, carbonate, hydroxide, acid = k.hco3 * hco3, k.co3 * co3, k.oh * per_h, k.h * h
    bisulfate = k.hso4 * h * so4
    # Potassium and ammonium sulfate are so weak that what they take from each other does not count in a slope.
    sulfate = k.so4 * so4 + bisulfate + totals.k / (k.k + kso4) * kso4 + ammonium * nh4so4
    charge = bicarbonate + carbonate + carbonate

    no_alkalinity = totals.alkalinity - (held.alkalinity + charge + hydroxide + ammonia - acid - bisulfate)
    no_sulfate = totals.so4 - (held.sulfate + sulfate)
    n, m, z = held.alkalinity_by_so4 - bisulfate, held.carbon_by_so4, held.sulfate_by_so4 + sulfate + _NOTHING
    # Sulfate is eliminated first; two equations of the same form in u and w are left.
    n_z, m_z = n / z, m / z
    no_alkalinity = no_alkalinity - n_z * no_sulfate
    one_sign = charge + 2 * carbonate + hydroxide + acid + bisulfate + ammonia * (1 - nh3 * share)
    p = held.alkalinity_by_h + one_sign - n * n_z
    q = held.alkalinity_by_co2 + charge - n * m_z
    if given is Given.ACIDITY:
        u, w = 0.0, no_alkalinity / (q + _NOTHING)
    elif given is Given.CO2:
        u, w = -no_alkalinity / p, 0.0
    else:
        carbon = k.co2 * h * hco3 + bicarbonate + carbonate
        no_carbon = value - (held.carbon + carbon) - m_z * no_sulfate
        r = held.carbon_by_co2 + carbon - m * m_z
        scale = -1 / (p * r - q * q + _NOTHING**2)
        u, w = (no_alkalinity * r - no_carbon * q) * scale, (no_alkalinity * q - no_carbon * p) * scale
    v = (no_sulfate + n * u - m * w) / z
    return _Activities(*(_grown(x, step, maths) for x, step in zip(activities, (u, w, v), strict=True)))


def _grown(x: Amount, step: Amount, maths: Maths) -> Amount:
    """x times e^step for small steps; large ones are held back on both sides, and x stays above 0."""
    return x * (1 + maths.maximum(step, 0.0)) / (1 + maths.maximum(-step, 0.0))


def _settled(question: _Question, found: Speciation) -> Any:
    """Whether every balance closes and the ionic strength is the one the activity coefficients were taken at."""
    totals, value, strength = question.totals, question.value, found.ionic_strength
    slack = _CLOSED * strength
    settled = abs(strength - found.used_strength) <= _MET * strength
    settled = settled & (abs(found.alkalinity() - totals.alkalinity) <= slack)
    settled = settled & (abs(found.total("SO4") - totals.so4) <= slack)
    if question.given is Given.CARBON:
        settled = settled & (abs(found.total("CO3") - value) <= _CLOSED * value + 1e-3 * slack)
    return settled


def _rows(record: Any, rows: Any) -> Any:
    """The same record with only some rows of every array in it."""
    if isinstance(record, np.ndarray):
        return record[rows]
    if isinstance(record, dict):
        return {key: _rows(entry, rows) for key, entry in record.items()}
    if isinstance(record, Totals | Constants | Speciation):
        return type(record)(**{field.name: _rows(getattr(record, field.name), rows) for field in fields(record)})
    if isinstance(record, _Question):
        return _Question(*(_rows(entry, rows) for entry in record))
    return record


def _put(whole: Speciation, rows: Any, part: Speciation) -> None:
    """The rows of `whole` replaced by those of `part`."""
    for field in fields(Speciation):
        old, new = getattr(whole, field.name), getattr(part, field.name)
        for into, values in [(old[key], new[key]) for key in old] if isinstance(old, dict) else [(old, new)]:
            into[rows] = values
