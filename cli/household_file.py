"""Reads a household file: TOML, then the models, with every fault at once and the line of each."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chemistry.errors import BadInput, Fault
from cli.toml_file import Lines, Location, dotted, parsed, text_of

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError

    from chemistry.plan.household import Household
    from chemistry.plan.quantities import Misfit

_LISTS = ("tank", "salt", "neutraliser")


# What pydantic calls a value that is none of ours, in our words.
_WANTED = {
    "bool_type": ("yes or no", "Write true or false, without quotes."),
    "int_type": ("a whole number", "Write for example 2, without quotes."),
    "int_from_float": ("a whole number", "Write for example 2, without quotes."),
    "dict_type": ("names with their numbers", "Write for example { elbow = 2, ball_valve = 1 }."),
}


def load(path: Path) -> Household:
    """The household of a file. Raises BadInput with every fault as file:line: key."""
    text = text_of(path, f"Make one with: tapwright new {path}")
    data = parsed(text, path, _LISTS)
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
    lines = Lines(text)
    located = sorted(((lines.of(place), place, fault) for place, fault in found), key=lambda entry: entry[0])
    said = (Fault(f"{path}:{line}: {dotted(place)}", fault.message, fault.hint) for line, place, fault in located)
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
    if kind in _WANTED:
        wanted, hint = _WANTED[kind]
        return Fault("", f"{_short(read)} is read; {wanted} is wanted.", hint)
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
