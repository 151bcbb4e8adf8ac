"""What every table of a household file is: nothing unknown, nothing coerced, nothing that does not fit together."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, ValidationError, ValidationInfo, model_validator
from pydantic_core import InitErrorDetails, PydanticCustomError

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.plan.household import quantities as q
from tapwright.chemistry.plan.household.partial import Unknown, partial
from tapwright.chemistry.plan.household.python_values import as_in_a_file
from tapwright.chemistry.plan.household.table_faults import MISFIT, faults_of
from tapwright.chemistry.record import FROM_JSON

Rule = Callable[[], Iterable[q.Misfit]]


def judged(rules: Iterable[Rule]) -> Iterator[q.Misfit]:
    """What the rules find, but for those that rest on a value that is faulty itself, which is said already."""
    for rule in rules:
        try:
            yield from tuple(rule())
        except Unknown:
            continue


class Table(BaseModel):
    """A table of the file, which checks itself however it is made: from a file, in Python, or as a changed copy.

    Nothing unknown is let in, nothing coerced, nothing changed later.
    """

    model_config = ConfigDict(
        strict=True,
        extra="forbid",
        frozen=True,
        allow_inf_nan=False,
        arbitrary_types_allowed=True,
        hide_input_in_errors=True,  # a message of ours says what was read, and cuts it
        # Only the whole household is ever validated: building it once saves building every table for itself as well.
        defer_build=True,
    )

    @classmethod
    def of(cls, data: Any) -> Self:
        """The table of such data as a file holds them: texts with their units, plain numbers, tables.

        Raises BadInput with every fault at once, single values and what does not fit together, each at its place.
        """
        return cls._read(data, q.Reading())

    @classmethod
    def in_python(cls, data: Any) -> Self:
        """The table of such data as Python has them: as a file holds them, or as `python_values` says; raises as `of` does."""
        return cls.of(as_in_a_file(cls, data))

    @classmethod
    def from_json(cls, text: str) -> Self:
        """The table of what `to_json` wrote, or anyone by the schema. Raises BadInput as `of` does, and for other text."""
        try:
            return cls.in_python(json.loads(text))
        except json.JSONDecodeError as error:
            raise BadInput.of("JSON", f"line {error.lineno}, column {error.colno}: {error.msg}.") from None

    def checked(self) -> Self:
        """The same, looked at anew: no copy, no list changed since and nothing built past the checks gets through.

        Raises BadInput as `of` does.
        """
        return self._read(_bare(self), q.Reading(built=True))

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy with other values, in canonical units, by the names of the fields. Raises BadInput as `of` does."""
        return super().model_copy(update=update, deep=deep).checked()

    def to_dict(self) -> dict[str, Any]:
        """The table as a file holds it, by its keys, quantities with their units; `of` makes the same table of it."""
        return self.model_dump(by_alias=True, exclude_none=True)

    def to_json(self) -> str:
        """The same as JSON; `from_json` reads it."""
        return self.model_dump_json(by_alias=True, exclude_none=True, indent=2)

    def misfits(self) -> list[q.Misfit]:
        """What does not fit together among the keys of this table and of the tables in it."""
        within = (misfit.under(place) for place, table in _tables_in(self) for misfit in table.misfits())
        return [*within, *judged(self.rules())]

    def rules(self) -> Iterable[Rule]:
        """What must fit together among this table's own keys; one rule is silent where it rests on a faulty value."""
        return ()

    @classmethod
    def _read(cls, data: Any, reading: q.Reading) -> Self:
        try:
            return cls.model_validate(data, context=reading)
        except ValidationError as error:
            entries = error.errors(include_url=False)
            places = [entry["loc"] for entry in entries if entry["type"] != MISFIT]
            rest = partial(cls, data, places, reading.of_a_part())
            raise BadInput(faults_of(entries, cls, () if rest is None else rest.misfits())) from None

    @model_validator(mode="before")
    @classmethod
    def _as_in_a_file(cls, data: Any, info: ValidationInfo) -> Any:
        """Within a record that comes back from JSON, dates are text."""
        return as_in_a_file(cls, data) if info.context == FROM_JSON else data

    @model_validator(mode="after")
    def _fits_together(self, info: ValidationInfo) -> Self:
        if q.reading_of(info).part:
            return self
        misfits = [InitErrorDetails(type=_carried(m), loc=m.place, input=None) for m in judged(self.rules())]
        if misfits:
            raise ValidationError.from_exception_data(type(self).__name__, misfits)
        return self


def _carried(misfit: q.Misfit) -> PydanticCustomError:
    said = (misfit.message, misfit.hint)
    return PydanticCustomError(MISFIT, "{text}", {"text": " ".join(said).strip(), "faults": [said]})


def _tables_in(table: Table) -> Iterator[tuple[str, Table]]:
    """The tables one level further in, each with its place."""
    for name, field in type(table).model_fields.items():
        value = vars(table).get(name)
        place = field.alias or name
        if isinstance(value, Table):
            yield place, value
        elif isinstance(value, list):
            yield from ((f"{place}.{number}", entry) for number, entry in enumerate(value) if isinstance(entry, Table))


def _bare(value: Any) -> Any:
    """Tables as mappings by the keys of the file, values as they are; what nobody gave stays left out."""
    if isinstance(value, Table):
        fields = type(value).model_fields
        return {
            _key(fields, name): _bare(entry)
            for name, entry in vars(value).items()
            if not _left_out(fields, name, entry)
        }
    if isinstance(value, list):
        return [_bare(entry) for entry in value]
    return value


def _key(fields: Mapping[str, Any], name: str) -> str:
    return (fields[name].alias or name) if name in fields else name


def _left_out(fields: Mapping[str, Any], name: str, value: Any) -> bool:
    return value is None and name in fields and fields[name].default is None
