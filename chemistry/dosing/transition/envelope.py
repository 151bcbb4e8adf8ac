"""What the envelope finds in a way from one water to another."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from tapwright.chemistry.dosing.transition.request import Change, TransitionRequest
from tapwright.chemistry.envelope.water import Exchange, water_findings
from tapwright.chemistry.findings import LEVELS, Finding
from tapwright.chemistry.water.met import met_in_air


def way_met(request: TransitionRequest, changes: Iterable[Change]) -> list[Finding]:
    """What the tank meets on its way, the gravest of each kind, with the number of the change; chlorine left out as well."""
    worst: dict[str, Finding] = {}
    for number, change in enumerate(changes, 1):
        for finding in water_findings(_exchange(request, change)):
            known = worst.get(finding.code)
            if known is None or LEVELS.index(finding.level) < LEVELS.index(known.level):
                worst[finding.code] = replace(finding, text=f"Change {number}: {finding.text}")
    return list(worst.values())


def _exchange(request: TransitionRequest, change: Change) -> Exchange:
    """One change at rest: the tank with its own air, the refill with the room's."""
    refill = met_in_air(change.refill, request.room_times_air, rested=True)
    before = met_in_air(change.before, request.times_air, rested=True)
    after = met_in_air(change.after, request.times_air, rested=True)
    return Exchange(request.share, before, replace(refill, chlorine_mg_l=0.0), after)
