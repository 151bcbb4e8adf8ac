"""Wall time of the confident plan against the plain one, both whole commands, in pairs of one run.

Run from the project's folder: python tests/benchmarks/confident.py
"""

from __future__ import annotations

import statistics

from startup import seconds

PAIRS = 15
PLAIN = ["-m", "tapwright", "plan", "demo/house.toml", "--tank", "Rock wall"]


def main() -> None:
    """Print median seconds of both, median and range of their ratio."""
    pairs = [(seconds([*PLAIN, "--confident"]), seconds(PLAIN)) for _ in range(PAIRS + 1)][1:]
    ratios = sorted(confident / plain for confident, plain in pairs)
    confident, plain = (statistics.median(column) for column in zip(*pairs, strict=True))
    print(f"{'confident s':>12} {'plain s':>8} {'ratio':>7}   range")
    print(f"{confident:12.3f} {plain:8.3f} {statistics.median(ratios):7.2f}   {ratios[0]:.2f} to {ratios[-1]:.2f}")


if __name__ == "__main__":
    main()
