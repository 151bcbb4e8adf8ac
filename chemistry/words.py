"""How what someone wrote is told back in a message: as it stands in TOML, on one line, cut where it is long."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping
from datetime import date, time
from typing import Any

LONGEST = 60  # letters of a value that a message repeats; enough to find it again
LONGEST_PATH = 600  # of a file that cannot be opened, and so may be called anything
_LONGEST_WORD = 100  # a word longer than this is no slip of the pen for a name
_SHORT = {"\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r"}
_LARGEST = 10**18
_CUT = "..."


def shown(text: str, most: int = LONGEST) -> str:
    """The text with what cannot be seen, or turns the line round, escaped as TOML does, and cut after `most` letters."""
    return _cut((letter if letter.isprintable() else escaped(letter) for letter in text), most)


def quoted(text: str, most: int = LONGEST) -> str:
    """The same between quotation marks."""
    return f"'{shown(text, most)}'"


def told(value: Any, most: int = LONGEST) -> str:
    """A value as it stands in TOML; text in the quotation marks of our messages. Cut after `most` letters."""
    return quoted(value, most) if isinstance(value, str) else _cut(_spelled(value), most)


def nearest(word: str, known: Collection[str], n: int = 3, cutoff: float = 0.6) -> list[str]:
    """Those of the known words that the written one resembles, the most alike first; none for a text without end."""
    from difflib import get_close_matches

    return get_close_matches(word, known, n=n, cutoff=cutoff) if len(word) <= _LONGEST_WORD else []


def escaped(letter: str) -> str:
    """One letter as TOML escapes it."""
    code = ord(letter)
    return _SHORT.get(letter) or (f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}")


def _cut(pieces: Iterable[str], most: int) -> str:
    """The pieces in a row, no more of them than fit; they are asked for one at a time, so that none is made in vain."""
    kept: list[str] = []
    length = 0
    for piece in pieces:
        kept.append(piece)
        length += len(piece)
        if length > most:
            while length > most - len(_CUT):
                length -= len(kept.pop())
            return "".join(kept) + _CUT
    return "".join(kept)


def _spelled(value: Any) -> Iterator[str]:
    """The value in TOML, piece by piece."""
    if isinstance(value, str):
        yield '"'
        yield from (letter if letter.isprintable() else escaped(letter) for letter in value)
        yield '"'
    elif isinstance(value, Mapping):
        yield from _listed("{ ", (([*_spelled_key(key), " = "], entry) for key, entry in value.items()))
        yield " }" if value else "}"
    elif isinstance(value, list | tuple):
        yield from _listed("[", (([], entry) for entry in value))
        yield "]"
    else:
        yield _plain(value)


def _listed(opening: str, entries: Iterable[tuple[list[str], Any]]) -> Iterator[str]:
    yield opening
    for number, (head, entry) in enumerate(entries):
        if number:
            yield ", "
        yield from head
        yield from _spelled(entry)


def _spelled_key(key: Any) -> Iterator[str]:
    text = str(key)
    return iter(text) if text.replace("-", "_").isidentifier() and text.isascii() else _spelled(text)


def _plain(value: Any) -> str:
    """One that holds no others."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date | time):  # a date with a time of day is a date as well
        return value.isoformat()
    if isinstance(value, int) and abs(value) >= _LARGEST:
        return "a number of 19 digits or more"
    if isinstance(value, float) and math.isinf(value):
        return "infinity" if value > 0 else "minus infinity"  # `1e400` is no less so than `inf`
    return shown(str(value))
