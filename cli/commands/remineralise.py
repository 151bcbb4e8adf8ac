"""The `remineralise` command: grams of salts for a refill inside every band, or why there are none and what would do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tapwright.chemistry.errors import BadInput, Fault
from tapwright.cli.answer import Answer
from tapwright.cli.commands.recipe import recipe_of
from tapwright.cli.options import water_sources
from tapwright.cli.options.of_waters import RemineraliseOptions
from tapwright.cli.options.recipe_words import Measures, Shelf, shelf_of, tank_of, target_of, volume_of
from tapwright.cli.options.water_words import FROM_EXAMPLE, water_in_words
from tapwright.cli.pages import pieces as pages
from tapwright.cli.pages.recipe import Made
from tapwright.cli.reading import Reader

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.dosing.recipe.remineralise import RecipeRequest
    from tapwright.chemistry.plan.household.household import Household, Tank
    from tapwright.cli.options.water_sources import Source


def answer(options: RemineraliseOptions) -> Answer:
    """The recipe as an answer; raises NoAnswer with the conflict and the ways out where there is none."""
    from tapwright.cli.pages.recipe import result, show

    household = water_sources.household_of(options.file)
    reader = Reader()
    request, shelf, source = _read(options, household, reader)
    made = recipe_of(source, request, shelf)
    assumed = [*source.assumptions, *shelf.notes, *_assumed(made, options, household)]

    def page(screen: Console) -> None:
        pages.findings(screen, [finding for finding in made.findings if finding.level != "note"])
        show(screen, made)
        pages.findings(screen, [finding for finding in made.findings if finding.level == "note"])
        pages.assumptions(screen, assumed)

    return Answer("remineralise", result(made), page, made.findings, assumed)


def _measures(options: RemineraliseOptions) -> Measures:
    return Measures(options.salts or (), options.deionised, options.deionised_price, options.step, options.spoon)


def _read(
    options: RemineraliseOptions, household: Household | None, reader: Reader
) -> tuple[RecipeRequest, Shelf, Source]:
    """What is asked, with every fault of the options at once."""
    from tapwright.chemistry.dosing.recipe.remineralise import RecipeRequest

    volume_l = volume_of(options.volume, reader)
    if not 1 <= options.totes <= 100:
        reader.refuse("--totes", f"{options.totes} is read; 1 to 100 is allowed.", "Write 2.")
    tank = reader.tried(lambda: tank_of(options.tank, household))
    target = target_of(options.target, options.every_ion, tank, options.bands or (), reader)
    shelf = shelf_of(
        Measures(options.salts or (), options.deionised, options.deionised_price, options.step, options.spoon),
        household,
        reader,
    )
    source = reader.tried(lambda: _source(options, household, tank))
    times_air = reader.tried(lambda: water_sources.times_air(options.air, household))
    prefer = tuple(word.strip() for word in options.prefer.split(",")) if options.prefer else ()
    reader.tried(lambda: _order(prefer))
    reader.done()
    if source and target and target.ph_at_once and source.water.ph is None and source.water.carbon_mmol_l is None:
        said = "its pH is not known, and pH at once has a band."
        reader.refuse("--from", said, "Write 'ph 7.4' with its readings, or leave that band out.")
        reader.done()
    if target is None or source is None:  # refused above
        raise AssertionError("a refusal was lost")
    request = RecipeRequest(target, volume_l, shelf.step_g, options.totes, shelf.deionised, prefer, times_air or 1.0)
    return request, shelf, source


def _order(prefer: tuple[str, ...]) -> None:
    from tapwright.chemistry.dosing.recipe.choice import order_of

    try:
        order_of(prefer)
    except BadInput as error:
        raise BadInput(Fault("--prefer", fault.message, fault.hint) for fault in error.faults) from None


def _source(options: RemineraliseOptions, household: Household | None, tank: Tank | None) -> Source:
    """The water the refill is made of, at the temperature the refill is to have."""
    from dataclasses import replace

    from tapwright.chemistry.water.equilibrium import closed

    text = options.source or ("tap" if household else None)
    if text is None:
        raise BadInput.of("--from", "not given; the recipe depends on the water it is made of.", FROM_EXAMPLE)
    source = water_in_words(text, "--from", household, "source", FROM_EXAMPLE)
    reader = Reader()
    temperature_c = reader.quantity(options.temperature, "water", "--temperature")
    reader.done()
    if temperature_c is None and tank is not None:
        temperature_c = tank.refill_c
    if temperature_c is None or temperature_c == source.water.temperature_c:
        return source
    warm = replace(closed(source.water), temperature_c=temperature_c)
    return replace(source, water=warm, made_of=source.tested())


def _assumed(made: Made, options: RemineraliseOptions, household: Household | None) -> list[str]:
    from tapwright.cli.commands.water import assumed_of_air

    known = (
        None
        if options.air is None and (household is None or household.room_co2_ppm is None)
        else made.request.times_air
    )
    notes = assumed_of_air(made.recipe.water, known)
    if made.at_once is None:
        notes.append("The pH of the source is not known: pH is told at rest with air only, not at once.")
    if made.recipe.cost is None:
        notes.append("Not every salt has a price: the fewest grams are taken in place of the least cost.")
    return notes
