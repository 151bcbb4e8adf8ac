"""Types of the household file: text with a unit in, a float in the canonical unit out, within what can be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, ValidationInfo
from pydantic_core import PydanticCustomError

from tapwright.chemistry import allowed, units
from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.substances import Agent, Salt, agent, salt
from tapwright.chemistry.water.target import Target, lake_target
from tapwright.chemistry.words import quoted, told

UNFILLED = "?"
_MOST_ENTRIES = 100  # of one kind, such as tanks
_LONGEST_NAME = 100  # letters; a card or a page has room for no more
REFUSED = "refused"  # the kind of our own errors, as pydantic carries them


@dataclass(frozen=True)
class Misfit:
    """Keys that do not fit together: the one to name first, then the others it depends on; dotted, lists from 0."""

    keys: tuple[str, ...]
    message: str
    hint: str = ""

    @property
    def place(self) -> tuple[str | int, ...]:
        """Where the first of them stands: keys and numbers, lists from 0."""
        return tuple(int(part) if part.isdigit() else part for part in self.keys[0].split("."))

    def under(self, place: str) -> Misfit:
        """The same, seen from the table that holds this one at `place`."""
        return Misfit(tuple(f"{place}.{key}" for key in self.keys), self.message, self.hint)


@dataclass(frozen=True)
class Reading:
    """How values are read.

    built: they are there already, in canonical units, and need only lie within what can be.
    part: some others are missing because they are faulty, so that nobody can yet say whether all fit together.
    """

    built: bool = False
    part: bool = False

    def of_a_part(self) -> Reading:
        """The same for what is left of a table."""
        return Reading(self.built, part=True)


_PLAIN = Reading()


def reading_of(info: ValidationInfo) -> Reading:
    """How the values of this validation are read: as a file holds them, if nobody said otherwise."""
    return info.context if isinstance(info.context, Reading) else _PLAIN


def refusal(*faults: Fault) -> PydanticCustomError:
    """An error pydantic carries to the one who asked for the table."""
    packed = [(fault.message, fault.hint) for fault in faults]
    return PydanticCustomError(REFUSED, "{text}", {"text": " ".join(map(str, faults)), "faults": packed})


def _quantity(name: str) -> BeforeValidator:
    """Reads a quantity that `chemistry.allowed` knows by this name, within its limits."""

    limits = allowed.QUANTITIES[name]

    def read(value: Any, info: ValidationInfo) -> float:
        if reading_of(info).built:
            return built(value)
        example = f'Write for example "{limits.written}".'
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet.", example))
        if not isinstance(value, str):
            raise refusal(Fault("", f"{told(value)} is read; a quantity stands in quotes, with its unit.", example))
        number: float = _or_refuse(allowed.read_within, value, name)
        return number

    def built(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            noun = units.KINDS[limits.kind].noun
            raise refusal(Fault("", f"{told(value)} is read; {noun} as a number, in {own_unit}, is wanted."))
        number = float(value)
        if not limits.spans(number):
            said = f"{quoted(units.show(number, limits.kind, own_unit))} is read; {limits.allows(own_unit)}"
            raise refusal(Fault("", said, f'Write for example "{limits.written}".'))
        return number

    own_unit = units.KINDS[limits.kind].shown or "%"
    return BeforeValidator(read)


def _number(name: str) -> BeforeValidator:
    """Reads a bare number that `chemistry.allowed` knows by this name, within its limits."""

    def read(value: Any) -> float:
        limits = allowed.NUMBERS[name]
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet.", f"Write for example {limits.example}."))
        if isinstance(value, bool) or not isinstance(value, int | float) or not limits.holds(value):
            text = f"{told(value)} is read; {limits.allows}"
            raise refusal(Fault("", text, f"Write for example {limits.example}, without quotes."))
        return float(value)

    return BeforeValidator(read)


def _name(lookup: Callable[[str], Any], kind: type = str) -> BeforeValidator:
    """Reads a name and looks it up; kind: what it is once it is found."""

    def read(value: Any, info: ValidationInfo) -> Any:
        if kind is not str and reading_of(info).built and isinstance(value, kind):
            return value
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet."))
        if not isinstance(value, str) or not value.strip():
            raise refusal(Fault("", f"{told(value)} is read; a name in quotes is wanted."))
        return _or_refuse(lookup, value)

    return BeforeValidator(read)


def _printable(text: str) -> str:
    if not text.isprintable():
        said = f"{quoted(text)} holds a control character."
        raise BadInput.of("", said, "Use letters, digits and signs.")
    if len(text) > _LONGEST_NAME:
        raise BadInput.of("", f"{quoted(text)} is too long a name.", f"Use {_LONGEST_NAME} letters or fewer.")
    return text.strip()


def _or_refuse(function: Callable[..., Any], *arguments: Any) -> Any:
    try:
        return function(*arguments)
    except BadInput as error:
        raise refusal(*(Fault("", fault.message, fault.hint) for fault in error.faults)) from error


def _few(value: Any) -> Any:
    """Refuses more entries than any household has before each of them is looked at."""
    if isinstance(value, list | dict) and len(value) > _MOST_ENTRIES:
        text = f"{len(value)} are given; {_MOST_ENTRIES} at most are read."
        raise refusal(Fault("", text, "Split them into several files."))
    return value


Few = BeforeValidator(_few)
VolumeL = Annotated[float, _quantity("volume")]
LengthM = Annotated[float, _quantity("length")]
BoreM = Annotated[float, _quantity("bore")]
SuctionM = Annotated[float, _quantity("suction height")]
HeightM = Annotated[float, _quantity("height")]
MassG = Annotated[float, _quantity("mass")]
StepG = Annotated[float, _quantity("step")]
TimeMin = Annotated[float, _quantity("time")]
FlowLMin = Annotated[float, _quantity("flow")]
PowerKw = Annotated[float, _quantity("power")]
WaterC = Annotated[float, _quantity("water")]
AirPpm = Annotated[float, _quantity("air")]
HotC = Annotated[float, _quantity("hot water")]
HardnessMmolL = Annotated[float, _quantity("hardness")]
AlkalinityMeqL = Annotated[float, _quantity("alkalinity")]
NitrateMgL = Annotated[float, _quantity("nitrate")]
AmmoniaMgNL = Annotated[float, _quantity("ammonia")]
ChlorineMgL = Annotated[float, _quantity("chlorine")]
ConductivityUsCm = Annotated[float, _quantity("conductivity")]
IonMgL = Annotated[float, _quantity("ion")]
Share = Annotated[float, _quantity("share")]
Excess = Annotated[float, _quantity("excess")]
StrengthGL = Annotated[float, _quantity("strength")]
Ph = Annotated[float, _number("ph")]
BandPh = Annotated[float, _number("band ph")]
Price = Annotated[float, _number("price")]
Ratio = Annotated[float, _number("ratio")]
ChlorineToNitrogen = Annotated[float, _number("chlorine to nitrogen")]
Name = Annotated[str, _name(_printable)]
SaltName = Annotated[Any, _name(salt, Salt)]
AgentName = Annotated[Any, _name(agent, Agent)]
LakeName = Annotated[Any, _name(lake_target, Target)]
