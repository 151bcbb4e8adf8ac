"""What warm water loses on its way into the tank: in the open tote while it waits, while the tote empties, and in the hose."""

from __future__ import annotations

import math
from dataclasses import dataclass

from chemistry import reference
from chemistry.change.friction import Hose
from chemistry.errors import BadInput
from chemistry.water.properties import density_kg_l, heat_capacity_kj_kg_k
from chemistry.water.vapour import evaporation_kg_m2_h, vaporisation_kj_kg

_SECANT_K = 0.5


@dataclass(frozen=True)
class Room:
    """The air of the room: temperature [degC] and relative humidity, 0 to 1."""

    temperature_c: float
    humidity: float


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
    def wall_m2(self) -> float:
        """Wet walls and bottom."""
        return 4 * math.sqrt(self.surface_m2) * self.height_m + self.surface_m2

    def heat_capacity_kj_k(self, water_c: float) -> float:
        """Of water and plastic together."""
        return self.volume_l * density_kg_l(water_c) * heat_capacity_kj_kg_k(water_c) + self.plastic_kj_k


def surface_loss_w(water_c: float, tub: Tub, room: Room) -> float:
    """Heat [W] that leaves by the open surface: evaporation, and convection and radiation by one coefficient."""
    evaporated_kg_s = float(evaporation_kg_m2_h(water_c, room.temperature_c, room.humidity)) * tub.surface_m2 / 3600
    return 1000 * evaporated_kg_s * float(vaporisation_kj_kg(water_c)) + _film(tub.surface_m2, water_c, room)


def wall_loss_w(water_c: float, tub: Tub, room: Room) -> float:
    """Heat [W] that leaves by walls and bottom; what the plastic itself holds back is left out."""
    return _film(tub.wall_m2, water_c, room)


def after_waiting_c(water_c: float, minutes: float, tub: Tub, room: Room) -> float:
    """Temperature [degC] after so many minutes in the open tote.

    C dT/dt = -loss(T), with the loss as a straight line about the start: exact for that line, and within a hundredth of
    the fall for the few tenths of a kelvin a tote loses.
    """
    if minutes < 0:
        raise BadInput.of("minutes", f"{minutes} minutes: time runs forwards.", "Give 0 or more.")
    at, beside = (
        surface_loss_w(temperature_c, tub, room) + wall_loss_w(temperature_c, tub, room)
        for temperature_c in (water_c, water_c - _SECANT_K)
    )
    slope_w_k = (at - beside) / _SECANT_K
    rate_per_s = slope_w_k / (1000 * tub.heat_capacity_kj_k(water_c))
    return water_c + at / slope_w_k * math.expm1(-rate_per_s * 60 * minutes)


def emptying_loss_k(water_c: float, minutes: float, tub: Tub, room: Room) -> float:
    """How much cooler, on the mean, what flows out is [K] than the water was, while the tote empties in so many minutes.

    With f for what is left, the surface's loss falls on f of the water and the walls' on their own share: the water at f
    has lost L_s t / C ln(1 / f) and L_w t / C (1 - f), of which the means over f are 1 and 1/2. The losses are those of the
    start, and the plastic stays behind with its heat.
    """
    surface_w, wall_w = surface_loss_w(water_c, tub, room), wall_loss_w(water_c, tub, room)
    water_kj_k = tub.heat_capacity_kj_k(water_c) - tub.plastic_kj_k
    return (surface_w + wall_w / 2) * 60 * minutes / (1000 * water_kj_k)


def hose_loss_k(water_c: float, flow_l_min: float, hose: Hose, room: Room) -> float:
    """How much the water cools on its way through the hose [K]: an exponential approach to the room along its wall."""
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


def arrives_c(water_c: float, tub: Tub, way: Way, room: Room) -> float:
    """Mean temperature [degC] at which water of the tote comes out of the hose."""
    waited_c = after_waiting_c(water_c, way.waiting_min, tub, room)
    leaves_c = waited_c - emptying_loss_k(waited_c, way.emptying_min, tub, room)
    return leaves_c - hose_loss_k(leaves_c, tub.volume_l / way.emptying_min, way.hose, room)


def to_arrive_c(target_c: float, tub: Tub, way: Way, room: Room) -> float:
    """Temperature [degC] to draw, so that the water arrives at `target_c`. The loss changes so slowly with it that three
    corrections leave less than a millionth of a kelvin."""
    water_c = target_c
    for _ in range(4):
        water_c += target_c - arrives_c(water_c, tub, way, room)
    return water_c


def _film(area_m2: float, water_c: float, room: Room) -> float:
    return reference.value("practice", "film_coefficient") * area_m2 * (water_c - room.temperature_c)
