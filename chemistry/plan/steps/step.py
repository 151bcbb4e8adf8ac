"""A run sheet as data: steps of one keeper, one after another, and the words they share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from tapwright.chemistry import reference

LOOK_AT_PLUGS_MIN = 1.0


# What a step is about. What is done to a tote is done anew to each of them, all else once; looks come several times.
Kind = Literal[
    "resolve", "test_tap", "lay_out", "heater_off", "heater_cooled", "filter_off", "outflow_secured", "drain_start",
    "drain_end", "substrate_clean", "filter_service", "inflow_secured", "fill_end", "filter_on", "tidy", "heater_on", "all_on",
    "look", "reheat", "fill", "neutralise", "salts", "air", "check", "pump",
]  # fmt: skip


@dataclass(frozen=True)
class Dose:
    """So much of one substance, or of a solution of it, as it is measured: grams or millilitres."""

    name: str
    grams: float | None = None
    millilitres: float | None = None

    @property
    def amount(self) -> float:
        """The figure, in `unit`."""
        return (self.grams if self.millilitres is None else self.millilitres) or 0.0

    @property
    def unit(self) -> str:
        """What it is measured in."""
        return "g" if self.millilitres is None else "mL"


@dataclass(frozen=True)
class Step:
    """One thing to do.

    id: a label and nothing more.  name: what is so once it is done, in a few words.  hold: must be confirmed before the next
    may begin.  after: ids that must be done before.  start_minute: when it is due, counted from the first step.  cautions:
    keys of tables/cautions.csv to show with it.  kind: what it is about.  tote: which one it is about, from 1; None where it
    is about none.  doses: what goes in.  vital: what must never be forgotten.
    """

    id: str
    name: str
    text: str
    minutes: float
    hold: bool
    after: tuple[str, ...]
    start_minute: float
    cautions: tuple[str, ...] = ()
    kind: Kind = "look"
    tote: int | None = None
    doses: tuple[Dose, ...] = ()
    vital: bool = False

    @property
    def end_minute(self) -> float:
        """When it is over."""
        return self.start_minute + self.minutes


@dataclass
class Sheet:
    """Steps in the order they are done; a step may have to wait for an earlier one."""

    steps: list[Step] = field(default_factory=list)

    def add(
        self,
        kind: Kind,
        name: str,
        text: str,
        minutes: float,
        *,
        tote: int | None = None,
        at: str = "",
        hold: bool = False,
        waits_for: tuple[str, float] | None = None,
        cautions: tuple[str, ...] = (),
        doses: tuple[Dose, ...] = (),
        vital: bool = False,
    ) -> None:
        """Append a step; at: tells several of a kind apart.  waits_for: (id, minutes that must have passed since its end)."""
        last = self.steps[-1] if self.steps else None
        start = last.end_minute if last else 0.0
        after = [last.id] if last else []
        if waits_for:
            start = max(start, self[waits_for[0]].end_minute + waits_for[1])
            after = list(dict.fromkeys([*after, waits_for[0]]))
        id = f"{kind}_{at}" if at else kind if tote is None else f"tote_{tote}_{kind}"
        self.steps.append(Step(id, name, text, minutes, hold, tuple(after), start, cautions, kind, tote, doses, vital))

    def __getitem__(self, id: str) -> Step:
        return next(step for step in self.steps if step.id == id)


def the(steps: Sequence[Step], kind: Kind, tote: int | None = None) -> Step:
    """The one step of a kind, of one tote where it is done to each."""
    return next(step for step in steps if (step.kind, step.tote) == (kind, tote))


def minutes_of(key: str) -> float:
    """A duration of tables/practice.csv."""
    return reference.value("practice", key)


def alone_minutes(early_minutes: float) -> float:
    """Minutes a running pump may be left: two less than the earliest end, counted by the keeper's own pace."""
    return max(early_minutes - minutes_of("small_minutes"), 0.0)


def be_there_minute(early_minutes: float) -> int:
    """Whole minute after the flow began at which to stand by it; 0: from the start."""
    alone = int(alone_minutes(early_minutes))
    return alone if alone >= 2 else 0


def tote_named(number: int, totes: int) -> str:
    """A tote in a few words; its number where there is more than one."""
    return f"tote {number}" if totes > 1 else "the tote"


def centimetres(metres: float) -> str:
    """A height as it is marked on glass."""
    return f"{100 * metres:.0f} cm"
