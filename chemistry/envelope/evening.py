"""What a change asks of a person and of an evening: hours, totes, doses that can be measured, and an order that is safe."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tapwright.chemistry.envelope.grading import beyond
from tapwright.chemistry.findings import Finding

_TINY = 1e-6


Act = tuple[str, int | None]  # what is done, and to which tote


@dataclass(frozen=True)
class Evening:
    """The work of one change.

    order: what is done, each with its tote, or None.  minutes: from the first step until everything is on again.  totes: how
    many.  weighed_g: what is weighed for one tote, by name; step_g: of the scale.  deionised_l: wanted in all.  chlorine_mg_l:
    of the tap.
    """

    order: Sequence[Act]
    minutes: float
    totes: int
    weighed_g: Mapping[str, float]
    step_g: float
    deionised_l: float
    chlorine_mg_l: float


def evening_findings(evening: Evening) -> list[Finding]:
    """Every finding about the work itself."""
    hours = evening.minutes / 60
    text = (
        f"This change takes {hours:.1f} hours and {evening.totes} {'tote' if evening.totes == 1 else 'totes'}: more than one "
        "person keeps in hand in an evening. Change less at once, or use a larger tote, or a stronger pump."
    )
    found = beyond("evening_long", hours, text, stop="evening_hours")
    found = found or beyond("evening_long", float(evening.totes), text, stop="evening_totes")
    text = f"{evening.deionised_l:.0f} L of deionised water are wanted for buckets: nobody has that standing by."
    found += beyond("deionised_much", evening.deionised_l, text, stop="buckets_deionised")
    return [*found, *_weighed(evening), *_order(evening)]


def _weighed(evening: Evening) -> list[Finding]:
    """Amounts that the scale cannot show."""
    for name, grams in evening.weighed_g.items():
        steps = grams / evening.step_g
        if abs(steps - round(steps)) > _TINY * max(steps, 1.0) or round(steps) < 1:
            text = f"{grams:g} g of {name} cannot be weighed in steps of {evening.step_g:g} g. Use a finer scale."
            return [Finding("stop", "below_scale", text, grams, evening.step_g, "g")]
    return []


# What must have been done before what, by the ids of steps.
_BEFORE = (
    ("heater_off", "drain_start"),
    ("heater_cooled", "drain_start"),
    ("filter_off", "drain_start"),
    ("outflow_secured", "drain_start"),
    ("drain_start", "drain_end"),
    ("drain_end", "inflow_secured"),
    ("fill_end", "filter_on"),
    ("fill_end", "heater_on"),
    ("filter_on", "all_on"),
    ("heater_on", "all_on"),
)


def _order(evening: Evening) -> list[Finding]:
    """Steps that are missing or stand the wrong way round."""
    at = {act: place for place, act in enumerate(evening.order)}
    pairs: list[tuple[Act, Act]] = [((first, None), (then, None)) for first, then in _BEFORE]
    pairs.append((("inflow_secured", None), ("pump", 1)))
    for tote in range(1, evening.totes + 1):
        check: Act = ("check", tote)
        pairs += [(("fill", tote), check), (check, ("pump", tote)), (("pump", tote), ("fill_end", None))]
        pairs += [
            ((part, tote), check)
            for part in ("neutralise", "salts", "air")
            if (part, tote) in at or (part == "neutralise" and evening.chlorine_mg_l > 0)
        ]
    for first, then in pairs:
        if not (first in at and then in at and at[first] < at[then]):
            text = f"{_said(first)} must come before {_said(then)}. Do not follow this plan; tell its makers."
            return [Finding("stop", "contradiction", text)]
    return []


def _said(act: Act) -> str:
    kind, tote = act
    return f"'{kind}'" if tote is None else f"'{kind}' of tote {tote}"
