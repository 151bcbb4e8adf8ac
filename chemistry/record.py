"""What every answer of the engine can do beside being read by its attributes: become a mapping, JSON or a table, and
come back from JSON."""

from __future__ import annotations

import html
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, ClassVar, Self, cast

from tapwright.chemistry.errors import BadInput

if TYPE_CHECKING:
    import pandas as pd


# What the tables of a household within a record are told of where their values come from.
FROM_JSON = "from JSON"


class Record:
    """A frozen dataclass that can be written out; a number that is not finite is written as JSON's text 'Infinity'."""

    __pydantic_config__: ClassVar[Mapping[str, object]] = {"ser_json_inf_nan": "strings"}

    def to_dict(self) -> dict[str, Any]:
        """Its fields by name, records in it likewise, arrays as lists."""
        found: dict[str, Any] = plain(self)
        return found

    def to_json(self, indent: int | None = 2) -> str:
        """The same as JSON; `from_json` reads it."""
        return json.dumps(plain(self, infinite=str), indent=indent, ensure_ascii=False, allow_nan=False)

    @classmethod
    def from_json(cls, text: str) -> Self:
        """The record that `to_json` wrote. Raises BadInput with what is wrong where."""
        from pydantic import ValidationError

        try:
            # Bare, as Python's own JSON writes them, the names of what is not finite are numbers again in every field.
            found: Self = _adapter(cast(Any, cls)).validate_json(
                json.dumps(_numbers(json.loads(text))), context=FROM_JSON
            )
        except json.JSONDecodeError as error:
            raise BadInput.of("JSON", f"line {error.lineno}, column {error.colno}: {error.msg}.") from None
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            place = ".".join(map(str, first["loc"])) or "JSON"
            raise BadInput.of(place, f"{first['msg']}.", f"Write what {cls.__name__}.to_json wrote.") from None
        return found

    @classmethod
    def json_schema(cls) -> dict[str, Any]:
        """The JSON Schema of what `to_json` writes."""
        schema: dict[str, Any] = _with_infinities(_adapter(cast(Any, cls)).json_schema(mode="serialization"))
        return schema

    def to_frame(self) -> pd.DataFrame:
        """Its figures as a table: a row for each entry where they are arrays, else one row. Needs pandas."""
        import pandas as pd

        figures = {name: value for name, value in _shown(self) if not isinstance(value, str | Mapping | tuple)}
        arrays = [value for value in figures.values() if hasattr(value, "__len__")]
        return pd.DataFrame(figures, index=None if arrays else [0])

    def headline(self) -> str:
        """What it is in a few words."""
        return ", ".join(f"{name}={brief(value)}" for name, value in _shown(self)[:6])

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.headline()}>"

    def _repr_html_(self) -> str:
        """A table of its figures, for a notebook."""
        rows = "".join(
            f"<tr><th style='text-align:left'>{html.escape(name)}</th><td>{html.escape(brief(value))}</td></tr>"
            for name, value in _shown(self)
        )
        return f"<table><caption>{html.escape(self.headline())}</caption>{rows}</table>"


class Listed:
    """Beside the type of an array in a record: it is read back from a list of numbers."""

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        import numpy as np
        from pydantic_core import core_schema

        return core_schema.no_info_plain_validator_function(lambda value: np.asarray(value, dtype=float))

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        return {"type": "array", "items": {"type": "number"}}


def plain(value: Any, infinite: Any = None) -> Any:
    """Builtin types all the way down: records to mappings, numpy to Python.

    infinite: what becomes of a number that is not finite: `float` keeps it, `str` writes its name, None makes it None.
    """
    if hasattr(value, "model_dump"):  # a table of the household, which writes its quantities with their units
        return value.model_dump(mode="json", by_alias=True, exclude_none=True)
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name), infinite) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(entry, infinite) for key, entry in value.items()}
    if isinstance(value, str) or value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, Sequence):
        return [plain(entry, infinite) for entry in value]
    if hasattr(value, "tolist"):  # numpy scalars and arrays, without importing numpy here
        return plain(value.tolist(), infinite)
    if hasattr(value, "isoformat"):
        return value.isoformat()
    if math.isfinite(value):
        return value
    return _NAMES[str(float(value))] if infinite is str else value if infinite is float else None


def rounded(value: Any, digits: int = 8) -> Any:
    """Builtin types with every number that is no count at so many significant digits, and dust as 0."""
    if isinstance(value, dict):
        return {key: rounded(entry, digits) for key, entry in value.items()}
    if isinstance(value, list):
        return [rounded(entry, digits) for entry in value]
    if not isinstance(value, float):
        return value
    return 0.0 if abs(value) < _DUST else float(f"{value:.{digits}g}")


_DUST = 1e-9
# As JSON readers of the wider world, pydantic's among them, spell them.
_NAMES = {"inf": "Infinity", "-inf": "-Infinity", "nan": "NaN"}


def _numbers(value: Any) -> Any:
    """The same with every name of a number that is not finite as that number."""
    if isinstance(value, dict):
        return {key: _numbers(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [_numbers(entry) for entry in value]
    return float(value) if value in _NAMES.values() else value


def _with_infinities(schema: Any) -> Any:
    """The schema with the names of what is not finite beside every number."""
    if isinstance(schema, list):
        return [_with_infinities(entry) for entry in schema]
    if not isinstance(schema, dict):
        return schema
    if schema.get("type") == "number":
        return {"anyOf": [schema, {"enum": list(_NAMES.values())}]}
    return {key: _with_infinities(entry) for key, entry in schema.items()}


@cache
def _adapter(record: Any) -> Any:
    from pydantic import TypeAdapter

    return TypeAdapter(record)


def _shown(record: Any) -> list[tuple[str, Any]]:
    """Fields that are figures or words, and what is not None."""
    named = [(field.name, getattr(record, field.name)) for field in fields(record)]
    return [(name, value) for name, value in named if value is not None and not is_dataclass(value)]


def brief(value: Any) -> str:
    """A figure, a word, or how many there are, for one line."""
    if isinstance(value, bool | str | int):
        return str(value)
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {brief(entry)}" for key, entry in value.items())
    if isinstance(value, Sequence):
        return f"{len(value)} entries" if value else "none"
    if hasattr(value, "min") and value.shape:
        return f"{value.shape} from {brief(value.min())} to {brief(value.max())}"
    return f"{float(value):.4g}"
