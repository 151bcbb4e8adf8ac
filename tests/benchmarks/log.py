"""A log of 100 000 entries, listed and estimated from, against sqlite3 reading the same rows and one numpy pass over them.

Run from the project's folder: python tests/benchmarks/log.py
Both read the same file one after the other; the median of the ratios counts.
"""

from __future__ import annotations

import sqlite3
import statistics
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from tapwright.chemistry.change.nitrate.production import production
from tapwright.cli.commands.nitrate import events_of
from tapwright.cli.log.entries import Entry
from tapwright.cli.log.logbook import SELECT, Logbook

ENTRIES, PAIRS = 100_000, 15
DAYS = 27 * 365  # ten entries a day: three tests, a reading of nitrate among them, a change a week, the rest notes
LIVE_L, REFILL_MG_L = 575.0, 5.0


def written(path: Path) -> float:
    """Write the log of a keeper who notes down everything; returns the time of the last entry."""
    random = np.random.default_rng(7)
    steps = (0.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0)
    end = datetime(2026, 3, 14, 18, tzinfo=UTC).timestamp()
    blank = Entry(**dict.fromkeys(Entry._fields))._replace(
        tank="Rock wall", note="", written="2026-03-14T18:00:00+00:00"
    )
    entries, nitrate, every = [], 30.0, DAYS * 86400.0 / ENTRIES
    for number in range(ENTRIES):
        at_s = end - (ENTRIES - 1 - number) * every
        nitrate += 2.0 * every / 86400
        common = {"uid": f"e{number}", "at_s": at_s, "at": datetime.fromtimestamp(at_s, UTC).isoformat()}
        if number % 10 == 0:
            at = int(np.argmin(np.abs(np.array(steps) - nitrate * np.exp(random.normal(0, 0.12)))))
            own = {"kind": "reading", "quantity": "nitrate", "value": steps[at], "unit": "mg/L NO3", "test": "chart",
                   "below": steps[at - 1] if at else None, "above": steps[at + 1] if at < 6 else None}  # fmt: skip
        elif number % 70 == 1:
            own = {"kind": "change", "share": 0.4}
            nitrate = 0.6 * nitrate + 0.4 * REFILL_MG_L
        elif number % 10 in (2, 3):
            own = {"kind": "reading", "quantity": "ph", "value": round(8.2 + random.normal(0, 0.1), 1), "test": "meter"}
        else:
            own = {"kind": "note", "note": "fed, looked at the fish"}
        entries.append(blank._replace(**common, **own))
    with Logbook(path, create=True) as book:
        book.add(entries)
    return end


def ours(path: Path, end_s: float) -> int:
    """List every entry, and estimate the rate."""
    with Logbook(path, create=False) as book:
        entries = book.entries()
    known = production(events_of(entries, LIVE_L, None, end_s), REFILL_MG_L, end_s / 86400)
    low, _, high = known.quantile(known.rate_mg_l_day, (0.05, 0.5, 0.95))
    assert low < 2.0 < high, (low, high)
    return len(entries)


def bare(path: Path) -> int:
    """sqlite3 alone: the same rows, and one pass of numpy over the values."""
    connection = sqlite3.connect(path)
    rows = connection.execute(f"{SELECT} ORDER BY at_s, entry.number").fetchall()
    connection.close()
    values = np.array([row[7] for row in rows if row[7] is not None])
    assert np.isfinite(np.sum(values * values))
    return len(rows)


def main() -> None:
    """Print medians and the ratio."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "house.log.sqlite"
        end_s = written(path)
        pairs = []
        for _ in range(PAIRS + 1):
            start = time.perf_counter()
            counted = ours(path, end_s)
            middle = time.perf_counter()
            assert bare(path) == counted == ENTRIES
            pairs.append((middle - start, time.perf_counter() - middle))
    pairs = pairs[1:]
    ratios = sorted(mine / base for mine, base in pairs)
    mine, base = (statistics.median(column) for column in zip(*pairs, strict=True))
    print(f"{'listed and estimated, s':>24} {'sqlite3 and numpy, s':>21} {'ratio':>6}   range")
    print(f"{mine:24.3f} {base:21.3f} {statistics.median(ratios):6.2f}   {ratios[0]:.2f} to {ratios[-1]:.2f}")


if __name__ == "__main__":
    main()
