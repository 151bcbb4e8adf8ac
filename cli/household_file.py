"""Reads a household file: TOML, then the models, with every fault at once and the line of each."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chemistry.errors import BadInput, Fault

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError

    from chemistry.plan.household import Household
    from chemistry.plan.quantities import Misfit

Location = Sequence[str | int]

_TOML_PLACE = re.compile(r"\(at line (\d+), column (\d+)\)|\(at end of document\)")
_CURLY, _STRAIGHT = re.compile("[“”„]"), '"'
_DATE = re.compile(r"=\s*(\d\d)\.(\d\d)\.(\d{4})\s*$")
_BARE_VALUE = re.compile(r"^\s*[\w-]+\s*=\s*[^\"'\[{\s#].*$")


def load(path: Path) -> Household:
    """The household of a file. Raises BadInput with every fault as file:line: key."""
    text = _text(path)
    data = _parsed(text, path)
    from pydantic import ValidationError

    from chemistry.plan.household import Household

    try:
        household = Household.model_validate(data)
    except ValidationError as error:
        found = [*_faults(error, Household), *_misfits_behind(error, data)]
    else:
        found = [_misfit_fault(misfit) for misfit in household.misfits()]
        if not found:
            return household
    lines = _Lines(text)
    located = sorted(((lines.of(place), place, fault) for place, fault in found), key=lambda entry: entry[0])
    said = (Fault(f"{path}:{line}: {_dotted(place)}", fault.message, fault.hint) for line, place, fault in located)
    raise BadInput(dict.fromkeys(said))


def _misfit_fault(misfit: Misfit) -> tuple[tuple[str | int, ...], Fault]:
    return _place(misfit.keys[0]), Fault("", misfit.message, misfit.hint)


def _place(dotted: str) -> tuple[str | int, ...]:
    return tuple(int(part) if part.isdigit() else part for part in dotted.split("."))


def _misfits_behind(error: ValidationError, data: dict[str, Any]) -> list[tuple[tuple[str | int, ...], Fault]]:
    """What does not fit together, seen once the single faults are mended; only what no mended key has a part in."""
    from pydantic import ValidationError

    from chemistry.plan.household import Household
    from cli.household_mending import mended

    entries = error.errors(include_url=False)
    whole = mended(data, [(tuple(entry["loc"]), entry["type"]) for entry in entries])
    try:
        misfits = [] if whole is None else Household.model_validate(whole).misfits()
    except ValidationError:
        return []
    mended_places = [tuple(entry["loc"]) for entry in entries if entry["type"] != "extra_forbidden"]

    def untouched(key: str) -> bool:
        place = _place(key)
        return not any(place[: len(other)] == other or other[: len(place)] == place for other in mended_places)

    return [_misfit_fault(misfit) for misfit in misfits if all(map(untouched, misfit.keys))]


def _text(path: Path) -> str:
    """The file as text; a byte-order mark is let pass, anything else unreadable is refused."""
    try:
        return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except FileNotFoundError:
        hint = f"Make one with: tapwright new {path}"
        raise BadInput.of(str(path), "there is no such file.", hint) from None
    except OSError as error:
        raise BadInput.of(str(path), f"cannot be read: {(error.strerror or 'unknown reason').lower()}.") from None
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise BadInput.of(f"{path}:{line}", "is not UTF-8 text.", "Save the file as UTF-8.") from None


def _parsed(text: str, path: Path) -> dict[str, Any]:
    """The TOML of a text, or BadInput with the line and the likeliest mistake."""
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
        raise BadInput.of(f"{path}:{number}", f"{reason}.{read}", _toml_hint(line)) from None


def _toml_hint(line: str) -> str:
    """What to write instead of a line that is no TOML."""
    if _CURLY.search(line):
        return f"Quotation marks must be straight: {_CURLY.sub(_STRAIGHT, line)}"
    if match := _DATE.search(line):
        key = line.split("=")[0].strip()
        return f"A date is written year-month-day, without quotes: {key} = {match[3]}-{match[2]}-{match[1]}"
    if (header := line.strip("[] ")) in ("tank", "salt", "neutraliser"):
        return f"Write [[{header}]] with two brackets, once for each."
    if _BARE_VALUE.match(line):
        key, _, value = line.partition("=")
        return f'A quantity stands in quotes, with its unit: {key.strip()} = "{value.strip().replace(",", ".")}".'
    if line.count('"') % 2:
        return "A quotation mark is missing."
    return 'A line reads: key = "value", or [table], or # remark.'


class _Lines:
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


def _faults(error: Any, model: type[BaseModel]) -> Iterator[tuple[tuple[str | int, ...], Fault]]:
    """Every fault pydantic found, as (place, fault) in our words."""
    for entry in error.errors(include_url=False):
        place = tuple(entry["loc"])
        if entry["type"] == "tapwright":
            for message, hint in entry["ctx"]["faults"]:
                yield place, Fault("", message, _own_example(place, hint))
        else:
            yield place, _in_our_words(entry, place, model)


def _in_our_words(entry: dict[str, Any], place: tuple[str | int, ...], model: type[BaseModel]) -> Fault:
    kind, read = entry["type"], entry.get("input")
    if kind == "missing":
        return Fault("", "not given, and it is needed.", _example(place))
    if kind == "extra_forbidden":
        return Fault("", "is not a key known here.", _nearest(place, model))
    if kind in ("model_type", "model_attributes_type"):
        names = [part for part in place if isinstance(part, str)]
        return Fault(
            "", f"{_short(read)} is read; a table is wanted.", _example(place) or f"Write a table {names[-1]}."
        )
    if kind == "list_type":
        return Fault("", "a list of tables is wanted.", f"Write [[{place[-1]}]] with two brackets, once for each.")
    if kind == "too_short":
        return Fault("", "none is given; one at least is needed.", f"Write [[{place[-1]}]].")
    if kind.startswith("date"):
        return Fault("", f"'{read}' is read; a date is wanted.", "Write year-month-day without quotes: 2026-03-14.")
    if kind == "string_type":
        return Fault("", f"{_short(read)} is read; text in quotes is wanted.", f'Write "{read}".')
    return Fault("", f"{_short(read)} is read; {entry['msg'].lower()}.", "")


def _short(value: Any) -> str:
    """A value as it was read, cut where it is long."""
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _model_at(place: Location, model: type[BaseModel]) -> type[BaseModel] | None:
    """The model that holds the last part of a place."""
    from typing import get_args

    from pydantic import BaseModel

    current: type[BaseModel] | None = model
    for part in place[:-1]:
        if isinstance(part, int) or current is None:
            continue
        field = next((f for name, f in current.model_fields.items() if part in (f.alias, name)), None)
        options = [field.annotation, *get_args(field.annotation)] if field else []
        current = next((o for o in options if isinstance(o, type) and issubclass(o, BaseModel)), None)
    return current


def _keys(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def _nearest(place: tuple[str | int, ...], model: type[BaseModel]) -> str:
    holder = _model_at(place, model)
    if holder is None:
        return ""
    keys = _keys(holder)
    near = get_close_matches(str(place[-1]), keys, n=1, cutoff=0.5)
    return f"Did you mean '{near[0]}'?" if near else f"Known keys: {', '.join(keys)}."


def _example(place: tuple[str | int, ...]) -> str:
    """How to write the missing key, taken from the file that `tapwright new` writes."""
    from cli.household_template import example_of

    return example_of([part for part in place if isinstance(part, str)])


def _own_example(place: tuple[str | int, ...], hint: str) -> str:
    """The template's example for this very key, where the hint is only a general one."""
    general = not hint or hint.startswith("Write for example")
    return (_example(place) if general else "") or hint


def _dotted(place: Location) -> str:
    """tank.2.readings.ph: tables of a list are counted from 1, as a person does."""
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in place)
