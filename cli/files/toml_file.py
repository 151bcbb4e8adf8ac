"""Reads a TOML file a person wrote: its text, its data, and on which line each key stands."""

from __future__ import annotations

import re
import sys
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tapwright.chemistry.errors import BadInput, Fault, dotted
from tapwright.chemistry.words import LONGEST, LONGEST_PATH, quoted, shown

Location = Sequence[str | int]

_MOST = 200  # faults of a file that are told; who mends those sees the rest

_TOML_PLACE = re.compile(r"\(at line (\d+), column (\d+)\)|\(at end of document\)")
_CURLY, _STRAIGHT = re.compile("[“”„]"), '"'
_DATE = re.compile(r"=\s*(\d\d)\.(\d\d)\.(\d{4})\s*$")
_BARE_VALUE = re.compile(r"^\s*[\w-]+\s*=\s*[^\"'\[{\s#].*$")
# What the parser says with names of its own, and what of it a person can use.
_SAID = tuple(
    (re.compile(pattern), ours)
    for pattern, ours in (
        ("overwrite|twice|duplicate|mutate|redefine", "this key or table stands twice"),
        (r"character '\\n'|unterminated", "a quotation mark is missing"),
        ("invalid character|illegal character", "a control character stands here"),
        ("end of document after", "something follows where the entry ends"),
        ("statement|key part|after a key", "this is no entry"),
        ("escape|hex|unicode|\\\\", "a backslash in quotes begins a special letter"),
        ("bracket|declaration|array|inline table", "a bracket is not closed"),
        ("date", "this is no date"),
        ("invalid value", "this is no value"),
    )
)


def text_of(path: Path, absent_hint: str) -> str:
    """The file as text; a byte-order mark is let pass, anything else unreadable is refused.

    path: "-" is stdin.  absent_hint: what to do where there is no such file.
    """
    if path == Path("-"):
        return sys.stdin.read()
    try:
        return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except FileNotFoundError:
        raise BadInput.of(str(path), "there is no such file.", absent_hint) from None
    except OSError as error:
        raise BadInput.of(
            shown(str(path), LONGEST_PATH), f"cannot be read: {(error.strerror or 'unknown reason').lower()}."
        ) from None
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
        plain = _TOML_PLACE.sub("", said).strip().rstrip(".:").lower() or "cannot be read"
        reason = next((ours for pattern, ours in _SAID if pattern.search(plain)), plain)
        read = f" {quoted(line)} is read." if line else ""
        raise BadInput.of(f"{path}:{number}", f"{reason}.{read}", _toml_hint(line, lists)) from None


def _toml_hint(line: str, lists: Sequence[str]) -> str:
    """What to write instead of a line that is no TOML; too long a one is not written out again."""
    general = 'A line reads: key = "value", or [table], or # remark.'
    if len(line) > LONGEST or not line.isprintable():
        return "A quotation mark is missing." if line.count('"') % 2 else general
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
    return general


def located(path: Path, line: int, place: Location) -> str:
    """file:line: key, as a fault names it."""
    return f"{path}:{line}: {dotted(place)}"


def the_first(faults: Sequence[Fault]) -> list[Fault]:
    """As many of the faults of a file as anybody reads, and how many there are besides."""
    if len(faults) <= _MOST:
        return list(faults)
    more = Fault(faults[_MOST].where, f"and {len(faults) - _MOST} faults more from here on.", "Mend those above first.")
    return [*faults[:_MOST], more]


# What stands between two entries, a key with the point that another follows, and the pieces of a value.
_GAP = re.compile(r"(?:[ \t\n]++|#[^\n]*+)*+")
_KEY = re.compile(r"""[ \t]*+("(?:[^"\\\n]|\\.)*+"|'[^'\n]*+'|[\w-]++)[ \t]*+(\.?)""", re.ASCII)
_PIECE = re.compile(
    r"""
    \"{3} (?: [^"\\]++ | \\. | "(?!"") )*+ "{3,5}  # text over several lines
    | '{3} (?: [^']++ | '(?!'') )*+ '{3,5}
    | "(?: [^"\\\n]++ | \\. )*+"
    | '[^'\n]*+'
    | \#[^\n]*+
    | (?P<open> [\[{] )
    | (?P<close> [\]}] )
    | (?P<end> \n )
    | [^"'#\[\]{}\n]++
    """,
    re.VERBOSE | re.DOTALL,
)


class Lines:
    """Line of a key: where the entry that brings it into being begins. The text, which must be TOML, is gone through once.

    A key stands for all that its value holds: the third of a list has the line of the list's key.
    """

    def __init__(self, text: str) -> None:
        self._text = text
        self._known: dict[tuple[str | int, ...], int] = {}
        self._number_of: dict[tuple[str | int, ...], int] = {}  # tables so far of each that stands several times
        self._find()

    def of(self, place: Location) -> int:
        """The line of the deepest part of the place that stands in the file; 1 where none does."""
        parts = tuple(place)
        return next((self._known[parts[:n]] for n in range(len(parts), 0, -1) if parts[:n] in self._known), 1)

    def _find(self) -> None:
        table: tuple[str | int, ...] = ()
        counted, line = 0, 1
        while (start := self._after(_GAP, counted)) < len(self._text):
            line += self._text.count("\n", counted, start)
            brackets = 2 if self._text.startswith("[[", start) else int(self._text[start] == "[")
            keys, end = self._keys(start + brackets)
            if brackets:
                table = self._entered(keys, once_more=brackets == 2)
            self._note(table if brackets else (*table, *keys), line)
            line += self._text.count("\n", start, counted := self._end(end))

    def _after(self, pattern: re.Pattern[str], start: int) -> int:
        found = pattern.match(self._text, start)
        return found.end() if found else start

    def _keys(self, start: int) -> tuple[list[str], int]:
        """The keys, with points between them, that begin here, and where they end."""
        keys = []
        while found := _KEY.match(self._text, start):
            keys.append(_unquoted(found[1]))
            start = found.end()
            if not found[2]:
                break
        return keys, start

    def _end(self, start: int) -> int:
        """Where the entry ends: at the first end of a line that no bracket and no text holds together."""
        depth = 0
        while found := _PIECE.match(self._text, start):
            start = found.end()
            if found["end"] and not depth:
                return start
            depth += bool(found["open"]) - (bool(found["close"]) and depth > 0)
        return len(self._text)

    def _entered(self, keys: Sequence[str], *, once_more: bool) -> tuple[str | int, ...]:
        """The table of a header: of what stands several times, the last so far."""
        place: tuple[str | int, ...] = ()
        for number, key in enumerate(keys, 1):
            place = (*place, key)
            if once_more and number == len(keys):
                self._number_of[place] = self._number_of.get(place, 0) + 1
            if place in self._number_of:
                place = (*place, self._number_of[place] - 1)
        return place

    def _note(self, place: tuple[str | int, ...], line: int) -> None:
        for depth in range(len(place), 0, -1):
            if place[:depth] in self._known:
                break
            self._known[place[:depth]] = line


def _unquoted(key: str) -> str:
    """A key as data have it."""
    if "\\" in key and key[0] == '"':
        return str(tomllib.loads(f"key = {key}")["key"])
    return key[1:-1] if key[0] in "\"'" else key
