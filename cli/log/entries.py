"""What may stand in the log, and whether an entry is whole: readings, changes, services and notes."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta, timezone
from functools import cache
from typing import NamedTuple
from unicodedata import category

from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.words import quoted, told

KINDS = ("reading", "change", "service", "note")
PARTS = ("filter", "substrate", "parts")
# How a reading was taken; of the first two, the eye picks a step of a chart.
CHARTS = ("chart", "strip")
TESTS = (*CHARTS, "drops", "meter", "photometer", "laboratory")
# Control characters, line ends and half characters: no CSV brings them back as they were.
_UNWRITABLE = ("Cc", "Cs", "Zl", "Zp")
# What may be read: its kind of unit, and the most that is believed, in that kind's canonical unit.
QUANTITIES: Mapping[str, tuple[str, float]] = {
    "nitrate": ("nitrate", 1000),
    "ammonia": ("ammonia", 50),
    "chlorine": ("chlorine", 20),
    "hardness": ("hardness", 100),
    "alkalinity": ("alkalinity", 200),
    "ph": ("ph", 14),
    "conductivity": ("conductivity", 100_000),
    "temperature": ("temperature", 100),
}


class Entry(NamedTuple):
    """One entry of the log.

    number: its place in this logbook; uid: its name in all of them.  at: when it happened, ISO 8601 with its offset; at_s:
    the same in seconds since 1970.  quantity, value, unit, test: of a reading, and of a colour chart the steps below and
    above it, in the same unit (None: it is the last step on that side).  share or volume_l: of a change, and what was
    dosed.  part: of a service.  written: when it was put down; undone: when it was taken back, None while it stands.
    """

    number: int
    uid: str
    tank: str
    at: str
    at_s: float
    kind: str
    quantity: str | None
    value: float | None
    unit: str | None
    test: str | None
    below: float | None
    above: float | None
    share: float | None
    volume_l: float | None
    dosed: str | None
    part: str | None
    note: str
    written: str
    undone: str | None


# What belongs to each kind; everything else of `_OWN` must be empty.
_OWN: Mapping[str, tuple[str, ...]] = {
    "reading": ("quantity", "value", "unit", "test", "below", "above"),
    "change": ("share", "volume_l", "dosed"),
    "service": ("part",),
    "note": (),
}


def faults_of(entry: Entry, where: Callable[[str], str], now: datetime) -> list[Fault]:
    """Everything wrong with an entry; `where` turns a field into what the reader of a fault wrote it as."""
    if entry.kind not in KINDS:
        said = f"{quoted(entry.kind or '')} is no kind of entry."
        return [Fault(where("kind"), said, f"Write {', '.join(KINDS)}.")]
    faults = [
        Fault(where(field), f"{told(getattr(entry, field))} has no place in a {entry.kind}.", "Leave it empty.")
        for kind, fields in _OWN.items()
        for field in fields
        if kind != entry.kind and getattr(entry, field) is not None
    ]
    if entry.at_s > now.timestamp():
        said = f"{entry.at} lies in the future; it is {now.isoformat(sep=' ', timespec='minutes')}."
        faults.append(Fault(where("at"), said, "Log what has happened."))
    for field in ("uid", "tank", "unit", "note", "dosed", "written", "undone"):
        if any(category(letter) in _UNWRITABLE for letter in getattr(entry, field) or ""):
            faults.append(Fault(where(field), "holds a control character.", "Use letters, digits and signs."))
    return faults + _CHECKS[entry.kind](entry, where)


def _reading(entry: Entry, where: Callable[[str], str]) -> list[Fault]:
    if entry.quantity is None or entry.quantity not in QUANTITIES:
        said = f"{quoted(entry.quantity or '')} is nothing that is read here."
        return [Fault(where("quantity"), said, f"Write {', '.join(QUANTITIES)}.")]
    if entry.value is None:
        return [Fault(where("value"), "not given, and a reading needs one.", "Write the figure, without its unit.")]
    kind, most = QUANTITIES[entry.quantity]
    try:
        canonical = canonical_of(entry.quantity, entry.unit, f"{entry.value:g}")
    except BadInput as error:
        return [Fault(where("unit"), fault.message, fault.hint) for fault in error.faults]
    faults = []
    values = {"value": entry.value, "below": entry.below, "above": entry.above}
    for field, value in values.items():
        if value is not None and not 0 <= canonical(value) <= most:
            faults.append(
                Fault(
                    where(field),
                    f"{value:g} {entry.unit or ''}".strip() + " cannot be.",
                    f"Up to {most:g} {_shown(kind)}.",
                )
            )
    if entry.test not in TESTS:
        return [
            *faults,
            Fault(where("test"), f"{quoted(entry.test or '')} is no kind of test.", f"Write {', '.join(TESTS)}."),
        ]
    return faults + _steps(entry, where)


def _steps(entry: Entry, where: Callable[[str], str]) -> list[Fault]:
    """The steps of a chart on either side of what was read."""
    below, value, above = entry.below, entry.value or 0.0, entry.above
    if entry.test not in CHARTS:
        return [
            Fault(where(field), f"a step of a chart has no place with test {entry.test}.", "Leave it empty.")
            for field, step in (("below", below), ("above", above))
            if step is not None
        ]
    faults = []
    if (below is not None and below >= value) or (above is not None and above <= value):
        said = f"the steps below and above {value:g} must lie on either side of it."
        faults.append(Fault(where("below"), said, "Write the neighbours on the chart."))
    if below is None and value > 0:
        faults.append(
            Fault(where("below"), "not given; a chart reads no finer than its steps.", "Write the step below.")
        )
    return faults


def _change(entry: Entry, where: Callable[[str], str]) -> list[Fault]:
    if (entry.share is None) == (entry.volume_l is None):
        return [
            Fault(where("share"), "a change wants either a share or litres.", "Write a share (0 to 1) or volume_l.")
        ]
    if entry.share is not None and not 0 < entry.share <= 1:
        said = f"a share of {100 * entry.share:.4g}%; more than 0 % and up to 100 % is allowed."
        return [Fault(where("share"), said, "Write what part of the water was changed.")]
    if entry.volume_l is not None and not 0 < entry.volume_l <= 100_000:
        return [
            Fault(where("volume_l"), f"{entry.volume_l:g} L cannot have been changed.", "Write the litres changed.")
        ]
    return []


def _service(entry: Entry, where: Callable[[str], str]) -> list[Fault]:
    if entry.part in PARTS:
        return []
    return [
        Fault(where("part"), f"{quoted(entry.part or '')} is nothing that is serviced.", f"Write {', '.join(PARTS)}.")
    ]


def _note(entry: Entry, where: Callable[[str], str]) -> list[Fault]:
    return [] if entry.note.strip() else [Fault(where("note"), "a note without words.", "Write what you saw.")]


_CHECKS: Mapping[str, Callable[[Entry, Callable[[str], str]], list[Fault]]] = {
    "reading": _reading,
    "change": _change,
    "service": _service,
    "note": _note,
}


def _shown(kind: str) -> str:
    from tapwright.chemistry.units import KINDS as UNITS

    return UNITS[kind].shown if kind in UNITS else "pH"


def canonical_of(quantity: str, unit: str | None, figure: str = "100") -> Callable[[float], float]:
    """Turns a figure in `unit` into the canonical unit of the quantity.

    Raises BadInput, showing `figure`, for a unit of another kind or none.
    """
    from tapwright.chemistry.units import read

    try:
        return _line(quantity, unit)
    except BadInput:
        if quantity != "ph":
            read(f"{figure} {unit or ''}", QUANTITIES[quantity][0], "unit")
        raise


@cache
def _line(quantity: str, unit: str | None) -> Callable[[float], float]:
    """The same, found once: every unit here is a factor and an offset."""
    from tapwright.chemistry.units import read

    kind, _ = QUANTITIES[quantity]
    if kind == "ph":
        if unit not in (None, "", "pH"):
            raise BadInput.of("unit", f"{quoted(unit)} is read; pH has no unit.", "Leave it empty.")
        return lambda value: value
    # Not from 0, which is below absolute zero in no unit, but may be one where a unit has an offset.
    one, two = (read(f"{number} {unit or ''}", kind) for number in (100, 200))
    factor = (two - one) / 100
    return lambda value: one + (value - 100) * factor


def moment(text: str, where: str) -> tuple[str, float]:
    """A time as ISO 8601 with its offset, and in seconds; without a zone, that of this machine.

    Raises BadInput for what is no day and time, and without a zone for an hour that the clocks here skip or strike twice.
    """
    example = "Write for example 2026-03-14 18:30, or 2026-03-14T18:30+01:00."
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        raise BadInput.of(where, f"{quoted(text)} is read; a day and a time of day are wanted.", example) from None
    if len(text.strip()) <= 10:
        said = f"{quoted(text)} has no time of day; whether a test came before or after a change depends on it."
        raise BadInput.of(where, said, example)
    try:
        whole = found if found.tzinfo else _here(found, text, where)
        seconds = whole.timestamp()
    except (OverflowError, OSError, ValueError):
        seconds = math.nan
    if not 0 <= seconds < 4e9:
        raise BadInput.of(where, f"{quoted(text)} lies outside the years 1970 to 2096.", example)
    return whole.isoformat(), seconds


def _here(found: datetime, text: str, where: str) -> datetime:
    """A time of this machine's clock with its offset; BadInput where that clock has shown it never, or twice."""
    # Before and after a change of the clocks, where one lies near.
    early, late = (
        timedelta(seconds=found.replace(tzinfo=UTC).timestamp() - found.replace(fold=fold).timestamp())
        for fold in (0, 1)
    )
    if early == late:
        return found.astimezone()
    shown = "is skipped" if early < late else "comes twice"
    first, second = (
        found.replace(tzinfo=timezone(offset)).isoformat(sep=" ", timespec="minutes") for offset in (early, late)
    )
    raise BadInput.of(
        where,
        f"'{text}' {shown} where the clocks are changed that day.",
        f"Write {first} by the clock before the change, or {second} by the one after it.",
    )


def said(entry: Entry) -> str:
    """What an entry says, in one line."""
    if entry.kind == "reading":
        steps = ""
        if entry.test in CHARTS:
            low = "the first step" if entry.below is None else f"{entry.below:g}"
            high = "the last step" if entry.above is None else f"{entry.above:g}"
            steps = f", between {low} and {high}"
        text = f"{entry.quantity} {entry.value:g} {entry.unit or ''}".rstrip() + f" ({entry.test}{steps})"
    elif entry.kind == "change":
        size = f"{100 * entry.share:.3g}%" if entry.share is not None else f"{entry.volume_l:g} L"
        text = f"changed {size}" + (f"; dosed {entry.dosed}" if entry.dosed else "")
    else:
        text = f"{entry.part} serviced" if entry.kind == "service" else ""
    return ": ".join(part for part in (text, entry.note) if part)
