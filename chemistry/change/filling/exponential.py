"""Two functions of the closed forms, safe where the textbook forms lose their digits: (1 - exp(-x)) / x and exp(x) E1(x)."""

from __future__ import annotations

from typing import Any

import numpy as np

_EULER = 0.5772156649015329  # Euler's constant
_TERMS = 26  # of the series up to 2: the next is below 1e-18 of the sum
_DEPTH = 90  # of the continued fraction from 2 on: 1e-15 of it


def decayed_mean(x: Any) -> Any:
    """(1 - exp(-x)) / x, the mean of exp(-y) for y from 0 to x >= 0; 1 at x = 0; scalar or array."""
    safe = np.where(np.equal(x, 0), 1.0, x)
    return np.where(np.equal(x, 0), 1.0, -np.expm1(-safe) / safe)


def scaled_exponential_integral(x: Any) -> Any:
    """exp(x) E1(x) for x > 0, scalar or array; about 1 / x where x is large, where exp(x) alone overflows.

    Series to 2, continued fraction beyond. Source: Abramowitz & Stegun 1964, 5.1.11 and 5.1.22 (from memory).
    """
    x = np.asarray(x, dtype=float)
    low, high = np.minimum(x, 2.0), np.maximum(x, 2.0)
    power, total = np.ones_like(low), np.zeros_like(low)
    for n in range(1, _TERMS + 1):
        power = power * -low / n
        total = total - power / n
    series = np.exp(low) * (total - _EULER - np.log(low))
    tail = high
    for n in range(_DEPTH, 0, -1):
        tail = high + n / (1 + n / tail)
    return np.where(x <= 2.0, series, 1 / tail)
