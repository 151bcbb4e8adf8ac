"""What is allowed of each quantity that a person writes: one table for the household file, labels, the log and options.

Outside these limits lies no tank, no tap and no cupboard: a unit is wrong, or a digit too many.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from tapwright.chemistry import reference, units
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import quoted

_ROUNDING = 1e-12


@dataclass(frozen=True)
class Quantity:
    """Limits of a quantity, in the canonical unit of its kind.

    kind: a key of units.KINDS.  above: the lower limit itself is refused.  least: what is smaller and not 0 is next to
    nothing, and a slip of the pen.  example: what to write, where that of the kind is not allowed; remark: what to do
    instead of what lies beyond.
    """

    kind: str
    low: float
    high: float
    above: bool = False
    least: float = 1e-9
    example: str = ""
    remark: str = ""

    @property
    def written(self) -> str:
        """An example within the limits."""
        return self.example or units.KINDS[self.kind].example

    def holds(self, value: float) -> bool:
        """Whether a value lies within the limits, and is a number."""
        return self.spans(value) and not self.next_to_nothing(value)

    def spans(self, value: float) -> bool:
        """Whether a value lies within the limits, however small: what was computed may be next to nothing."""
        enough = self.low < value if self.above else self.low <= value
        return enough and value <= self.high

    def settled(self, value: float) -> float:
        """The limit itself where a unit's factor puts a value a rounding beside it: 104 degF is read a little above 40."""
        return next((end for end in (self.low, self.high) if math.isclose(value, end, rel_tol=_ROUNDING)), value)

    def next_to_nothing(self, value: float) -> bool:
        """Whether it is too small to be meant, and yet not 0."""
        return 0 < abs(value) < self.least

    def allows(self, unit: str) -> str:
        """The limits in that unit, in words."""
        low, high = (units.show(end, self.kind, unit) for end in (self.low, self.high))
        return f"{'more than ' if self.above else ''}{low} to {high} is allowed."


@dataclass(frozen=True)
class Bare:
    """Limits of a number without a unit, both of them allowed; noun: how a sentence names it."""

    noun: str
    low: float
    high: float
    example: str

    def holds(self, value: float) -> bool:
        """Whether a value lies within the limits, and is a number."""
        return self.low <= value <= self.high and not 0 < abs(value) < 1e-9

    @property
    def allows(self) -> str:
        """The limits in words."""
        return f"{self.noun} from {self.low:.9g} to {self.high:.9g} is allowed."


_DAY_MIN = 24 * 60.0

QUANTITIES: Mapping[str, Quantity] = {
    "volume": Quantity("volume", 0, 100_000, above=True, least=1e-3),
    "length": Quantity("length", 0, 100, above=True, least=1e-4),
    "bore": Quantity("length", 0.002, 0.5, example="19 mm"),
    "suction height": Quantity("length", 0, 0.5, example="3 cm"),
    "height": Quantity("length", -20, 20, least=0.0),
    "mass": Quantity("mass", 0, 1e6, above=True, least=1e-7),
    "time": Quantity("time", 0, _DAY_MIN, above=True, least=1e-3),
    "flow": Quantity("flow", 0, 2000, above=True, least=1e-3),
    "power": Quantity("power", 0, 100),
    "water": Quantity("temperature", 0, 40, least=0.0),
    "hot water": Quantity("temperature", 15, 95, least=0.0, example="55 degC"),
    "air": Quantity("air", 200, 20_000),  # that a meter may show for a room (common practice, no source)
    "hardness": Quantity("hardness", 0, 20),
    "alkalinity": Quantity("alkalinity", 0, 30),
    "nitrate": Quantity("nitrate", 0, 1000),
    "ammonia": Quantity("ammonia", 0, 50),
    "chlorine": Quantity("chlorine", 0, 20, least=1e-6),
    "conductivity": Quantity("conductivity", 0, 20_000),
    "ion": Quantity("ion", 0, 5000),
    "share": Quantity("share", 0, 1, above=True, least=1e-5),
    "purity": Quantity("share", 0, 1, above=True, least=1e-5, example="98%"),
    "change": Quantity(
        "share",
        0,
        reference.value("limits", "largest_share") / 100,
        above=True,
        least=1e-5,
        remark="The fish need water to stand in: split a larger change over several days.",
    ),
    "excess": Quantity("share", 0, 2, least=1e-6, example="10%"),
    "strength": Quantity("strength", 0, 1000, above=True, least=1e-3),
    "step": Quantity("mass", 0, 1000, above=True, least=1e-7, example="0.1 g"),
    # What a command alone asks for.
    "vessel": Quantity("temperature", 0, 95, least=0.0),  # of what stands in a tote, and of the tote itself
    "elapsed": Quantity("time", 0, 7 * _DAY_MIN, least=1e-6),
    "demand": Quantity("decay", 0, 10),
    "interval": Quantity("time", 60, 365 * _DAY_MIN, example="7 days"),
    "confidence": Quantity("share", 0.5, 0.999, example="90%"),
    "volume, or none": Quantity("volume", 0, 100_000, least=1e-3),
    "mass, or none": Quantity("mass", 0, 1e6, least=1e-7),
}

NUMBERS: Mapping[str, Bare] = {
    "ph": Bare("a pH", 4, 11, "8.2"),
    "band ph": Bare("a pH", 6, 10, "8.4"),
    "price": Bare("a price per kilogram", 0, 1e6, "4.5"),
    "price of a litre": Bare("a price per litre", 0, 1e6, "0.05"),
    "ph step": Bare("a step of pH", 0.001, 7, "0.3"),
    "temperature step": Bare("a step of temperature in °C", 0.001, 40, "1"),
    "ratio": Bare("a ratio", 0.001, 1000, "4"),
    "chlorine to nitrogen": Bare("a ratio", 1, 100, "4.5"),
}


def read_within(text: str, quantity: str, where: str = "") -> float:
    """Read a quantity of that name in the canonical unit of its kind. Raises BadInput as `units.read` does, and for what
    its limits do not allow."""
    limits = QUANTITIES[quantity]
    value = limits.settled(units.read(text, limits.kind, where))
    if not limits.holds(value):
        nothing = ", next to nothing" if limits.next_to_nothing(value) else ""
        said = f"{quoted(text)} is read{nothing}; {limits.allows(units.unit_of(text))}"
        raise BadInput.of(where, said, f'Write for example "{limits.written}". {limits.remark}'.rstrip())
    return value


def amount_of(text: str, where: str = "") -> tuple[float | None, float | None]:
    """Grams or millilitres of an amount as a label or a person measures it: (grams, None) or (None, millilitres).

    Raises BadInput for another kind of quantity, for nothing or less, and beyond what is allowed of a mass or a volume.
    """
    kind = units.kind_of(text)
    if kind not in ("mass", "volume"):
        raise BadInput.of(where, f"{quoted(text)} is read; grams or millilitres are wanted.", 'Write "5 mL".')
    size = units.read(text, kind, where)
    if size <= 0:
        raise BadInput.of(where, f"{quoted(text)} is read; more than nothing is wanted.", 'Write "5 mL".')
    size = read_within(text, kind, where)
    return (size, None) if kind == "mass" else (None, 1000 * size)
