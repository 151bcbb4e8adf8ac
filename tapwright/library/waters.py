"""Waters from Python: described from readings, at equilibrium, mixed and dosed; one, an array, or a table of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields
from typing import Any

import numpy as np

from tapwright.chemistry.dosing.recipe.cupboard import dissolve
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.substances import salt
from tapwright.chemistry.water import equilibrium
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import Equilibrium, closed, deionised_water
from tapwright.chemistry.water.mixing import Mixture, mixture
from tapwright.chemistry.water.reconstruction import Description, Readings, described
from tapwright.chemistry.water.target import lake_water
from tapwright.library.inputs import READINGS, amount, number, readings_of, times_air

AnyWater = Water | Description


def describe(
    frame: Any = None,
    *,
    name: str = "water",
    calcium_to_magnesium: float | None = None,
    chloramine: bool = False,
    **readings: Any,
) -> Any:
    """The whole water behind its readings, what was assumed to make it whole, and what does not fit.

    readings: by the words of a household file, as text or pint (`hardness="8 dGH"`), or as numbers and arrays by names
    that end in the unit (`hardness_mmol_l=1.43`); `ph` is bare.  frame: a pandas table with such columns instead.
    name: how remarks name it.  calcium_to_magnesium: amount ratio where only the hardness is known (None: the usual 3).
    chloramine: the neutraliser accounts for the ammonia, nothing is assumed of it.

    Returns a Description (water, assumptions, findings), of arrays where a reading is one; a table of the fields of
    `Water` with the same index for a table.  Raises BadInput with every fault at once; see `described`.
    """
    if frame is not None:
        if readings:
            raise BadInput.of("readings", "given beside a table.", "Make them columns of it.")
        return _described_frame(frame, name, calcium_to_magnesium, chloramine)
    given = readings_of(readings)
    if all(np.ndim(value) == 0 for value in given.values()):
        return described(Readings(**given), name, calcium_to_magnesium, chloramine=chloramine)
    columns = dict(zip(given, np.broadcast_arrays(*given.values()), strict=True))
    rows = [
        _described_row({key: float(column.flat[at]) for key, column in columns.items()}, f"{name} {at}", **_ways(
            calcium_to_magnesium, chloramine))
        for at in range(next(iter(columns.values())).size)
    ]  # fmt: skip
    shape = next(iter(columns.values())).shape
    water = Water(
        **{field.name: _column([getattr(row.water, field.name) for row in rows], shape) for field in fields(Water)}
    )
    return Description(
        water,
        tuple(dict.fromkeys(note for row in rows for note in row.assumptions)),
        tuple(finding for row in rows for finding in row.findings),
    )


def _ways(calcium_to_magnesium: float | None, chloramine: bool) -> dict[str, Any]:
    return {"calcium_to_magnesium": calcium_to_magnesium, "chloramine": chloramine}


def _described_row(given: Mapping[str, float], name: str, **ways: Any) -> Description:
    """One row; what is not a number in it was not given."""
    known = {key: value for key, value in given.items() if not np.isnan(value)}
    return described(Readings(**known), name, **ways)


def _column(values: Sequence[float | None], shape: tuple[int, ...]) -> Any:
    """An array; None where no row has the figure, and not a number where some have none."""
    if all(value is None for value in values):
        return None
    return np.array([np.nan if value is None else value for value in values]).reshape(shape)


def _described_frame(frame: Any, name: str, ratio: float | None, chloramine: bool) -> Any:
    import pandas as pd

    columns = {str(column): _cells(frame[column]) for column in frame.columns if str(column) in READINGS}
    unknown = [str(column) for column in frame.columns if str(column) not in READINGS]
    if unknown:
        readings_of(dict.fromkeys(unknown, 0))  # refuses each by its name
    given = readings_of(columns)
    rows = [
        _described_row({key: float(np.broadcast_to(column, len(frame))[at]) for key, column in given.items()},
                       f"{name} {label}", **_ways(ratio, chloramine))
        for at, label in enumerate(frame.index)
    ]  # fmt: skip
    found = pd.DataFrame([row.water.to_dict() for row in rows], index=frame.index)
    return found.assign(
        assumptions=["; ".join(row.assumptions) for row in rows],
        findings=["; ".join(finding.code for finding in row.findings) for row in rows],
    )


def _cells(column: Any) -> Any:
    """A column as an array of numbers, or as a list where its cells are text."""
    values = column.tolist()
    return values if any(isinstance(value, str) for value in values) else column.to_numpy(dtype=float)


def lake(name: str, temperature: Any = "25 degC") -> Description:
    """The published analysis of a lake as a whole water; its pH is left open. Raises BadInput for one not known."""
    return lake_water(name, amount(temperature, "water", "temperature"), "lake")


def deionised(temperature: Any = "25 degC") -> Water:
    """Deionised water at rest with outdoor air."""
    return deionised_water(amount(temperature, "water", "temperature"))


def water_of(water: Any) -> Water:
    """The water itself: of a description, of a table with the fields of `Water` as columns, or as it is."""
    if isinstance(water, Description):
        return water.water
    if isinstance(water, Water):
        return water
    if hasattr(water, "columns"):
        names = [field.name for field in fields(Water) if field.name in water.columns]
        return Water(**{name: water[name].to_numpy(dtype=float) for name in names})
    raise BadInput.of("water", f"{type(water).__name__} is no water.", "Give what `describe`, `lake` or `mix` return.")


def at_ph(water: Any, ph: Any = None) -> Any:
    """The water at its pH, or at another: an Equilibrium of its shape, a table for a table; see `Equilibrium`."""
    return _solved(water, lambda of: equilibrium.at_ph(of, None if ph is None else number(ph, "ph", "ph")))


def at_air(water: Any, air: Any = 1.0) -> Any:
    """The water at rest with air: a multiple of outdoor air, or text such as "800 ppm"; as `at_ph`."""
    return _solved(water, lambda of: equilibrium.at_air(of, times_air(air)))


def at_carbon(water: Any, carbon_mmol_l: Any = None) -> Any:
    """The water with all of its inorganic carbon kept [mmol/L], its own if None; as `at_ph`."""
    return _solved(water, lambda of: equilibrium.at_carbon(of, _carbon(of) if carbon_mmol_l is None else carbon_mmol_l))


def _carbon(water: Water) -> Any:
    found = closed(water).carbon_mmol_l
    if found is None:
        raise BadInput.of("carbon", "neither it nor the pH of this water is known.", "Give carbon_mmol_l.")
    return found


def _solved(water: Any, ask: Callable[[Water], Equilibrium]) -> Any:
    found = ask(water_of(water))
    if not hasattr(water, "columns"):
        return found
    return found.to_frame().set_index(water.index)


def mix(waters: Sequence[AnyWater], volumes: Sequence[Any], air: Any = 1.0) -> Mixture:
    """Waters poured together: totals are kept, pH follows; at once, and at rest with air. Raises BadInput."""
    litres = [amount(volume, "volume", f"volume {place}") for place, volume in enumerate(volumes, start=1)]
    return mixture([water_of(water) for water in waters], litres, times_air(air))


def dose(water: AnyWater, volume: Any, salts: Mapping[str, Any]) -> Water:
    """The water with so much of each salt dissolved in a volume of it: {"sodium bicarbonate": "30 g"}.

    Its pH is left open where its carbon is known and the salt moves it: ask `at_carbon`.  Raises BadInput.
    """
    litres = amount(volume, "volume", "volume")
    parts = [(salt(name), amount(mass, "mass", name) / litres) for name, mass in salts.items()]
    return dissolve(closed(water_of(water)), parts)


def findings_of(*parts: Any) -> tuple[Finding, ...]:
    """Every finding of descriptions among these."""
    return tuple(finding for part in parts if isinstance(part, Description) for finding in part.findings)
