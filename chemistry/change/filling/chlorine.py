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
from numpy.typing import NDArray

from tapwright.chemistry.change.filling.exponential import decayed_mean, scaled_exponential_integral
from tapwright.chemistry.errors import BadInput, Fault

Array = NDArray[np.float64]

_NODES = 24
_NEWTON = 5  # three are exact to rounding
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
        start, end, flow = self.volume_start_l, self.volume_end_l, self.flow_l_min
        checks = (
            ("flow", _all(np.greater(flow, 0), flow), f"{flow} L/min fills nothing.", "Give a flow above 0."),
            (
                "volume",
                _all(np.greater(start, 0), start),
                f"{start} L at the start.",
                "Give more than 0 L: there are fish in it.",
            ),
            (
                "volume",
                _all(np.greater(end, start), end),
                f"from {start} to {end} L.",
                "Give an end above the start.",
            ),
            *(
                (name, _all(np.greater_equal(value, 0), value), f"{value} is read.", "Give 0 or more.")
                for name, value in (("chlorine", self.chlorine_mg_l), ("demand", self.demand_per_min))
            ),
        )
        faults = [Fault(where, said, hint) for where, allowed, said, hint in checks if not allowed]
        if faults:
            raise BadInput(faults)

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
    return brought_g * _left(k, _past(filling, minute))


def concentration_mg_l(filling: Filling, minute: Any) -> Any:
    """Chlorine in the tank [mg/L as Cl2] after so many minutes without neutraliser."""
    mixed = 1000 * chlorine_g(filling, minute) / volume_l(filling, minute)
    return np.minimum(mixed, filling.chlorine_mg_l)  # more than the tap's is rounding


def exposure_mg_min_l(filling: Filling, minute: Any) -> Any:
    """Concentration summed over the minutes so far [mg min/L]."""
    _refuse_backwards(minute)
    running, past = np.minimum(minute, filling.minutes), _past(filling, minute)
    while_filling = filling.chlorine_mg_l * _exposure(filling.demand_per_min, filling.turnover_min, running)
    end_mg_l = concentration_mg_l(filling, filling.minutes)
    return while_filling + end_mg_l * _mean_left(filling.demand_per_min, past)


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
    both its ends stand at the same height, or where it ends as the neutraliser goes in. Raises BadInput for a window of
    nothing.
    """
    if not window_min > 0:
        raise BadInput.of("window", f"a mean over {window_min} minutes.", "Give more than 0.")
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
    _refuse_tote(tote_l, flow_l_min, dosed_for_l)
    ratio = np.maximum(np.divide(dosed_for_l, tote_l), 1.0)
    return np.divide(tote_l, flow_l_min) * np.log(ratio)


def outflow_mg_l(minute: Any, tote_l: Any, flow_l_min: Any, dosed_for_l: Any, chlorine_mg_l: Any) -> Any:
    """Chlorine [mg/L] in what leaves that tote after so many minutes: c (1 - dosed_for / V exp(-t q / V)), where above 0."""
    _refuse_tote(tote_l, flow_l_min, dosed_for_l)
    _refuse_backwards(minute)
    if not _all(np.greater_equal(chlorine_mg_l, 0), chlorine_mg_l):
        raise BadInput.of("chlorine", f"{chlorine_mg_l} mg/L.", "Give 0 mg/L or more.")
    covered = np.divide(dosed_for_l, tote_l) * np.exp(-np.multiply(minute, np.divide(flow_l_min, tote_l)))
    return chlorine_mg_l * np.maximum(1 - covered, 0.0)


def _refuse_tote(tote_l: Any, flow_l_min: Any, dosed_for_l: Any) -> None:
    sound = _all(np.greater(tote_l, 0), tote_l) and _all(np.greater(flow_l_min, 0), flow_l_min)
    if not sound or not np.all(np.greater_equal(dosed_for_l, 0)):
        raise BadInput.of(
            "tote",
            f"{tote_l} L in the tote, {flow_l_min} L/min through it, dosed for {dosed_for_l} L.",
            "Give a tote and a flow above 0.",
        )


def _all(allowed: Any, value: Any) -> bool:
    """Whether every figure is allowed, and a number."""
    return bool(np.all(allowed) and np.all(np.isfinite(value)))


def _left(k: Any, past: Any) -> Any:
    """What is left of 1 after so many minutes without inflow; all of it, at any time, where nothing uses it up."""
    return np.exp(-np.where(np.greater(k, 0), k, 0.0) * np.where(np.greater(k, 0), past, 0.0))


def _mean_left(k: Any, past: Any) -> Any:
    """The same summed over the minutes; without end where nothing uses it up and time has none."""
    used = np.greater(k, 0)
    rate = np.where(used, k, 1.0)
    return np.where(used, -np.expm1(-rate * past) / rate, past)


def _past(filling: Filling, minute: Any) -> Any:
    return np.maximum(np.subtract(minute, filling.minutes), 0.0)


def _turning_min(filling: Filling) -> Any:
    """Minute at which the concentration would turn, were the tank without end; infinite without demand."""
    k = np.asarray(filling.demand_per_min, dtype=float)
    a = k * filling.turnover_min
    y = np.log1p(a + np.sqrt(2 * a))  # from below: exp(y) <= 1 + a + y
    for _ in range(_NEWTON):  # on a concave function, from one side
        residual = np.log1p(a + y) - y
        slope = (a + y) / (1 + a + y)
        y = y + np.where(slope > 0, residual / np.where(slope > 0, slope, 1.0), 0.0)
    return np.where(k > 0, y / np.where(k > 0, k, 1.0), np.inf)


def _exposure(k: Any, turnover_min: Any, minute: Any) -> Any:
    """Integral of (1 - exp(-k s)) / (k (turnover + s)) ds from 0 to `minute` [min]."""
    k, turnover, minute = np.broadcast_arrays(*(np.asarray(part, dtype=float) for part in (k, turnover_min, minute)))
    slow = k * minute <= 1.0
    found = np.empty(k.shape)
    found[slow] = _summed(k[slow], turnover[slow], minute[slow])
    if not np.all(slow):
        found[~slow] = _closed(k[~slow], turnover[~slow], minute[~slow])
    return found[()]


def _closed(k: Array, turnover_min: Array, minute: Array) -> Array:
    """The same integral in exponential integrals, for k t above 1."""
    logarithm = np.log1p(minute / turnover_min)
    first = scaled_exponential_integral(k * turnover_min)
    last = scaled_exponential_integral(k * (turnover_min + minute)) * np.exp(-k * minute)
    return np.asarray((logarithm - first + last) / k)


@cache
def _rule() -> tuple[Any, Any]:
    """Nodes and weights of Gauss and Legendre on 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    return (nodes + 1) / 2, weights / 2


def _summed(k: Array, turnover_min: Array, minute: Array) -> Array:
    """The same integral by quadrature over u = ln(1 + s / turnover), for k t up to 1."""
    nodes, weights = _rule()
    span = np.log1p(minute / turnover_min)
    total = np.zeros(k.shape)
    for node, weight in zip(nodes, weights, strict=True):
        s = turnover_min * np.expm1(span * node)
        total += weight * s * decayed_mean(k * s)
    return total * span


def _refuse_backwards(minute: Any) -> None:
    if not np.all(np.greater_equal(minute, 0)):
        raise BadInput.of(
            "minute", f"{minute} minutes: time runs forwards from the start of the filling.", "Give 0 or more."
        )
