"""The neutraliser that was forgotten: what is in the tank at this minute, what to put in now, and what fish have met."""

from __future__ import annotations

import math
from dataclasses import dataclass

from chemistry import reference
from chemistry.change import filling as run
from chemistry.change.filling import Filling
from chemistry.dosing.neutralise import (
    ChlorineReadings,
    LabelDose,
    Neutralisation,
    ammonia_after_mg_n_l,
    dose_findings,
    neutralise,
)
from chemistry.errors import BadInput
from chemistry.findings import Finding
from chemistry.substances import Agent
from chemistry.units import figure, rounded_up
from chemistry.water.ammonia import unionised_share

_HOUR_MIN = 60.0
_FOUR_DAYS_MIN = 4 * 24 * 60.0
_LEAST_G = 1e-9


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
    water alone, were none of its chlorine used up; dose_whole_tank: as for a tank full of tap water.
    agent, neutralisation: the dose now and what it leaves, None for no chlorine.  ammonia: total once
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
    agent: Agent
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
) -> Late:
    """What a neutraliser forgotten until `minute` of the filling (None: never) has to mend; scalars only.

    chlorine: of the tap; its total must be the filling's.  tank_ammonia_mg_n_l: in the tank before.  ph, temperature_c: of
    the tank, for un-ionised ammonia.  Raises BadInput for a minute below 0, NoAnswer where an agent has no dose.
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
    full_g = float(filling.volume_end_l) * chlorine.total_mg_l / 1000
    now = _neutralised(present_g + to_come_g, chlorine, bottle)
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
        dose_now=_dose(now, bottle),
        agent=bottle.agent,
        neutralisation=now,
        dose_new_water=_dose(_neutralised(new_l * chlorine.total_mg_l / 1000, chlorine, bottle), bottle),
        dose_whole_tank=_dose(_neutralised(full_g, chlorine, bottle), bottle),
        ammonia_mg_n_l=ammonia,
        ammonia_unionised_mg_n_l=None if share is None else ammonia * float(share),
        breakthrough_minute=breaks,
        outflow_end_mg_l=outflow,
    )


def _chlorine_g(filling: Filling, minute: float) -> tuple[float, float]:
    """Chlorine in the tank at that minute, and what the rest of the water will bring [g]."""
    left_l = float(filling.volume_end_l - run.volume_l(filling, minute))
    return float(run.chlorine_g(filling, minute)), left_l * float(filling.chlorine_mg_l) / 1000


def _dose(dose: Neutralisation | None, bottle: Bottle) -> Amount:
    """A dose in steps of the scale; nothing where there is nothing to neutralise."""
    if dose is None:
        return Amount(0.0, None)
    grams = dose.agent_g
    if grams is not None and dose.solution_ml is None and bottle.step_g:
        grams = rounded_up(grams, bottle.step_g)
    return Amount(grams, dose.solution_ml)


def _neutralised(chlorine_g: float, chlorine: ChlorineReadings, bottle: Bottle) -> Neutralisation | None:
    """The dose of the tap water that holds so much chlorine; None for none."""
    if chlorine_g <= _LEAST_G:
        return None
    return neutralise(
        1000 * chlorine_g / chlorine.total_mg_l,
        chlorine,
        bottle.agent,
        purity=bottle.purity,
        excess=bottle.excess,
        solution_g_l=bottle.solution_g_l,
        label=bottle.label,
    )


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

    def dose_now(self, minute: float) -> Amount:
        """The dose at a minute, for what is in the tank and what is to come. Raises as `late` does."""
        return _dose(_neutralised(sum(_chlorine_g(self.filling, minute)), self.chlorine, self.bottle), self.bottle)

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
        )


def late_findings(made: Late) -> list[Finding]:
    """What of it passes the published criteria, and what comes out of a tote dosed once."""
    findings = [] if made.neutralisation is None else dose_findings(made.neutralisation, made.agent)
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
