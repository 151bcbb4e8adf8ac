"""A run sheet as data: steps of one keeper, one after another, and the words they share."""

from __future__ import annotations

from dataclasses import dataclass, field

from tapwright.chemistry import reference

LOOK_AT_PLUGS_MIN = 1.0


@dataclass(frozen=True)
class Step:
    """One thing to do.

    name: what is so once it is done, in a few words.  hold: must be confirmed before the next may begin.  after: ids that
    must be done before.  start_minute: when it is due, counted from the first step.  cautions: keys of tables/cautions.csv
    to show with it.
    """

    id: str
    name: str
    text: str
    minutes: float
    hold: bool
    after: tuple[str, ...]
    start_minute: float
    cautions: tuple[str, ...] = ()

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
        id: str,
        name: str,
        text: str,
        minutes: float,
        *,
        hold: bool = False,
        waits_for: tuple[str, float] | None = None,
        cautions: tuple[str, ...] = (),
    ) -> None:
        """Append a step; waits_for: (id, minutes that must have passed since its end)."""
        last = self.steps[-1] if self.steps else None
        start = last.end_minute if last else 0.0
        after = [last.id] if last else []
        if waits_for:
            start = max(start, self[waits_for[0]].end_minute + waits_for[1])
            after = list(dict.fromkeys([*after, waits_for[0]]))
        self.steps.append(Step(id, name, text, minutes, hold, tuple(after), start, cautions))

    def __getitem__(self, id: str) -> Step:
        return next(step for step in self.steps if step.id == id)


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
