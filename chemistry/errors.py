"""The exception tree: every refusal says where, what was read, what is allowed and what to write instead."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Self

from tapwright.chemistry.words import shown


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong.

    where: file:line: key, an option's name, or the quantity's name.
    message: what was read and what is allowed.
    hint: what to write or do instead; may be empty.
    place: keys and numbers that lead to it in the data it was found in, lists from 0; empty where it was in none.
    """

    where: str
    message: str
    hint: str = ""
    place: tuple[str | int, ...] = field(default=(), compare=False)

    @classmethod
    def at(cls, place: Sequence[str | int], message: str, hint: str = "") -> Self:
        """A fault at a place of data that were read, named by its keys with a point between."""
        return cls(dotted(place), message, hint, tuple(place))

    def __str__(self) -> str:
        head = f"{self.where}: " if self.where else ""
        tail = f" {self.hint}" if self.hint else ""
        return f"{head}{self.message}{tail}"


def dotted(place: Sequence[str | int]) -> str:
    """tank.2.readings.ph: tables of a list are counted from 1, as a person does."""
    return ".".join(str(part + 1) if isinstance(part, int) else shown(part) for part in place)


class TapwrightError(Exception):
    """Root of every refusal; carries its faults, its kind and more details for machines, and its exit code for shells."""

    kind = "error"
    exit_code = 2

    def __init__(self, faults: Fault | Iterable[Fault], details: Mapping[str, Any] | None = None) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        self.details = details or {}
        super().__init__("\n".join(map(str, self.faults)))

    @classmethod
    def of(cls, where: str, message: str, hint: str = "") -> Self:
        """One error with one fault."""
        return cls(Fault(where, message, hint))


class BadInput(TapwrightError):
    """What was written cannot be read or is not allowed."""

    kind = "bad_input"


class OutOfRange(BadInput):
    """What was written can be read, but the formulas or physics do not hold there."""

    kind = "out_of_range"


class NoAnswer(TapwrightError):
    """The question is well put and has no answer; says what stands in the way and the nearest that works."""

    kind = "no_answer"
    exit_code = 3


class NotInTime(NoAnswer):
    """The budget of the question ended before an answer was found, and before it was known that there is none."""

    kind = "not_found_in_time"
