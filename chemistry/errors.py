"""The exception tree: every refusal says where, what was read, what is allowed and what to write instead."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Self


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong.

    where: file:line: key, an option's name, or the quantity's name.
    message: what was read and what is allowed.
    hint: what to write or do instead; may be empty.
    """

    where: str
    message: str
    hint: str = ""

    def __str__(self) -> str:
        head = f"{self.where}: " if self.where else ""
        tail = f" {self.hint}" if self.hint else ""
        return f"{head}{self.message}{tail}"


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
