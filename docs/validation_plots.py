"""Draws the pictures of validation.md anew, from what tests/ holds the engine against: `python docs/validation_plots.py`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np

HERE = Path(__file__).parent
sys.path.append(str(HERE.parent / "tests"))

from reference_program import OUTPUT, as_water, stored  # noqa: E402
from water.test_equilibrium_published import measured  # noqa: E402

from tapwright.chemistry.water.equilibrium import at_air, at_carbon, outdoor_air_ppm  # noqa: E402
from tapwright.chemistry.water.properties import density_kg_l  # noqa: E402

_EVERY = 25  # of 20 000 waters so many are drawn as one


def main() -> None:
    """Residuals of pH, and conductivity computed over measured."""
    matplotlib.use("svg")
    matplotlib.rcParams["svg.hashsalt"] = "tapwright"  # the same picture each time
    _drawn("residuals.svg", _residuals)
    _drawn("conductivity.svg", _conductivity)


def _drawn(name: str, draw: Any) -> None:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6.4, 3.2), layout="constrained")
    draw(figure)
    figure.savefig(HERE / name, metadata={"Date": None, "Creator": None})


def _residuals(figure: Any) -> None:
    waters, theirs = stored()
    axes = figure.subplots(1, 2, sharey=True)
    for on, question, title in zip(axes, ("co2", "carbon"), ("at rest with air", "with all its carbon"), strict=True):
        rows = np.flatnonzero(np.isfinite(theirs[question][:, 0]))[::_EVERY]
        asked, answer = waters.rows(rows), dict(zip(OUTPUT, theirs[question][rows].T, strict=True))
        water = as_water(asked)
        ours = (
            at_air(water, asked.co2_atm * 1e6 / outdoor_air_ppm())
            if question == "co2"
            else at_carbon(water, 1000 * answer["carbon"] * density_kg_l(asked.temperature_c))
        )
        on.plot(answer["ph"], ours.ph - answer["ph"], "k.", markersize=2)
        on.set_title(title, fontsize=10)
        on.set_xlabel("pH of PHREEQC")
    axes[0].set_ylabel("pH of tapwright less that")


def _conductivity(figure: Any) -> None:
    errors = sorted(100 * error for error, _, _ in measured().values())
    axes = figure.subplots()
    axes.axhline(0, color="0.6")
    axes.plot(range(1, len(errors) + 1), errors, "ko", markersize=4)
    axes.set_xlabel("measured waters, in order of the difference")
    axes.set_ylabel("computed conductivity off by [%]")


if __name__ == "__main__":
    main()
