"""The run sheet as data: every step of a change in order, which must be confirmed, and when it is due.

Order, and why: the first tote is made before anything is drained, so that the neutraliser cannot be forgotten once
water runs; it also gives the heaters their time to cool.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from chemistry import reference
from chemistry.plan.figures import Figures
from chemistry.plan.guards import filter_held_back, substrate_held_back
from chemistry.substances import salt


@dataclass(frozen=True)
class Step:
    """One thing to do.

    hold: must be confirmed before the next may begin.  after: ids that must be done before.  start_minute: when it is
    due, counted from the first step.  cautions: keys of tables/cautions.csv to show with it.
    """

    id: str
    text: str
    minutes: float
    hold: bool
    after: tuple[str, ...]
    start_minute: float
    cautions: tuple[str, ...] = ()

    @property
    def end_minute(self) -> float:
        """When it is over."""
        return self.start_minute + self.minutes


@dataclass
class _Sheet:
    """Steps of one keeper, one after another; a step may have to wait for an earlier one."""

    steps: list[Step] = field(default_factory=list)

    def add(
        self,
        id: str,
        text: str,
        minutes: float,
        *,
        hold: bool = False,
        waits_for: tuple[str, float] | None = None,
        cautions: tuple[str, ...] = (),
    ) -> None:
        """Append a step; waits_for: (id, minutes that must have passed since its end)."""
        last = self.steps[-1] if self.steps else None
        start = last.end_minute if last else 0.0
        after = [last.id] if last else []
        if waits_for:
            start = max(start, self[waits_for[0]].end_minute + waits_for[1])
            after = list(dict.fromkeys([*after, waits_for[0]]))
        self.steps.append(Step(id, text, minutes, hold, tuple(after), start, cautions))

    def __getitem__(self, id: str) -> Step:
        return next(step for step in self.steps if step.id == id)


def steps_of(figures: Figures) -> tuple[Step, ...]:
    """The steps of one change, first to last look."""
    sheet = _Sheet()
    _prepare(sheet, figures)
    _switch_off(sheet, figures)
    _make_tote(sheet, figures, 1)
    _drain(sheet, figures)
    _while_low(sheet, figures)
    _fill(sheet, figures)
    _switch_on(sheet)
    return tuple(sheet.steps)


def _minutes(key: str) -> float:
    """A duration of tables/practice.csv."""
    return reference.value("practice", key)


def _cm(metres: float) -> str:
    return f"{100 * metres:.0f} cm"


def _prepare(sheet: _Sheet, figures: Figures) -> None:
    tap, count = figures.household.tap, figures.totes.count
    free = "" if tap.free_chlorine_mg_l is None else f" and {tap.free_chlorine_mg_l:g} mg/L free"
    sheet.add(
        "test_tap",
        f"Test the cold tap for chlorine now. This plan counts on {tap.total_chlorine_mg_l:g} mg/L total{free}. "
        "If it reads higher, stop and plan again with the new figures.",
        _minutes("small_minutes"),
        hold=True,
    )
    doses = [f"{amount} of {name}" for name, amount in _cups(figures)]
    cups = (
        f"Weigh out for {'the tote' if count == 1 else f'each of {count} totes'}: {'; '.join(doses)}. " if doses else ""
    )
    sheet.add(
        "lay_out",
        f"{cups}Mark every cup with what is in it and stand them by the tote, the neutraliser in front. "
        "Lay out pump, hose, clamp, thermometer, test kits, towel, and tape on the glass at "
        f"{_cm(figures.tank.water_height_m)} and {_cm(figures.low_level_m)} above the tank's bottom.",
        _minutes("prepare_minutes"),
        hold=True,
        cautions=("chemicals", "lifting"),
    )


def _cups(figures: Figures) -> list[tuple[str, str]]:
    """What goes into one tote, neutraliser first: (name, amount)."""
    cups = []
    if amount := _neutraliser_amount(figures):
        cups.append((_neutraliser_name(figures), amount))
    return cups + [(name, f"{grams:.4g} g") for name, grams in figures.salts_per_tote_g.items()]


def _neutraliser_name(figures: Figures) -> str:
    """What the cup holds: the agent, or its stock solution with its strength."""
    entry = figures.neutraliser.entry
    return entry.substance.name + (f" solution ({entry.solution_g_l:g} g/L)" if entry.solution_g_l else "")


def _neutraliser_amount(figures: Figures) -> str:
    """The dose for one tote as measured; empty where none is needed."""
    chosen = figures.neutraliser
    if chosen.per_tote_ml:
        return f"{chosen.per_tote_ml:.3g} mL"
    return f"{chosen.per_tote_g:.4g} g" if chosen.per_tote_g else ""


def _switch_off(sheet: _Sheet, figures: Figures) -> None:
    tank = figures.tank
    height = _cm(tank.heater_height_m)
    dry = f"The water will fall below them ({height}): they must cool first."
    wet = f"The water should stay above them ({height}): let them cool all the same."
    sheet.add(
        "heater_off",
        f"Switch off and unplug every heater of '{tank.name}'. "
        + (dry if tank.heater_height_m > figures.low_level_m else wet),
        _minutes("small_minutes"),
        hold=True,
        cautions=("mains", "heater"),
    )
    serviced = figures.jobs.service_filter and not filter_held_back(figures)
    sheet.add(
        "filter_off",
        "Switch off and unplug filter and circulation pumps; close the filter's taps, keep its media wet. "
        + ("Its service comes while the level is low." if serviced else "Leave the filter itself alone today."),
        _minutes("small_minutes"),
        hold=True,
    )


def _make_tote(sheet: _Sheet, figures: Figures, number: int) -> None:
    """Fill, neutralise, salt and check one tote; ids carry its number."""
    blend = figures.first_blend if number == 1 else figures.next_blend
    of_all = f" {number} of {figures.totes.count}" if figures.totes.count > 1 else ""
    sheet.add(
        f"tote_{number}_fill",
        f"Fill tote{of_all}: {blend.cold_l:.0f} L cold and {blend.hot_l:.0f} L hot, {figures.totes.volume_l:.0f} L in "
        f"all. Start cold, then bring in hot; stay with it. The thermometer must end at "
        f"{figures.refill_temperature_c:.1f} °C, within 1.",
        figures.tap_minutes,
        cautions=("scald", "metals", "standing") if number == 1 else (),
    )
    _neutralise_tote(sheet, figures, number)
    if figures.salts_per_tote_g:
        sheet.add(f"tote_{number}_salts", _dissolving(figures), _minutes("dissolve_minutes"), hold=True)
    sheet.add(
        f"tote_{number}_check",
        f"Tote{of_all}: clear, {figures.refill_temperature_c:.1f} °C within 1, total chlorine zero. Only then may it "
        "meet the fish.",
        _minutes("small_minutes"),
        hold=True,
    )


def _dissolving(figures: Figures) -> str:
    """How to bring the salts of one tote in: what makes hardness apart from what makes alkalinity."""
    hard: list[str] = []
    soft: list[str] = []
    for name, grams in figures.salts_per_tote_g.items():
        (hard if salt(name).hardness_mmol_per_g() > 0 else soft).append(f"{grams:.4g} g {name}")
    if hard and soft:
        return (
            f"Dissolve in one bucket of tote water {', '.join(hard)}; in another {', '.join(soft)}: together they "
            "would cloud. Pour in the first, stir, then the second, and stir until clear. No grain may be left."
        )
    return f"Dissolve {', '.join(hard or soft)} in a bucket of tote water, pour in and stir until no grain is left."


def _neutralise_tote(sheet: _Sheet, figures: Figures, number: int) -> None:
    dose, name = figures.neutraliser.dose, _neutraliser_name(figures)
    contact = "contact_minutes_chloramine" if dose.combined_chlorine_mg_l > 0 else "contact_minutes"
    amount = _neutraliser_amount(figures)
    act = f"NEUTRALISER: put {amount} of {name} into tote {number} and" if amount else "No neutraliser is needed:"
    sheet.add(
        f"tote_{number}_neutralise",
        f"{act} stir for {_minutes(contact):.0f} minutes, then test total chlorine in the tote. It must read zero.",
        _minutes(contact),
        hold=True,
        cautions=("chemicals",),
    )


def _drain(sheet: _Sheet, figures: Figures) -> None:
    cooling = _minutes("cooling_minutes")
    sheet.add(
        "heater_cooled",
        f"The heaters have been off for {cooling:.0f} minutes or more and are cool: look at the plugs, they are out.",
        1.0,
        hold=True,
        waits_for=("heater_off", cooling),
        cautions=("heater",),
    )
    sheet.add(
        "outflow_secured",
        "Put the pump into the tank and the hose's other end into the drain. Tie that end down and tug at it: it must "
        "not jump out when the pump starts.",
        _minutes("small_minutes"),
        hold=True,
        cautions=("discharge", "mains"),
    )
    minutes = figures.drain_minutes
    alone = max(minutes.early - _minutes("small_minutes"), 0.0)
    sheet.add(
        "drain_start",
        f"Plug in the pump and watch the first litres reach the drain. {figures.change_volume_l:.0f} L go out, down to "
        f"the {_cm(figures.low_level_m)} mark, in about {minutes.predicted:.0f} minutes "
        f"({minutes.early:.0f} at the earliest, {minutes.late:.0f} at the latest). {_be_there(alone)}",
        alone,
    )
    sheet.add(
        "drain_end",
        f"Stand at the tank until the water is at the {_cm(figures.low_level_m)} mark, then unplug the pump. See that "
        "nothing siphons on: lift the hose's end out of the water.",
        minutes.predicted - alone,
        hold=True,
    )


def _be_there(minutes_alone: float) -> str:
    """When to stand at the tank, counted from the pump's start; two minutes before the earliest end."""
    if minutes_alone < 1:
        return "Stay at the tank."
    return f"Be at the tank {minutes_alone:.0f} minutes after plugging in."


def _while_low(sheet: _Sheet, figures: Figures) -> None:
    jobs = figures.jobs
    if jobs.clean_substrate and not substrate_held_back(figures):
        gap = _minutes("filter_gap_days")
        sheet.add(
            "substrate_clean",
            f"Clean the substrate now, gently, part of it. Leave the filter alone for the next {gap:.0f} days.",
            _minutes("clean_minutes"),
        )
    if jobs.service_filter and not filter_held_back(figures):
        gap = _minutes("filter_gap_days")
        sheet.add(
            "filter_service",
            "Rinse part of the filter media in a bucket of old tank water, never under the tap: chlorine kills what "
            f"lives in it. Leave the substrate alone for the next {gap:.0f} days.",
            _minutes("clean_minutes"),
        )


def _fill(sheet: _Sheet, figures: Figures) -> None:
    """Pump every tote into the tank, making each further one first; stand there for the end of the last."""
    sheet.add(
        "inflow_secured",
        "Put the pump into the tote and clamp the hose's end to the tank's rim, above the water and pointing at the "
        "glass. Tug at it.",
        _minutes("small_minutes"),
        hold=True,
        cautions=("mains",),
    )
    minutes, count = figures.pump_minutes, figures.totes.count
    for number in range(1, count):
        sheet.add(
            f"tote_{number}_pump",
            f"Plug in the pump: tote {number} of {count}, {figures.totes.volume_l:.0f} L in about "
            f"{minutes.predicted:.0f} minutes. Stay with it; unplug before it runs dry. Look at the fish.",
            minutes.predicted,
            hold=True,
        )
        _make_tote(sheet, figures, number + 1)
    alone = max(minutes.early - _minutes("small_minutes"), 0.0)
    sheet.add(
        f"tote_{count}_pump",
        f"Plug in the pump{f' on tote {count}, the last' if count > 1 else ''}. {figures.totes.volume_l:.0f} L rise to "
        f"the {_cm(figures.tank.water_height_m)} mark in about {minutes.predicted:.0f} minutes "
        f"({minutes.early:.0f} at the earliest). Watch the first litre come in, and the fish. {_be_there(alone)}",
        alone,
    )
    per_minute_l = figures.totes.volume_l / minutes.early
    sheet.add(
        "fill_end",
        f"Stand at the tank until the water is at the {_cm(figures.tank.water_height_m)} mark, then unplug the pump. "
        f"The tank overflows {figures.spare_l:.0f} L later, {figures.spare_l / per_minute_l:.1f} minutes of pumping.",
        minutes.predicted - alone,
        hold=True,
    )


def _switch_on(sheet: _Sheet) -> None:
    """Everything on again and checked, with the looks at the fish where they fall."""
    sheet.add(
        "filter_on",
        "Open the filter's taps, plug in filter and circulation pumps. Check: water runs, no air rattles, no drip.",
        _minutes("small_minutes"),
        hold=True,
        cautions=("mains",),
    )
    rest = _minutes("refill_rest_minutes")
    sheet.add(
        "tidy",
        "Put pump and hose away, drain hose and tote, dry the floor, close the jars and store them, wash your hands.",
        _minutes("small_minutes"),
    )
    _look(sheet, "first_look", "fish breathe calmly and stand as usual; filter runs; nothing drips.")
    sheet.add(
        "heater_on",
        f"The heaters have stood covered for {rest:.0f} minutes: plug them in. Check that each one's lamp answers.",
        _minutes("small_minutes"),
        hold=True,
        waits_for=("fill_end", rest),
        cautions=("heater",),
    )
    sheet.add(
        "all_on",
        "Go round once more: heaters on, filter running, circulation running, air and light on, lid closed, level at "
        "the mark. Write the change into your log.",
        _minutes("small_minutes"),
        hold=True,
    )
    _look(
        sheet, "second_look", "fish again; heater lamp and temperature; water clear; total chlorine zero if in doubt."
    )
    _look(sheet, "third_look", "fish look for food; temperature as before; floor dry under tank and filter.")


def _look(sheet: _Sheet, key: str, text: str) -> None:
    """A look at the fish, counted from the end of filling; common practice, no source."""
    after_fill = _minutes(key)
    sheet.add(
        f"look_{after_fill:.0f}",
        f"Look {after_fill:.0f} minutes after filling: {text}",
        1.0,
        waits_for=("fill_end", after_fill),
    )
