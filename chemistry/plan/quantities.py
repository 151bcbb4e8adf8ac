"""Types of the household file: text with a unit in, a float in the canonical unit out, within what can be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator
from pydantic_core import PydanticCustomError

from chemistry import allowed
from chemistry.errors import BadInput, Fault
from chemistry.substances import agent, salt
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


def _quantity(name: str) -> BeforeValidator:
    """Reads a quantity that `chemistry.allowed` knows by this name, within its limits."""

    def read(value: Any) -> float:
        example = allowed.QUANTITIES[name].written
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet.", f'Write for example "{example}".'))
        if not isinstance(value, str):
            text = f"{value!r} is read; a quantity stands in quotes, with its unit."
            raise refusal(Fault("", text, f'Write for example "{example}".'))
        number: float = _or_refuse(allowed.read_within, value, name)
        return number

    return BeforeValidator(read)


def _number(name: str) -> BeforeValidator:
    """Reads a bare number that `chemistry.allowed` knows by this name, within its limits."""

    def read(value: Any) -> float:
        limits = allowed.NUMBERS[name]
        if value == UNFILLED:
            raise refusal(Fault("", "not filled in yet.", f"Write for example {limits.example}."))
        if isinstance(value, bool) or not isinstance(value, int | float) or not limits.holds(value):
            text = f"{value!r} is read; {limits.allows}"
            raise refusal(Fault("", text, f"Write for example {limits.example}, without quotes."))
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


VolumeL = Annotated[float, _quantity("volume")]
LengthM = Annotated[float, _quantity("length")]
BoreM = Annotated[float, _quantity("bore")]
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
SaltName = Annotated[Any, _name(salt)]
AgentName = Annotated[Any, _name(agent)]
LakeName = Annotated[Any, _name(lake_target)]
