"""Reads the options of a command, so that every fault among them is named at once."""

from __future__ import annotations

from collections.abc import Callable
from math import isnan
from typing import Any, TypeVar

from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.words import quoted

Found = TypeVar("Found")


class Reader:
    """Collects the faults of the options it reads; `done` raises them together.

    What could not be read comes back as 'not a number', which passes no comparison; whatever else is made of values before
    `done` is made by `made`.
    """

    def __init__(self) -> None:
        self._faults: list[Fault] = []

    def quantity(self, text: str | None, quantity: str, option: str) -> float | None:
        """A quantity of a name in `chemistry.allowed`, in the canonical unit of its kind; None stays None."""
        from tapwright.chemistry.allowed import read_within

        return None if text is None else self._try(lambda: read_within(text, quantity, option))

    def needed(self, text: str | None, quantity: str, option: str) -> float:
        """As `quantity`, for an option that is always there, or whose lack has been refused."""
        value = self.quantity(text, quantity, option)
        return float("nan") if value is None else value

    def number(self, text: str | None, number: str, option: str) -> float | None:
        """A bare number of a name in `chemistry.allowed`; None stays None."""
        from tapwright.chemistry.allowed import NUMBERS

        if text is None:
            return None
        limits = NUMBERS[number]
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if limits.holds(value):
            return value
        self.refuse(option, f"{quoted(text)} is read; {limits.allows}", f"Write for example {limits.example}.")
        return float("nan")

    def made(self, make: Callable[..., Found], *of: Any) -> Found | None:
        """What `make` makes of values as read here, or None: where one of them was refused, there is nothing to say of what
        it would have made; where `make` itself refuses, its faults are kept."""
        refused = any(isinstance(value, float) and isnan(value) for value in of)
        return None if refused else self.tried(lambda: make(*of))

    def refuse(self, option: str, message: str, hint: str = "") -> None:
        """Add a fault."""
        self._faults.append(Fault(option, message, hint))

    @property
    def faults(self) -> list[Fault]:
        """Every fault found so far."""
        return self._faults

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
