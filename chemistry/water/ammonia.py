"""Un-ionised ammonia, and the criteria it is held against."""

from __future__ import annotations

import numpy as np

from tapwright.chemistry.water.properties import Number


def unionised_share(ph: Number, temperature_c: Number) -> Number:
    """Share of total ammonia that is NH3, 0 to 1, fresh water.

    Source: Emerson, Russo, Lund & Thurston 1975, J. Fish. Res. Board Can. 32, 2379: pKa = 0.09018 + 2729.92 / T
    (copies with 2727.92 circulate).
    """
    pka = 0.09018 + 2729.92 / (temperature_c + 273.15)
    share: Number = 1 / (1 + 10 ** (pka - ph))
    return share


def acute_criterion_mg_n_l(ph: Number, temperature_c: Number) -> Number:
    """Total ammonia nitrogen [mg/L] not to be exceeded for one hour, warm water (no Oncorhynchus).

    Source: US EPA 822-R-13-001 (2013), criterion maximum concentration.
    """
    by_ph = 0.0114 / (1 + 10 ** (7.204 - ph)) + 1.6181 / (1 + 10 ** (ph - 7.204))
    criterion: Number = 0.7249 * by_ph * np.minimum(51.93, 23.12 * 10 ** (0.036 * (20 - temperature_c)))
    return criterion


def chronic_criterion_mg_n_l(ph: Number, temperature_c: Number) -> Number:
    """Total ammonia nitrogen [mg/L] not to be exceeded as a 30-day average.

    Source: US EPA 822-R-13-001 (2013), criterion continuous concentration.
    """
    by_ph = 0.0278 / (1 + 10 ** (7.688 - ph)) + 1.1994 / (1 + 10 ** (ph - 7.688))
    criterion: Number = 0.8876 * by_ph * 2.126 * 10 ** (0.028 * (20 - np.maximum(temperature_c, 7.0)))
    return criterion
