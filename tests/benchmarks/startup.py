"""Wall time of whole commands against one interpreter that imports exactly the libraries they cannot do without.

Run from the project's folder: python tests/benchmarks/startup.py
Each pair runs one after the other, so that a machine that slows down slows both; the median of the ratios counts.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
PAIRS = 21
UNAVOIDABLE = (
    "import numpy, pint, typer, highspy, rich.console, rich.text\n"
    "from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator\n"
)
TYPER_ALONE = "import typer\n"
COMMANDS = {
    "plan demo/house.toml --tank 'Rock wall'": (
        ["-m", "tapwright", "plan", "demo/house.toml", "--tank", "Rock wall"],
        UNAVOIDABLE,
    ),
    "--help": (["-m", "tapwright", "--help"], TYPER_ALONE),
}


def seconds(arguments: list[str]) -> float:
    """Wall time of one interpreter."""
    # Compiled files may be written, as they are in any installation; the warm-up run writes them.
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    start = time.perf_counter()
    subprocess.run([sys.executable, *arguments], cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - start


def main() -> None:
    """Print one row per command: median seconds of both, median and range of their ratio."""
    print(f"{'command':42} {'command s':>10} {'imports s':>10} {'ratio':>7}   range")
    for name, (arguments, imports) in COMMANDS.items():
        pairs = [(seconds(arguments), seconds(["-c", imports])) for _ in range(PAIRS + 1)][1:]
        ratios = sorted(ours / base for ours, base in pairs)
        ours, base = (statistics.median(column) for column in zip(*pairs, strict=True))
        middle = statistics.median(ratios)
        print(f"{name:42} {ours:10.3f} {base:10.3f} {middle:7.2f}   {ratios[0]:.2f} to {ratios[-1]:.2f}")


if __name__ == "__main__":
    main()
