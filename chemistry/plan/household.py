"""The household as strict models: what a file must and may say, in canonical units behind the file's own keys."""

from __future__ import annotations

from dataclasses import fields
from datetime import date
from typing import Annotated, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from chemistry.change.blending import Vessel
from chemistry.change.flow import Hose, Pump
from chemistry.dosing.neutralise import ChlorineReadings, LabelDose
from chemistry.dosing.remineralise import Stocked
from chemistry.errors import Fault
from chemistry.plan import quantities as q
from chemistry.substances import Agent, Salt
from chemistry.water.reconstruction import Readings
from chemistry.water.target import Band, Target


class _Table(BaseModel):
    """A table of the file: nothing unknown, nothing coerced, nothing changed later."""

    model_config = ConfigDict(
        strict=True,
        extra="forbid",
        frozen=True,
        allow_inf_nan=False,
        arbitrary_types_allowed=True,
        # Only the whole household is ever validated: building it once saves building every table for itself as well.
        defer_build=True,
    )

    def faults(self) -> list[Fault]:
        """What does not fit together among the keys of this table."""
        return []

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if faults := self.faults():
            raise q.refusal(*faults)
        return self


class ReadingsTable(_Table):
    """A water as a report or drop tests give it."""

    temperature_c: q.WaterC = Field(alias="temperature")
    hardness_mmol_l: q.HardnessMmolL | None = Field(None, alias="hardness")
    alkalinity_meq_l: q.AlkalinityMeqL = Field(alias="alkalinity")
    ph: q.Ph | None = None
    conductivity_us_cm: q.ConductivityUsCm | None = Field(None, alias="conductivity")
    calcium_mg_l: q.IonMgL | None = Field(None, alias="calcium")
    magnesium_mg_l: q.IonMgL | None = Field(None, alias="magnesium")
    sodium_mg_l: q.IonMgL | None = Field(None, alias="sodium")
    potassium_mg_l: q.IonMgL | None = Field(None, alias="potassium")
    chloride_mg_l: q.IonMgL | None = Field(None, alias="chloride")
    sulfate_mg_l: q.IonMgL | None = Field(None, alias="sulfate")
    nitrate_mg_l: q.NitrateMgL = Field(alias="nitrate")
    ammonia_mg_n_l: q.AmmoniaMgNL | None = Field(None, alias="ammonia")
    free_chlorine_mg_l: q.ChlorineMgL | None = Field(None, alias="free_chlorine")
    total_chlorine_mg_l: q.ChlorineMgL | None = Field(None, alias="total_chlorine")

    def faults(self) -> list[Fault]:
        faults = []
        if self.hardness_mmol_l is None and (self.calcium_mg_l is None or self.magnesium_mg_l is None):
            faults.append(Fault("hardness", "not given, nor calcium and magnesium both.", 'Write hardness = "6 dGH".'))
        if self.free_chlorine_mg_l is not None and self.free_chlorine_mg_l > (self.total_chlorine_mg_l or 0.0):
            faults.append(
                Fault(
                    "free_chlorine",
                    f"{self.free_chlorine_mg_l:g} mg/L free is more than the total "
                    f"({self.total_chlorine_mg_l or 0:g} mg/L); total counts free and combined.",
                    "Test both again, or swap the two.",
                )
            )
        return faults

    def readings(self) -> Readings:
        """The same for the engine."""
        return Readings(**{field.name: getattr(self, field.name) for field in fields(Readings)})


class Tap(ReadingsTable):
    """The cold tap: its water, today's chlorine, and how fast the taps together fill a tote."""

    total_chlorine_mg_l: q.ChlorineMgL = Field(alias="total_chlorine")
    chlorine_to_nitrogen: q.Ratio | None = None
    flow_l_min: q.FlowLMin = Field(alias="flow")

    def chlorine(self) -> ChlorineReadings:
        """Today's chlorine for the neutraliser."""
        return ChlorineReadings(
            self.total_chlorine_mg_l, self.free_chlorine_mg_l, self.chlorine_to_nitrogen, self.ammonia_mg_n_l
        )


class HotWater(_Table):
    """The hot tap and the store behind it."""

    temperature_c: q.HotC = Field(alias="temperature")
    store_l: q.VolumeL = Field(alias="store")
    heater_power_kw: q.PowerKw = Field(alias="heater_power")


class Tote(_Table):
    """The vessel the refill is made in; height is that of the water when it is full."""

    volume_l: q.VolumeL = Field(alias="volume")
    mass_g: q.MassG | None = Field(None, alias="mass")
    height_m: q.LengthM | None = Field(None, alias="height")


class PumpTable(_Table):
    """The two figures on the pump's label."""

    maximum_flow_l_min: q.FlowLMin = Field(alias="maximum_flow")
    maximum_head_m: q.LengthM = Field(alias="maximum_head")

    def pump(self) -> Pump:
        """The same for the engine."""
        return Pump(self.maximum_flow_l_min, self.maximum_head_m)


class HoseTable(_Table):
    """The hose, and how high its open end lies above the pump: in the tank to drain, in the tote to fill."""

    bore_m: q.LengthM = Field(alias="bore")
    length_m: q.LengthM = Field(alias="length")
    drain_lift_m: q.HeightM = Field(alias="drain_lift")
    fill_lift_m: q.HeightM = Field(alias="fill_lift")

    def hose(self) -> Hose:
        """The same for the engine."""
        return Hose(self.bore_m, self.length_m)


class Scale(_Table):
    """The scale salts and neutraliser are weighed on."""

    resolution_g: q.MassG = Field(alias="resolution")


class LabelTable(_Table):
    """What the label says one dose does; the amount in g or mL."""

    amount: str
    volume_l: q.VolumeL = Field(alias="volume")
    chlorine_mg_l: q.ChlorineMgL = Field(alias="chlorine")

    def faults(self) -> list[Fault]:
        from chemistry.units import kind_of

        if kind_of(self.amount) not in ("mass", "volume"):
            return [Fault("amount", f"'{self.amount}' is read; grams or millilitres are wanted.", 'Write "5 mL".')]
        if self.chlorine_mg_l == 0:
            return [Fault("chlorine", "0 mg/L would make any dose right.", "Write what the label says.")]
        return []

    def dose(self) -> LabelDose:
        """The same for the engine."""
        from chemistry.units import kind_of, read

        if kind_of(self.amount) == "mass":
            return LabelDose(self.volume_l, self.chlorine_mg_l, amount_g=read(self.amount, "mass"))
        return LabelDose(self.volume_l, self.chlorine_mg_l, amount_ml=1000 * read(self.amount, "volume"))


class NeutraliserTable(_Table):
    """A neutraliser in the cupboard."""

    agent: q.AgentName
    purity: q.Share = 1.0
    stock_g: q.MassG | None = Field(None, alias="stock")
    solution_g_l: q.StrengthGL | None = Field(None, alias="solution")
    excess: q.Excess = 0.0
    label: LabelTable | None = None

    @property
    def substance(self) -> Agent:
        """The agent, typed."""
        found: Agent = self.agent
        return found


class SaltTable(_Table):
    """A salt in the cupboard."""

    name: q.SaltName
    purity: q.Share = 1.0
    stock_g: q.MassG | None = Field(None, alias="stock")

    def stocked(self) -> Stocked:
        """The same for the engine."""
        found: Salt = self.name
        return Stocked(found, self.purity, self.stock_g)


def _pair(value: object) -> object:
    """Two ends of a band, as a list in the file; pydantic's strict mode wants a tuple."""
    if not isinstance(value, list) or len(value) != 2:
        raise q.refusal(
            Fault("", f"{value!r} is read; a lowest and a highest are wanted.", 'Write ["8 dGH", "12 dGH"].')
        )
    return tuple(value)


_Pair = BeforeValidator(_pair)


class BandsTable(_Table):
    """A target of one's own: lowest and highest of each."""

    hardness: Annotated[tuple[q.HardnessMmolL, q.HardnessMmolL], _Pair]
    alkalinity: Annotated[tuple[q.AlkalinityMeqL, q.AlkalinityMeqL], _Pair]
    calcium_to_magnesium: Annotated[tuple[q.Ratio, q.Ratio], _Pair] | None = None

    def faults(self) -> list[Fault]:
        pairs = {name: getattr(self, name) for name in ("hardness", "alkalinity", "calcium_to_magnesium")}
        return [
            Fault(name, "the lowest is above the highest.", "Write the lower figure first.")
            for name, pair in pairs.items()
            if pair and pair[0] > pair[1]
        ]

    def target(self, name: str) -> Target:
        """The same for the engine."""
        ratio = self.calcium_to_magnesium
        return Target(name, Band(*self.hardness), Band(*self.alkalinity), Band(*ratio) if ratio else None, "own bands")


class Tank(_Table):
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

    def target(self) -> Target:
        """What the refill should be."""
        lake: Target | None = self.target_lake
        return lake or self.bands.target(f"{self.name}: own bands")  # type: ignore[union-attr]


class Household(_Table):
    """One household file."""

    room_temperature_c: q.WaterC | None = Field(None, alias="room_temperature")
    tap: Tap
    hot_water: HotWater
    tote: Tote
    pump: PumpTable
    hose: HoseTable
    scale: Scale
    neutralisers: list[NeutraliserTable] = Field(alias="neutraliser", min_length=1)
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
        if self.hot_water.temperature_c <= self.tap.temperature_c:
            hint = "Read both after the tap has run for a minute."
            faults.append(Fault("hot_water.temperature", "is not hotter than the cold tap.", hint))
        return faults

    def vessel(self) -> Vessel:
        """The tote before the taps run: empty, at room temperature."""
        if self.room_temperature_c is None or self.tote.mass_g is None:
            return Vessel()
        return Vessel(tub_mass_kg=self.tote.mass_g / 1000, tub_c=self.room_temperature_c)
