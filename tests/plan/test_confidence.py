"""How sure a plan is: the vectorised pass against one draw at a time, against propagated errors, and its laws.

The readings of one draw are put in place of those of the plan, its litres, grams and minutes stay; what the engine's scalar
functions then make of it is what the vectorised pass must have said of that draw.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import pytest
import typer.main
from houses import HOUSE, NAMES

from tapwright.chemistry import reference
from tapwright.chemistry.change.heat.blending import blend_of_volumes
from tapwright.chemistry.change.nitrate.dilution import after_change
from tapwright.chemistry.plan import confidence as part
from tapwright.chemistry.plan.confidence import DRAWS, Confidence, confidence
from tapwright.chemistry.plan.figures.records import Figures
from tapwright.chemistry.plan.planner import plan
from tapwright.chemistry.plan.readings_off import Off
from tapwright.chemistry.water.ammonia import chronic_criterion_mg_n_l
from tapwright.chemistry.water.composition import Water
from tapwright.chemistry.water.equilibrium import at_air, at_carbon, at_ph
from tapwright.chemistry.water.mixing import mix

MADE_ONCE = cache(typer.main.get_command)
NINE_OF_TEN = 1.6449  # standard deviations of a normal, of any table of it
DGH, DKH = 17.848 / 100.09, 2 * 17.848 / 100.09  # mmol/L and meq/L: 17.848 mg/L of CaCO3 (100.09 g/mol) a degree
NITRATE, CHLORINE = "nitrate after the change", "chlorine left in the tote"


@dataclass
class Seen:
    """What went through one confidence: the errors by reading, and every figure draw by draw."""

    made: Confidence
    off: Off
    draws: dict[str, Any]
    limits: dict[str, Any]


def seen(figures: Figures, draws: int = DRAWS) -> Seen:
    """Confidence, with an eye on what it asks of numpy and of its readings."""
    kept: dict[str, Any] = {"values": []}
    with pytest.MonkeyPatch.context() as patch:
        quantile, worth = np.quantile, part._worth

        def looked(values: Any, shares: Any) -> Any:
            kept["values"].append(values)
            return quantile(values, shares)

        def kept_worth(off: Off, limits: Any) -> Any:
            kept.update(off=off, limits={limit.code: limit for limit in limits})
            return worth(off, limits)

        patch.setattr(part.np, "quantile", looked)
        patch.setattr(part, "_worth", kept_worth)
        made = confidence(figures, draws)
    named = {found.figure: values for found, values in zip(made.ranges, kept["values"], strict=True)}
    return Seen(made, kept["off"], named, kept["limits"])


@cache
def demo(name: str = NAMES[0]) -> Seen:
    return seen(figures_of(name))


@cache
def figures_of(name: str = NAMES[0]) -> Figures:
    return plan(HOUSE, name, 0.4).figures


def kit(key: str) -> float:
    return reference.value("kits", key)


# --- one draw at a time -------------------------------------------------------------------------------------------


class One:
    """One draw: the errors of its readings in their own units, and the waters of the plan as they then are."""

    def __init__(self, figures: Figures, off: Off, at: int) -> None:
        self.figures, self.errors = figures, {name: float(errors[at]) for name, errors in off.errors.items()}
        waters = figures.waters
        self.tank = self._read(waters.tank_before, "tank")
        self.tap = self._read(waters.tap, "tap")
        self.share = figures.change_share + self.by("tank: mark on the glass", 0.5) / (
            100 * figures.tank.water_height_m
        )
        self.litres = figures.totes.volume_l * self.times("tote: mark", 3)

    def by(self, name: str, size: float) -> float:
        return self.errors[name] / NINE_OF_TEN * size

    def times(self, name: str, percent: float) -> float:
        return float((1 + percent / 100) ** (self.errors[name] / NINE_OF_TEN))

    def _read(self, water: Water, name: str) -> Water:
        hardness = max(water.hardness_mmol_l + self.by(f"{name}: hardness", 0.5 * DGH), 0) / water.hardness_mmol_l
        return replace(
            water,
            calcium_mmol_l=water.calcium_mmol_l * hardness,
            magnesium_mmol_l=water.magnesium_mmol_l * hardness,
            alkalinity_meq_l=max(
                water.alkalinity_meq_l + self.by(f"{name}: alkalinity", 0.5 * DKH), water.alkalinity_meq_l / 2),
            nitrate_mg_l=water.nitrate_mg_l * self.times(f"{name}: nitrate", 25),
            ammonia_mg_n_l=max(self.by("tank: ammonia", 0.125), 0.0) if name == "tank" else water.ammonia_mg_n_l,
            ph=None if water.ph is None else water.ph + self.by(f"{name}: pH", 0.1),
        )  # fmt: skip

    @property
    def chlorine_mg_l(self) -> float:
        return self.figures.waters.tap.total_chlorine_mg_l + self.by("tap: chlorine", 0.1)

    def refill(self, carbon: bool) -> Water:
        """The tap as it may be, with what agent and salts as weighed bring; carbon: closed, by the tap's pH."""
        planned, bare, tap = self.figures.waters.refill, self.figures.salting.bare, self.figures.waters.tap
        hardness, alkalinity, held = 0.0, 0.0, at_ph(self.tap).carbon_mmol_l if carbon else 0.0
        for entry in HOUSE.salts:
            item, name = entry.stocked(), entry.stocked().salt.name
            grams = self.figures.salts_per_tote_g.get(name, 0.0)
            if grams:
                grams += self.by(f"scale: {name}", HOUSE.scale.resolution_g / self.figures.totes.count**0.5)
                brought = max(grams, 0) * item.purity * self.times(f"salt: purity of {name}", 2) / self.litres
                hardness += brought * item.salt.hardness_mmol_per_g()
                alkalinity += brought * item.salt.alkalinity_meq_per_g()
                held += brought * item.salt.carbon_mmol_per_g()
        whole = self.tap.hardness_mmol_l + hardness
        return replace(
            planned,
            calcium_mmol_l=whole * planned.calcium_mmol_l / planned.hardness_mmol_l,
            magnesium_mmol_l=whole * planned.magnesium_mmol_l / planned.hardness_mmol_l,
            alkalinity_meq_l=self.tap.alkalinity_meq_l + bare.alkalinity_meq_l - tap.alkalinity_meq_l + alkalinity,
            nitrate_mg_l=self.tap.nitrate_mg_l,
            ammonia_mg_n_l=planned.ammonia_mg_n_l * self.chlorine_mg_l / tap.total_chlorine_mg_l,
            carbon_mmol_l=held if carbon else None,
        )  # fmt: skip

    def after(self, carbon: bool = False) -> Water:
        """The tank after the change."""
        tank = replace(self.tank, ph=None, carbon_mmol_l=at_ph(self.tank).carbon_mmol_l if carbon else None)
        mixed: Water = mix([tank, self.refill(carbon)], [1 - self.share, self.share])[0]
        return mixed


DRAWN = (0, 1, 17, 4242, 9999)


@pytest.fixture(params=[(name, at) for name in NAMES for at in DRAWN], ids=lambda which: f"{which[0]}-{which[1]}")
def one(request: pytest.FixtureRequest) -> tuple[One, Callable[[str], float], Callable[[str], float]]:
    """A draw of a tank, its figures as the vectorised pass has them, and what it holds against a limit."""
    name, at = request.param
    pass_ = demo(name)
    return (
        One(figures_of(name), pass_.off, at),
        lambda key: float(pass_.draws[key][at]),
        lambda key: float(pass_.limits[key].values[at]),
    )


def test_nitrate_of_one_draw(one: Any) -> None:
    drawn, found, limit = one
    after = after_change(drawn.tank.nitrate_mg_l, drawn.tap.nitrate_mg_l, drawn.share)
    rise = (drawn.figures.tank.nitrate_rise_mg_l or 0) * drawn.times("tank: rise of nitrate", 25)
    assert found(NITRATE) == pytest.approx(after, rel=1e-4)
    assert found("nitrate before the next") == limit("nitrate_next") == pytest.approx(after + rise, rel=1e-4)
    assert found("nitrate settles at") == pytest.approx(drawn.tap.nitrate_mg_l + rise / drawn.share, rel=1e-4)


def test_chlorine_left_of_one_draw(one: Any) -> None:
    drawn, found, _ = one
    dose = drawn.figures.neutraliser
    grams = max(dose.per_tote_g + drawn.by("scale: neutraliser", HOUSE.scale.resolution_g), 0)
    pure_g = grams * dose.entry.purity * drawn.times("neutraliser: purity", 2)
    # Two moles of pentahydrate a mole of Cl2: 7.0006 g a gram.
    takes_mg_l = 1000 * pure_g / 7.0006 / drawn.litres
    assert found(CHLORINE) == pytest.approx(max(drawn.chlorine_mg_l - takes_mg_l, 0), abs=2e-4)


def test_warmth_of_one_draw(one: Any) -> None:
    drawn, found, limit = one
    figures, blend = drawn.figures, drawn.figures.heat.blends[0]
    room_c = 19.0 + drawn.by("room: temperature", 1.0)
    # The tote's plastic begins at the room's warmth; what is lost on the way goes with how much warmer than it the refill is.
    mixed_c = blend_of_volumes(
        blend.hot_l * drawn.times("tote: mark of the hot water", 3),
        blend.cold_l * drawn.times("tote: mark of the cold water", 3),
        57.0 + drawn.by("hot tap: temperature", 0.5), 10.0 + drawn.by("cold tap: temperature", 0.5),
        replace(HOUSE.vessel(), tub_c=room_c)).temperature_c  # fmt: skip
    lost_k = figures.heat.drawn_c[0] - figures.refill_temperature_c
    arrives = mixed_c - lost_k * (figures.refill_temperature_c - room_c) / (figures.refill_temperature_c - 19.0)
    tank_c = figures.waters.tank_before.temperature_c + drawn.by("tank: temperature", 0.5)
    assert found("refill by the marks alone") == pytest.approx(arrives, abs=1e-3)
    step = drawn.share * (arrives - tank_c)
    assert found("step of the tank's temperature") == pytest.approx(step, abs=1e-3)
    assert limit("temperature_step") == pytest.approx(abs(step), abs=1e-3)


def test_waters_of_one_draw(one: Any) -> None:
    drawn, found, limit = one
    refill, after, room = drawn.refill(carbon=False), drawn.after(), HOUSE.times_air
    for name, water in (("refill", refill), ("tank after", after)):
        # Mixed by mass, the tank differs by the thousandth that cold and warm water do.
        assert found(f"hardness, {name}") == pytest.approx(water.hardness_mmol_l / DGH, rel=1e-3)
        assert found(f"alkalinity, {name}") == pytest.approx(water.alkalinity_meq_l / DKH, rel=1e-3)
    aired, rest = at_air(refill, room), at_air(after, at_ph(drawn.tank).co2_times_air)
    assert found("pH of the refill at rest") == pytest.approx(aired.ph, abs=2e-3)
    assert found("calcite index of the refill") == limit("clouding") == pytest.approx(aired.si_calcite, abs=3e-3)
    assert found("pH of the tank at rest") == pytest.approx(rest.ph, abs=2e-3)
    assert found("conductivity, tank after") == pytest.approx(rest.conductivity_us_cm, rel=2e-3)


def test_ammonia_of_one_draw(one: Any) -> None:
    """Judged where the pH is highest, of the three the tank comes to; the one at once as the pass has it."""
    drawn, found, limit = one
    after = drawn.after()
    ends = [at_air(after, at_ph(drawn.tank).co2_times_air), at_air(after, HOUSE.times_air)]
    ends.append(at_ph(after, found("pH of the tank at once")))
    worst = max(ends, key=lambda end: float(end.ph))
    assert found("un-ionised ammonia at most") == pytest.approx(
        after.ammonia_mg_n_l * worst.unionised_ammonia_share, rel=0.01
    )
    tank_c = drawn.figures.waters.tank_before.temperature_c + drawn.by("tank: temperature", 0.5)
    assert limit("ammonia") == pytest.approx(
        after.ammonia_mg_n_l / chronic_criterion_mg_n_l(worst.ph, tank_c), rel=0.01
    )


def test_ph_at_once_of_one_draw(one: Any) -> None:
    """Carbon and alkalinity of tank, tap and salts are mixed: bicarbonate weighed over brings both, and hardly moves it."""
    drawn, found, _ = one
    after = drawn.after(carbon=True)
    assert found("pH of the tank at once") == pytest.approx(at_carbon(after, after.carbon_mmol_l).ph, abs=0.01)
