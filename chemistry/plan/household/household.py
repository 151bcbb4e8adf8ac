"""The household as a whole: its tanks, and what must fit together among its tables."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date
from functools import partial
from typing import Annotated

from pydantic import Field

from tapwright.chemistry import reference
from tapwright.chemistry.change.heat.blending import Vessel
from tapwright.chemistry.change.hydraulics.flow import Line
from tapwright.chemistry.change.hydraulics.pumping import timed
from tapwright.chemistry.errors import BadInput, TapwrightError
from tapwright.chemistry.plan.household import quantities as q
from tapwright.chemistry.plan.household.table import Rule, Table, judged
from tapwright.chemistry.plan.household.tables import (
    BandsTable,
    HoseTable,
    HotWater,
    NeutraliserTable,
    PumpTable,
    ReadingsTable,
    SaltTable,
    Scale,
    Tap,
    TimedTable,
    Tote,
)
from tapwright.chemistry.substances import Agent, Salt
from tapwright.chemistry.water.equilibrium import times_outdoor
from tapwright.chemistry.water.reconstruction import described
from tapwright.chemistry.water.target import Target
from tapwright.chemistry.words import quoted

_SAME_M = 1e-9  # "57 cm" and "570 mm" are one height, but for rounding


class Tank(Table):
    """A tank: its size, its levels above its own bottom, its water now and what is wanted."""

    name: q.Name
    volume_l: q.VolumeL | None = Field(None, alias="volume")
    length_m: q.LengthM | None = Field(None, alias="length")
    width_m: q.LengthM | None = Field(None, alias="width")
    live_water: q.Share
    water_height_m: q.LengthM = Field(alias="water_height")
    overflow_height_m: q.LengthM = Field(alias="overflow_height")
    heater_height_m: q.LengthM = Field(alias="heater_height")
    intake_height_m: q.LengthM | None = Field(None, alias="intake_height")
    outlet_height_m: q.LengthM | None = Field(None, alias="outlet_height")
    heater_power_kw: q.PowerKw | None = Field(None, alias="heater_power")
    drain_lift_m: q.HeightM | None = Field(None, alias="drain_lift")
    fill_lift_m: q.HeightM | None = Field(None, alias="fill_lift")
    timed_drain: TimedTable | None = None
    timed_fill: TimedTable | None = None
    refill_temperature_c: q.WaterC | None = Field(None, alias="refill_temperature")
    nitrate_ceiling_mg_l: q.NitrateMgL = Field(alias="nitrate_ceiling")
    nitrate_rise_mg_l: q.NitrateMgL | None = Field(None, alias="nitrate_rise")
    target_lake: q.LakeName | None = Field(None, alias="target")
    bands: BandsTable | None = None
    last_substrate_cleaning: date | None = None
    last_filter_service: date | None = None
    readings: ReadingsTable

    def rules(self) -> Iterable[Rule]:
        """A size, a target, levels in their order, and no more drained than is there."""
        return self.size, self.wanted, self._overflow, self._heater, self._intake, self.drained

    def size(self) -> list[q.Misfit]:
        """A volume, or length and width: one of the two."""
        box = self.length_m is not None and self.width_m is not None
        if (self.volume_l is not None) == box or (self.length_m is None) != (self.width_m is None):
            text = "give either the volume, or length and width, and not both."
            hint = 'Write volume = "400 L", or length = "150 cm" and width = "60 cm".'
            return [q.Misfit(("volume", "length", "width"), text, hint)]
        return []

    def wanted(self) -> list[q.Misfit]:
        """A lake, or bands of one's own: one of the two."""
        if (self.target_lake is None) == (self.bands is None):
            text = "give either a lake or bands of your own, and not both."
            hint = 'Write target = "malawi", or a table [tank.bands].'
            return [q.Misfit(("target", "bands"), text, hint)]
        return []

    def _overflow(self) -> list[q.Misfit]:
        if self.overflow_height_m < self.water_height_m - _SAME_M:
            hint = "Both count from the tank's bottom: the overflow is at or above the water."
            return [q.Misfit(("overflow_height", "water_height"), "lies below water_height.", hint)]
        return []

    def _heater(self) -> list[q.Misfit]:
        if self.heater_height_m >= self.water_height_m:
            text = "lies at or above water_height: the heater would stand dry."
            hint = "It is the height of the heater's upper end above the tank's bottom."
            return [q.Misfit(("heater_height", "water_height"), text, hint)]
        return []

    def _intake(self) -> list[q.Misfit]:
        if self.intake_height_m is not None and self.intake_height_m >= self.water_height_m:
            text = "lies at or above water_height: the filter would draw air."
            hint = "Both count from the tank's bottom."
            return [q.Misfit(("intake_height", "water_height"), text, hint)]
        return []

    def drained(self) -> list[q.Misfit]:
        """More drained, the last time it was timed, than the tank holds."""
        if self.timed_drain and not self.size() and self.timed_drain.volume_l > self.live_volume_l:
            text = f"more was drained than the tank holds, {self.live_volume_l:.0f} L."
            return [q.Misfit(("timed_drain.volume", "live_water"), text, "Write what one draining took.")]
        return []

    @property
    def live_volume_l(self) -> float:
        """Water in the tank [L]: its volume at the usual level less what stands in it."""
        full_l = self.volume_l or 1000 * (self.length_m or 0) * (self.width_m or 0) * self.water_height_m
        return full_l * self.live_water

    @property
    def refill_c(self) -> float:
        """Temperature of the refill [degC]: as given, else the tank's own."""
        return self.readings.temperature_c if self.refill_temperature_c is None else self.refill_temperature_c

    def target(self) -> Target:
        """What the refill should be."""
        lake: Target | None = self.target_lake
        return lake or self.bands.target(f"{self.name}: own bands")  # type: ignore[union-attr]


class Household(Table):
    """One household file."""

    room_temperature_c: q.WaterC | None = Field(None, alias="room_temperature")
    room_co2_ppm: q.AirPpm | None = Field(None, alias="room_co2")
    humidity_given: q.Share | None = Field(None, alias="room_humidity")
    tap: Tap
    hot_water: HotWater
    tote: Tote
    pump: PumpTable
    hose: HoseTable
    scale: Scale
    neutralisers: Annotated[list[NeutraliserTable], q.Few] = Field(default=[], alias="neutraliser")
    salts: Annotated[list[SaltTable], q.Few] = Field(default=[], alias="salt")
    tanks: Annotated[list[Tank], q.Few] = Field(alias="tank", min_length=1)

    @property
    def times_air(self) -> float:
        """CO2 of the room's air as a multiple of outdoor air's; 1 where it is not given."""
        return 1.0 if self.room_co2_ppm is None else times_outdoor(self.room_co2_ppm)

    @property
    def room_humidity(self) -> float:
        """Relative humidity of the room's air, 0 to 1: as given, else the usual (tables/practice.csv)."""
        return (
            reference.value("practice", "room_humidity") / 100 if self.humidity_given is None else self.humidity_given
        )

    def rules(self) -> Iterable[Rule]:
        """No name twice, something against chlorine, and for every tank: warm enough, within reach, believable."""
        twice = (self._tanks_twice, self._salts_twice, self._neutralisers_twice)
        return (*twice, self._neutraliser, self._hot_water, self._tap_water, self._every_tank)

    def _every_tank(self) -> Iterable[q.Misfit]:
        rules = (self._refill, self._drain_lift, self._fill_lift, self._timed_drain, self._timed_fill, self._water)
        return judged(partial(rule, index, tank) for index, tank in enumerate(self.tanks) for rule in rules)

    def _tanks_twice(self) -> list[q.Misfit]:
        return _twice("tank", "name", [vars(tank).get("name") for tank in self.tanks])

    def _salts_twice(self) -> list[q.Misfit]:
        return _twice("salt", "name", [_name_of(vars(salt).get("name")) for salt in self.salts])

    def _neutralisers_twice(self) -> list[q.Misfit]:
        return _twice("neutraliser", "agent", [_name_of(vars(entry).get("agent")) for entry in self.neutralisers])

    def _neutraliser(self) -> list[q.Misfit]:
        if self.tap.total_chlorine_mg_l == 0:
            return []
        if not self.neutralisers:
            text, hint = "none given, and the tap has chlorine.", "Write a table [[neutraliser]]."
            return [q.Misfit(("neutraliser", "tap.total_chlorine"), text, hint)]
        if all(entry.substance.dose_from == "label" and entry.label is None for entry in self.neutralisers):
            hint = 'Write label = { amount = "5 mL", volume = "40 L", chlorine = "2 mg/L" }.'
            keys = ("neutraliser.0.label", "neutraliser.0.agent", "tap.total_chlorine")
            return [q.Misfit(keys, "not given, and no dose can be computed without it.", hint)]
        return []

    def _hot_water(self) -> list[q.Misfit]:
        if self.hot_water.temperature_c <= self.tap.temperature_c:
            hint = "Read both after the tap has run for a minute."
            return [q.Misfit(("hot_water.temperature", "tap.temperature"), "is not hotter than the cold tap.", hint)]
        return []

    def _refill(self, index: int, tank: Tank) -> list[q.Misfit]:
        """A refill that no mixture of the two taps has."""
        cold_c, hot_c = self.tap.temperature_c, self.hot_water.temperature_c
        if self._hot_water() or cold_c <= tank.refill_c <= hot_c:
            return []
        key = "readings.temperature" if tank.refill_temperature_c is None else "refill_temperature"
        text = f"{tank.refill_c:.1f} °C lies outside what the taps give, {cold_c:.1f} to {hot_c:.1f} °C."
        hint = 'Give a refill_temperature between them, such as "25 degC".'
        return [q.Misfit((f"tank.{index}.{key}", "hot_water.temperature", "tap.temperature"), text, hint)]

    def _drain_lift(self, index: int, tank: Tank) -> list[q.Misfit]:
        """A lift that the pump, or a siphon, cannot manage even at the best level."""
        place = "hose.drain_lift" if tank.drain_lift_m is None else f"tank.{index}.drain_lift"
        lift_m = self.lifts_m(tank)[0] - tank.water_height_m
        if not self.hose.siphon:
            return self._beyond_the_pump(place, index, lift_m)
        if lift_m < 0:
            return []
        text, hint = "a siphon does not run uphill.", "Lead its open end lower than the water, or pump."
        return [q.Misfit((place, "hose.siphon", f"tank.{index}.water_height"), text, hint)]

    def _fill_lift(self, index: int, tank: Tank) -> list[q.Misfit]:
        place = "hose.fill_lift" if tank.fill_lift_m is None else f"tank.{index}.fill_lift"
        return self._beyond_the_pump(place, index, self.lifts_m(tank)[1])

    def _beyond_the_pump(self, place: str, index: int, lift_m: float) -> list[q.Misfit]:
        head_m = self.pump.maximum_head_m
        if lift_m < head_m:
            return []
        hint = f"The pump's maximum head is {head_m:.2f} m: lower the open end, or use a stronger pump."
        keys = (place, "pump.maximum_head", f"tank.{index}.water_height")
        return [q.Misfit(keys, f"the pump cannot lift {lift_m:.2f} m.", hint)]

    def _timed_drain(self, index: int, tank: Tank) -> list[q.Misfit]:
        """A time that no such pump, or siphon, and hose can have taken."""
        if self.hose.misfits() or self._drain_lift(index, tank) or tank.size() or tank.drained():
            return []  # said already
        return _refused(lambda: self.drain_line(tank), f"tank.{index}.timed_drain", "pump", "hose")

    def _timed_fill(self, index: int, tank: Tank) -> list[q.Misfit]:
        if self.hose.misfits() or self._fill_lift(index, tank):
            return []
        return _refused(lambda: self.fill_line(tank), f"tank.{index}.timed_fill", "pump", "hose")

    def _tap_water(self) -> list[q.Misfit]:
        return _unlike_water(self.tap, "tap")

    def _water(self, index: int, tank: Tank) -> list[q.Misfit]:
        ratio = None if tank.wanted() else tank.target().usual_calcium_to_magnesium  # as a plan describes it
        return _unlike_water(tank.readings, f"tank.{index}.readings", ratio)

    def lifts_m(self, tank: Tank) -> tuple[float, float]:
        """Height of the hose's open end above the pump for one tank: to drain, to fill."""
        drain_m = self.hose.drain_lift_m if tank.drain_lift_m is None else tank.drain_lift_m
        return drain_m, self.hose.fill_lift_m if tank.fill_lift_m is None else tank.fill_lift_m

    def drain_line(self, tank: Tank) -> Line:
        """Pump, or siphon, and hose that drain a tank, scaled to the time it took last if that is given.

        Raises BadInput for a time no such line can need, NoAnswer for a lift it cannot manage.
        """
        line = Line(None if self.hose.siphon else self.pump.pump(), self.hose.hose())
        last = tank.timed_drain
        if last is None:
            return line
        start_m = self.lifts_m(tank)[0] - tank.water_height_m
        end_m = start_m + tank.water_height_m * last.volume_l / tank.live_volume_l
        return timed(line, last.volume_l, last.time_min, start_m, end_m, f"tank '{tank.name}': timed_drain")

    def fill_line(self, tank: Tank) -> Line:
        """Pump and hose that fill a tank from the tote, likewise."""
        line, last = Line(self.pump.pump(), self.hose.hose()), tank.timed_fill
        if last is None:
            return line
        end_m = self.lifts_m(tank)[1]
        start_m = end_m - self.tote_level_m(min(last.volume_l, self.tote.volume_l))
        return timed(line, last.volume_l, last.time_min, start_m, end_m, f"tank '{tank.name}': timed_fill")

    def tote_level_m(self, litres: float) -> float:
        """Height of so much water in the tote; 0 where the tote's height is not given."""
        return (self.tote.height_m or 0.0) * litres / self.tote.volume_l

    def vessel(self) -> Vessel:
        """The tote before the taps run: empty, at room temperature."""
        if self.room_temperature_c is None or self.tote.mass_g is None:
            return Vessel()
        return Vessel(tub_mass_kg=self.tote.mass_g / 1000, tub_c=self.room_temperature_c)


def _twice(table: str, key: str, names: Sequence[str | None]) -> list[q.Misfit]:
    """Names that stand twice; None where one is not known."""
    first: dict[str, int] = {}
    return [
        q.Misfit(
            (f"{table}.{index}.{key}", f"{table}.{first[name]}.{key}"),
            f"{quoted(name)} stands twice.",
            "Keep one, or name them apart.",
        )
        for index, name in enumerate(names)
        if name is not None and first.setdefault(name, index) != index
    ]


def _name_of(substance: Salt | Agent | None) -> str | None:
    return None if substance is None else substance.name


def _refused(made: Callable[[], object], *keys: str) -> list[q.Misfit]:
    """What the engine says against making this, said of the keys."""
    try:
        made()
    except TapwrightError as error:
        return [q.Misfit(keys, fault.message, fault.hint) for fault in error.faults]
    return []


def _unlike_water(table: ReadingsTable, place: str, ratio: float | None = None) -> list[q.Misfit]:
    """Readings that no water can have."""
    if table.misfits():
        return []  # said already
    try:
        described(table.readings(), place, ratio)
    except BadInput as error:
        return [q.Misfit((fault.where, place), fault.message, fault.hint) for fault in error.faults]
    return []
