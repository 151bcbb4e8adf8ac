"""Drives PHREEQC, the geochemical reference code of the USGS, as the outside check of the equilibrium engine.

Many solutions in one input string and nothing but selected output: the fastest fair way to run it. Amounts are mmol and
meq per kilogram of water, so that no density enters. Carbon is asked for in three ways: the pH is given with the
alkalinity; or the pH is what lets CO2 rest at a pressure; or it follows from alkalinity and inorganic carbon together.
"""

from __future__ import annotations

import csv
import lzma
from dataclasses import dataclass, fields, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapwright.chemistry.substances import molar_mass
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.properties import density_kg_l

Array = NDArray[np.float64]

DATABASE = "phreeqc.dat"
OUTPUT = ("ph", "carbon", "si_co2", "si_calcite", "si_aragonite", "si_dolomite", "si_gypsum", "nh3", "ionic_strength")
_FORMS = ("%.5f", "%.6g", *["%.4f"] * 5, "%.5g", "%.5g")
_HEAD = (
    "SELECTED_OUTPUT 1\n-reset false\n-high_precision true\n-pH true\n-ionic_strength true\n-totals C(4)\n"
    "-molalities NH3\n-si CO2(g) Calcite Aragonite Dolomite Gypsum\n"
)
_PIECE = 2000
COUNT, SEED = 20_000, 1982
STORED = Path(__file__).parent / "authorities" / "equilibrium.csv.xz"
_ELEMENTS = {"Ca": "ca", "Mg": "mg", "Na": "na", "K": "k", "Cl": "cl", "S(6)": "so4", "N(5)": "no3", "N(-3)": "nh4"}


@dataclass(frozen=True)
class Waters:
    """Waters by column: mmol/kg, alkalinity in meq/kg, degC, pH and the pressure of CO2 [atm]."""

    ca: Array
    mg: Array
    na: Array
    k: Array
    cl: Array
    so4: Array
    no3: Array
    nh4: Array
    alkalinity: Array
    temperature_c: Array
    ph: Array
    co2_atm: Array

    def rows(self, which: Any) -> Waters:
        """Some of them."""
        return replace(self, **{field.name: getattr(self, field.name)[which] for field in fields(self)})


def random_waters(count: int, seed: int) -> Waters:
    """Hardness 0 to 30 dGH, alkalinity 0.1 to 10 meq, sodium to 15 mmol, pH 5.5 to 9.8, 5 to 35 degC, charges balanced.

    Where alkalinity and nitrate outweigh the cations, sodium makes up for it.
    """
    random = np.random.default_rng(seed)

    def between(low: float, high: float) -> Array:
        return random.uniform(low, high, count)

    hardness, calcium_share = between(0, 30) * 0.178326, between(0, 1)
    sodium, potassium, alkalinity = between(0, 15), between(0, 1), between(0.1, 10)
    nitrate, ammonium = between(0, 1), between(0.001, 0.1)
    chloride_share, ph = between(0, 1), between(5.5, 9.8)
    surplus = 2 * hardness + sodium + potassium + ammonium - alkalinity - nitrate
    rest = np.maximum(surplus, 0)
    waters = Waters(
        ca=hardness * calcium_share,
        mg=hardness * (1 - calcium_share),
        na=sodium + np.maximum(-surplus, 0),
        k=potassium,
        cl=rest * chloride_share,
        so4=rest * (1 - chloride_share) / 2,
        no3=nitrate,
        nh4=ammonium,
        alkalinity=alkalinity,
        temperature_c=between(5, 35),
        ph=ph,
        co2_atm=10 ** between(np.log10(3e-4), -2),
    )
    # Written with so many digits, a water is the same water wherever it is read again.
    return Waters(**{field.name: np.round(getattr(waters, field.name), 5) for field in fields(Waters)})


def as_water(waters: Waters) -> Water:
    """The waters as the engine takes them, per litre."""
    kg_l = density_kg_l(waters.temperature_c)
    ions = [getattr(waters, key) * kg_l for key in ("ca", "mg", "na", "k", "cl", "so4", "alkalinity")]
    return Water(
        *ions,
        nitrate_mg_l=waters.no3 * kg_l * molar_mass("NO3"),
        ammonia_mg_n_l=waters.nh4 * kg_l * molar_mass("N"),
        free_chlorine_mg_l=0.0,
        total_chlorine_mg_l=0.0,
        temperature_c=waters.temperature_c,
    )


def script(waters: Waters, given: str, carbon_mmol_kg: Array | None = None) -> str:
    """The program's input for a question: given 'ph', 'co2' or 'carbon'."""
    solutions = [_HEAD]
    for row in range(waters.ca.size):
        lines = [f"SOLUTION {row + 1}", "units mmol/kgw", f"temp {waters.temperature_c[row]:.15g}"]
        lines += [f"{element} {getattr(waters, key)[row]:.15g}" for element, key in _ELEMENTS.items()]
        lines.append(f"Alkalinity {waters.alkalinity[row]:.15g}")
        if given == "ph":
            lines.append(f"pH {waters.ph[row]:.15g}")
        elif given == "co2":
            lines.append(f"pH 8 CO2(g) {np.log10(waters.co2_atm[row]):.15g}")
        else:
            assert carbon_mmol_kg is not None
            lines += ["pH 8", f"C(4) {carbon_mmol_kg[row]:.15g}"]
        solutions.append("\n".join(lines) + "\n")
    return "".join(solutions) + "END\n"


def program() -> Any:
    """A fresh instance of the program with its own database."""
    from phreeqpython import PhreeqPython

    return PhreeqPython(database=DATABASE).ip


def answers(waters: Waters, given: str, carbon_mmol_kg: Array | None = None) -> Array:
    """The program's answers [waters x OUTPUT]; rows of nan where it finds none.

    A solution that fails ends the run after one meaningless row: the run goes on behind it.
    """
    found = np.full((waters.ca.size, len(OUTPUT)), np.nan)
    start = 0
    while start < waters.ca.size:
        piece = slice(start, start + _PIECE)
        running = program()
        try:
            running.run_string(
                script(waters.rows(piece), given, None if carbon_mmol_kg is None else carbon_mmol_kg[piece])
            )
            failed = False
        except Exception:  # the binding raises nothing more particular
            failed = True
        rows = table(running)
        done = len(rows) - 1 if failed else len(rows)
        found[start : start + done] = rows[:done]
        start += done + failed
    return found


def table(running: Any) -> Array:
    """The selected output of the last run, columns in the order of OUTPUT."""
    head, *rows = running.get_selected_output_array()
    names = ("pH", "C(4)(mol/kgw)", "si_CO2(g)", "si_Calcite", "si_Aragonite", "si_Dolomite", "si_Gypsum",
             "m_NH3(mol/kgw)", "mu")  # fmt: skip
    order = [head.index(name) for name in names]
    return np.array([[row[place] for place in order] for row in rows], dtype=float)


def three_answers(waters: Waters) -> dict[str, Array]:
    """The answers to all three questions; the carbon of the third is what the first one found."""
    by_ph = answers(waters, "ph")
    known = np.isfinite(by_ph[:, 0])
    by_carbon = np.full_like(by_ph, np.nan)
    by_carbon[known] = answers(waters.rows(known), "carbon", 1000 * by_ph[known, 1])
    return {"ph": by_ph, "co2": answers(waters, "co2"), "carbon": by_carbon}


def store() -> None:
    """Run the program on the random waters and keep what it prints, with program, version, database and day."""
    from importlib.metadata import version

    waters = random_waters(COUNT, SEED)
    found = three_answers(waters)
    names = [field.name for field in fields(Waters)]
    with lzma.open(STORED, "wt", encoding="utf-8", newline="") as lines:
        lines.write(
            f"# PHREEQC of phreeqpython {version('phreeqpython')}, database {DATABASE}, {date.today().isoformat()}; "
            f"waters of seed {SEED}\n"
        )
        writer = csv.writer(lines)
        writer.writerow([*names, *(f"{given}.{name}" for given in found for name in OUTPUT)])
        for row in range(COUNT):
            given = [f"{getattr(waters, name)[row]:.5f}" for name in names]
            writer.writerow(
                [
                    *given,
                    *(
                        form % value
                        for answer in found.values()
                        for form, value in zip(_FORMS, answer[row], strict=True)
                    ),
                ]
            )


def stored() -> tuple[Waters, dict[str, Array]]:
    """The waters and the program's answers as they were kept."""
    with lzma.open(STORED, "rt", encoding="utf-8", newline="") as lines:
        next(lines)
        head, *rows = csv.reader(lines)
    columns = dict(zip(head, np.array(rows, dtype=float).T, strict=True))
    waters = Waters(**{field.name: columns[field.name] for field in fields(Waters)})
    given = ("ph", "co2", "carbon")
    return waters, {name: np.array([columns[f"{name}.{output}"] for output in OUTPUT]).T for name in given}


if __name__ == "__main__":
    store()
