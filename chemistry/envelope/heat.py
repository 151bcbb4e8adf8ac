"""What a tote does to a hand and to fish: how warm it is drawn, how warm it comes out of the hose, beside the tank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tapwright.chemistry.envelope.grading import beyond
from tapwright.chemistry.findings import Finding

# Two ways to reckon one blend: volumes against masses and enthalpies differ by so much at most [K].
_BLEND_K = 0.7


@dataclass(frozen=True)
class ToteHeat:
    """One tote as a plan makes it.

    hot_l at hot_c and cold_l at cold_c: what is drawn.  plastic_kj_k at plastic_c: the tote itself before that.  drawn_c:
    what the thermometer is to read then.  wanted_c: the refill as it is meant; arrives_c: as it comes out of the hose.
    """

    hot_l: float
    hot_c: float
    cold_l: float
    cold_c: float
    plastic_kj_k: float
    plastic_c: float
    drawn_c: float
    wanted_c: float
    arrives_c: float


def heat_findings(totes: Sequence[ToteHeat], before_c: float, after_c: float) -> list[Finding]:
    """Every finding about heat; before_c and after_c: the tank. The worst tote speaks for all."""
    warmest = max(totes, key=lambda tote: tote.drawn_c)
    return [
        *_drawn(warmest),
        *(
            _arrival(max(totes, key=lambda tote: abs(tote.arrives_c - tote.wanted_c)))
            or _apart(max(totes, key=lambda tote: abs(tote.arrives_c - before_c)), before_c)
        ),
        *_tank(before_c, after_c),
        *_blends(totes),
    ]


def _drawn(tote: ToteHeat) -> list[Finding]:
    """A tote that is drawn far warmer than it is to arrive, or too warm for anybody to pour over fish."""
    text = f"The tote would be drawn at {tote.drawn_c:.1f} °C for a refill that is to come at {tote.wanted_c:.1f}."
    apart = beyond("tote_drawn_warm", tote.drawn_c - tote.wanted_c - 1e-6, text, stop="tote_above_arrival")
    text = f"The tote would be drawn at {tote.drawn_c:.1f} °C: too warm for water that is meant for fish."
    return apart or beyond("tote_drawn_warm", tote.drawn_c - 1e-6, text, stop="tote_warmest")


def _arrival(tote: ToteHeat) -> list[Finding]:
    text = (
        f"The refill is meant to come at {tote.wanted_c:.1f} °C and comes out of the hose at {tote.arrives_c:.1f}: the tote "
        f"may not be drawn warmer than {tote.drawn_c:.1f} °C, and loses the rest on its way. Use a smaller tote, or a fuller "
        "one, let it wait less, or want a cooler refill."
    )
    cool = beyond("refill_arrives_cool", tote.wanted_c - tote.arrives_c, text, stop="arrival_short")
    text = (
        f"The refill is meant to come at {tote.wanted_c:.1f} °C and comes out of the hose at {tote.arrives_c:.1f}: the room "
        "warms it on its way, and it cannot be drawn cooler. Use a smaller tote, let it wait less, or want a warmer refill."
    )
    return cool or beyond("refill_arrives_warm", tote.arrives_c - tote.wanted_c, text, stop="arrival_short")


def _apart(tote: ToteHeat, before_c: float) -> list[Finding]:
    """What fish by the hose meet."""
    text = (
        f"The refill comes out of the hose at {tote.arrives_c:.1f} °C, the tank stands at {before_c:.1f}: fish by the "
        "hose meet the difference. Where the taps give nothing nearer, let the water stand first, and write what it reads "
        "then as the tap's temperature."
    )
    apart_k = abs(tote.arrives_c - before_c)
    return beyond("refill_apart", apart_k - 1e-6, text, caution="refill_apart", stop="refill_apart_stop")


def _tank(before_c: float, after_c: float) -> list[Finding]:
    text = f"This change moves the tank's temperature from {before_c:.1f} to {after_c:.1f} °C."
    return beyond(
        "temperature_step", abs(after_c - before_c), text, caution="temperature_step", stop="temperature_step_stop"
    )


def _blends(totes: Sequence[ToteHeat]) -> list[Finding]:
    """Hot and cold that do not make what the thermometer is to read."""
    for tote in totes:
        hot_kj_k, cold_kj_k = 4.18 * tote.hot_l, 4.18 * tote.cold_l
        whole_kj_k = hot_kj_k + cold_kj_k + tote.plastic_kj_k
        mixed_c = hot_kj_k * tote.hot_c + cold_kj_k * tote.cold_c + tote.plastic_kj_k * tote.plastic_c
        mixed_c /= whole_kj_k
        if not abs(mixed_c - tote.drawn_c) <= _BLEND_K + 0.01 * abs(tote.hot_c - tote.cold_c):
            text = (
                f"{tote.hot_l:.1f} L at {tote.hot_c:.1f} °C and {tote.cold_l:.1f} L at {tote.cold_c:.1f} °C make "
                f"{mixed_c:.1f} °C, not {tote.drawn_c:.1f}. Do not follow this plan; tell its makers."
            )
            return [Finding("stop", "contradiction", text, mixed_c, tote.drawn_c, "degC")]
    return []
