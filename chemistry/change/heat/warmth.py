"""What a refill that is warmer or cooler than the tank does to it, and which reading the refill's temperature hangs on."""

from __future__ import annotations

from dataclasses import dataclass

from tapwright.chemistry import reference
from tapwright.chemistry.change.heat.blending import Blend, Vessel, blend_of_volumes
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.water.mixing import mix_heat
from tapwright.chemistry.water.properties import density_kg_l, enthalpy_kj_kg

_BISECTIONS = 50


def mixed_c(tank_c: float, refill_c: float, share: float) -> float:
    """Temperature [degC] once a share (0 to 1) of the tank's volume is replaced by refill; heat and mass conserved.

    Raises BadInput for another share.
    """
    if not 0 <= share <= 1:
        raise BadInput.of("share", f"a share of {share} is read.", "Give 0 to 1.")
    temperature_c: float = mix_heat([1 - share, share], [tank_c, refill_c])[0]
    return temperature_c


def largest_share(tank_c: float, refill_c: float, limit_k: float) -> float:
    """Largest share (0 to 1) of refill that moves the tank by no more than `limit` [K]; 1 where none moves it further.

    Raises BadInput for a limit that is not above 0.
    """
    if not limit_k > 0:
        raise BadInput.of("limit", f"{limit_k} K.", "Give more than 0.")
    if abs(mixed_c(tank_c, refill_c, 1.0) - tank_c) <= limit_k:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        low, high = (middle, high) if abs(mixed_c(tank_c, refill_c, middle) - tank_c) <= limit_k else (low, middle)
    return low


def minutes_at_rate(step_k: float, rate_k_h: float) -> float:
    """Minutes that a step [K] takes where the tank may change by no more than so many kelvins an hour."""
    if not rate_k_h > 0:
        raise BadInput.of("rate", f"{rate_k_h} K an hour.", "Give more than 0.")
    return 60 * abs(step_k) / rate_k_h


@dataclass(frozen=True)
class Recovery:
    """Heat [kWh] that brings the tank back, 0 where it need not be warmed, and the hours a heater takes (None: unknown)."""

    energy_kwh: float
    hours: float | None


def recovery(volume_l: float, from_c: float, to_c: float, power_kw: float | None) -> Recovery:
    """Energy and time to warm a tank; what it loses to the room meanwhile is left out, so both are the least.

    Raises BadInput for negative litres or power.
    """
    if not (volume_l >= 0 and (power_kw or 0.0) >= 0):
        raise BadInput.of("heater", f"{volume_l} L with {power_kw} kW.", "Give 0 or more of each.")
    heat_kj = volume_l * density_kg_l(from_c) * (enthalpy_kj_kg(max(to_c, from_c)) - enthalpy_kj_kg(from_c))
    energy_kwh = heat_kj / 3600
    return Recovery(energy_kwh, energy_kwh / power_kw if power_kw else None)


@dataclass(frozen=True)
class Effect:
    """One reading, the error it may have in its unit, and how far that moves the refill's temperature [K]."""

    reading: str
    error: float
    unit: str
    moves_k: float


def effects(blend: Blend, hot_c: float, cold_c: float, vessel: Vessel) -> list[Effect]:
    """What each reading behind a blend is worth, the one that matters most first.

    Errors of a thermometer and of a mark on the tote from tables/kits.csv (common practice).
    """
    off_c, off_percent = reference.value("kits", "temperature"), reference.value("kits", "volume")
    off = off_percent / 100

    def made(hot_factor: float = 1.0, cold_factor: float = 1.0, hot_off: float = 0.0, cold_off: float = 0.0) -> float:
        hot_l, cold_l = blend.hot_l * hot_factor, blend.cold_l * cold_factor
        return blend_of_volumes(hot_l, cold_l, hot_c + hot_off, cold_c + cold_off, vessel).temperature_c

    as_planned = made()
    # Downwards, so that no cold tap passes its hot one; upwards where that would freeze it.
    cold_off = -off_c if cold_c >= off_c else off_c
    tried = (
        ("hot tap's temperature", off_c, "°C", made(hot_off=off_c)),
        ("cold tap's temperature", off_c, "°C", made(cold_off=cold_off)),
        ("litres of hot", off_percent, "%", made(hot_factor=1 + off)),
        ("litres of cold", off_percent, "%", made(cold_factor=1 + off)),
    )
    found = [Effect(name, error, unit, abs(became - as_planned)) for name, error, unit, became in tried]
    return sorted(found, key=lambda effect: -effect.moves_k)
