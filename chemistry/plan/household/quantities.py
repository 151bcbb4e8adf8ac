"""Types of the household file: text with a unit in, a float in the canonical unit out, within what can be."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationInfo
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from tapwright.chemistry import allowed, units
from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.substances import Agent, Salt, agent, agents, salt, salts
from tapwright.chemistry.water.target import Target, lake_names, lake_target
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


class InUnit(float):
    """A number that is in the canonical unit of its place already: only Python can say so, a file writes the unit."""


@dataclass(frozen=True)
class Quantity:
    """Reads a quantity that `chemistry.allowed` knows by this name, within its limits; written back with its unit."""

    name: str

    @property
    def _limits(self) -> allowed.Quantity:
        return allowed.QUANTITIES[self.name]

    @property
    def _unit(self) -> str:
        return units.KINDS[self._limits.kind].shown or "%"

    def read(self, value: Any, info: ValidationInfo) -> float:
        """Text with its unit, or a number where units are settled already, in the canonical unit."""
        if reading_of(info).built or isinstance(value, InUnit):
            return self._built(value)
        if units.is_pint(value):
            return self._built(_or_refuse(units.from_pint, value, self._limits.kind))
        example = f'Write for example "{self._limits.written}".'
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet.", example))
        if not isinstance(value, str):
            raise refusal(Fault("", f"{told(value)} is read; a quantity stands in quotes, with its unit.", example))
        number: float = _or_refuse(allowed.read_within, value, self.name)
        return number

    def _built(self, value: Any) -> float:
        limits = self._limits
        if isinstance(value, bool) or not isinstance(value, int | float):
            noun = units.KINDS[limits.kind].noun
            raise refusal(Fault("", f"{told(value)} is read; {noun} as a number, in {self._unit}, is wanted."))
        number = float(value)
        if not limits.spans(number):
            said = f"{quoted(units.show(number, limits.kind, self._unit))} is read; {limits.allows(self._unit)}"
            raise refusal(Fault("", said, f'Write for example "{limits.written}".'))
        return number

    def written(self, value: float) -> str:
        """The text that is read as this very number."""
        return units.written(value, self._limits.kind)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_before_validator_function(
            self.read, handler(source), serialization=core_schema.plain_serializer_function_ser_schema(self.written)
        )

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        noun, example = units.KINDS[self._limits.kind].noun, self._limits.written
        said = f"{noun}, with its unit: {self._limits.allows(self._unit)}"
        return {"type": "string", "description": f"{said[0].upper()}{said[1:]}", "examples": [example]}


@dataclass(frozen=True)
class Number:
    """Reads a bare number that `chemistry.allowed` knows by this name, within its limits."""

    name: str

    def read(self, value: Any) -> float:
        """The number, as it is."""
        limits = allowed.NUMBERS[self.name]
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet.", f"Write for example {limits.example}."))
        if isinstance(value, bool) or not isinstance(value, int | float) or not limits.holds(value):
            text = f"{told(value)} is read; {limits.allows}"
            raise refusal(Fault("", text, f"Write for example {limits.example}, without quotes."))
        return float(value)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self.read, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        limits = allowed.NUMBERS[self.name]
        said = f"{limits.noun[0].upper()}{limits.noun[1:]}, without a unit."
        ends = {"minimum": limits.low, "maximum": limits.high}
        return {"type": "number", "description": said, "examples": [float(limits.example)], **ends}


@dataclass(frozen=True)
class Named:
    """Reads a name and looks it up; kind: what it is once it is found.  known: every name there is; none: any will do."""

    lookup: Callable[[str], Any]
    kind: type = str
    known: Callable[[], Iterable[str]] | None = None

    def read(self, value: Any, info: ValidationInfo) -> Any:
        """What bears the name."""
        if self.kind is not str and reading_of(info).built and isinstance(value, self.kind):
            return value
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet."))
        if not isinstance(value, str) or not value.strip():
            raise refusal(Fault("", f"{told(value)} is read; a name in quotes is wanted."))
        return _or_refuse(self.lookup, value)

    def written(self, value: Any) -> str:
        """The name of what was found."""
        return value if isinstance(value, str) else str(value.name)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.with_info_before_validator_function(
            self.read, handler(source), serialization=core_schema.plain_serializer_function_ser_schema(self.written)
        )

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        names = {} if self.known is None else {"enum": list(self.known())}
        return {"type": "string", **names}


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
VolumeL = Annotated[float, Quantity("volume")]
LengthM = Annotated[float, Quantity("length")]
BoreM = Annotated[float, Quantity("bore")]
SuctionM = Annotated[float, Quantity("suction height")]
HeightM = Annotated[float, Quantity("height")]
MassG = Annotated[float, Quantity("mass")]
StepG = Annotated[float, Quantity("step")]
TimeMin = Annotated[float, Quantity("time")]
FlowLMin = Annotated[float, Quantity("flow")]
PowerKw = Annotated[float, Quantity("power")]
WaterC = Annotated[float, Quantity("water")]
AirPpm = Annotated[float, Quantity("air")]
HotC = Annotated[float, Quantity("hot water")]
HardnessMmolL = Annotated[float, Quantity("hardness")]
AlkalinityMeqL = Annotated[float, Quantity("alkalinity")]
NitrateMgL = Annotated[float, Quantity("nitrate")]
AmmoniaMgNL = Annotated[float, Quantity("ammonia")]
ChlorineMgL = Annotated[float, Quantity("chlorine")]
ConductivityUsCm = Annotated[float, Quantity("conductivity")]
IonMgL = Annotated[float, Quantity("ion")]
Share = Annotated[float, Quantity("share")]
Excess = Annotated[float, Quantity("excess")]
StrengthGL = Annotated[float, Quantity("strength")]
Ph = Annotated[float, Number("ph")]
BandPh = Annotated[float, Number("band ph")]
Price = Annotated[float, Number("price")]
Ratio = Annotated[float, Number("ratio")]
ChlorineToNitrogen = Annotated[float, Number("chlorine to nitrogen")]
Name = Annotated[str, Named(_printable)]
SaltName = Annotated[Any, Named(salt, Salt, salts)]
AgentName = Annotated[Any, Named(agent, Agent, agents)]
LakeName = Annotated[Any, Named(lake_target, Target, lake_names)]
