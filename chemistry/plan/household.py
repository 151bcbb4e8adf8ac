"""The household as a whole: its tanks, and what must fit together among its tables."""

from __future__ import annotations

from datetime import date

from pydantic import Field

from chemistry.change.blending import Vessel
from chemistry.errors import BadInput, Fault
from chemistry.plan import quantities as q
from chemistry.plan.household_tables import (
    BandsTable,
    HoseTable,
    HotWater,
    NeutraliserTable,
    PumpTable,
    ReadingsTable,
    SaltTable,
    Scale,
    Table,
    Tap,
    Tote,
)
from chemistry.water.reconstruction import described
from chemistry.water.target import Target


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
    drain_lift_m: q.HeightM | None = Field(None, alias="drain_lift")
    fill_lift_m: q.HeightM | None = Field(None, alias="fill_lift")
    refill_temperature_c: q.WaterC | None = Field(None, alias="refill_temperature")
    nitrate_ceiling_mg_l: q.NitrateMgL = Field(alias="nitrate_ceiling")
    nitrate_rise_mg_l: q.NitrateMgL | None = Field(None, alias="nitrate_rise")
    target_lake: q.LakeName | None = Field(None, alias="target")
    bands: BandsTable | None = None
    last_substrate_cleaning: date | None = None
    last_filter_service: date | None = None
    readings: ReadingsTable

    def faults(self) -> list[Fault]:
        faults = []
        box = self.length_m is not None and self.width_m is not None
        if (self.volume_l is not None) == box or (self.length_m is None) != (self.width_m is None):
            hint = 'Write volume = "400 L", or length = "150 cm" and width = "60 cm".'
            faults.append(Fault("volume", "give either the volume, or length and width, and not both.", hint))
        if (self.target_lake is None) == (self.bands is None):
            hint = 'Write target = "malawi", or a table [tank.bands].'
            faults.append(Fault("target", "give either a lake or bands of your own, and not both.", hint))
        if self.overflow_height_m < self.water_height_m:
            hint = "Both count from the tank's bottom: the overflow is at or above the water."
            faults.append(Fault("overflow_height", "lies below water_height.", hint))
        if self.heater_height_m >= self.water_height_m:
            hint = "It is the height of the heater's upper end above the tank's bottom."
            faults.append(Fault("heater_height", "lies at or above water_height: the heater would stand dry.", hint))
        return faults

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
    tap: Tap
    hot_water: HotWater
    tote: Tote
    pump: PumpTable
    hose: HoseTable
    scale: Scale
    neutralisers: list[NeutraliserTable] = Field(default=[], alias="neutraliser")
    salts: list[SaltTable] = Field(default=[], alias="salt")
    tanks: list[Tank] = Field(alias="tank", min_length=1)

    def faults(self) -> list[Fault]:
        faults = []
        for key, names in (
            ("tank", [tank.name for tank in self.tanks]),
            ("salt", [salt.name.name for salt in self.salts]),
            ("neutraliser", [entry.agent.name for entry in self.neutralisers]),
        ):
            for index, name in enumerate(names):
                if name in names[:index]:
                    faults.append(Fault(f"{key}.{index}", f"'{name}' stands twice.", "Keep one, or name them apart."))
        return [
            *faults,
            *self._neutraliser_faults(),
            *self._hot_water_faults(),
            *self._lift_faults(),
            *self._water_faults(),
        ]

    def _neutraliser_faults(self) -> list[Fault]:
        if self.tap.total_chlorine_mg_l == 0:
            return []
        if not self.neutralisers:
            return [Fault("neutraliser", "none given, and the tap has chlorine.", "Write a table [[neutraliser]].")]
        if all(entry.substance.dose_from == "label" and entry.label is None for entry in self.neutralisers):
            hint = 'Write label = { amount = "5 mL", volume = "40 L", chlorine = "2 mg/L" }.'
            return [Fault("neutraliser.0.label", "not given, and no dose can be computed without it.", hint)]
        return []

    def _hot_water_faults(self) -> list[Fault]:
        hot_c = self.hot_water.temperature_c
        if hot_c <= self.tap.temperature_c:
            hint = "Read both after the tap has run for a minute."
            return [Fault("hot_water.temperature", "is not hotter than the cold tap.", hint)]
        return [
            Fault(
                f"tank.{index}.refill_temperature"
                if tank.refill_temperature_c is not None
                else f"tank.{index}.readings",
                f"{tank.refill_c:.1f} °C lies outside what the taps give, {self.tap.temperature_c:.1f} to {hot_c:.1f} °C.",
                'Give a refill_temperature between them, such as "25 degC".',
            )
            for index, tank in enumerate(self.tanks)
            if not self.tap.temperature_c <= tank.refill_c <= hot_c
        ]

    def _lift_faults(self) -> list[Fault]:
        """Lifts that the pump cannot manage even at the best level."""
        head_m = self.pump.maximum_head_m
        hint = f"The pump's maximum head is {head_m:.2f} m: lower the open end, or use a stronger pump."
        faults = []
        for index, tank in enumerate(self.tanks):
            drain_m, fill_m = self.lifts_m(tank)
            if drain_m - tank.water_height_m >= head_m:
                key = "hose.drain_lift" if tank.drain_lift_m is None else f"tank.{index}.drain_lift"
                faults.append(Fault(key, f"the pump cannot lift {drain_m - tank.water_height_m:.2f} m.", hint))
            if fill_m >= head_m:
                key = "hose.fill_lift" if tank.fill_lift_m is None else f"tank.{index}.fill_lift"
                faults.append(Fault(key, f"the pump cannot lift {fill_m:.2f} m.", hint))
        return list(dict.fromkeys(faults))

    def _water_faults(self) -> list[Fault]:
        """Readings that no water can have."""
        waters = [("tap", self.tap.readings())]
        waters += [(f"tank.{index}.readings", tank.readings.readings()) for index, tank in enumerate(self.tanks)]
        faults: list[Fault] = []
        for place, readings in waters:
            try:
                described(readings, place)
            except BadInput as error:
                faults += error.faults
        return faults

    def lifts_m(self, tank: Tank) -> tuple[float, float]:
        """Height of the hose's open end above the pump for one tank: to drain, to fill."""
        drain_m = self.hose.drain_lift_m if tank.drain_lift_m is None else tank.drain_lift_m
        return drain_m, self.hose.fill_lift_m if tank.fill_lift_m is None else tank.fill_lift_m

    def vessel(self) -> Vessel:
        """The tote before the taps run: empty, at room temperature."""
        if self.room_temperature_c is None or self.tote.mass_g is None:
            return Vessel()
        return Vessel(tub_mass_kg=self.tote.mass_g / 1000, tub_c=self.room_temperature_c)
