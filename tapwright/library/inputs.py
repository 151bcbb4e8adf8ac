"""Values as Python has them: text with its unit, a pint quantity, or a number or array in the canonical unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tapwright.chemistry import allowed, units
from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.plan.household.python_values import quantity_of
from tapwright.chemistry.plan.household.tables import ReadingsTable
from tapwright.chemistry.water.equilibrium import times_outdoor
from tapwright.chemistry.words import quoted, told

# Readings of a water by the words of a household file and by the fields of `Readings`, with the quantity each is.
READINGS: Mapping[str, tuple[str, str | None]] = {
    key: (name, quantity_of(info))
    for name, info in ReadingsTable.model_fields.items()
    for key in (info.alias or name, name)
}


def amount(value: Any, quantity: str, where: str) -> Any:
    """A quantity that `chemistry.allowed` knows, in the canonical unit of its kind; a float, or an array of what it was.

    Raises BadInput for what cannot be read and what its limits do not allow.
    """
    if value is None:
        return None
    if isinstance(value, str):
        return allowed.read_within(value, quantity, where)
    limits = allowed.QUANTITIES[quantity]
    if isinstance(value, Sequence) and any(isinstance(entry, str) for entry in value):
        return np.array([amount(entry, quantity, where) for entry in value])
    found = units.from_pint(value, limits.kind, where) if units.is_pint(value) else value
    try:
        numbers = np.asarray(found, dtype=float)
    except (TypeError, ValueError):
        said = f"{told(value)} is read; {units.KINDS[limits.kind].noun} is wanted."
        raise BadInput.of(where, said, f'Write for example "{limits.written}".') from None
    outside = [number for number in np.ravel(numbers) if not (limits.spans(number) or np.isnan(number))]
    if outside or (numbers.ndim == 0 and np.isnan(numbers)):
        unit = units.KINDS[limits.kind].shown or "%"
        first = outside[0] if outside else float("nan")
        said = f"{quoted(units.show(float(first), limits.kind, unit))} is read; {limits.allows(unit)}"
        raise BadInput.of(where, said, f'Write for example "{limits.written}".')
    return numbers[()] if numbers.ndim else float(numbers)


def number(value: Any, name: str, where: str) -> Any:
    """A bare number or array, such as a pH, within what `chemistry.allowed` allows; raises BadInput else."""
    limits = allowed.NUMBERS[name]
    try:
        numbers = np.asarray(value, dtype=float)
    except (TypeError, ValueError):
        numbers = np.array(np.nan)
    if not all(limits.holds(float(one)) or (numbers.ndim and np.isnan(one)) for one in np.ravel(numbers)):
        raise BadInput.of(where, f"{told(value)} is read; {limits.allows}", f"Write for example {limits.example}.")
    return numbers[()] if numbers.ndim else float(numbers)


def times_air(air: Any) -> Any:
    """CO2 of the air as a multiple of outdoor air: a number is one already, text such as "800 ppm" is read."""
    if isinstance(air, str) or units.is_pint(air):
        return times_outdoor(amount(air, "air", "air"))
    return air


def readings_of(given: Mapping[str, Any]) -> dict[str, Any]:
    """Readings by the fields of `Readings`; raises BadInput for a name that is none, and with every fault at once."""
    found: dict[str, Any] = {}
    faults: list[Fault] = []
    for key, value in given.items():
        if key not in READINGS:
            known = ", ".join(sorted({name for name in READINGS if not name.endswith("_l")}))
            faults += BadInput.of(key, "no reading is called so.", f"Write one of {known}.").faults
            continue
        name, quantity = READINGS[key]
        if value is None:
            continue
        try:
            found[name] = number(value, "ph", key) if quantity is None else _read(value, quantity, key, name)
        except BadInput as error:
            faults += error.faults
    if "temperature_c" not in found and not faults:
        faults += BadInput.of("temperature", "not given.", 'Write temperature="25 degC".').faults
    if faults:
        raise BadInput(faults)
    return found


def _read(value: Any, quantity: str, key: str, name: str) -> Any:
    if isinstance(value, int | float | np.ndarray | np.generic) and key != name:
        text = f'{key}="{allowed.QUANTITIES[quantity].written}"'
        raise BadInput.of(key, f"{told(value)} is read, without a unit.", f"Write {text}, or {name}={value!r}.")
    return amount(value, quantity, key)
