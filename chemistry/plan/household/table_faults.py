"""What is wrong with a table in our own words, whoever found it: the types, the limits, or what must fit together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

from tapwright.chemistry.errors import Fault
from tapwright.chemistry.plan.household.partial import Place, table_in
from tapwright.chemistry.plan.household.quantities import REFUSED, Misfit
from tapwright.chemistry.words import nearest, told

if TYPE_CHECKING:
    from pydantic import BaseModel

MISFIT = "misfit"  # the kind of an error, as pydantic carries it, for what does not fit together
MOST_OF_A_KIND = 20  # faults of one kind that are told one by one
_MOST_KEYS = 12

# What pydantic calls a value that is none of ours, in our words.
_WANTED = {
    "bool_type": ("yes or no", "Write true or false, without quotes."),
    "int_type": ("a whole number", "Write for example 2, without quotes."),
    "int_from_float": ("a whole number", "Write for example 2, without quotes."),
    "dict_type": ("names with their numbers", "Write for example { elbow = 2, ball_valve = 1 }."),
    "string_type": ("text in quotes", 'Write for example "5 mL".'),
}
_A_DATE = ("a date", "Write year-month-day without quotes: 2026-03-14.")


def faults_of(
    entries: Sequence[Mapping[str, Any]], model: type[BaseModel], misfits: Iterable[Misfit]
) -> Iterable[Fault]:
    """Every fault pydantic found and what else does not fit together, each at its place.

    Of very many of one kind, such as a file with thousands of tables has them, the first are told and the rest counted.
    """
    found: list[tuple[tuple[Place, str], Place, Any]] = [
        (_kind(entry), tuple(entry["loc"]), entry) for entry in entries
    ]
    found += [((_whichever(misfit.place), MISFIT), misfit.place, misfit) for misfit in misfits]
    seen: Counter[tuple[Place, str]] = Counter()
    last: dict[tuple[Place, str], Place] = {}
    told_one_by_one: dict[Fault, None] = {}
    for kind, place, what in found:
        seen[kind] += 1
        if seen[kind] <= MOST_OF_A_KIND:
            told_one_by_one.update(dict.fromkeys(_in_our_words(what, place, model)))
        last[kind] = place
    more = [
        Fault.at(last[kind], f"the same again: {count - MOST_OF_A_KIND} more of this kind.", "Mend the others first.")
        for kind, count in seen.items()
        if count > MOST_OF_A_KIND
    ]
    return [*told_one_by_one, *more]


def _kind(entry: Mapping[str, Any]) -> tuple[Place, str]:
    """Where in a table, whichever of several, and what; unknown keys are of one kind whatever they are called."""
    place, kind = tuple(entry["loc"]), entry["type"]
    return _whichever(place[:-1] if kind == "extra_forbidden" else place), kind


def _whichever(place: Place) -> Place:
    return tuple(part for part in place if isinstance(part, str))


def _in_our_words(what: Any, place: Place, model: type[BaseModel]) -> Iterator[Fault]:
    if not isinstance(what, Mapping):
        yield Fault.at(place, what.message, what.hint)
    elif what["type"] in (MISFIT, REFUSED):
        yield from (Fault.at(place, message, hint) for message, hint in what["ctx"]["faults"])
    else:
        yield Fault.at(place, *_of_pydantic(what, place, model))


def _of_pydantic(entry: Mapping[str, Any], place: Place, model: type[BaseModel]) -> tuple[str, str]:
    """(message, hint) for one of its own errors."""
    kind, read = entry["type"], told(entry.get("input"))
    if kind == "missing":
        return "not given, and it is needed.", ""
    if kind == "extra_forbidden":
        return "is not a key known here.", _nearest_key(place, model)
    if kind in ("model_type", "model_attributes_type"):
        return f"{read} is read; a table is wanted.", f"Write a table {_whichever(place)[-1]}." if place else ""
    if kind == "list_type":
        return "a list of tables is wanted.", f"Write [[{place[-1]}]] with two brackets, once for each."
    if kind == "too_short":
        return "none is given; one at least is needed.", f"Write [[{place[-1]}]]."
    wanted, hint = _A_DATE if kind.startswith("date") else _WANTED.get(kind, ("something else", ""))
    return f"{read} is read; {wanted} is wanted.", hint


def _nearest_key(place: Place, model: type[BaseModel]) -> str:
    known = _keys_at(_whichever(place[:-1]), model)
    near = nearest(str(place[-1]), known, n=1, cutoff=0.5)
    if near or not known:
        return f"Did you mean '{near[0]}'?" if near else ""
    more = f" and {len(known) - _MOST_KEYS} more" if len(known) > _MOST_KEYS else ""
    return f"Known keys: {', '.join(known[:_MOST_KEYS])}{more}."


@cache
def _keys_at(tables: tuple[str, ...], model: type[BaseModel]) -> tuple[str, ...]:
    """The keys of the table at a place; none where there is no such table."""
    current: type[BaseModel] | None = model
    for part in tables:
        field = (
            next((f for name, f in current.model_fields.items() if part == (f.alias or name)), None)
            if current
            else None
        )
        current = table_in(field.annotation) if field else None
    return keys(current) if current else ()


def keys(model: type[BaseModel]) -> tuple[str, ...]:
    """The keys of a table as they stand in the file."""
    return tuple(field.alias or name for name, field in model.model_fields.items())
