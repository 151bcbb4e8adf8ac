"""Nitrate over the coming weeks: as the log tells where there is one that tells enough, else as the plan has it.

A log that is there and cannot be read is said, never passed over in silence.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tapwright.chemistry.errors import BadInput, TapwrightError

if TYPE_CHECKING:
    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.plan.figures.outlook import Range
    from tapwright.chemistry.plan.planner import Plan


@dataclass(frozen=True)
class Ahead:
    """steps: (day or change from now, just before and just after each change).  in_days: whether days or changes count."""

    steps: tuple[tuple[float, Range, Range], ...]
    in_days: bool


def unread(file: Path, tank_name: str) -> list[Finding]:
    """That the log beside a household file could not be read; nothing where it could, or there is none."""
    from tapwright.chemistry.findings import Finding
    from tapwright.cli.log.logbook import path_of

    try:
        if path_of(file).exists():
            from tapwright.cli.commands.nitrate import standing

            standing(file, tank_name)
    except (BadInput, OSError) as error:
        text = f"The log could not be read, and the nitrate ahead is shown without it: {error}"
        return [Finding("caution", "log_unread", text)]
    return []


def ahead(made: Plan, file: Path, at_s: float) -> Ahead | None:
    """The course ahead, counted from a time in seconds; None where neither log nor file says how nitrate rises."""
    from tapwright.chemistry.plan.courses import nitrate_ahead
    from tapwright.chemistry.plan.figures.outlook import Range

    logged = _logged(made, file, at_s)
    if logged is not None:
        return Ahead(logged, in_days=True)
    turns = nitrate_ahead(made.figures)
    if turns is None:
        return None
    exact = [(turn.number, turn.before_mg_l, turn.after_mg_l) for turn in turns]
    return Ahead(tuple((float(n), Range(b, b, b), Range(a, a, a)) for n, b, a in exact), in_days=False)


def _logged(made: Plan, file: Path, at_s: float) -> tuple[tuple[float, Range, Range], ...] | None:
    """What the log makes of this share; None where there is no log, or it says too little."""
    from tapwright.cli.log.logbook import path_of

    figures = made.figures
    tank = figures.tank
    try:
        if not path_of(file).exists():
            return None
        from tapwright.chemistry.plan.figures.outlook import outlook_of
        from tapwright.cli.commands.nitrate import events_of, standing

        events = events_of(standing(file, tank.name), tank.live_volume_l, None, at_s)
        tap_mg_l = float(figures.waters.tap.nitrate_mg_l)
        return outlook_of(tank, tap_mg_l, events, figures.change_share, None, 0.9, at_s / 86400).steps
    except (TapwrightError, OSError):
        return None
