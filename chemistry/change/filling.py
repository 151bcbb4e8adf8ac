"""Chlorine in a tank that fills with tap water nobody has neutralised: how much, when, and what fish have met of it.

Water runs in at a steady flow q with chlorine c, and the tank takes up chlorine at a rate k times what is there (its
demand; 0 is the careful assumption). With V = V0 + q t for the volume and m for the chlorine in it,

    dm/dt = q c - k m,   so   m = q c t (1 - exp(-k t)) / (k t),   and the concentration is m / V.

The exposure is its integral over time: c times that of (1 - exp(-k s)) / (k (V0 / q + s)) ds. In exponential integrals it
is c / k (ln(b / a) - G(a) + G(b) exp(-k t)) with a = k V0 / q, b = a + k t and G(x) = exp(x) E1(x). That form loses every
digit where k t is small; there the integrand, which over u = ln(1 + s q / V0) has no singularity at all, is summed by
Gauss and Legendre's rule, exact to rounding. First principles; the tank is taken as well mixed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from chemistry.change.exponential import decayed_mean, scaled_exponential_integral
from chemistry.errors import BadInput

_NODES = 24
_BISECTIONS = 60


@dataclass(frozen=True)
class Filling:
    """A tank that fills; every figure scalar or array.

    From volume_start_l to volume_end_l at flow_l_min, with tap water of chlorine_mg_l; demand_per_min: share of the
    chlorine in the tank that is used up in a minute, by what lives in it.
    """

    volume_start_l: Any
    volume_end_l: Any
    flow_l_min: Any
    chlorine_mg_l: Any
    demand_per_min: Any = 0.0

    def __post_init__(self) -> None:
        self._refuse(np.greater(self.flow_l_min, 0), "flow", f"{self.flow_l_min} L/min fills nothing.")
        said = f"{self.volume_start_l} L at the start; a tank without water has no fish in it."
        self._refuse(np.greater(self.volume_start_l, 0), "volume", said)
        said = f"it goes from {self.volume_start_l} to {self.volume_end_l} L: that is no filling."
        self._refuse(np.greater(self.volume_end_l, self.volume_start_l), "volume", said)
        said = f"chlorine {self.chlorine_mg_l} mg/L, demand {self.demand_per_min} a minute."
        self._refuse(np.greater_equal(np.minimum(self.chlorine_mg_l, self.demand_per_min), 0), "chlorine", said)

    @staticmethod
    def _refuse(allowed: Any, where: str, said: str) -> None:
        if not np.all(allowed) or np.any(np.isinf(allowed)):
            raise BadInput.of(
                where, said, "Give a flow above 0, volumes that grow, and chlorine and demand of 0 or more."
            )

    @property
    def minutes(self) -> Any:
        """How long it fills."""
        return (np.asarray(self.volume_end_l) - self.volume_start_l) / self.flow_l_min

    @property
    def turnover_min(self) -> Any:
        """Minutes the flow takes to bring what was there at the start once more."""
        return np.asarray(self.volume_start_l) / self.flow_l_min


def volume_l(filling: Filling, minute: Any) -> Any:
    """Water in the tank [L] so many minutes after the flow began; what it ends with from then on."""
    return filling.volume_start_l + filling.flow_l_min * np.minimum(minute, filling.minutes)


def chlorine_g(filling: Filling, minute: Any) -> Any:
    """Chlorine in the tank [g as Cl2] after so many minutes without neutraliser; past the end it only decays."""
    _refuse_backwards(minute)
    k, running = filling.demand_per_min, np.minimum(minute, filling.minutes)
    brought_g = filling.flow_l_min * filling.chlorine_mg_l * running * decayed_mean(k * running) / 1000
    return brought_g * np.exp(-k * _past(filling, minute))


def concentration_mg_l(filling: Filling, minute: Any) -> Any:
    """Chlorine in the tank [mg/L as Cl2] after so many minutes without neutraliser."""
    return 1000 * chlorine_g(filling, minute) / volume_l(filling, minute)


def exposure_mg_min_l(filling: Filling, minute: Any) -> Any:
    """Concentration summed over the minutes so far [mg min/L]."""
    _refuse_backwards(minute)
    running, past = np.minimum(minute, filling.minutes), _past(filling, minute)
    while_filling = filling.chlorine_mg_l * _exposure(filling.demand_per_min, filling.turnover_min, running)
    end_mg_l = concentration_mg_l(filling, filling.minutes)
    # Past the end of time it goes on without end, where nothing uses the chlorine up.
    return while_filling + np.where(past > 0, end_mg_l * past * decayed_mean(filling.demand_per_min * past), 0.0)


def peak(filling: Filling, until_minute: Any) -> tuple[Any, Any]:
    """Highest concentration [mg/L] before `until_minute`, and the minute of it.

    Without demand it rises to the end. With it, the concentration turns where exp(y) = 1 + a + y, with y = k t and
    a = k V0 / q: inflow no longer outweighs demand and dilution.
    """
    at = np.minimum(np.minimum(_turning_min(filling), filling.minutes), until_minute)
    return concentration_mg_l(filling, at), at


def worst_mean_mg_l(filling: Filling, until_minute: Any, window_min: float) -> Any:
    """Highest mean concentration over any `window_min` minutes [mg/L], if all chlorine is gone from `until_minute` on.

    Infinite `until_minute`: never neutralised. The concentration rises to one peak and falls; a window is worst where
    both its ends stand at the same height, or where it ends as the neutraliser goes in.
    """
    _, at = peak(filling, until_minute)
    low, high = at, np.minimum(at + window_min, until_minute)
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        rises = concentration_mg_l(filling, middle) >= concentration_mg_l(filling, np.maximum(middle - window_min, 0))
        low, high = np.where(rises, middle, low), np.where(rises, high, middle)
    start = np.maximum(high - window_min, 0)
    return (exposure_mg_min_l(filling, high) - exposure_mg_min_l(filling, start)) / window_min


def breakthrough_minute(tote_l: Any, flow_l_min: Any, dosed_for_l: Any) -> Any:
    """Minute at which chlorine comes out of a tote that tap water runs through, dosed once at the start.

    tote_l: what it held then, of tap water.  dosed_for_l: litres of tap water the dose was meant for.  The agent left
    over, in litres of tap water it could still treat, follows dx/dt = (q / V) (-V - x): it is washed out while it is
    used up, and gone after V / q ln(dosed_for / V). Never (infinite) only for a dose without bounds; at once where the
    dose was for no more than the tote. Raises BadInput for a tote or flow of nothing.
    """
    if np.any(np.less_equal(tote_l, 0)) or np.any(np.less_equal(flow_l_min, 0)) or np.any(np.less(dosed_for_l, 0)):
        raise BadInput.of(
            "tote",
            f"{tote_l} L in the tote, {flow_l_min} L/min through it, dosed for {dosed_for_l} L.",
            "Give a tote and a flow above 0.",
        )
    ratio = np.maximum(np.divide(dosed_for_l, tote_l), 1.0)
    return np.divide(tote_l, flow_l_min) * np.log(ratio)


def outflow_mg_l(minute: Any, tote_l: Any, flow_l_min: Any, dosed_for_l: Any, chlorine_mg_l: Any) -> Any:
    """Chlorine [mg/L] in what leaves that tote after so many minutes: none, then c (1 - exp(-(t - breakthrough) q / V))."""
    since = np.maximum(minute - breakthrough_minute(tote_l, flow_l_min, dosed_for_l), 0.0)
    return -chlorine_mg_l * np.expm1(-since * np.divide(flow_l_min, tote_l))


def _past(filling: Filling, minute: Any) -> Any:
    return np.maximum(np.subtract(minute, filling.minutes), 0.0)


def _turning_min(filling: Filling) -> Any:
    """Minute at which the concentration would turn, were the tank without end; infinite without demand."""
    k = np.asarray(filling.demand_per_min, dtype=float)
    a = k * filling.turnover_min
    y = np.log1p(a + np.sqrt(2 * a))  # from below: exp(y) <= 1 + a + y
    for _ in range(40):  # Newton on a concave function, from one side
        residual = np.log1p(a + y) - y
        slope = (a + y) / (1 + a + y)
        y = y + np.where(slope > 0, residual / np.where(slope > 0, slope, 1.0), 0.0)
    return np.where(k > 0, y / np.where(k > 0, k, 1.0), np.inf)


def _exposure(k: Any, turnover_min: Any, minute: Any) -> Any:
    """Integral of (1 - exp(-k s)) / (k (turnover + s)) ds from 0 to `minute` [min]."""
    k, turnover, minute = np.broadcast_arrays(*(np.asarray(part, dtype=float) for part in (k, turnover_min, minute)))
    slow = k * minute <= 1.0
    summed = _summed(np.where(slow, k, 0.0), turnover, minute)
    if np.all(slow):
        return summed
    fast = np.where(slow, 1.0 / np.maximum(minute, 1e-300), k)
    a, b = fast * turnover, fast * (turnover + minute)
    both = np.log1p(minute / turnover) - scaled_exponential_integral(a)
    closed = (both + scaled_exponential_integral(b) * np.exp(-fast * minute)) / fast
    return np.where(slow, summed, closed)[()]


@cache
def _rule() -> tuple[Any, Any]:
    """Nodes and weights of Gauss and Legendre on 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    return (nodes + 1) / 2, weights / 2


def _summed(k: Any, turnover_min: Any, minute: Any) -> Any:
    """The same integral by quadrature over u = ln(1 + s / turnover); for k t up to 1."""
    nodes, weights = _rule()
    span = np.log1p(minute / turnover_min)
    s = turnover_min[..., None] * np.expm1(span[..., None] * nodes)
    return np.sum(weights * s * decayed_mean(k[..., None] * s), axis=-1) * span


def _refuse_backwards(minute: Any) -> None:
    if np.any(np.less(minute, 0)):
        raise BadInput.of(
            "minute", f"{minute} minutes: time runs forwards from the start of the filling.", "Give 0 or more."
        )
