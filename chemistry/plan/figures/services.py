"""Filter and substrate: which of them may be seen to today, as both at once take too much of what turns ammonia over."""

from __future__ import annotations

from datetime import date

from tapwright.chemistry import reference
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.plan.figures.records import Figures, Jobs
from tapwright.chemistry.plan.household.household import Tank


def jobs_on(day: date, tank: Tank, *, clean_substrate: bool = False, service_filter: bool = False) -> Jobs:
    """The other jobs of a day in a tank, and the days since they were last done. Raises BadInput for a later date."""

    def days_since(last: date | None, key: str) -> int | None:
        if last is None or not (clean_substrate or service_filter):
            return None
        if last > day:
            raise BadInput.of(
                f"tank '{tank.name}': {key}", f"{last} lies after {day}.", "Correct one of the two dates."
            )
        return (day - last).days

    return Jobs(
        clean_substrate,
        service_filter,
        days_since(tank.last_substrate_cleaning, "last_substrate_cleaning"),
        days_since(tank.last_filter_service, "last_filter_service"),
    )


def filter_held_back(figures: Figures) -> str:
    """Why the filter is left alone although its service was asked for; empty where it may be serviced."""
    jobs, gap = figures.jobs, reference.value("practice", "filter_gap_days")
    if not jobs.service_filter:
        return ""
    if jobs.clean_substrate and not substrate_held_back(figures):
        return f"the substrate is cleaned today, wait {gap:.0f} days"
    if jobs.days_since_substrate is not None and jobs.days_since_substrate < gap:
        return f"the substrate was cleaned {_ago(jobs.days_since_substrate)}, wait until {gap:.0f} days have passed"
    return ""


def substrate_held_back(figures: Figures) -> str:
    """Why the substrate is left alone although cleaning was asked for; empty where it may be cleaned."""
    jobs, gap = figures.jobs, reference.value("practice", "filter_gap_days")
    if jobs.clean_substrate and jobs.days_since_filter is not None and jobs.days_since_filter < gap:
        return f"the filter was serviced {_ago(jobs.days_since_filter)}, wait until {gap:.0f} days have passed"
    return ""


def _ago(days: int) -> str:
    return {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")
