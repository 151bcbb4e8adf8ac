"""Every step of a change in order.

Order, and why: the first tote is made before anything is drained, so that the neutraliser cannot be forgotten once
water runs; it also gives the heaters their time to cool. The filter runs until the drain begins, so that it stands
still for as short as may be.
"""

from __future__ import annotations

from collections.abc import Sequence

from tapwright.chemistry import reference
from tapwright.chemistry.findings import Finding
from tapwright.chemistry.plan.figures.records import Figures
from tapwright.chemistry.plan.figures.services import filter_held_back, substrate_held_back
from tapwright.chemistry.plan.steps.step import (
    LOOK_AT_PLUGS_MIN,
    Sheet,
    Step,
    alone_minutes,
    be_there_minute,
    centimetres,
    minutes_of,
    tote_named,
)
from tapwright.chemistry.plan.steps.totes import cups, make_tote
from tapwright.chemistry.units import figure


def steps_of(figures: Figures, stops: Sequence[Finding] = ()) -> tuple[Step, ...]:
    """The steps of one change, first to last look; stops: findings to resolve before the first of them."""
    sheet = Sheet()
    if stops:
        sheet.add(
            "resolve",
            "STOP resolved: what forbids to begin",
            f"STOP: do not begin. Resolve first: {' '.join(finding.text for finding in stops)} Then plan again.",
            0.0,
            hold=True,
        )
    _prepare(sheet, figures)
    _heaters_off(sheet, figures)
    make_tote(sheet, figures, 1)
    _drain(sheet, figures)
    _while_low(sheet, figures)
    _fill(sheet, figures)
    _switch_on(sheet, figures)
    return tuple(sheet.steps)


def _prepare(sheet: Sheet, figures: Figures) -> None:
    tap, tank = figures.household.tap, figures.tank
    free = "" if tap.free_chlorine_mg_l is None else f" and {figure(tap.free_chlorine_mg_l)} mg/L free"
    counted = f"{figure(tap.total_chlorine_mg_l)} mg/L total{free}" if tap.total_chlorine_mg_l > 0 else "none"
    sheet.add(
        "test_tap",
        "Tap tested, thermometer read",
        f"Test the cold tap for chlorine now. This plan counts on {counted}; if it reads higher, stop and plan again. "
        f"Read the tank's thermometer: the plan counts on {tank.readings.temperature_c:.1f} °C.",
        minutes_of("small_minutes"),
        hold=True,
    )
    doses = [f"{amount} of {name}" for name, amount in cups(figures)]
    each = "the tote" if figures.totes.count == 1 else f"each of {figures.totes.count} totes"
    first = ", the neutraliser in front" if figures.neutraliser else ""
    measured = f"Measure out for {each}: {'; '.join(doses)}. Mark every cup and stand them by the tote{first}. "
    sheet.add(
        "lay_out",
        "Cups measured out, tools laid out" if doses else "Tools laid out",
        (measured if doses else "")
        + (
            f"Have {figure(deionised_l)} L of deionised water ready. "
            if (deionised_l := figures.salting.deionised_l) > 0
            else ""
        )
        + "Lay out pump, hose, clamp, thermometer, test kits, towel, and tape on the glass at "
        f"{centimetres(tank.water_height_m)} and {centimetres(figures.low_level_m)} above the tank's bottom.",
        minutes_of("prepare_minutes"),
        hold=True,
        cautions=("chemicals", "lifting") if doses else ("lifting",),
    )


def _heaters_off(sheet: Sheet, figures: Figures) -> None:
    tank = figures.tank
    height, margin = centimetres(tank.heater_height_m), reference.value("limits", "heater_margin")
    dry = f"The water falls to them ({height}): they must cool first."
    wet = f"The water should stay above them ({height}): let them cool all the same."
    sheet.add(
        "heater_off",
        "Heaters unplugged",
        f"Switch off and unplug every heater of '{tank.name}'. "
        + (dry if figures.low_level_m < tank.heater_height_m + margin else wet),
        minutes_of("small_minutes"),
        hold=True,
        cautions=("mains", "heater"),
    )


def _drain(sheet: Sheet, figures: Figures) -> None:
    cooling = minutes_of("cooling_minutes")
    sheet.add(
        "heater_cooled",
        "Heaters cool, plugs seen out",
        f"The heaters have been off for {cooling:.0f} minutes or more and are cool: look at the plugs, they are out.",
        LOOK_AT_PLUGS_MIN,
        hold=True,
        waits_for=("heater_off", cooling),
        cautions=("heater",),
    )
    serviced = figures.jobs.service_filter and not filter_held_back(figures)
    sheet.add(
        "filter_off",
        "Filter unplugged, its taps closed",
        "Switch off and unplug filter and circulation pumps; close the filter's taps, keep its media wet. "
        + ("Its service comes while the level is low." if serviced else "Leave the filter itself alone today."),
        minutes_of("small_minutes"),
        hold=True,
        cautions=("mains",),
    )
    siphon = figures.flows.siphon
    into = "one end of the hose well below the water of the tank" if siphon else "the pump into the tank"
    secured = (
        "Clamp the hose shut, so that it does not start by itself."
        if siphon
        else "It must not jump out when the pump starts."
    )
    sheet.add(
        "outflow_secured",
        "Hose tied down at the drain",
        f"Put {into} and the hose's other end into the drain. Tie that end down and tug at it. {secured}",
        minutes_of("small_minutes"),
        hold=True,
        cautions=("discharge", "mains"),
    )
    minutes, low = figures.drain_minutes, centimetres(figures.low_level_m)
    alone = alone_minutes(minutes.early)
    begin = (
        "Start the siphon with a bulb or a hose filled under water, never by mouth," if siphon else "Plug in the pump"
    )
    after = "after it starts" if siphon else "after plugging in"
    sheet.add(
        "drain_start",
        "Siphon on, water goes to the drain" if siphon else "Pump on, water goes to the drain",
        f"{begin} and watch the first litres reach the drain. {figures.change_volume_l:.0f} L go out, down to "
        f"the {low} mark, in about {minutes.predicted:.0f} minutes ({minutes.early:.1f} at the earliest, "
        f"{minutes.late:.1f} at the latest). {_passes(figures)}{_be_there(minutes.early, after)}",
        alone,
    )
    end = (
        "lift the hose out of the water"
        if siphon
        else "unplug the pump. See that nothing siphons on: lift the hose's end out of the water"
    )
    sheet.add(
        "drain_end",
        "Drained, flow stopped" if siphon else "Drained, pump unplugged",
        f"Stand at the tank until the water is at the {low} mark, then {end}.",
        minutes.predicted - alone,
        hold=True,
    )


def _passes(figures: Figures) -> str:
    """When the falling level leaves heaters and intake dry, at the earliest and at the latest."""
    words = {"heater dry": "to the heaters", "intake dry": "to the filter's intake", "outlet dry": "to its outlet"}
    passed = [
        f"It falls {words[mark.event]} after {mark.minutes.early:.1f} to {mark.minutes.late:.1f} minutes. "
        for mark in figures.flows.marks
        if mark.event in words
    ]
    return "".join(passed)


def _be_there(early_minutes: float, after: str = "after plugging in") -> str:
    """When to stand at the tank, counted from the start of the flow."""
    minute = be_there_minute(early_minutes)
    return f"Be at the tank {minute} minutes {after}." if minute else "Stay at the tank."


def _while_low(sheet: Sheet, figures: Figures) -> None:
    jobs, gap = figures.jobs, minutes_of("filter_gap_days")
    if jobs.clean_substrate and not substrate_held_back(figures):
        sheet.add(
            "substrate_clean",
            "Substrate cleaned",
            f"Clean the substrate now, gently, part of it. Leave the filter alone for the next {gap:.0f} days.",
            minutes_of("clean_minutes"),
        )
    if jobs.service_filter and not filter_held_back(figures):
        sheet.add(
            "filter_service",
            "Filter serviced",
            "Rinse part of the filter media in a bucket of old tank water, never under the tap: chlorine kills what "
            f"lives in it. Leave the substrate alone for the next {gap:.0f} days.",
            minutes_of("clean_minutes"),
        )


def _fill(sheet: Sheet, figures: Figures) -> None:
    """Pump every tote into the tank, making each further one first; stand there for the end of the last."""
    sheet.add(
        "inflow_secured",
        "Hose clamped at the tank's rim",
        "Empty the hose and rinse the end that lay in the drain. Put the pump into the tote and clamp the hose's end to "
        "the tank's rim, above the water and pointing at the glass; tug at it.",
        minutes_of("small_minutes"),
        hold=True,
        cautions=("mains",),
    )
    minutes, count = figures.pump_minutes, figures.totes.count
    for number in range(1, count):
        sheet.add(
            "pump",
            f"{tote_named(number, count).capitalize()} is in the tank, pump unplugged",
            f"{_thermometers(figures, number)} Plug in the pump: {figures.totes.volume_l:.0f} L ({number} of {count}) in "
            f"about {minutes.predicted:.0f} "
            "minutes. Stay with it and unplug before it runs dry; pump and hose stay where they are. Look at the fish; "
            "let air bubble in the tank while the next tote is made.",
            minutes.predicted,
            tote=number,
            hold=True,
        )
        make_tote(sheet, figures, number + 1)
    full = centimetres(figures.tank.water_height_m)
    alone = alone_minutes(minutes.early)
    sheet.add(
        "pump",
        f"Pump on, water comes from {tote_named(count, count)}",
        f"{_thermometers(figures, count)} Plug in the pump{f' ({count} of {count}, the last)' if count > 1 else ''}. "
        f"{figures.totes.volume_l:.0f} L "
        f"rise to the {full} mark in about {minutes.predicted:.0f} minutes ({minutes.early:.1f} at the earliest). Watch "
        f"the first litre come in, and the fish. {_be_there(minutes.early)}",
        alone,
        tote=count,
    )
    sheet.add(
        "fill_end",
        "Tank full, pump unplugged",
        f"Stand at the tank until the water is at the {full} mark, then unplug the pump. {_overflow(figures)}",
        minutes.predicted - alone,
        hold=True,
    )


def _thermometers(figures: Figures, number: int) -> str:
    """The last look before water comes in: by the figures of the plan, so that no limit speaks against them."""
    tank_c, tote_c = figures.tank_c_before_tote(number), figures.heat.totes[number - 1].pumped_c
    reads = f"the tank {tank_c:.1f} °C, the tote {tote_c:.1f} °C, each within 1"
    return f"Read both thermometers: {reads}; if not, mend the tote first."


def _overflow(figures: Figures) -> str:
    if figures.spare_minutes < 0.1:
        return "A moment later it would run over: do not look away."
    return f"It runs over {figures.spare_l:.0f} L later, {figures.spare_minutes:.1f} minutes of pumping."


def _switch_on(sheet: Sheet, figures: Figures) -> None:
    """Everything on again and checked, with the looks at the fish where they fall."""
    still = sheet.steps[-1].end_minute - sheet["filter_off"].end_minute
    limit = reference.value("limits", "filter_off_minutes")
    stale = "It stood for long: pour away the water in it first. " if still > limit else ""
    sheet.add(
        "filter_on",
        "Filter runs again",
        f"{stale}Open the filter's taps, plug in filter and circulation pumps. Check: water runs, no air rattles, no "
        "drip.",
        minutes_of("small_minutes"),
        hold=True,
        cautions=("mains",),
    )
    sheet.add(
        "tidy",
        "Tidied away, hands washed",
        "Put pump and hose away, drain hose and tote, dry the floor, close the jars and store them, wash your hands.",
        minutes_of("small_minutes"),
    )
    _look(sheet, "first_look", "fish breathe calmly and stand as usual; filter runs; nothing drips.")
    rest = minutes_of("refill_rest_minutes")
    sheet.add(
        "heater_on",
        "Heaters plugged in",
        f"The heaters have stood covered for {rest:.0f} minutes: plug them in. Check that each one's lamp answers.",
        minutes_of("small_minutes"),
        hold=True,
        waits_for=("fill_end", rest),
        cautions=("heater",),
    )
    sheet.add(
        "all_on",
        "Everything on again",
        "Go round once more: heaters on, filter running, circulation running, light, air and lid as they were, level at "
        "the mark. Write the change into your log.",
        minutes_of("small_minutes"),
        hold=True,
    )
    ammonia = " Test ammonia now and tomorrow." if figures.waters.refill.ammonia_mg_n_l > 0 else ""
    _look(sheet, "second_look", f"fish again; heater lamp and temperature; water clear.{ammonia}")
    _look(sheet, "third_look", "fish look for food; temperature as before; floor dry under tank and filter.")


def _look(sheet: Sheet, key: str, text: str) -> None:
    """A look at the fish, counted from the end of filling; common practice, no source."""
    after_fill = minutes_of(key)
    sheet.add(
        "look",
        f"Looked after {after_fill:.0f} minutes",
        f"Look {after_fill:.0f} minutes after filling: {text}",
        1.0,
        at=f"{after_fill:.0f}",
        waits_for=("fill_end", after_fill),
    )
