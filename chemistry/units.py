"""Units stop at the door: text with a unit in, a float in the canonical unit out, and back.

`read("120 gal", "volume")` gives 454.25; `show(454.25, "volume", "gal")` gives "120 gal". The factors live in
tables/units.txt, each with its definition; this module holds the spellings people use for them.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Any

from tapwright.chemistry import reference
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import nearest, quoted

if TYPE_CHECKING:
    import pint

_CACO3 = "mg/L CaCO3"
_ABSOLUTE_ZERO_C = -273.15
_LEAST_TURNED, _MOST_TURNED = 1e-9, 1e11  # figures that a person can mean, whatever their unit


@dataclass(frozen=True)
class Kind:
    """One kind of quantity.

    noun: how a sentence names it.  unit: canonical unit, as pint knows it.  shown: the same for people.
    spellings: what people write -> pint unit.  free: whether any product of base units is allowed too.
    ambiguous: spellings that leave open what is meant -> what to write instead.
    """

    noun: str
    unit: str
    shown: str
    spellings: Mapping[str, str]
    example: str
    free: bool = False
    ambiguous: Mapping[str, str] | None = None


_LENGTH = {"mm": "mm", "cm": "cm", "m": "m", "in": "in", "inch": "in", "inches": "in", '"': "in", "ft": "ft",
           "foot": "ft", "feet": "ft"}  # fmt: skip
_VOLUME = {"L": "L", "l": "L", "litre": "L", "litres": "L", "liter": "L", "liters": "L", "mL": "mL", "ml": "mL",
           "m3": "m3", "gal": "US_gal", "gallon": "US_gal", "gallons": "US_gal", "US gal": "US_gal",
           "gal US": "US_gal", "imp gal": "imp_gal", "UK gal": "imp_gal", "gal imp": "imp_gal"}  # fmt: skip
_MASS = {"g": "g", "kg": "kg", "mg": "mg", "lb": "lb", "lbs": "lb", "oz": "oz"}
_TIME = {"s": "s", "min": "min", "minutes": "min", "h": "h", "hours": "h", "d": "d", "day": "d", "days": "d",
         "week": "week", "weeks": "week"}  # fmt: skip
_MG = ("mg/L", "mg/l", "ppm")
_WHOSE = "say what it is counted as: "


def _per_litre(substance: str, unit: str) -> dict[str, str]:
    """Spellings of mg per litre of a substance: 'mg/L NO3', 'ppm NO3', and with 'as' or a hyphen."""
    joints = (" ", " as ", "-")
    return {f"{mg}{joint}{substance}": unit for mg in _MG for joint in joints}


def _ambiguous(choices: str) -> dict[str, str]:
    return dict.fromkeys(_MG, _WHOSE + choices)


KINDS: Mapping[str, Kind] = {
    "volume": Kind("a volume", "L", "L", _VOLUME, "450 L", free=True),
    "length": Kind("a length", "m", "m", _LENGTH, "60 cm", free=True),
    "mass": Kind("a mass", "g", "g", _MASS, "250 g", free=True),
    "time": Kind("a time", "min", "min", _TIME, "20 min", free=True),
    "flow": Kind("a flow", "L/min", "L/min",
        {"lpm": "L/min", "lph": "L/h", "gpm": "US_gal/min", "gph": "US_gal/h"}, "14 L/min", free=True),
    "power": Kind("a power", "kW", "kW", {"W": "W", "kW": "kW", "watt": "W"}, "3 kW", free=True),
    "temperature": Kind("a temperature", "degC", "°C",
        {"degC": "degC", "C": "degC", "°C": "degC", "celsius": "degC",
         "degF": "degF", "F": "degF", "°F": "degF", "fahrenheit": "degF"}, "26 degC"),
    "strength": Kind("a strength of a solution", "g/L", "g/L", {"g/L": "g/L", "g/l": "g/L"}, "50 g/L", free=True),
    "hardness": Kind("a hardness", "hardness_mmol", "mmol/L", {
        "dGH": "dGH", "GH": "dGH", "°dH": "dGH", "dH": "dGH", "mmol/L": "hardness_mmol", "meq/L": "hardness_meq",
        "°fH": "hardness_french", "fH": "hardness_french", "°eH": "hardness_english", "eH": "hardness_english",
        "gpg": "hardness_US_grain", "grains/gal": "hardness_US_grain",
        **_per_litre("CaCO3", "hardness_mg_CaCO3")}, "12 dGH", ambiguous=_ambiguous(f"'{_CACO3}'")),
    "alkalinity": Kind("an alkalinity", "alkalinity_meq", "meq/L", {
        "dKH": "dKH", "KH": "dKH", "meq/L": "alkalinity_meq", "mmol/L HCO3": "alkalinity_meq",
        "°dH": "dKH", "dH": "dKH", "°fH": "alkalinity_french", "fH": "alkalinity_french",
        "°eH": "alkalinity_english", "eH": "alkalinity_english", "gpg": "alkalinity_US_grain",
        **_per_litre("CaCO3", "alkalinity_mg_CaCO3"), **_per_litre("HCO3", "alkalinity_mg_HCO3")},
        "8 dKH", ambiguous=_ambiguous(f"'{_CACO3}' or 'mg/L HCO3'")),
    "nitrate": Kind("a nitrate", "nitrate_mg_NO3", "mg/L NO3", {
        **_per_litre("NO3", "nitrate_mg_NO3"), **_per_litre("N", "nitrate_mg_N"),
        **_per_litre("NO3-N", "nitrate_mg_N")},
        "20 mg/L NO3", ambiguous=_ambiguous("'mg/L NO3' or 'mg/L N' (1 mg/L N is 4.43 mg/L NO3)")),
    "ammonia": Kind("an ammonia", "ammonia_mg_N", "mg/L N", {
        **_per_litre("N", "ammonia_mg_N"), **_per_litre("NH3", "ammonia_mg_NH3"),
        **_per_litre("NH4", "ammonia_mg_NH4"), **_per_litre("NH3-N", "ammonia_mg_N"),
        **_per_litre("NH4-N", "ammonia_mg_N")},
        "0.2 mg/L N", ambiguous=_ambiguous("'mg/L N', 'mg/L NH3' or 'mg/L NH4'")),
    "chlorine": Kind("a chlorine", "chlorine_mg_Cl2", "mg/L", {
        **dict.fromkeys(_MG, "chlorine_mg_Cl2"), **_per_litre("Cl2", "chlorine_mg_Cl2"),
        **_per_litre("NH2Cl", "chlorine_mg_NH2Cl")}, "2.4 mg/L"),
    "conductivity": Kind("a conductivity", "microsiemens_cm", "µS/cm", {
        "uS/cm": "microsiemens_cm", "µS/cm": "microsiemens_cm", "mS/cm": "millisiemens_cm"}, "320 uS/cm"),
    "ion": Kind("a concentration of an ion", "ion_mg", "mg/L", {
        **dict.fromkeys(_MG, "ion_mg"), "ug/L": "ion_ug", "µg/L": "ion_ug", "ppb": "ion_ug", "g/L": "ion_g"},
        "40 mg/L"),
    "air": Kind("an amount of CO2 in air", "air_ppm", "ppm", {"ppm": "air_ppm", "ppm CO2": "air_ppm", "umol/mol": "air_ppm"},
        "700 ppm"),
    "decay": Kind("a share lost in a time", "min**-1", "/min",
        {f"{one}/{time}": f"{unit}**-1" for time, unit in _TIME.items() for one in ("", "1")}, "0.04 /h"),
    "share": Kind("a share", "share", "", {"%": "percent"}, "45%"),
}  # fmt: skip

_NUMBER = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")
_LONGEST = 100  # letters of a quantity
_COMMA = re.compile(r"\s*([+-]?\d+),(\d+)(.*)$")


@cache
def registry() -> pint.UnitRegistry[Any]:
    """The pint registry of tables/units.txt."""
    import pint

    return pint.UnitRegistry(str(reference.units_file()))


def read(text: str, kind: str, where: str = "") -> float:
    """Read a quantity and return it in the canonical unit of its kind.

    text: number and unit, such as "120 gal".  kind: a key of KINDS.  where: what to name in an error.
    Raises BadInput: no unit, a comma, an unknown or ambiguous unit, a unit of another kind, no finite number.
    """
    number, unit_text = _split(text, kind, where)
    unit = _unit(unit_text, kind, where, text)
    value = float(registry().Quantity(number, unit).to(KINDS[kind].unit).magnitude)
    if not math.isfinite(value):
        raise BadInput.of(
            where, f"{quoted(text)} is too large a number.", f"Write for example '{KINDS[kind].example}'."
        )
    if kind == "temperature" and value < _ABSOLUTE_ZERO_C:
        raise BadInput.of(
            where, f"{quoted(text)} is below absolute zero.", f"Write for example '{KINDS[kind].example}'."
        )
    return value


# Units of a pint registry of somebody's own that say as much as ours. What is counted as a substance they cannot say.
_OF_ANY_REGISTRY = {
    "volume": "liter", "length": "meter", "mass": "gram", "time": "minute", "flow": "liter / minute", "power": "kilowatt",
    "temperature": "degC", "strength": "gram / liter", "conductivity": "microsiemens / centimeter", "share": "dimensionless",
    "ion": "milligram / liter", "chlorine": "milligram / liter",
}  # fmt: skip


def is_pint(value: object) -> bool:
    """Whether it is a quantity of some pint registry."""
    return hasattr(value, "magnitude") and hasattr(value, "units")


def from_pint(quantity: Any, kind: str, where: str = "") -> Any:
    """Magnitude of a pint quantity, a number or an array, in the canonical unit of a kind.

    Raises BadInput for another kind, and where a registry that is not `registry()` cannot say what is counted.
    """
    wanted = KINDS[kind]
    own = getattr(quantity, "_REGISTRY", None) is registry()
    unit = wanted.unit if own else _OF_ANY_REGISTRY.get(kind)
    try:
        if unit is not None:
            return quantity.to(unit).magnitude
    except Exception:  # whatever that registry has against it
        unit = None
    raise BadInput.of(where, f"'{quantity}' cannot be read as {wanted.noun}.", f"Write for example '{wanted.example}'.")


def show(value: float, kind: str, unit_text: str | None = None, digits: int = 4) -> str:
    """The value, given in the canonical unit, as text in `unit_text` with `digits` significant digits."""
    shown = unit_text or KINDS[kind].shown
    number = from_canonical(value, kind, shown) if unit_text else value
    return f"{figure(number, digits)} {shown}".rstrip()


def written(value: float, kind: str) -> str:
    """A value in the canonical unit of its kind as text that `read` turns into the very same number.

    kind: a key of KINDS; a share is written in percent, which not every number has: such a one comes back within 2e-16.
    """
    if kind != "share":
        return f"{float(value)!r} {KINDS[kind].shown}"
    percent = 100 * float(value)
    near = (percent, math.nextafter(percent, math.inf), math.nextafter(percent, 0.0))
    return next((text for text in (f"{number!r}%" for number in near) if read(text, kind) == value), f"{percent!r}%")


def figure(number: float, digits: int = 3) -> str:
    """A number with so many significant digits, never in powers of ten and never with idle zeros."""
    if number == 0 or not math.isfinite(number):
        return f"{number:.0f}"
    decimals = max(digits - 1 - math.floor(math.log10(abs(number))), 0)
    text = f"{number:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def rounded_up(amount: float, step: float) -> float:
    """The amount in whole steps, never less; a whole number of steps but for rounding stays as it is."""
    return math.ceil(amount / step - 1e-9) * step


def from_canonical(value: float, kind: str, unit_text: str) -> float:
    """The value, given in the canonical unit, as a number of `unit_text`."""
    unit = _unit(unit_text, kind, "", unit_text)
    return float(registry().Quantity(value, KINDS[kind].unit).to(unit).magnitude)


def convert(text: str, unit_text: str) -> tuple[float, str]:
    """Convert "12 dGH" to "mg/L CaCO3"; returns the number and the kind both units share.

    Raises BadInput when either unit is unknown or no kind has both.
    """
    number, source_unit = _split(text, None, "")
    target_unit = _tidy(unit_text)
    from_kinds, to_kinds = _kinds_of(source_unit), _kinds_of(target_unit)
    for spelled, kinds in ((source_unit, from_kinds), (target_unit, to_kinds)):
        if not kinds:
            raise BadInput.of("", f"{quoted(spelled)} is not a unit known here.", _near_unit(spelled))
    for unit, kinds in ((source_unit, to_kinds), (target_unit, from_kinds)):
        for kind in kinds:
            if unit in (KINDS[kind].ambiguous or ()):
                raise BadInput.of("", f"{quoted(unit)} is ambiguous;", f"{(KINDS[kind].ambiguous or {})[unit]}.")
    common = [kind for kind in from_kinds if kind in to_kinds]
    if not common:
        raise BadInput.of(
            "",
            f"{quoted(source_unit)} is {_nouns(from_kinds)} and {quoted(target_unit)} is {_nouns(to_kinds)}: "
            "one cannot be turned into the other.",
        )
    kind = common[0]
    value = from_canonical(read(f"{number!r} {source_unit}", kind), kind, target_unit)
    if abs(number) > _MOST_TURNED or abs(value) > _MOST_TURNED or 0 < abs(number) < _LEAST_TURNED:
        size = "small" if abs(number) < 1 else "large"
        said = f"{quoted(text)} is too {size} a number; figures from {figure(_LEAST_TURNED)} to {_MOST_TURNED:.0f} are turned."
        raise BadInput.of("", said, "Write for example '12 dGH'.")
    return value, kind


def _split(text: str, kind: str | None, where: str) -> tuple[float, str]:
    """Number and unit text; refuses commas and missing numbers."""
    example = f"Write for example '{KINDS[kind].example}'." if kind else "Write for example '12 dGH'."
    if len(text) > _LONGEST:
        raise BadInput.of(where, f"{quoted(text)} is too long for a quantity.", example)
    if comma := _COMMA.match(text):
        whole, part, rest = comma.groups()
        choices = quoted(f"{whole}.{part}{rest}") + (f" or {quoted(f'{whole}{part}{rest}')}" if len(part) == 3 else "")
        raise BadInput.of(where, f"{quoted(text)} has a comma; the decimal sign is a point.", f"Write {choices}.")
    match = _NUMBER.match(text)
    if not match:
        raise BadInput.of(where, f"{quoted(text)} does not begin with a number.", example)
    number = float(match[1])
    if not math.isfinite(number):
        raise BadInput.of(where, f"{quoted(text)} is not a finite number.", example)
    if not match[2]:
        raise BadInput.of(where, f"{quoted(text)} has no unit.", example)
    return number, _tidy(match[2])


def _tidy(unit_text: str) -> str:
    """One spelling for look-alikes: spaces, micro sign, subscripts, powers."""
    tidy = unit_text.replace("μ", "µ").replace("₃", "3").replace("₂", "2").replace("₄", "4")
    tidy = tidy.replace("³", "3").replace("cubic metres", "m3").replace("º", "°")
    tidy = re.sub(r"\s*/\s*", "/", tidy)
    return re.sub(r"\s+", " ", tidy).strip()


def _unit(unit_text: str, kind: str, where: str, text: str) -> Any:
    """The pint unit that `unit_text` means for this kind, or BadInput that says what is wrong."""
    meant = KINDS[kind]
    unit_text = _tidy(unit_text)
    if meant.ambiguous and unit_text in meant.ambiguous:
        raise BadInput.of(where, f"{quoted(text)} is ambiguous;", f"{meant.ambiguous[unit_text]}.")
    if unit := _lookup(unit_text, kind):
        return unit
    others = _kinds_of(unit_text)
    example = f"Write for example '{meant.example}'."
    if others:
        raise BadInput.of(where, f"{quoted(text)} is {_nouns(others)}; {meant.noun} is wanted.", example)
    raise BadInput.of(where, f"{quoted(unit_text)} in {quoted(text)} is not a unit known here.", example)


def _lookup(unit_text: str, kind: str) -> Any:
    """The pint unit for one kind, or None."""
    meant = KINDS[kind]
    if spelled := meant.spellings.get(unit_text):
        return registry().parse_units(spelled)
    if spelled := _folded(kind).get(_fold(unit_text)):
        return registry().parse_units(spelled)
    return _compound(unit_text, kind) if meant.free else None


def _fold(unit_text: str) -> str:
    """Lower case, but for a capital M at the front: Mg and ML are a thousand million times mg and mL."""
    return unit_text[:1].replace("M", "\N{BULLET}").lower() + unit_text[1:].lower()


@cache
def _folded(kind: str) -> Mapping[str, str]:
    """Spellings of a kind, folded."""
    return {_fold(spelling): unit for spelling, unit in KINDS[kind].spellings.items()}


@cache
def _parts() -> Mapping[str, str]:
    """Spellings that compound units are made of, folded."""
    return {_fold(name): unit for group in (_LENGTH, _VOLUME, _MASS, _TIME) for name, unit in group.items()}


def _compound(unit_text: str, kind: str) -> Any:
    """'gal/h', 'L/min', 'g/L': a known spelling, or a quotient of two, with the dimension of the kind."""
    spelled = [_parts().get(_fold(part)) for part in unit_text.split("/", 1)]
    if None in spelled:
        return None
    unit = registry().parse_units("/".join(f"({part})" for part in spelled))
    wanted = registry().parse_units(KINDS[kind].unit)
    return unit if unit.dimensionality == wanted.dimensionality else None


def _kinds_of(unit_text: str) -> list[str]:
    """Every kind in which the spelling means something."""
    return [kind for kind in KINDS if _lookup(unit_text, kind) is not None]


def _nouns(kinds: list[str]) -> str:
    return " or ".join(KINDS[kind].noun for kind in kinds)


def _near_unit(unit_text: str) -> str:
    """A hint with the spellings closest to what was written."""
    spellings = [spelling for kind in KINDS.values() for spelling in kind.spellings]
    near = nearest(unit_text, spellings, n=3, cutoff=0.5)
    if unit_text in _MG:
        near = ["mg/L CaCO3", "mg/L NO3", "mg/L N"]
    return "Did you mean " + " or ".join(f"'{name}'" for name in dict.fromkeys(near)) + "?" if near else ""


def unit_of(text: str, where: str = "") -> str:
    """The unit of a quantity as written, such as "gal" of "120 gal"."""
    return _split(text, None, where)[1]


def number_of(text: str, where: str = "") -> float:
    """The number of a quantity as written, such as 120.0 of "120 gal"."""
    return _split(text, None, where)[0]


def half_last_digit(text: str) -> float:
    """Half of the last digit written, in the unit of the text: 0.5 for "3 dGH", 0.05 for "3.0 dGH"."""
    match = _NUMBER.match(text)
    if not match:
        raise BadInput.of("", f"{quoted(text)} does not begin with a number.")
    return 0.5 * 10.0 ** int(Decimal(match[1]).as_tuple().exponent)


def kind_of(text: str) -> str | None:
    """The one kind of quantity a text can be, such as "volume" for "5 mL"; None where it is none or several."""
    try:
        kinds = _kinds_of(_split(text, None, "")[1])
    except BadInput:
        return None
    return kinds[0] if len(kinds) == 1 else None
