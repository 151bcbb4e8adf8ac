"""Types of the household file: text with a unit in, a float in the canonical unit out, within what can be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator
from pydantic_core import PydanticCustomError

from chemistry import units
from chemistry.errors import BadInput, Fault
from chemistry.substances import agent, salt
from chemistry.water.equilibrium import ROOM_AIR_PPM
from chemistry.water.reconstruction import HIGHEST
from chemistry.water.target import lake_target

UNFILLED = "?"


@dataclass(frozen=True)
class Misfit:
    """Keys that do not fit together: the one to name first, then the others it depends on; dotted, lists from 0."""

    keys: tuple[str, ...]
    message: str
    hint: str = ""

    def under(self, place: str) -> Misfit:
        """The same, seen from the table that holds this one at `place`."""
        return Misfit(tuple(f"{place}.{key}" for key in self.keys), self.message, self.hint)


def refusal(*faults: Fault) -> PydanticCustomError:
    """An error pydantic carries to the file reader."""
    packed = [(fault.message, fault.hint) for fault in faults]
    return PydanticCustomError("tapwright", "refused", {"faults": packed})


def _quantity(kind: str, low: float, high: float, *, above: bool = False) -> BeforeValidator:
    """Reads a quantity of a kind and holds it between two limits (above: the lower one itself is refused)."""

    def read(value: Any) -> float:
        example = units.KINDS[kind].example
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet.", f'Write for example "{example}".'))
        if not isinstance(value, str):
            text = f"{value!r} is read; a quantity stands in quotes, with its unit."
            raise refusal(Fault("", text, f'Write for example "{example}".'))
        number: float = _or_refuse(units.read, value, kind)
        if not (low < number if above else low <= number) or number > high:
            unit = units.unit_of(value)
            least = f"more than {units.show(low, kind, unit)}" if above else units.show(low, kind, unit)
            allowed = f"{least} to {units.show(high, kind, unit)}"
            raise refusal(Fault("", f"'{value}' is read; {allowed} is allowed.", f'Write for example "{example}".'))
        return number

    return BeforeValidator(read)


def _number(noun: str, low: float, high: float, example: str) -> BeforeValidator:
    """Reads a bare number between two limits."""

    def read(value: Any) -> float:
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet.", f"Write for example {example}."))
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            text = f"{value!r} is read; {noun} from {low:g} to {high:g} is allowed."
            raise refusal(Fault("", text, f"Write for example {example}, without quotes."))
        return float(value)

    return BeforeValidator(read)


def _name(lookup: Callable[[str], Any]) -> BeforeValidator:
    """Reads a name and looks it up."""

    def read(value: Any) -> Any:
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet."))
        if not isinstance(value, str) or not value.strip():
            raise refusal(Fault("", f"{value!r} is read; a name in quotes is wanted."))
        return _or_refuse(lookup, value)

    return BeforeValidator(read)


def _printable(text: str) -> str:
    if not text.isprintable():
        raise BadInput.of("", f"{text!r} holds a control character.", "Use letters, digits and signs.")
    return text.strip()


def _or_refuse(function: Callable[..., Any], *arguments: Any) -> Any:
    try:
        return function(*arguments)
    except BadInput as error:
        raise refusal(*(Fault("", fault.message, fault.hint) for fault in error.faults)) from error


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
SaltName = Annotated[Any, _name(salt)]
AgentName = Annotated[Any, _name(agent)]
LakeName = Annotated[Any, _name(lake_target)]
