"""Values of a table as Python has them, brought to what a file holds: numbers under the names of the fields, and dates.

A file writes every unit. In Python a number may stand under the name of its field, which ends in the unit it is in
(`volume_l=220.0` for `volume = "220 L"`), a share as a number from 0 to 1, and a date as text as JSON has it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from tapwright.chemistry import allowed, units
from tapwright.chemistry.plan.household.quantities import InUnit, Quantity


def as_in_a_file(table: type[BaseModel], data: Any) -> Any:
    """Such data of a table by the keys of the file; what is not a mapping, or unknown, is left for the table to refuse."""
    if not isinstance(data, Mapping):
        return data
    return dict(_entry(table, str(key), value) for key, value in data.items())


def _entry(table: type[BaseModel], key: str, value: Any) -> tuple[str, Any]:
    by_name = table.model_fields.get(key)
    by_key = next((info for name, info in table.model_fields.items() if key == (info.alias or name)), None)
    info = by_key or by_name
    if info is None:
        return key, value
    own_key = (info.alias or key) if by_key is None else key
    return own_key, _value(info, value, unit_said=by_key is None)


def _value(info: FieldInfo, value: Any, *, unit_said: bool) -> Any:
    kinds = list(_within(info.annotation, info.metadata))
    inner = next((kind for kind in kinds if isinstance(kind, type) and issubclass(kind, BaseModel)), None)
    if inner is not None:
        many = isinstance(value, Sequence) and not isinstance(value, str)
        return [as_in_a_file(inner, entry) for entry in value] if many else as_in_a_file(inner, value)
    if (quantity := quantity_of(info)) is not None:
        return _quantity(allowed.QUANTITIES[quantity].kind, value, unit_said=unit_said)
    if date in kinds and isinstance(value, str):
        return _date(value)
    return value


def quantity_of(info: FieldInfo) -> str | None:
    """Name in `chemistry.allowed` of the quantity that a field holds; None where it holds none."""
    return next((kind.name for kind in _within(info.annotation, info.metadata) if isinstance(kind, Quantity)), None)


def _within(annotation: Any, metadata: Sequence[Any] = ()) -> Any:
    """Every type and remark in an annotation, however deep."""
    yield from metadata
    yield annotation
    for part in get_args(annotation):
        yield from _within(part)


def _quantity(kind: str, value: Any, *, unit_said: bool) -> Any:
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_quantity(kind, entry, unit_said=unit_said) for entry in value]
    if isinstance(value, bool | InUnit) or not hasattr(value, "__float__") or units.is_pint(value):
        return value
    return InUnit(value) if unit_said or kind == "share" else value


def _date(text: str) -> Any:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return text
