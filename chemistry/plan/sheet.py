"""A run sheet as data: steps of one keeper, one after another, and the words they share."""

from __future__ import annotations

from dataclasses import dataclass, field

from chemistry import reference

LOOK_AT_PLUGS_MIN = 1.0


@dataclass(frozen=True)
class Step:
    """One thing to do.

    hold: must be confirmed before the next may begin.  after: ids that must be done before.  start_minute: when it is
    due, counted from the first step.  cautions: keys of tables/cautions.csv to show with it.
    """

    id: str
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
        self.steps.append(Step(id, text, minutes, hold, tuple(after), start, cautions))

    def __getitem__(self, id: str) -> Step:
        return next(step for step in self.steps if step.id == id)


def minutes_of(key: str) -> float:
    """A duration of tables/practice.csv."""
    return reference.value("practice", key)


def centimetres(metres: float) -> str:
    """A height as it is marked on glass."""
    return f"{100 * metres:.0f} cm"
