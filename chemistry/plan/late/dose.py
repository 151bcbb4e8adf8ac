"""The neutraliser that was forgotten: what is in the tank at this minute, what to put in now, and what fish have met."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from tapwright.chemistry import reference
from tapwright.chemistry.change.filling import chlorine as run
from tapwright.chemistry.change.filling.chlorine import Filling
from tapwright.chemistry.dosing.neutralise import (
    ChlorineReadings,
    LabelDose,
    Neutralisation,
    ammonia_after_mg_n_l,
    dose_findings,
    neutralise,
)
from tapwright.chemistry.envelope.rescue import Rescue, rescue_findings
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.substances import Agent
from tapwright.chemistry.units import figure, rounded_up
from tapwright.chemistry.water.ammonia import unionised_share

_HOUR_MIN = 60.0
_FOUR_DAYS_MIN = 4 * 24 * 60.0
_NONE_MG_L = 1e-7  # of chlorine in the full tank: a ten-millionth, which is nothing to fish and to every kit
STOP_WATER = "Stop the water now: unplug the pump. If a tap runs into the tank, close it."


@dataclass(frozen=True)
class Bottle:
    """The neutraliser at hand: purity and excess as shares, strength of a stock solution or a label's word, and the step of
    the scale [g] (None: as computed)."""

    agent: Agent
    purity: float = 1.0
    excess: float = 0.0
    solution_g_l: float | None = None
    label: LabelDose | None = None
    step_g: float | None = None


@dataclass(frozen=True)
class Amount:
    """A dose: grams of the agent, or millilitres of its solution or of what a label doses; either may be None."""

    grams: float | None
    millilitres: float | None


@dataclass(frozen=True)
class Tote:
    """A tote that tap water runs through on its way to the tank, dosed once at the start for so many litres."""

    volume_l: float
    dosed_for_l: float


@dataclass(frozen=True)
class Late:
    """What a late neutraliser has to mend.

    minute: of the filling, when it goes in; None: never.  now_mg_l: chlorine in the tank at that minute (or as the filling
    ends).  peak_mg_l at peak_minute.  exposure_mg_min_l: concentration over time until then, or an hour past the end.
    hour_mean_mg_l, four_days_mean_mg_l: the worst mean over any hour and any four days.  remaining_chlorine_g: in the tank
    at that minute; to_come_g: what the rest of the water will bring.  dose_now: for both of these; dose_new_water: for the new
    water alone, were none of its chlorine used up; dose_whole_tank: as for a tank full of tap water, and none is larger.
    water_off: whether it is known that no water runs; may_run: whether some may, by the latest the filling can end.
    bottle, neutralisation: the dose now and what it leaves, None for no chlorine.  ammonia: total once
    the tank is full and the chloramine broken; its un-ionised part (None without pH and temperature).
    breakthrough_minute: when the tote lets chlorine through; None without one, infinite if never before the end.
    """

    filling: Filling
    minute: float | None
    now_mg_l: float
    peak_mg_l: float
    peak_minute: float
    exposure_mg_min_l: float
    hour_mean_mg_l: float
    four_days_mean_mg_l: float
    remaining_chlorine_g: float
    to_come_g: float
    dose_now: Amount
    water_off: bool
    may_run: bool
    bottle: Bottle
    neutralisation: Neutralisation | None
    dose_new_water: Amount
    dose_whole_tank: Amount
    ammonia_mg_n_l: float
    ammonia_unionised_mg_n_l: float | None
    breakthrough_minute: float | None
    outflow_end_mg_l: float | None

    @property
    def hose_mg_l(self) -> float:
        """What fish at the open end of the hose meet: the tap's full strength."""
        return float(self.filling.chlorine_mg_l)


def late(
    filling: Filling,
    chlorine: ChlorineReadings,
    bottle: Bottle,
    minute: float | None,
    *,
    tank_ammonia_mg_n_l: float = 0.0,
    ph: float | None = None,
    temperature_c: float | None = None,
    tote: Tote | None = None,
    latest_end_min: float | None = None,
    water_off: bool = False,
) -> Late:
    """What a neutraliser forgotten until `minute` of the filling (None: never) has to mend; scalars only.

    chlorine: of the tap; its total must be the filling's.  tank_ammonia_mg_n_l: in the tank before.  ph, temperature_c: of
    the tank, for un-ionised ammonia.  latest_end_min: by when the filling has ended for sure; None: as computed.
    water_off: whether it is known that no water runs.  Raises BadInput for a minute below 0, NoAnswer where an agent has no
    dose.
    """
    if filling.chlorine_mg_l != chlorine.total_mg_l:
        raise BadInput.of("chlorine", "that of the filling and that of the readings differ.", "Give one.")
    until = math.inf if minute is None else minute
    at = float(filling.minutes) if minute is None else minute
    peak_mg_l, peak_minute = run.peak(filling, until)
    present_g, to_come_g = _chlorine_g(filling, at)
    new_l = float(filling.volume_end_l - filling.volume_start_l)
    _, bound = ammonia_after_mg_n_l(chlorine)
    ammonia = (bound * new_l + tank_ammonia_mg_n_l * float(filling.volume_start_l)) / float(filling.volume_end_l)
    share = None if ph is None or temperature_c is None else unionised_share(ph, temperature_c)
    doses = _Doses(filling, chlorine, bottle)
    latest = max(float(filling.minutes), latest_end_min or 0.0)
    now = doses.of(_covered_g(filling, at, latest))
    breaks, outflow = (None, None) if tote is None else _breakthrough(filling, tote)
    return Late(
        filling=filling,
        minute=minute,
        now_mg_l=float(run.concentration_mg_l(filling, at)),
        peak_mg_l=float(peak_mg_l),
        peak_minute=float(peak_minute),
        exposure_mg_min_l=float(run.exposure_mg_min_l(filling, at if minute is not None else at + _HOUR_MIN)),
        hour_mean_mg_l=float(run.worst_mean_mg_l(filling, until, _HOUR_MIN)),
        four_days_mean_mg_l=float(run.worst_mean_mg_l(filling, until, _FOUR_DAYS_MIN)),
        remaining_chlorine_g=present_g,
        to_come_g=to_come_g,
        dose_now=doses.measured(now),
        water_off=water_off,
        may_run=not water_off and (minute is None or minute < latest),
        bottle=bottle,
        neutralisation=now,
        dose_new_water=doses.measured(doses.of(new_l * chlorine.total_mg_l / 1000)),
        dose_whole_tank=doses.measured(doses.whole),
        ammonia_mg_n_l=ammonia,
        ammonia_unionised_mg_n_l=None if share is None else ammonia * float(share),
        breakthrough_minute=breaks,
        outflow_end_mg_l=outflow,
    )


def _chlorine_g(filling: Filling, minute: float) -> tuple[float, float]:
    """Chlorine in the tank at that minute, and what the rest of the water will bring [g]."""
    left_l = max(float(filling.volume_end_l - run.volume_l(filling, minute)), 0.0)
    return float(run.chlorine_g(filling, minute)), left_l * float(filling.chlorine_mg_l) / 1000


def _covered_g(filling: Filling, minute: float, latest_end_min: float | None) -> float:
    """Chlorine that a dose at that minute is for [g]: what is there and what is to come.

    Where the tank uses chlorine up, water that comes later leaves more of it: the slowest filling counts if it leaves more.
    """
    longest = max(float(filling.minutes), latest_end_min or 0.0)
    slowest = replace(filling, flow_l_min=float(filling.volume_end_l - filling.volume_start_l) / longest)
    return max(sum(_chlorine_g(filling, minute)), sum(_chlorine_g(slowest, minute)))


@dataclass(frozen=True)
class _Doses:
    """Doses from one bottle for the tap water of one filling."""

    filling: Filling
    chlorine: ChlorineReadings
    bottle: Bottle

    @property
    def whole(self) -> Neutralisation | None:
        """That of a tank full of tap water."""
        return self.of(float(self.filling.volume_end_l) * self.chlorine.total_mg_l / 1000)

    def of(self, chlorine_g: float) -> Neutralisation | None:
        """The dose of the tap water that holds so much chlorine; None for none."""
        if chlorine_g * 1000 <= _NONE_MG_L * float(self.filling.volume_end_l):
            return None
        return neutralise(
            1000 * chlorine_g / self.chlorine.total_mg_l,
            self.chlorine,
            self.bottle.agent,
            purity=self.bottle.purity,
            excess=self.bottle.excess,
            solution_g_l=self.bottle.solution_g_l,
            label=self.bottle.label,
        )

    def measured(self, dose: Neutralisation | None) -> Amount:
        """A dose in steps of the scale, but never more than a tank full of tap water takes; nothing for none."""
        if dose is None:
            return Amount(0.0, None)
        grams = dose.agent_g
        if grams is None or dose.solution_ml is not None or not self.bottle.step_g:
            return Amount(grams, dose.solution_ml)
        whole = self.whole
        most_g = math.inf if whole is None or whole.agent_g is None else whole.agent_g
        return Amount(max(min(_in_steps(grams, self.bottle.step_g), most_g), grams), None)


def _in_steps(grams: float, step_g: float) -> float:
    """Whole steps of a scale, one at least."""
    return max(rounded_up(grams, step_g), step_g)


def _breakthrough(filling: Filling, tote: Tote) -> tuple[float, float]:
    """Minute at which the tote lets chlorine through (infinite: not before the end), and what it lets through then."""
    flow, chlorine = float(filling.flow_l_min), float(filling.chlorine_mg_l)
    at = float(run.breakthrough_minute(tote.volume_l, flow, tote.dosed_for_l))
    end = float(filling.minutes)
    outflow = float(run.outflow_mg_l(end, tote.volume_l, flow, tote.dosed_for_l, chlorine))
    return (at, outflow) if at < end and chlorine > 0 else (math.inf, 0.0)


@dataclass(frozen=True)
class Case:
    """Everything `late` asks for, and what was taken for granted about it."""

    filling: Filling
    chlorine: ChlorineReadings
    bottle: Bottle
    minute: float | None
    tank_ammonia_mg_n_l: float
    ph: float | None
    temperature_c: float | None
    tote: Tote | None
    assumptions: tuple[str, ...]
    latest_end_min: float | None = None
    water_off: bool = False

    def dose_now(self, minute: float) -> Amount:
        """The dose at a minute, for what is in the tank and what is to come. Raises as `late` does."""
        doses = _Doses(self.filling, self.chlorine, self.bottle)
        return doses.measured(doses.of(_covered_g(self.filling, minute, self.latest_end_min)))

    def at(self, minute: float | None) -> Late:
        """The same, remembered at another minute."""
        return late(
            self.filling,
            self.chlorine,
            self.bottle,
            minute,
            tank_ammonia_mg_n_l=self.tank_ammonia_mg_n_l,
            ph=self.ph,
            temperature_c=self.temperature_c,
            tote=self.tote,
            latest_end_min=self.latest_end_min,
            water_off=self.water_off,
        )


def late_findings(made: Late) -> list[Finding]:
    """First that water may run; then what passes the published criteria, and what comes out of a tote dosed once."""
    findings = [] if made.water_off else [Finding("stop", "stop_water", STOP_WATER)]
    findings += rescue_findings(_rescue(made))
    if made.neutralisation is not None:
        findings += [*dose_findings(made.neutralisation, made.bottle.agent), *_too_coarse(made)]
    findings += [
        *_criterion(made.hour_mean_mg_l, "chlorine_acute", "hour", "chlorine_hour"),
        *_criterion(made.four_days_mean_mg_l, "chlorine_chronic", "four days", "chlorine_four_days"),
    ]
    if made.breakthrough_minute is not None and math.isfinite(made.breakthrough_minute):
        text = (
            f"The tote lets chlorine through from minute {made.breakthrough_minute:.0f} on, and "
            f"{figure(made.outflow_end_mg_l or 0, 2)} mg/L at the end: what was put in at the start runs out with the "
            "water. Dose it again before that, or fill it, dose it and empty it by turns."
        )
        findings.append(Finding("caution", "tote_breaks_through", text, made.breakthrough_minute, None, "min"))
    return findings


def _rescue(made: Late) -> Rescue:
    """What it says, copied out for the envelope."""
    amounts = [made.dose_now, made.dose_whole_tank]
    dose, whole = (amount.millilitres if amount.millilitres is not None else amount.grams for amount in amounts)
    return Rescue(made.now_mg_l, made.hose_mg_l, made.remaining_chlorine_g + made.to_come_g, dose, whole)


def _too_coarse(made: Late) -> list[Finding]:
    """A caution where a whole step of the scale would be more than a tank full of tap water takes."""
    exact_g, step_g = made.neutralisation.agent_g if made.neutralisation else None, made.bottle.step_g
    if exact_g is None or not step_g or made.dose_now.grams is None or made.dose_now.millilitres is not None:
        return []
    if made.dose_now.grams >= _in_steps(exact_g, step_g):
        return []
    text = (
        f"One step of the scale, {figure(step_g)} g, is too coarse for this dose: {figure(exact_g)} g are needed, and "
        f"{figure(made.dose_now.grams)} g would do for a tank full of tap water. Weigh it finer, or dissolve one step in a "
        "measured jug and put in its part."
    )
    return [Finding("caution", "scale_too_coarse", text, step_g, made.dose_now.grams, "g")]


def _criterion(mean_mg_l: float, key: str, window: str, code: str) -> list[Finding]:
    limit = reference.value("limits", key)
    if mean_mg_l <= limit:
        return []
    text = (
        f"Over its worst {window} the tank's chlorine averages {figure(1000 * mean_mg_l, 2)} µg/L, "
        f"{figure(mean_mg_l / limit, 2)} times the criterion for fresh water, {1000 * limit:g} µg/L as such a mean. No "
        "usual kit can see so little."
    )
    return [Finding("caution", code, text, mean_mg_l, limit, "mg/L", reference.citation("limits", key))]
