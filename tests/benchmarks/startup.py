"""Wall time of whole commands against one interpreter that imports exactly the libraries they cannot do without, and the
processor's time of a sheet against that of its plan.

Run from the project's folder: python tests/benchmarks/startup.py
Each pair runs one after the other, so that a machine that slows down slows both; the median of the ratios counts.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
PAIRS = 21
UNAVOIDABLE = (
    "import numpy, pint, typer, highspy, rich.console, rich.text\n"
    "from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator\n"
)
TYPER_ALONE = "import typer\n"
ROCK = ["demo/house.toml", "--tank", "Rock wall"]
PLAN = ["-m", "tapwright", "plan", *ROCK]
COMMANDS = {
    "plan demo/house.toml --tank 'Rock wall'": (PLAN, UNAVOIDABLE),
    "--help": (["-m", "tapwright", "--help"], TYPER_ALONE),
}


def ran(arguments: list[str]) -> tuple[float, float]:
    """Wall time and the processor's time of one interpreter."""
    # Compiled files may be written, as they are in any installation; the warm-up run writes them.
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    start, before = time.perf_counter(), worked_s()
    subprocess.run([sys.executable, *arguments], cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - start, worked_s() - before


def worked_s() -> float:
    """What the processor has worked for the interpreters that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def row(name: str, one: list[str], other: list[str], *, worked: bool = False) -> str:
    """Median seconds of both, median and range of their ratio."""
    pairs = [(ran(one)[worked], ran(other)[worked]) for _ in range(PAIRS + 1)][1:]
    ratios = sorted(ours / base for ours, base in pairs)
    ours, base = (statistics.median(column) for column in zip(*pairs, strict=True))
    middle = statistics.median(ratios)
    return f"{name:42} {ours:10.3f} {base:10.3f} {middle:7.2f}   {ratios[0]:.2f} to {ratios[-1]:.2f}"


def main() -> None:
    """Print one row per command."""
    print(f"{'wall time':42} {'command s':>10} {'imports s':>10} {'ratio':>7}   range")
    for name, (arguments, imports) in COMMANDS.items():
        print(row(name, arguments, ["-c", imports]))
    print(f"{'time of the processor':42} {'sheet s':>10} {'plan s':>10} {'ratio':>7}   range")
    with tempfile.TemporaryDirectory() as folder:
        sheet = ["-m", "tapwright", "sheet", *ROCK, "--force", "-o", str(Path(folder) / "sheet.html")]
        print(row("sheet against plan", sheet, PLAN, worked=True))


if __name__ == "__main__":
    main()
