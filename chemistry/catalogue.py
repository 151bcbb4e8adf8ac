"""What the tables know, as rows: salts, neutralisers, lakes, test kits, fittings, units and limits."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from tapwright.chemistry import reference, units
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.substances import agents, salts
from tapwright.chemistry.words import quoted


def data(name: str | None = None, where: str = "data") -> Any:
    """Rows of what is known by that name, each a mapping with its source; None: the names.

    Raises BadInput, said of `where`, for a name that is none. `pandas.DataFrame(data("salts"))` makes a table of it.
    """
    if name is None:
        return list(_KNOWN)
    if name not in _KNOWN:
        raise BadInput.of(where, f"{quoted(name)} is not kept here.", f"Write one of {', '.join(_KNOWN)}.")
    return _KNOWN[name]()


def _salts() -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            "formula": entry.formula,
            "molar_mass_g_mol": entry.molar_mass_g_mol,
            "hardness_mmol_per_g": entry.hardness_mmol_per_g(),
            "alkalinity_meq_per_g": entry.alkalinity_meq_per_g(),
            "source": reference.citation("salts", name),
        }
        for name, entry in salts().items()
    ]


def _agents() -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            "formula": entry.formula,
            "molar_mass_g_mol": entry.molar_mass_g_mol,
            "grams_per_gram_chlorine": entry.mass_ratio,
            "dose_from": entry.dose_from,
            "on_chloramine": entry.on_chloramine,
            "source": reference.citation("agents", name),
        }
        for name, entry in agents().items()
    ]


def _units() -> list[dict[str, Any]]:
    return [
        {
            "quantity": kind,
            "canonical": entry.shown or "fraction",
            "example": entry.example,
            "written": list(entry.spellings),
        }
        for kind, entry in units.KINDS.items()
    ]


def _rows(table: str) -> Callable[[], list[dict[str, Any]]]:
    def rows() -> list[dict[str, Any]]:
        return [_row(key, row) for key, row in reference.table(table).items()]

    return rows


def _row(key: str, row: Mapping[str, str]) -> dict[str, Any]:
    shown = {name: text for name, text in row.items() if name not in ("key", "source", "where", "seen") and text}
    return {"name": key, **shown, "source": reference.cited(row)}


_KNOWN: Mapping[str, Callable[[], list[dict[str, Any]]]] = {
    "salts": _salts,
    "agents": _agents,
    "lakes": _rows("lakes"),
    "kits": _rows("kits"),
    "fittings": _rows("hydraulics"),
    "limits": _rows("limits"),
    "units": _units,
}
