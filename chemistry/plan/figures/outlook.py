"""What is known of a tank's nitrate, and what a schedule of changes makes of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import Any

from tapwright.chemistry.change.nitrate.dilution import (
    after_change,
    alkalinity_loss,
    changes_to_settle,
    peak_after_changes,
    settled_peak,
    settled_trough,
)
from tapwright.chemistry.change.nitrate.production import Change, Posterior, Reading, production
from tapwright.chemistry.change.nitrate.schedule import Regime, refuse_ceiling, regime, schedules, share_that_holds
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.plan.household.household import Tank
from tapwright.chemistry.substances import molar_mass

_RANGE = (0.05, 0.5, 0.95)
_AHEAD = 8  # changes that the course looks ahead


@dataclass(frozen=True)
class Range:
    """A figure with its 90 % range."""

    low: float
    median: float
    high: float


@dataclass(frozen=True)
class Outlook:
    """What is known of a tank's nitrate, and what a schedule makes of it.

    tank_mg_l: now.  steps: (day from now, just before and just after each change) for the changes ahead, the first of them
    now.  loss_meq_l_day: alkalinity used up in a day, at least and at most.
    """

    tank: Tank
    refill_mg_l: float
    known: Posterior
    rate_mg_l_day: Range
    tank_mg_l: Range
    regime: Regime
    confidence: float
    share_from: str
    interval_from: str
    peak_mg_l: Range
    trough_mg_l: Range
    steps: tuple[tuple[float, Range, Range], ...]
    changes_to_settle: int
    loss_meq_l_day: tuple[float, float]
    table: tuple[Regime, ...]

    @property
    def rise_mg_l(self) -> float:
        """Nitrate made from one change to the next [mg/L NO3]: the middle."""
        return self.rate_mg_l_day.median * self.regime.interval_days

    @property
    def bicarbonate_g(self) -> tuple[float, float]:
        """Sodium bicarbonate that makes up for the alkalinity used up between two changes: at least and at most."""
        per_meq_g = self.tank.live_volume_l * self.regime.interval_days * molar_mass("NaHCO3") / 1000
        least, most = self.loss_meq_l_day
        return least * per_meq_g, most * per_meq_g


def outlook_of(
    tank: Tank,
    refill_mg_l: float,
    events: Sequence[Reading | Change],
    share: float | None,
    interval_min: float | None,
    confidence: float,
    now_day: float,
) -> Outlook:
    """What the log says of a tank, and a schedule from it.

    refill_mg_l: nitrate of every refill [mg/L NO3].  share: of every change, None for the smallest that holds;
    interval_min: from one to the next [min], None for what the log shows.  Raises NoAnswer where no schedule works or the log
    says too little, BadInput where there is no interval, and as `production` does.
    """
    ceiling = tank.nitrate_ceiling_mg_l
    refuse_ceiling(refill_mg_l, ceiling)
    known = production(events, refill_mg_l, now_day)
    interval = _interval_days(events) if interval_min is None else interval_min / 1440
    chosen = share_that_holds(known, refill_mg_l, ceiling, confidence, interval) if share is None else share
    rise: Any = known.rate_mg_l_day * interval
    rate = _range(known, known.rate_mg_l_day)
    loss = alkalinity_loss(rate.median)
    before = _range(known, known.nitrate_mg_l).median
    return Outlook(
        tank=tank,
        refill_mg_l=refill_mg_l,
        known=known,
        rate_mg_l_day=rate,
        tank_mg_l=_range(known, known.nitrate_mg_l),
        regime=regime(known, refill_mg_l, ceiling, confidence, chosen, interval),
        confidence=confidence,
        share_from="given" if share is not None else "smallest that holds",
        interval_from="given" if interval_min is not None else "as logged",
        peak_mg_l=_range(known, settled_peak(refill_mg_l, rise, chosen)),
        trough_mg_l=_range(known, settled_trough(refill_mg_l, rise, chosen)),
        steps=tuple(_step(known, refill_mg_l, chosen, interval, number) for number in range(_AHEAD + 1)),
        changes_to_settle=changes_to_settle(before, refill_mg_l, rate.median * interval, chosen, 0.05 * ceiling),
        loss_meq_l_day=(float(loss.least_meq_l), float(loss.most_meq_l)),
        table=tuple(schedules(known, refill_mg_l, ceiling, confidence)),
    )


def _interval_days(events: Sequence[Reading | Change]) -> float:
    """The usual time between the changes logged: the median."""
    days = [event.day for event in events if isinstance(event, Change)]
    gaps = [later - earlier for earlier, later in pairwise(days) if later > earlier]
    if not gaps:
        raise BadInput.of("interval", "not given, and the log holds no two changes.", 'Write for example "7 days".')
    return float(median(gaps))


def _step(
    known: Posterior, refill_mg_l: float, share: float, interval: float, number: int
) -> tuple[float, Range, Range]:
    """Nitrate just before and just after the change so many intervals from now."""
    rise: Any = known.rate_mg_l_day * interval
    nitrate: Any = known.nitrate_mg_l
    before = peak_after_changes(nitrate, refill_mg_l, rise, share, number)
    return number * interval, _range(known, before), _range(known, after_change(before, refill_mg_l, share))


def _range(known: Posterior, values: Any) -> Range:
    return Range(*known.quantile(values, _RANGE))


def outlook_findings(outlook: Outlook) -> list[Finding]:
    """What a keeper must know: a ceiling that is not held, and a rate that is hardly known."""
    ceiling, kept = outlook.tank.nitrate_ceiling_mg_l, outlook.regime
    own = ("mg/L NO3", "the household's own ceiling")
    findings = []
    if not kept.holds:
        text = (
            f"{kept.share:.0%} every {kept.interval_days:.3g} days may let nitrate settle at {kept.peak_mg_l:.0f} mg/L; the "
            f"ceiling is {ceiling:.0f}, and the chance to stay under it is {kept.chance:.0%}. Change more, or oftener."
        )
        findings.append(Finding("caution", "nitrate_over_ceiling", text, kept.peak_mg_l, ceiling, *own))
    now_mg_l, rate = outlook.tank_mg_l.median, outlook.rate_mg_l_day
    if now_mg_l > ceiling + 0.5:  # as it is shown
        text = f"Nitrate stands over its ceiling now: {now_mg_l:.0f} mg/L against {ceiling:.0f}."
        findings.append(Finding("caution", "nitrate_over_now", text, now_mg_l, ceiling, *own))
    if rate.high > 2 * rate.median:
        text = (
            "The rate is hardly known yet: the high end of its range is more than twice its middle. A photometer, or readings "
            "a few steps of the chart apart, tell most."
        )
        findings.append(Finding("note", "rate_uncertain", text, rate.high, rate.median, "mg/L NO3 a day"))
    return findings
