"""The attack: random households, files, options, kills and waters, and what must be so whatever comes of them.

`python -m tests.attack --help` says how to run it long; a short seeded part of it is `test_attack.py`. Each attack is a
function of a key such as "1/17" (seed and number) alone, so that everything it finds is found again by its key.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Seen:
    """What one attack met: outcomes to count, and what was not as it must be."""

    outcomes: list[str] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)
