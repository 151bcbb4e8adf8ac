"""Reads a TOML file a person wrote: its text, its data, and on which line each key stands."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from chemistry.errors import BadInput

Location = Sequence[str | int]

_TOML_PLACE = re.compile(r"\(at line (\d+), column (\d+)\)|\(at end of document\)")
_CURLY, _STRAIGHT = re.compile("[“”„]"), '"'
_DATE = re.compile(r"=\s*(\d\d)\.(\d\d)\.(\d{4})\s*$")
_BARE_VALUE = re.compile(r"^\s*[\w-]+\s*=\s*[^\"'\[{\s#].*$")


def text_of(path: Path, absent_hint: str) -> str:
    """The file as text; a byte-order mark is let pass, anything else unreadable is refused.

    absent_hint: what to do where there is no such file.
    """
    try:
        return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except FileNotFoundError:
        raise BadInput.of(str(path), "there is no such file.", absent_hint) from None
    except OSError as error:
        raise BadInput.of(str(path), f"cannot be read: {(error.strerror or 'unknown reason').lower()}.") from None
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise BadInput.of(f"{path}:{line}", "is not UTF-8 text.", "Save the file as UTF-8.") from None


def parsed(text: str, path: Path, lists: Sequence[str]) -> dict[str, Any]:
    """The TOML of a text, or BadInput with the line and the likeliest mistake.

    lists: names of the tables that stand once for each of several things.
    """
    try:
        return tomllib.loads(text)
    except (RecursionError, ValueError) as error:
        if not isinstance(error, tomllib.TOMLDecodeError):
            raise BadInput.of(str(path), "holds a number or a nesting too large to read.") from None
        said = str(error)
        place = _TOML_PLACE.search(said)
        lines = text.split("\n")
        number = int(place[1]) if place and place[1] else len(lines)
        line = lines[number - 1].split("#")[0].strip() if number <= len(lines) else ""
        reason = _TOML_PLACE.sub("", said).strip().rstrip(".:").lower() or "cannot be read"
        if "overwrite" in reason or "twice" in reason:
            reason = "this key or table stands twice"
        read = f" '{line}' is read." if line else ""
        raise BadInput.of(f"{path}:{number}", f"{reason}.{read}", _toml_hint(line, lists)) from None


def _toml_hint(line: str, lists: Sequence[str]) -> str:
    """What to write instead of a line that is no TOML."""
    if _CURLY.search(line):
        return f"Quotation marks must be straight: {_CURLY.sub(_STRAIGHT, line)}"
    if match := _DATE.search(line):
        key = line.split("=")[0].strip()
        return f"A date is written year-month-day, without quotes: {key} = {match[3]}-{match[2]}-{match[1]}"
    if (header := line.strip("[] ")) in lists:
        return f"Write [[{header}]] with two brackets, once for each."
    if _BARE_VALUE.match(line):
        key, _, value = line.partition("=")
        return f'A quantity stands in quotes, with its unit: {key.strip()} = "{value.strip().replace(",", ".")}".'
    if line.count('"') % 2:
        return "A quotation mark is missing."
    return 'A line reads: key = "value", or [table], or # remark.'


class Lines:
    """Line of a key: the shortest prefix of the file that parses and contains it ends there.

    A prefix that contains a key is followed only by prefixes that contain it, so the shortest is found by halving.
    """

    def __init__(self, text: str) -> None:
        self._lines = text.split("\n")
        self._prefixes: dict[int, dict[str, Any] | None] = {0: {}}

    def of(self, place: Location) -> int:
        """The line of the deepest part of the place that stands in the file; 1 where none does."""
        for depth in range(len(place), 0, -1):
            if number := self._shortest(place[:depth]):
                return self._first_line(number)
        return 1

    def _shortest(self, place: Location) -> int:
        """Number of lines of the shortest prefix that holds the place; 0 where none does."""
        low, high = 0, len(self._lines)
        if not _holds(self._parsed(high), place):
            return 0
        while low < high:
            middle = (low + high) // 2
            if _holds(self._parsed(self._whole(middle)), place):
                high = middle
            else:
                low = middle + 1
        return self._whole(low)

    def _whole(self, number: int) -> int:
        """The first prefix of so many lines or more that ends where a value does."""
        return next(n for n in range(number, len(self._lines) + 1) if self._parsed(n) is not None)

    def _parsed(self, number: int) -> dict[str, Any] | None:
        """The first lines of the file as data; None inside a value that goes on over several lines."""
        if number not in self._prefixes:
            try:
                self._prefixes[number] = tomllib.loads("\n".join(self._lines[:number]))
            except tomllib.TOMLDecodeError:
                self._prefixes[number] = None
        return self._prefixes[number]

    def _first_line(self, last: int) -> int:
        """First line of a value that ends on line `last`: back to where the prefix before it parsed."""
        first = last
        while first > 1 and self._parsed(first - 1) is None:
            first -= 1
        return first


def _holds(data: Any, place: Location) -> bool:
    for part in place:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            return False
    return True


def dotted(place: Location) -> str:
    """tank.2.readings.ph: tables of a list are counted from 1, as a person does."""
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in place)
