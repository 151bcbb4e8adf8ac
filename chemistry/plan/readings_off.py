"""How far the readings behind a plan may be off: every test, mark, thermometer and scale drawn anew many times at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tapwright.chemistry import reference
from tapwright.chemistry.plan.figures.records import Figures
from tapwright.chemistry.water.composition import dgh_per_mmol

Array = NDArray[np.float64]
# One figure of a plan, one entry a draw. The engine's records are typed for scalars and take arrays as well.
Draws = Any

# Nine of ten readings are taken to lie within the give or take of tables/kits.csv: 1.645 standard deviations of a normal.
NINE_OF_TEN = 1.6448536269514722
_SEED = 19  # any: the same plan says the same each time
LEAST_SPAN_K = 0.1  # between the taps: two that read so alike make no blend
_WIDEST = 3.0  # standard deviations: a reading further off is a blunder, not an error


@dataclass
class Off:
    """Standard normal errors of every reading, by its name, all of them drawn at once.

    A name stands for one reading: whoever asks for it again gets the same errors, so that a thermometer that reads high
    does so everywhere.
    """

    draws: int
    errors: dict[str, Array] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._random = np.random.default_rng(_SEED)

    def of(self, name: str) -> Array:
        """Errors of one reading, in standard deviations."""
        if name not in self.errors:
            self.errors[name] = np.clip(self._random.standard_normal(self.draws), -_WIDEST, _WIDEST)
        return self.errors[name]

    def by(self, name: str, size: float) -> Array:
        """The same in the reading's own unit, nine of ten within `size`."""
        return self.of(name) * (size / NINE_OF_TEN)

    def factor(self, name: str, key: str) -> Array:
        """What to multiply by, for an error of tables/kits.csv in percent."""
        return np.asarray(np.exp(self.by(name, np.log1p(reference.value("kits", key) / 100))))


@dataclass(frozen=True)
class Truth:
    """What may be true where the plan reads one figure; arrays of draws.

    Nitrate in mg/L NO3, hardness in mmol/L, alkalinity in meq/L, chlorine in mg/L; share: of the water changed; tote_factor:
    litres in a tote over those planned.  None: not read.
    """

    tank_nitrate_mg_l: Draws
    tap_nitrate_mg_l: Draws
    rise_mg_l: Draws
    chlorine_mg_l: Draws
    tap_hardness_mmol_l: Draws
    tap_alkalinity_meq_l: Draws
    tap_ph: Draws
    tank_hardness_mmol_l: Draws
    tank_alkalinity_meq_l: Draws
    tank_ph: Draws
    tank_ammonia_mg_n_l: Draws
    tank_c: Draws
    hot_c: Draws
    cold_c: Draws
    share: Draws
    tote_factor: Draws


def truths(figures: Figures, off: Off) -> Truth:
    """Draw what may be true behind the readings of a plan."""
    tap, tank = figures.waters.tap, figures.waters.tank_before
    dgh, dkh = 1 / dgh_per_mmol(), 2 / dgh_per_mmol()
    kit: Callable[[str], float] = lambda key: reference.value("kits", key)  # noqa: E731

    def about(value: float, name: str, size: float) -> Array:
        """About a reading, never below nothing."""
        return np.maximum(value + off.by(name, size), 0.0)

    def ph(value: float | None, name: str) -> Array | None:
        return None if value is None else value + off.by(name, kit("ph"))

    height_cm = 100 * figures.tank.water_height_m
    cold_c = np.maximum(tap.temperature_c + off.by("cold tap: temperature", kit("temperature")), 0.0)
    hot_c = figures.household.hot_water.temperature_c + off.by("hot tap: temperature", kit("temperature"))
    return Truth(
        tank_nitrate_mg_l=tank.nitrate_mg_l * off.factor("tank: nitrate", "nitrate"),
        tap_nitrate_mg_l=tap.nitrate_mg_l * off.factor("tap: nitrate", "nitrate"),
        rise_mg_l=(figures.tank.nitrate_rise_mg_l or 0.0) * off.factor("tank: rise of nitrate", "nitrate"),
        chlorine_mg_l=about(tap.total_chlorine_mg_l, "tap: chlorine", kit("chlorine")) * (tap.total_chlorine_mg_l > 0),
        tap_hardness_mmol_l=about(tap.hardness_mmol_l, "tap: hardness", kit("hardness") * dgh),
        # No test reads alkalinity so low that water of that pH could not have it: at most half of it is error.
        tap_alkalinity_meq_l=np.maximum(
            about(tap.alkalinity_meq_l, "tap: alkalinity", kit("alkalinity") * dkh), tap.alkalinity_meq_l / 2
        ),
        tap_ph=ph(tap.ph, "tap: pH"),
        tank_hardness_mmol_l=about(tank.hardness_mmol_l, "tank: hardness", kit("hardness") * dgh),
        tank_alkalinity_meq_l=np.maximum(
            about(tank.alkalinity_meq_l, "tank: alkalinity", kit("alkalinity") * dkh), tank.alkalinity_meq_l / 2
        ),
        tank_ph=ph(tank.ph, "tank: pH"),
        tank_ammonia_mg_n_l=about(tank.ammonia_mg_n_l, "tank: ammonia", kit("ammonia")),
        tank_c=tank.temperature_c + off.by("tank: temperature", kit("temperature")),
        hot_c=np.maximum(hot_c, cold_c + LEAST_SPAN_K),
        cold_c=cold_c,
        share=np.clip(
            figures.change_share + off.by("tank: mark on the glass", kit("height")) / height_cm, 0.001, 0.999
        ),
        tote_factor=off.factor("tote: mark", "volume"),
    )


def weighed_factors(figures: Figures, off: Off) -> Mapping[str, Array]:
    """What each salt brings over what is planned: purity, and one step of the scale at each weighing."""
    step_g = figures.household.scale.resolution_g * reference.value("kits", "scale")
    factors: dict[str, Any] = {}
    for name, grams in figures.salts_per_tote_g.items():
        # The same salt is weighed once for each tote; those errors do not know of each other.
        weighing = off.by(f"scale: {name}", step_g / grams / np.sqrt(figures.totes.count))
        factors[name] = off.factor(f"salt: purity of {name}", "purity") * np.maximum(1 + weighing, 0.0)
    return factors
