"""What warm water loses on its way into the tank: in the open tote while it waits, while the tote empties, and in the hose."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tapwright.chemistry import reference
from tapwright.chemistry.change.hydraulics.friction import Hose
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.water.properties import density_kg_l, heat_capacity_kj_kg_k
from tapwright.chemistry.water.vapour import evaporation_kg_m2_h, vaporisation_kj_kg

_SECANT_K = 0.5
_CLOSE_K = 1e-7
_CORRECTIONS = 60


@dataclass(frozen=True)
class Room:
    """The air of the room: temperature [degC] and relative humidity, 0 to 1."""

    temperature_c: float
    humidity: float

    def __post_init__(self) -> None:
        if not 0 <= self.humidity <= 1:
            raise BadInput.of("humidity", f"{self.humidity} is read; 0 to 1 is allowed.", "Half saturated air is 0.5.")


@dataclass(frozen=True)
class Tub:
    """An open tote as it stands filled: litres, height of the water [m] and heat capacity of its plastic [kJ/K].

    Taken as a box with a square bottom.
    """

    volume_l: float
    height_m: float
    plastic_kj_k: float = 0.0

    def __post_init__(self) -> None:
        if not (self.volume_l > 0 and self.height_m > 0 and self.plastic_kj_k >= 0):
            raise BadInput.of("tote", f"{self.volume_l} L, {self.height_m} m high.", "Give figures above 0.")

    @property
    def surface_m2(self) -> float:
        """Open surface."""
        return self.volume_l / 1000 / self.height_m

    @property
    def sides_m2(self) -> float:
        """Wet sides; the bottom is as large as the surface."""
        return 4 * math.sqrt(self.surface_m2) * self.height_m

    def heat_capacity_kj_k(self, water_c: float) -> float:
        """Of water and plastic together."""
        return self.volume_l * density_kg_l(water_c) * heat_capacity_kj_kg_k(water_c) + self.plastic_kj_k


def surface_loss_w(water_c: float, tub: Tub, room: Room) -> float:
    """Heat [W] that leaves by the open surface: evaporation, and convection and radiation by one coefficient."""
    evaporated_kg_s = float(evaporation_kg_m2_h(water_c, room.temperature_c, room.humidity)) * tub.surface_m2 / 3600
    return 1000 * evaporated_kg_s * float(vaporisation_kj_kg(water_c)) + _film(tub.surface_m2, water_c, room)


def wall_loss_w(water_c: float, tub: Tub, room: Room) -> float:
    """Heat [W] that leaves by walls and bottom; what the plastic itself holds back is left out."""
    return _film(tub.sides_m2 + tub.surface_m2, water_c, room)


def after_waiting_c(water_c: float, minutes: float, tub: Tub, room: Room) -> float:
    """Temperature [degC] after so many minutes in the open tote.

    C dT/dt = -loss(T), with the loss as a straight line about the middle of the fall: exact for that line, and within a
    hundredth of the fall in an hour. Raises BadInput for minutes below 0.
    """
    if not minutes >= 0:
        raise BadInput.of("minutes", f"{minutes} minutes: time runs forwards.", "Give 0 or more.")
    first_c = _about(water_c, water_c, minutes, tub, room)
    return _about(water_c, (water_c + first_c) / 2, minutes, tub, room)


def _about(water_c: float, line_c: float, minutes: float, tub: Tub, room: Room) -> float:
    """The same, with the loss as a straight line about `line_c`."""
    above, at, below = (
        surface_loss_w(temperature_c, tub, room) + wall_loss_w(temperature_c, tub, room)
        for temperature_c in (line_c + _SECANT_K, line_c, line_c - _SECANT_K)
    )
    # Where the factor of the formula for evaporation jumps, it takes the slope of one side down: the other is meant.
    slope_w_k = max(above - at, at - below) / _SECANT_K
    rate_per_s = slope_w_k / (1000 * tub.heat_capacity_kj_k(water_c))
    at_rest_c = line_c - at / slope_w_k
    return at_rest_c + (water_c - at_rest_c) * math.exp(-rate_per_s * 60 * minutes)


def emptying_loss_k(water_c: float, minutes: float, tub: Tub, room: Room) -> float:
    """How much cooler, on the mean, what flows out is [K] than the water was, while the tote empties in so many minutes.

    With f for what is left, surface and bottom stay wet and their loss falls on f of the water, the sides' on their own
    share: the water at f has lost L t / C ln(1 / f) and L_s t / C (1 - f), of which the means over f are 1 and 1/2. The
    losses are those of the start, and the plastic stays behind with its heat. Raises BadInput for minutes below 0.
    """
    if not minutes >= 0:
        raise BadInput.of("minutes", f"{minutes} minutes: time runs forwards.", "Give 0 or more.")
    ends_w = surface_loss_w(water_c, tub, room) + _film(tub.surface_m2, water_c, room)
    sides_w = _film(tub.sides_m2, water_c, room)
    water_kj_k = tub.heat_capacity_kj_k(water_c) - tub.plastic_kj_k
    return (ends_w + sides_w / 2) * 60 * minutes / (1000 * water_kj_k)


def hose_loss_k(water_c: float, flow_l_min: float, hose: Hose, room: Room) -> float:
    """How much the water cools on its way through the hose [K]: an exponential approach to the room along its wall.

    Raises BadInput for a flow that is not above 0.
    """
    if not flow_l_min > 0:
        raise BadInput.of("flow", f"{flow_l_min} L/min.", "Give a flow above 0.")
    outside_m = hose.bore_m + 2 * reference.value("practice", "hose_wall") / 1000
    w_k = reference.value("practice", "film_coefficient") * math.pi * outside_m * hose.length_m
    carried_w_k = flow_l_min / 60 * density_kg_l(water_c) * heat_capacity_kj_kg_k(water_c) * 1000
    return -(water_c - room.temperature_c) * math.expm1(-w_k / carried_w_k)


@dataclass(frozen=True)
class Way:
    """The way of one tote's water into the tank: minutes it waits, minutes it takes to empty, and through which hose."""

    waiting_min: float
    emptying_min: float
    hose: Hose

    def __post_init__(self) -> None:
        if not (self.waiting_min >= 0 and self.emptying_min > 0):
            said = f"{self.waiting_min} minutes of waiting and {self.emptying_min} of emptying."
            raise BadInput.of("minutes", said, "Time runs forwards, and a tote takes some of it to empty.")


def arrives_c(water_c: float, tub: Tub, way: Way, room: Room) -> float:
    """Mean temperature [degC] at which water of the tote comes out of the hose."""
    waited_c = after_waiting_c(water_c, way.waiting_min, tub, room)
    leaves_c = waited_c - emptying_loss_k(waited_c, way.emptying_min, tub, room)
    return leaves_c - hose_loss_k(leaves_c, tub.volume_l / way.emptying_min, way.hose, room)


def to_arrive_c(target_c: float, tub: Tub, way: Way, room: Room) -> float:
    """Temperature [degC] to draw, so that the water arrives at `target_c`; the loss changes slowly with it."""
    water_c = target_c
    for _ in range(_CORRECTIONS):
        short_k = target_c - arrives_c(water_c, tub, way, room)
        water_c += short_k
        if abs(short_k) < _CLOSE_K:
            break
    return water_c


def _film(area_m2: float, water_c: float, room: Room) -> float:
    return reference.value("practice", "film_coefficient") * area_m2 * (water_c - room.temperature_c)
