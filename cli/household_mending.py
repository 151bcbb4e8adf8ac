"""A household with faults in it, mended by the template's examples, so that what else does not fit can be seen."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from copy import deepcopy
from functools import cache
from typing import Any

from cli.household_template import filled

Place = tuple[str | int, ...]


def mended(data: dict[str, Any], faults: Iterable[tuple[Place, str]]) -> dict[str, Any] | None:
    """A copy of the data in which every faulty place holds an example; None where there is no example for one.

    faults: (place, kind of fault as pydantic names it).
    """
    copy = deepcopy(data)
    for place, kind in faults:
        if kind == "extra_forbidden":
            _holder(copy, place).pop(place[-1], None)
            continue
        example = _example(place)
        if example is None:
            return None
        _holder(copy, place)[place[-1]] = example
    return copy


def _holder(data: Any, place: Place) -> Any:
    """The table or list that holds the last part of a place."""
    for part in place[:-1]:
        data = data[part]
    return data


@cache
def _examples() -> Mapping[str, Any]:
    return tomllib.loads(filled(optional=True))


def _example(place: Place) -> Any:
    """The template's value at a place, the first entry of each list standing for all; None where it has none."""
    value: Any = _examples()
    for part in place:
        if isinstance(value, list) and value:
            value = value[0]
        if isinstance(part, int):
            continue
        if not isinstance(value, Mapping) or part not in value:
            return None
        value = value[part]
    if isinstance(place[-1], int) and isinstance(value, list):
        value = value[0]
    return deepcopy(value)
