"""The tables of a household file as strict models, in canonical units behind the file's own keys."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import fields
from functools import partial
from typing import Annotated

from pydantic import BeforeValidator, Field

from tapwright.chemistry import reference
from tapwright.chemistry.allowed import amount_of
from tapwright.chemistry.change.hydraulics.flow import Pump
from tapwright.chemistry.change.hydraulics.friction import Coil, Hose
from tapwright.chemistry.dosing.neutralise import ChlorineReadings, LabelDose
from tapwright.chemistry.dosing.recipe.cupboard import Stocked
from tapwright.chemistry.errors import BadInput, Fault
from tapwright.chemistry.plan.household import quantities as q
from tapwright.chemistry.plan.household.table import Rule, Table
from tapwright.chemistry.substances import Agent, Salt, molar_mass
from tapwright.chemistry.units import figure
from tapwright.chemistry.water.composition import ION_SYMBOLS
from tapwright.chemistry.water.reconstruction import Readings
from tapwright.chemistry.water.target import Band, Target
from tapwright.chemistry.words import told


class ReadingsTable(Table):
    """A water as a report or drop tests give it."""

    temperature_c: q.WaterC = Field(alias="temperature")
    hardness_mmol_l: q.HardnessMmolL | None = Field(None, alias="hardness")
    alkalinity_meq_l: q.AlkalinityMeqL | None = Field(None, alias="alkalinity")
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

    def rules(self) -> Iterable[Rule]:
        """Hardness is there in one way or the other; free chlorine is a part of the total."""
        return self._hardness, self._chlorine

    def _hardness(self) -> list[q.Misfit]:
        if self.hardness_mmol_l is None and (self.calcium_mg_l is None or self.magnesium_mg_l is None):
            keys, hint = ("hardness", "calcium", "magnesium"), 'Write hardness = "6 dGH".'
            return [q.Misfit(keys, "not given, nor calcium and magnesium both.", hint)]
        return []

    def _chlorine(self) -> list[q.Misfit]:
        free, total = self.free_chlorine_mg_l, self.total_chlorine_mg_l or 0.0
        if free is not None and free > total:
            text = f"{figure(free)} mg/L free is more than the total ({figure(total)} mg/L); total counts free and combined."
            return [q.Misfit(("free_chlorine", "total_chlorine"), text, "Test both again, or swap the two.")]
        return []

    def readings(self) -> Readings:
        """The same for the engine."""
        return Readings(**{field.name: getattr(self, field.name) for field in fields(Readings)})


class Tap(ReadingsTable):
    """The cold tap: its water, today's chlorine, and how fast the taps together fill a tote."""

    total_chlorine_mg_l: q.ChlorineMgL = Field(alias="total_chlorine")
    chlorine_to_nitrogen: q.ChlorineToNitrogen | None = None
    flow_l_min: q.FlowLMin = Field(alias="flow")

    def chlorine(self) -> ChlorineReadings:
        """Today's chlorine for the neutraliser."""
        return ChlorineReadings(
            self.total_chlorine_mg_l, self.free_chlorine_mg_l, self.chlorine_to_nitrogen, self.ammonia_mg_n_l
        )


class HotWater(Table):
    """The hot tap and the store behind it."""

    temperature_c: q.HotC = Field(alias="temperature")
    store_l: q.VolumeL = Field(alias="store")
    heater_power_kw: q.PowerKw = Field(alias="heater_power")


class Tote(Table):
    """The vessel the refill is made in; height is that of the water when it is full."""

    volume_l: q.VolumeL = Field(alias="volume")
    mass_g: q.MassG | None = Field(None, alias="mass")
    height_m: q.LengthM | None = Field(None, alias="height")


class PumpTable(Table):
    """The two figures on the pump's label."""

    maximum_flow_l_min: q.FlowLMin = Field(alias="maximum_flow")
    maximum_head_m: q.LengthM = Field(alias="maximum_head")
    suction_height_given_m: q.SuctionM | None = Field(None, alias="suction_height")

    @property
    def suction_height_m(self) -> float:
        """Height of the water that the pump leaves: as given, else the usual (tables/practice.csv)."""
        given = self.suction_height_given_m
        return reference.value("practice", "pump_suction_height") / 100 if given is None else given

    def pump(self) -> Pump:
        """The same for the engine."""
        return Pump(self.maximum_flow_l_min, self.maximum_head_m)


class CoilTable(Table):
    """The part of the hose that lies wound up while water runs."""

    length_m: q.LengthM = Field(alias="length")
    diameter_m: q.LengthM = Field(alias="diameter")


class TimedTable(Table):
    """A volume and the time it took the last time, through the same pump and hose."""

    volume_l: q.VolumeL = Field(alias="volume")
    time_min: q.TimeMin = Field(alias="time")


class HoseTable(Table):
    """The hose, and how high its open end lies above the pump: in the tank to drain, in the tote to fill.

    siphon: the tank is drained through it without the pump.
    """

    bore_m: q.BoreM = Field(alias="bore")
    length_m: q.LengthM = Field(alias="length")
    drain_lift_m: q.HeightM = Field(alias="drain_lift")
    fill_lift_m: q.HeightM = Field(alias="fill_lift")
    siphon: bool = False
    fittings: Annotated[dict[str, int], q.Few] = Field(default={})
    coil: CoilTable | None = None

    def rules(self) -> Iterable[Rule]:
        """The engine can make a hose of it; its fittings are known whatever the hose itself is like."""
        return self._hose, self._fittings

    def _hose(self) -> list[q.Misfit]:
        return _refused(lambda: Hose(self.bore_m, self.length_m, {}, self._coil()))

    def _fittings(self) -> list[q.Misfit]:
        return _refused(lambda: Hose(1.0, 1.0, self.fittings))

    def _coil(self) -> Coil | None:
        return Coil(self.coil.length_m, self.coil.diameter_m) if self.coil else None

    def hose(self) -> Hose:
        """The same for the engine. Raises BadInput as it does."""
        return Hose(self.bore_m, self.length_m, self.fittings, self._coil())


def _refused(made: Callable[[], Hose]) -> list[q.Misfit]:
    """What the engine says against such a hose."""
    try:
        made()
    except BadInput as error:
        keys = {"hose": ("bore", "length"), "coil": ("coil", "length", "bore")}
        return [q.Misfit(keys.get(fault.where, (fault.where,)), fault.message, fault.hint) for fault in error.faults]
    return []


class Scale(Table):
    """The scale salts and neutraliser are weighed on."""

    resolution_g: q.StepG = Field(alias="resolution")


class LabelTable(Table):
    """What the label says one dose does; the amount in g or mL."""

    amount: str
    volume_l: q.VolumeL = Field(alias="volume")
    chlorine_mg_l: q.ChlorineMgL = Field(alias="chlorine")

    def rules(self) -> Iterable[Rule]:
        """An amount that can be measured, against more than no chlorine."""
        return self._amount, self._some_chlorine

    def _amount(self) -> list[q.Misfit]:
        try:
            amount_of(self.amount)
        except BadInput as error:
            return [q.Misfit(("amount",), fault.message, fault.hint) for fault in error.faults]
        return []

    def _some_chlorine(self) -> list[q.Misfit]:
        if self.chlorine_mg_l == 0:
            return [q.Misfit(("chlorine",), "0 mg/L would make any dose right.", "Write what the label says.")]
        return []

    def dose(self) -> LabelDose:
        """The same for the engine."""
        return LabelDose(self.volume_l, self.chlorine_mg_l, *amount_of(self.amount))


class NeutraliserTable(Table):
    """A neutraliser in the cupboard."""

    agent: q.AgentName
    purity_given: q.Share | None = Field(None, alias="purity")
    stock_g: q.MassG | None = Field(None, alias="stock")
    solution_g_l: q.StrengthGL | None = Field(None, alias="solution")
    excess_given: q.Excess | None = Field(None, alias="excess")
    label: LabelTable | None = None

    @property
    def substance(self) -> Agent:
        """The agent, typed."""
        found: Agent = self.agent
        return found

    @property
    def purity(self) -> float:
        """Share by mass; all of it where it is not given."""
        return 1.0 if self.purity_given is None else self.purity_given

    @property
    def excess(self) -> float:
        """Share on top of what the chlorine takes; none where it is not given."""
        return self.excess_given or 0.0

    def taken_for_granted(self) -> list[str]:
        """What was not said about it and matters to the dose."""
        notes = []
        if self.substance.dose_from == "stoichiometry":
            if self.purity_given is None:
                notes.append("purity not given, taken as 100 %")
            if self.excess_given is None:
                notes.append("excess not given, none added: the dose is just what the readings take")
        return notes


class SaltTable(Table):
    """A salt in the cupboard."""

    name: q.SaltName
    purity: q.Share | None = None
    stock_g: q.MassG | None = Field(None, alias="stock")
    price_per_kg: q.Price | None = None

    def stocked(self) -> Stocked:
        """The same for the engine."""
        found: Salt = self.name
        return Stocked(found, 1.0 if self.purity is None else self.purity, self.stock_g, self.price_per_kg)


def _pair(value: object) -> object:
    """Two ends of a band, as a list in the file; pydantic's strict mode wants a tuple."""
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise q.refusal(
            Fault("", f"{told(value)} is read; a lowest and a highest are wanted.", 'Write ["8 dGH", "12 dGH"].')
        )
    return tuple(value)


_Pair = BeforeValidator(_pair)
_IonPair = Annotated[tuple[q.IonMgL, q.IonMgL], _Pair]


class BandsTable(Table):
    """A target of one's own: lowest and highest of each."""

    hardness: Annotated[tuple[q.HardnessMmolL, q.HardnessMmolL], _Pair]
    alkalinity: Annotated[tuple[q.AlkalinityMeqL, q.AlkalinityMeqL], _Pair]
    calcium_to_magnesium: Annotated[tuple[q.Ratio, q.Ratio], _Pair] | None = None
    sodium: _IonPair | None = None
    potassium: _IonPair | None = None
    chloride: _IonPair | None = None
    sulfate: _IonPair | None = None
    conductivity: Annotated[tuple[q.ConductivityUsCm, q.ConductivityUsCm], _Pair] | None = None
    ph_aerated: Annotated[tuple[q.BandPh, q.BandPh], _Pair] | None = None
    ph_at_once: Annotated[tuple[q.BandPh, q.BandPh], _Pair] | None = None

    def rules(self) -> Iterable[Rule]:
        """Every band has its lowest first."""
        return [partial(self._in_order, name) for name in type(self).model_fields]

    def _in_order(self, name: str) -> list[q.Misfit]:
        pair = getattr(self, name)
        if pair and pair[0] > pair[1]:
            return [q.Misfit((name,), "the lowest is above the highest.", "Write the lower figure first.")]
        return []

    def target(self, name: str) -> Target:
        """The same for the engine."""

        def band(pair: tuple[float, float] | None, scale: float = 1.0) -> Band | None:
            return Band(pair[0] * scale, pair[1] * scale) if pair else None

        ions = {
            f"{ion}_mmol_l": band(getattr(self, ion), 1 / molar_mass(ION_SYMBOLS[ion]))
            for ion in ("sodium", "potassium", "chloride", "sulfate")
        }
        return Target(
            name,
            Band(*self.hardness),
            Band(*self.alkalinity),
            band(self.calcium_to_magnesium),
            "own bands",
            conductivity_us_cm=band(self.conductivity),
            ph_aerated=band(self.ph_aerated),
            ph_at_once=band(self.ph_at_once),
            **ions,
        )
