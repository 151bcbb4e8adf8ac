"""A table of which some values are faulty, without them: what does not fit together among the others can still be seen."""

from __future__ import annotations

import operator
from collections.abc import Mapping, Sequence
from functools import cache, reduce
from typing import TYPE_CHECKING, Annotated, Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, Field, ValidationError, create_model

if TYPE_CHECKING:
    from tapwright.chemistry.plan.household.quantities import Reading

Place = tuple[str | int, ...]
Model = TypeVar("Model", bound=BaseModel)


class Unknown(Exception):
    """A value was asked for that is faulty."""


class _Partial:
    """Makes a value that was left out known as such."""

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        raise Unknown(name)


def partial(model: type[Model], data: Any, faulty: Sequence[Place], reading: Reading) -> Model | None:
    """The table of the data without the faulty values, which raise Unknown when they are asked for.

    None where next to nothing is left of it.
    """
    left_out = {_cut(model, place) for place in faulty}
    if not isinstance(data, Mapping) or () in left_out:
        return None
    try:
        made: Model = _loose(model).model_validate(_without(data, left_out), context=reading)
    except ValidationError:
        return None
    for place in left_out:
        _forget(made, place)
    return made


@cache
def _loose(model: type[Model]) -> type[Model]:
    """The same table with no key that must be there."""
    fields: dict[str, Any] = {
        name: (
            Annotated[(_loosened(field.annotation), *field.metadata)]
            if field.metadata
            else _loosened(field.annotation),
            Field(None if field.is_required() else field.default, alias=field.alias),
        )
        for name, field in model.model_fields.items()
    }
    return create_model(model.__name__, __base__=(_Partial, model), **fields)  # type: ignore[arg-type]


def _loosened(kind: Any) -> Any:
    """A type with every table in it made loose."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return _loose(kind)
    inner = get_args(kind)
    if get_origin(kind) is list:
        return list[_loosened(inner[0])]  # type: ignore[misc]
    if type(None) in inner:
        return reduce(operator.or_, map(_loosened, inner))
    return kind


def table_in(kind: Any) -> type[BaseModel] | None:
    """The table a type of a field is, may be, or is a list of; None where it holds none."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return kind
    return next(filter(None, map(table_in, get_args(kind))), None)


def _cut(model: type[BaseModel], place: Place) -> Place:
    """The place of the key to leave out: the deepest one that a table holds, and never one of several in a list."""
    current: type[BaseModel] | None = model
    kept: Place = ()
    for number, part in enumerate(place):
        if isinstance(part, int):
            continue
        if current is None:
            break
        kept = place[: number + 1]
        field = next((f for name, f in current.model_fields.items() if part == (f.alias or name)), None)
        current = table_in(field.annotation) if field else None
    return kept


def _without(data: Any, left_out: set[Place]) -> Any:
    """The data without those places; what is not touched is not copied."""
    below: dict[str | int, set[Place]] = {}
    for place in left_out:
        below.setdefault(place[0], set()).add(place[1:])
    keys = enumerate(data) if isinstance(data, list) else data.items()
    kept = {
        key: _without(value, below[key]) if key in below and isinstance(value, dict | list) else value
        for key, value in keys
        if () not in below.get(key, ())
    }
    return list(kept.values()) if isinstance(data, list) else kept


def _forget(table: Any, place: Place) -> None:
    """Makes the value at a place unknown."""
    for part in place[:-1]:
        inner = list(table[part : part + 1]) if isinstance(part, int) else [vars(table).get(_name(table, part))]
        if inner in ([], [None]):
            return  # it went with something further out
        (table,) = inner
    vars(table).pop(_name(table, place[-1]), None)


def _name(table: BaseModel, key: str | int) -> str:
    return next((name for name, field in type(table).model_fields.items() if key == (field.alias or name)), "")
