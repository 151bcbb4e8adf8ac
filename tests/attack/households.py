"""Households drawn at random from all that keepers may have, as the file would hold them.

`drawn(random)` gives what `Household.model_validate` takes: valid, in any unit a person may write, and often odd.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from random import Random
from typing import Any

from pydantic import ValidationError

from tapwright.chemistry import reference
from tapwright.chemistry.errors import TapwrightError
from tapwright.chemistry.plan.figures.records import Jobs
from tapwright.chemistry.plan.household.household import Household

Table = dict[str, Any]

# What people write for one unit: its text, and how many of it make the first one; degrees Fahrenheit apart.
_UNITS: Mapping[str, Mapping[str, float]] = {
    "L": {"L": 1, "gal": 3.785411784, "m3": 1000, "imp gal": 4.54609},
    "cm": {"cm": 1, "m": 100, "in": 2.54, "ft": 30.48, "mm": 0.1},
    "mm": {"mm": 1, "in": 25.4, "cm": 10},
    "g": {"g": 1, "kg": 1000, "oz": 28.349523125, "lb": 453.59237},
    "L/min": {"L/min": 1, "L/h": 1 / 60, "gal/min": 3.785411784, "gph": 3.785411784 / 60},
    "kW": {"kW": 1, "W": 0.001},
    "min": {"min": 1, "s": 1 / 60, "h": 60},
    "dGH": {"dGH": 1, "mmol/L": 5.6077, "mg/L CaCO3": 0.056028, "gpg": 0.95907},
    "dKH": {"dKH": 1, "meq/L": 2.80385, "mg/L CaCO3": 0.056028, "mg/L HCO3": 0.045953},
    "mg/L NO3": {"mg/L NO3": 1, "mg/L N": 4.4266, "ppm NO3": 1},
    "mg/L N": {"mg/L N": 1, "mg/L NH4": 0.7765, "mg/L NH3": 0.8224},
    "mg/L": {"mg/L": 1, "ppm": 1},
    "uS/cm": {"uS/cm": 1, "mS/cm": 1000},
}
_SALTS, _AGENTS = list(reference.table("salts")), list(reference.table("agents"))
_USUAL_SALTS = ["sodium bicarbonate", "magnesium sulfate heptahydrate", "calcium chloride dihydrate", "potassium chloride",
                "sodium chloride", "potassium bicarbonate", "magnesium chloride hexahydrate"]  # fmt: skip
_NAMES = ["Rock wall", "Straße", "tank", "7", "a-b_c", "水槽", "Shell 'bay'"]
_THIOSULFATE = "sodium thiosulfate pentahydrate"


class _Hand:
    """Draws figures and writes them down, each household in its own habit of units.

    handy: all that a lake water takes is in the cupboard, so that a plan may come out without a stop.
    """

    def __init__(self, random: Random) -> None:
        self.random = random
        self.handy = random.random() < 0.6
        self.plain = random.random() < 0.7  # the first unit of each kind throughout
        self.american = random.random() < 0.5

    def often(self, part: float) -> bool:
        return self.random.random() < part

    def between(self, low: float, high: float) -> float:
        """Evenly, or evenly in its logarithm where the range is wide; now and then an end of it."""
        if self.often(0.04):
            return self.random.choice([low, high])
        if low > 0 and high / low > 8:
            return math.exp(self.random.uniform(math.log(low), math.log(high)))
        return self.random.uniform(low, high)

    def said(self, value: float, unit: str) -> str:
        """A figure as a person writes it: three or so digits and a unit."""
        if unit == "degC":
            if not self.plain and self.american:
                return f"{value * 1.8 + 32:.1f} degF"
            return f"{value:.1f} degC"
        if unit == "%":
            return f"{value:.3g}%"
        spelled, size = (unit, 1.0) if self.plain else self.random.choice(list(_UNITS[unit].items()))
        return f"{float(f'{value / size:.4g}'):.10g} {spelled}"

    def figure(self, low: float, high: float, unit: str) -> str:
        return self.said(self.between(low, high), unit)

    def maybe(self, table: Table, part: float, **entries: Any) -> None:
        """Some keys, each there so often; a callable is drawn only then."""
        for key, value in entries.items():
            if self.often(part):
                table[key] = value() if callable(value) else value


def drawn(random: Random) -> Table:
    """One household that the file reader takes; draws again where it does not."""
    while True:
        table = _household(_Hand(random))
        try:
            if not Household.model_validate(table).misfits():
                return table
        except (ValidationError, TapwrightError):
            continue


def wish(random: Random) -> tuple[float | None, Jobs]:
    """Share and jobs a keeper may ask for with it."""
    share = None if random.random() < 0.4 else random.choice([random.uniform(0.01, 0.9), 0.25, 0.5, 0.01, 0.9])
    days = [None, None, 0, 1, 3, 5, 30, 4000]
    return share, Jobs(random.random() < 0.2, random.random() < 0.2, random.choice(days), random.choice(days))


def _household(hand: _Hand) -> Table:
    cold_c = hand.between(3, 28)
    hot_c = hand.between(max(40.0, cold_c + 1), 80)
    kind = hand.random.choice(["none", "little", "free", "chloramine", "unknown"])
    salts = _USUAL_SALTS if hand.handy else hand.random.sample(_SALTS, hand.random.choice([0, 1, 2, 3, 4, 4, 5, 6, 8]))
    agents = hand.random.sample(_AGENTS, hand.random.choice([1, 1, 1, 2, 3, len(_AGENTS)]))
    if hand.handy and _THIOSULFATE not in agents:
        agents.append(_THIOSULFATE)
    if kind == "none" and hand.often(0.5):
        agents = []
    priced = hand.often(0.3)
    house: Table = {
        "tap": _tap(hand, cold_c, kind),
        "hot_water": {
            "temperature": hand.said(hot_c, "degC"),
            "store": hand.figure(10, 500, "L"),
            "heater_power": hand.figure(0.5, 24, "kW") if hand.often(0.95) else "0 kW",
        },
        "tote": {"volume": hand.figure(80 if hand.handy else 20, 1000, "L")},
        "pump": {
            "maximum_flow": hand.figure(5, 300, "L/min"),
            "maximum_head": hand.figure(80, 1200, "cm"),
        },
        "hose": _hose(hand),
        "scale": {
            "resolution": hand.random.choice(["0.01 g", "0.1 g", "0.5 g", "1 g", "2 g", "5 g", "10 g", "0.1 oz"])
        },
        "neutraliser": [_neutraliser(hand, agent) for agent in agents],
        "salt": [_salt(hand, name, priced) for name in salts],
        "tank": [_tank(hand, number, cold_c, hot_c) for number in range(hand.random.choice([1, 1, 1, 2]))],
    }
    hand.maybe(house["tote"], 0.5, mass=lambda: hand.figure(1000, 60000, "g"))
    hand.maybe(house["tote"], 0.7, height=lambda: hand.figure(20, 150, "cm"))
    hand.maybe(house, 0.8, room_temperature=lambda: hand.figure(5, 32, "degC"))
    hand.maybe(house, 0.5, room_humidity=lambda: hand.figure(15, 95, "%"))
    hand.maybe(house, 0.5, room_co2=lambda: f"{hand.between(400, 3000):.0f} ppm")
    return {key: table for key, table in house.items() if table != []}


def _tap(hand: _Hand, cold_c: float, kind: str) -> Table:
    """Soft or hard, pH 6 to 9.8, with the chlorine of that kind and as many ions as its report has."""
    hardness, most = ((0.5, 4), 4) if hand.handy else (hand.random.choice([(0.05, 4), (2, 12), (10, 35)]), 22)
    alkalinity = hand.between(0.1, most)
    total = {"none": 0.0, "little": hand.between(0.02, 0.2)}.get(kind, hand.between(0.1, 4.5))
    tap = {"flow": hand.figure(3, 45, "L/min"), "total_chlorine": hand.said(total, "mg/L"), **_water(hand, *hardness)}
    tap |= {"temperature": hand.said(cold_c, "degC"), "alkalinity": hand.said(alkalinity, "dKH")}
    if kind == "free":
        tap["free_chlorine"] = tap["total_chlorine"]
    elif kind == "chloramine":
        tap["free_chlorine"] = hand.said(total * hand.random.choice([0.0, 0.1, 0.5]), "mg/L")
        hand.maybe(tap, 0.7, chlorine_to_nitrogen=lambda: round(hand.between(3, 7.6), 2))
    hand.maybe(tap, 0.25, ammonia=lambda: hand.figure(0.005, 1.5, "mg/L N"))
    return tap


def _water(hand: _Hand, low: float, high: float) -> Table:
    """What a report or kits say of a water; the ions only now and then, and then most of them."""
    hardness = hand.between(low, high)
    water: Table = {"hardness": hand.said(hardness, "dGH"), "nitrate": hand.figure(0.2, 45, "mg/L NO3")}
    hand.maybe(water, 0.7, ph=lambda: round(hand.between(6, 9.8) if hand.often(0.3) else hand.between(6.8, 8.8), 1))
    if hand.often(0.35):
        calcium_share = hand.between(0.4, 0.95)
        water["calcium"] = hand.said(hardness * 7.147 * calcium_share, "mg/L")
        hand.maybe(water, 0.5, magnesium=lambda: hand.said(hardness * 4.334 * (1 - calcium_share), "mg/L"))
        hand.maybe(
            water, 0.6, **{ion: lambda: hand.figure(0.5, 60, "mg/L") for ion in ("sodium", "chloride", "sulfate")}
        )
        hand.maybe(water, 0.4, potassium=lambda: hand.figure(0.2, 12, "mg/L"))
    hand.maybe(water, 0.3, conductivity=lambda: hand.figure(20, 1500, "uS/cm"))
    return water


def _hose(hand: _Hand) -> Table:
    hose: Table = {
        "bore": hand.figure(9, 50, "mm"),
        "length": hand.figure(150, 3000, "cm"),
        "drain_lift": hand.said(hand.between(-250, 150), "cm"),
        "fill_lift": hand.said(hand.between(-50, 300), "cm"),
    }
    fittings = {"elbow": 2, "ball_valve": 1, "check_valve": 1, "tee_branch": 3}
    hand.maybe(hose, 0.25, siphon=True)
    hand.maybe(hose, 0.25, fittings=lambda: dict(hand.random.sample(sorted(fittings.items()), 2)))
    hand.maybe(hose, 0.15, coil=lambda: {"length": "100 cm", "diameter": hand.figure(25, 90, "cm")})
    return hose


def _neutraliser(hand: _Hand, agent: str) -> Table:
    entry: Table = {"agent": agent}
    hand.maybe(entry, 0.5, purity=lambda: hand.figure(50, 100, "%"))
    hand.maybe(entry, 0.6, stock=lambda: hand.figure(1, 3000, "g"))
    hand.maybe(entry, 0.3, solution=lambda: f"{hand.between(2, 600):.3g} g/L")
    hand.maybe(entry, 0.5, excess=lambda: hand.figure(0, 200, "%"))
    if reference.table("agents")[agent]["dose_from"] == "label" or hand.often(0.15):
        entry["label"] = {
            "amount": hand.random.choice(["5 mL", "1 mL", "0.5 mL", "10 g", "1 g", "25 mL"]),
            "volume": hand.figure(10, 400, "L"),
            "chlorine": hand.figure(0.5, 5, "mg/L"),
        }
    return entry


def _salt(hand: _Hand, name: str, priced: bool) -> Table:
    entry: Table = {"name": name}
    hand.maybe(entry, 0.5, purity=lambda: hand.figure(60, 100, "%"))
    hand.maybe(entry, 0.2 if hand.handy else 0.6, stock=lambda: hand.figure(5, 20000, "g"))
    hand.maybe(entry, 0.9 if priced else 0.05, price_per_kg=lambda: round(hand.between(0.2, 60), 2))
    return entry


def _tank(hand: _Hand, number: int, cold_c: float, hot_c: float) -> Table:
    height = hand.between(18, 110)
    litres = hand.between(40, 4000)
    tank: Table = {
        "name": f"{hand.random.choice(_NAMES)} {number}",
        "live_water": hand.figure(60, 100, "%"),
        "water_height": hand.said(height, "cm"),
        "overflow_height": hand.said(height + hand.random.choice([0.0, 0.5, 2, 4, 10]), "cm"),
        "heater_height": hand.said(height * hand.between(0.05, 0.97), "cm"),
        "nitrate_ceiling": hand.figure(10, 120, "mg/L NO3"),
        "readings": _tank_water(hand, cold_c, hot_c),
    }  # fmt: skip
    if hand.often(0.5):
        width = hand.between(25, 90)
        tank |= {"width": hand.said(width, "cm"), "length": hand.said(1000 * litres / (height * width), "cm")}
    else:
        tank["volume"] = hand.said(litres, "L")
    if hand.often(0.9 if hand.handy else 0.6):
        tank["target"] = hand.random.choice(["malawi", "tanganyika", "victoria"])
    else:
        tank["bands"] = _bands(hand)
    _whatever_else(hand, tank, height, litres)
    warm_c = hand.between(20, 31)
    if cold_c < warm_c < hot_c:
        hand.maybe(tank, 0.4, refill_temperature=hand.said(warm_c, "degC"))
    return tank


def _whatever_else(hand: _Hand, tank: Table, height: float, litres: float) -> None:
    """Keys of a tank that may be left out; times that the pump can hardly have taken are drawn anew with the whole."""
    hand.maybe(tank, 0.9, nitrate_rise=lambda: hand.figure(0.5, 40, "mg/L NO3"))
    hand.maybe(tank, 0.6, intake_height=lambda: hand.said(height * hand.between(0.05, 0.95), "cm"))
    hand.maybe(tank, 0.6, heater_power=lambda: hand.figure(0.05, 3, "kW"))
    hand.maybe(tank, 0.15, drain_lift=lambda: hand.said(hand.between(-200, 100), "cm"))
    hand.maybe(tank, 0.15, fill_lift=lambda: hand.said(hand.between(0, 250), "cm"))
    day = hand.random.choice([date(2026, 3, 1), date(2026, 3, 13), date(1999, 12, 31), date(2024, 2, 29)])
    hand.maybe(tank, 0.3, last_substrate_cleaning=day, last_filter_service=day)
    timed_l = litres * 0.3
    for key in ("timed_drain", "timed_fill"):
        if hand.often(0.2):
            tank[key] = {"volume": hand.said(timed_l, "L"), "time": hand.said(timed_l / hand.between(8, 60), "min")}


def _tank_water(hand: _Hand, cold_c: float, hot_c: float) -> Table:
    """The tank's readings: within what is kept, or odd."""
    warm_c = hand.between(15, 34) if hand.often(0.15) else hand.between(22, 29)
    water = _water(hand, 1, 30) | {"alkalinity": hand.figure(0.3, 26, "dKH"), "nitrate": hand.figure(2, 90, "mg/L NO3")}
    water["temperature"] = hand.said(min(max(warm_c, cold_c + 0.1), hot_c - 0.1), "degC")
    if hand.often(0.05):
        water["nitrate"] = hand.figure(100, 900, "mg/L NO3")
    hand.maybe(water, 0.5, ammonia=lambda: hand.figure(0.01, 4, "mg/L N") if hand.often(0.4) else "0 mg/L N")
    return water


def _bands(hand: _Hand) -> Table:
    """Bands of one's own, wide or narrow."""

    def band(low: float, high: float, unit: str) -> list[str]:
        least = hand.between(low, high)
        return [hand.said(least, unit), hand.said(least * hand.between(1.02, 1.8), unit)]

    def numbers(low: float, high: float, widest: float) -> list[float]:
        least = round(hand.between(low, high), 2)
        return [least, round(least + hand.between(0.1, widest), 2)]

    bands: Table = {"hardness": band(1, 22, "dGH"), "alkalinity": band(1, 22, "dKH")}
    hand.maybe(bands, 0.3, calcium_to_magnesium=lambda: numbers(0.2, 4, 4))
    hand.maybe(
        bands,
        0.15,
        **{ion: lambda: ["0 mg/L", hand.figure(20, 250, "mg/L")] for ion in ("sodium", "chloride", "sulfate")},
    )
    hand.maybe(bands, 0.15, conductivity=lambda: band(100, 900, "uS/cm"))
    hand.maybe(bands, 0.15, ph_aerated=lambda: numbers(7.4, 8.8, 0.8), ph_at_once=lambda: numbers(7.2, 8.4, 1.2))
    return bands
