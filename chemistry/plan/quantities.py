"""Types of the household file: text with a unit in, a float in the canonical unit out, within what can be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, ValidationInfo
from pydantic_core import PydanticCustomError

from chemistry import units
from chemistry.errors import BadInput, Fault
from chemistry.substances import Agent, Salt, agent, salt
from chemistry.water.equilibrium import ROOM_AIR_PPM
from chemistry.water.reconstruction import HIGHEST
from chemistry.water.target import Target, lake_target
from chemistry.words import quoted, told

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


def _quantity(kind: str, low: float, high: float, *, above: bool = False) -> BeforeValidator:
    """Reads a quantity of a kind and holds it between two limits (above: the lower one itself is refused)."""

    def read(value: Any, info: ValidationInfo) -> float:
        if reading_of(info).built:
            return built(value)
        example = f'Write for example "{units.KINDS[kind].example}".'
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet.", example))
        if not isinstance(value, str):
            raise refusal(Fault("", f"{told(value)} is read; a quantity stands in quotes, with its unit.", example))
        number: float = _or_refuse(units.read, value, kind)
        return within(number, value)

    def built(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            text = f"{told(value)} is read; {units.KINDS[kind].noun} as a number, in {own_unit}, is wanted."
            raise refusal(Fault("", text))
        return within(float(value))

    def within(number: float, written: str = "") -> float:
        if not (low < number if above else low <= number) or not number <= high:
            unit = units.unit_of(written) if written else own_unit
            least = f"more than {units.show(low, kind, unit)}" if above else units.show(low, kind, unit)
            text = f"{quoted(written or units.show(number, kind, unit))} is read; {least} to {units.show(high, kind, unit)}"
            raise refusal(Fault("", f"{text} is allowed.", f'Write for example "{units.KINDS[kind].example}".'))
        return number

    own_unit = units.KINDS[kind].shown or "%"
    return BeforeValidator(read)


def _number(noun: str, low: float, high: float, example: str) -> BeforeValidator:
    """Reads a bare number between two limits."""

    def read(value: Any) -> float:
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet.", f"Write for example {example}."))
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            text = f"{told(value)} is read; {noun} from {low:g} to {high:g} is allowed."
            raise refusal(Fault("", text, f"Write for example {example}, without quotes."))
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
VolumeL = Annotated[float, _quantity("volume", 0, 100_000, above=True)]
LengthM = Annotated[float, _quantity("length", 0, 100, above=True)]
BoreM = Annotated[float, _quantity("length", 0.002, 0.5)]
SuctionM = Annotated[float, _quantity("length", 0, 0.5)]
HeightM = Annotated[float, _quantity("length", -20, 20)]
MassG = Annotated[float, _quantity("mass", 0, 1e6, above=True)]
TimeMin = Annotated[float, _quantity("time", 0, 24 * 60, above=True)]
FlowLMin = Annotated[float, _quantity("flow", 0, 2000, above=True)]
PowerKw = Annotated[float, _quantity("power", 0, 100)]
WaterC = Annotated[float, _quantity("temperature", 0, HIGHEST["temperature_c"])]
AirPpm = Annotated[float, _quantity("air", *ROOM_AIR_PPM)]
HotC = Annotated[float, _quantity("temperature", 15, 95)]
HardnessMmolL = Annotated[float, _quantity("hardness", 0, HIGHEST["hardness_mmol_l"])]
AlkalinityMeqL = Annotated[float, _quantity("alkalinity", 0, HIGHEST["alkalinity_meq_l"])]
NitrateMgL = Annotated[float, _quantity("nitrate", 0, HIGHEST["nitrate_mg_l"])]
AmmoniaMgNL = Annotated[float, _quantity("ammonia", 0, HIGHEST["ammonia_mg_n_l"])]
ChlorineMgL = Annotated[float, _quantity("chlorine", 0, 20)]
ConductivityUsCm = Annotated[float, _quantity("conductivity", 0, HIGHEST["conductivity_us_cm"])]
IonMgL = Annotated[float, _quantity("ion", 0, HIGHEST["calcium_mg_l"])]
Share = Annotated[float, _quantity("share", 0, 1, above=True)]
Excess = Annotated[float, _quantity("share", 0, 2)]
StrengthGL = Annotated[float, _quantity("strength", 0, 1000, above=True)]
Ph = Annotated[float, _number("a pH", 4, 11, "8.2")]
BandPh = Annotated[float, _number("a pH", 6, 10, "8.4")]
Price = Annotated[float, _number("a price per kilogram", 0, 1e6, "4.5")]
Ratio = Annotated[float, _number("a ratio", 0.001, 1000, "4")]
ChlorineToNitrogen = Annotated[float, _number("a ratio", 1, 100, "4.5")]
Name = Annotated[str, _name(_printable)]
SaltName = Annotated[Any, _name(salt, Salt)]
AgentName = Annotated[Any, _name(agent, Agent)]
LakeName = Annotated[Any, _name(lake_target, Target)]
