"""The `transition` command: the fewest changes from the tank's water to a target, and the refill of each."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import quoted
from tapwright.cli.answer import Answer
from tapwright.cli.commands.recipe import chlorine_first
from tapwright.cli.options import water_sources
from tapwright.cli.options.of_waters import TransitionOptions
from tapwright.cli.options.recipe_words import Measures, Shelf, shelf_of, tank_of, target_of, volume_of
from tapwright.cli.options.water_words import FROM_EXAMPLE, water_in_words
from tapwright.cli.pages import pieces as pages
from tapwright.cli.reading import Reader

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.dosing.transition.multistage import Limits
    from tapwright.chemistry.dosing.transition.request import Transition, TransitionRequest
    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.plan.household.household import Household, Tank
    from tapwright.chemistry.water.target import Target
    from tapwright.cli.options.water_sources import Source

_WATER_EXAMPLE = "Write 'hardness 4 dGH, alkalinity 3 dKH, ph 7.6, temperature 25 degC', or --file and --tank."
_LIMIT = re.compile(r"(hardness|alkalinity|ph|conductivity|temperature)\s+(.+)$", re.IGNORECASE)
_LIMITED = ("hardness", "alkalinity", "conductivity", "temperature", "ph")
_LIMIT_EXAMPLE = "Write 'hardness 2 dGH', 'alkalinity 2 dKH', 'ph 0.3', 'conductivity 15%' or 'temperature 1 degC'."


def answer(options: TransitionOptions) -> Answer:
    """The way as an answer."""
    from tapwright.chemistry.dosing.transition.transition import transition
    from tapwright.chemistry.findings import caution_notes
    from tapwright.cli.pages.transition import result, show

    household = water_sources.household_of(options.file)
    reader = Reader()
    request, shelf, tank, source = _read(options, household, reader)
    made = transition(request, shelf.salts)
    findings = [*tank.findings, *source.findings, *(chlorine_first(source) if made.changes else [])]
    findings += [*_clouding(request, made), *_hot(made), *made.findings, *made.not_proven()]
    findings += caution_notes("chemicals", "lifting") if made.changes else []
    assumed = list(dict.fromkeys([*tank.assumptions, *source.assumptions, *shelf.notes, *_assumed(options, request)]))

    def page(screen: Console) -> None:
        pages.findings(screen, [finding for finding in findings if finding.level != "note"])
        show(screen, request, made)
        pages.findings(screen, [finding for finding in findings if finding.level == "note"])
        pages.assumptions(screen, assumed)

    return Answer("transition", result(request, made), page, findings, assumed)


def _measures(options: TransitionOptions) -> Measures:
    return Measures(options.salts or (), options.deionised, None, options.step, None)


def _read(
    options: TransitionOptions, household: Household | None, reader: Reader
) -> tuple[TransitionRequest, Shelf, Source, Source]:
    """What is asked, with every fault of the options at once."""
    from dataclasses import replace

    from tapwright.chemistry.dosing.transition.request import ANYTHING, TransitionRequest
    from tapwright.chemistry.water.equilibrium import at_ph

    share = reader.needed(options.change, "share", "--change")
    kept = reader.tried(lambda: tank_of(options.tank, household))
    target = target_of(
        options.target, options.every_ion, kept if options.target is None else None, options.bands or (), reader
    )
    if target is not None:  # what a tank reads at once is what it reads: that band is one of refills
        target = replace(target, ph_at_once=None)
    refill: Target | None = ANYTHING
    if options.refill_bands:
        refill = target_of(None, False, None, options.refill_bands or (), reader, "--refill-band")
    shelf = shelf_of(_measures(options), household, reader)
    tank = reader.tried(lambda: _tank_water(options, household, kept))
    source = reader.tried(lambda: _source(options, household))
    volume_l = _volume(options, kept, reader)
    limits = _limits(options.limits or (), reader)
    evaporated_l = reader.quantity(options.evaporation, "volume, or none", "--evaporation") or 0.0
    if options.top_off not in (None, "source", "deionised"):
        reader.refuse("--top-off", f"{quoted(options.top_off)} is read.", "Write source or deionised.")
    if options.top_off is not None and options.evaporation is None:
        reader.refuse("--top-off", "given without --evaporation.", 'Write --evaporation "5 L" as well.')
    if options.evaporation is not None and options.top_off is None:
        reader.refuse("--top-off", "not given; what tops the tank off gathers in it.", "Write source or deionised.")
    wanted_c = reader.quantity(options.temperature, "water", "--temperature")
    room = reader.tried(lambda: water_sources.times_air(options.air, household))
    reader.done()
    if target is None or refill is None or tank is None or source is None:  # refused above
        raise AssertionError("a refusal was lost")
    times_air = room or 1.0
    rests = times_air if tank.water.ph is None else float(at_ph(tank.water).co2_times_air)
    request = TransitionRequest(
        tank.water, volume_l, source.water, share, target, limits, shelf.step_g, refill, shelf.deionised,
        evaporated_l / volume_l, options.top_off or "deionised", wanted_c, rests, times_air,
    )  # fmt: skip
    return request, shelf, tank, source


def _tank_water(options: TransitionOptions, household: Household | None, tank: Tank | None) -> Source:
    """The tank's water now, by the file or in words."""
    if (options.water is None) == (tank is None):
        said = "not given" if tank is None else "given beside --tank"
        raise BadInput.of("--water", f"{said}; the tank's water is read once.", _WATER_EXAMPLE)
    if tank is not None and household is not None:
        return water_sources.of_household(household, f"tank:{tank.name}", "--tank")
    return water_in_words(options.water or "", "--water", household, "tank", _WATER_EXAMPLE)


def _source(options: TransitionOptions, household: Household | None) -> Source:
    """What refills are made of."""
    text = options.source or ("tap" if household else None)
    if text is None:
        raise BadInput.of("--from", "not given; refills depend on the water they are made of.", FROM_EXAMPLE)
    return water_in_words(text, "--from", household, "source", FROM_EXAMPLE)


def _volume(options: TransitionOptions, tank: Tank | None, reader: Reader) -> float:
    """Live water of the tank [L]."""
    if options.volume is None:
        if tank is None:
            reader.refuse("--volume", "not given; grams depend on it.", 'Write --volume "400 L".')
            return 1.0
        return tank.live_volume_l
    return volume_of(options.volume, reader)


def _limits(texts: Sequence[str], reader: Reader) -> Limits:
    """The limits of common practice, with those of `--limit` in place of their own."""
    from dataclasses import replace

    from tapwright.chemistry.dosing.transition.request import default_limits

    fields = {
        "hardness": ("hardness_mmol_l", "hardness"), "alkalinity": ("alkalinity_meq_l", "alkalinity"),
        "ph": ("ph", "ph step"), "conductivity": ("conductivity", "share"),
        "temperature": ("temperature_c", "temperature step"),
    }  # fmt: skip
    own: dict[str, float] = {}
    for number, text in enumerate(texts, start=1):
        where = f"--limit {number}"
        match = _LIMIT.match(text.strip())
        if not match:
            reader.refuse(
                where, f"{quoted(text)} is read; a quantity and how far it may move are wanted.", _LIMIT_EXAMPLE
            )
            continue
        field, kind = fields[match[1].lower()]
        if kind.endswith("step"):
            bare = re.sub(r"\s*(degC|°C|C|K)$", "", match[2]) if field == "temperature_c" else match[2]
            value = reader.number(bare, kind, where) or 0.0
        else:
            value = reader.needed(match[2], kind, where)
        if value <= 0:
            reader.refuse(where, f"{quoted(text)} is read; more than 0 is allowed.", _LIMIT_EXAMPLE)
        if field in own:
            reader.refuse(where, f"{quoted(text)} names a limit that is given already.", "Keep one.")
        own[field] = value
    return replace(default_limits(), **own)


def _clouding(request: TransitionRequest, made: Transition) -> list[Finding]:
    """A caution where a refill stands past calm, as its source does by itself."""
    from tapwright.chemistry.plan.guards.water import clouding_words, limit_finding
    from tapwright.chemistry.water.equilibrium import at_air

    indices = [float(at_air(change.refill, request.room_times_air).si_calcite) for change in made.changes]
    highest = round(max(indices, default=0.0), 2)  # one held to the cap may stand a thousandth above it
    text = (
        f"A refill {clouding_words(highest)}: its saturation index of calcite reaches {highest:+.1f} in the room's air."
    )
    return limit_finding("clouding", highest, text, "calcite_calm")


def _hot(made: Transition) -> list[Finding]:
    """A caution where fish near the hose meet water many degrees from their own."""
    from tapwright.chemistry.plan.guards.water import limit_finding

    far_c = max(
        (abs(change.refill_temperature_c - change.before.temperature_c) for change in made.changes), default=0.0
    )
    text = f"A refill stands {far_c:.0f} °C from the tank: fish near the hose meet it so. Let the heater do it instead."
    return limit_finding("refill_temperature", far_c, text, "temperature_step")


def _assumed(options: TransitionOptions, request: TransitionRequest) -> list[str]:
    from tapwright.chemistry import reference

    notes = []
    if len(options.limits or ()) < 5:
        limits = [reference.table("limits")[f"{name}_step"] for name in _LIMITED]
        said = ", ".join(f"{row['value']} {row['unit'].replace('degC', '°C')}" for row in limits)
        source = reference.cited(limits[-1])
        notes.append(
            f"Limits of one change where none is given: {said} (pH: {source}; the others: common practice, no source)."
        )
    if request.tank.ph is None:
        notes.append("The tank's pH is not known: it is taken as at rest with the room's air.")
    else:
        notes.append(f"The tank keeps the {request.times_air:.1f} times outdoor CO2 that its pH and alkalinity show.")
    notes.append("The limits hold for one change; leave at least a day between two (common practice, no source).")
    return notes
