"""Reads the options of a command, so that every fault among them is named at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from chemistry.errors import BadInput, Fault
from chemistry.words import quoted, told

Found = TypeVar("Found")


class Reader:
    """Collects the faults of the options it reads; `done` raises them together.

    What could not be read comes back as 'not a number' and must not be used before `done`.
    """

    def __init__(self) -> None:
        self._faults: list[Fault] = []

    def quantity(self, text: str | None, kind: str, option: str) -> float | None:
        """A quantity with its unit in the canonical unit of its kind; None stays None."""
        from chemistry.units import read

        return None if text is None else self._try(lambda: read(text, kind, option))

    def needed(self, text: str | None, kind: str, option: str) -> float:
        """As `quantity`, for an option that is always there, or whose lack has been refused."""
        value = self.quantity(text, kind, option)
        return float("nan") if value is None else value

    def water_c(self, text: str | None, option: str) -> float | None:
        """The temperature of a water [degC], as far as its constants reach; None stays None."""
        from chemistry.water.constants import HIGHEST_C, LOWEST_C

        temperature_c = self.quantity(text, "temperature", option)
        self.between(temperature_c, text, option, LOWEST_C, HIGHEST_C, "0 to 40 °C (32 to 104 °F)")
        return temperature_c

    def number(self, text: str | None, option: str, low: float, high: float, example: str) -> float | None:
        """A bare number between two limits; None stays None."""
        if text is None:
            return None
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not low <= value <= high:
            said = f"{quoted(text)} is read; a number from {low:g} to {high:g} is allowed."
            self.refuse(option, said, f"Write for example {example}.")
        return value

    def between(
        self, value: float | None, text: str | None, option: str, low: float, high: float, allowed: str
    ) -> None:
        """Refuses a quantity outside its limits; `allowed` names them as a person would."""
        if value is not None and (value < low or value > high):
            self.refuse(option, f"{told(text)} is read; {allowed} is allowed.")

    def refuse(self, option: str, message: str, hint: str = "") -> None:
        """Add a fault."""
        self._faults.append(Fault(option, message, hint))

    def done(self) -> None:
        """Raise every fault found so far as one BadInput."""
        if self._faults:
            raise BadInput(self._faults)

    def tried(self, read: Callable[[], Found]) -> Found | None:
        """What `read` returns, or None where it refuses; its faults are kept for `done`."""
        try:
            return read()
        except BadInput as error:
            self._faults += error.faults
            return None

    def _try(self, read: Callable[[], float]) -> float:
        found = self.tried(read)
        return float("nan") if found is None else found
