"""A recipe for machines, and as a page: what to weigh, where it lands, how to pour it, how sure it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tapwright.cli.pages import pieces as pages

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.dosing.premix.premix import Premix, Saturation
    from tapwright.chemistry.dosing.recipe.bands import Standing
    from tapwright.chemistry.dosing.recipe.cupboard import Stocked
    from tapwright.chemistry.dosing.recipe.delivered import Spread
    from tapwright.chemistry.dosing.recipe.remineralise import Recipe, RecipeRequest
    from tapwright.chemistry.findings import Finding
    from tapwright.chemistry.water.equilibrium import Equilibrium
    from tapwright.cli.options.water_sources import Source


@dataclass(frozen=True)
class Made:
    """A recipe and all that is told of it: its water at once (None where the pH of its source is not known) and in air."""

    source: Source
    cupboard: Sequence[Stocked]
    request: RecipeRequest
    recipe: Recipe
    premix: Premix
    at_once: Equilibrium | None
    aerated: Equilibrium
    ph_spread: float | None
    spread: dict[str, Spread]
    findings: tuple[Finding, ...]
    spoon: str | None = None


def result(made: Made) -> dict[str, Any]:
    """Every figure of the recipe."""
    from tapwright.chemistry.water.equilibrium import ions_mmol_l

    recipe, once, rest = made.recipe, made.at_once, made.aerated
    steps = recipe.steps or {}
    return {
        "volume_l": made.request.volume_l,
        "totes": made.request.parts,
        "target": made.request.target.name,
        "source": made.source.name,
        "salts": [
            {"salt": name, "salt_g": grams, "steps": steps.get(name), "salt_g_per_tote": grams / made.request.parts}
            for name, grams in recipe.grams.items()
        ],
        "deionised_l": recipe.deionised_l,
        "reached": {
            at.band: {"value": at.value, "low": at.within.low, "high": at.within.high} for at in recipe.reached
        },
        "ph_at_once": once.ph if once else None,
        "ph_spread": made.ph_spread,
        "ph_aerated": rest.ph,
        "co2_times_air": once.co2_times_air if once else None,
        "co2_times_air_aerated": rest.co2_times_air,
        "si_calcite_at_once": once.si_calcite if once else None,
        "si_calcite_aerated": rest.si_calcite,
        "si_aragonite_at_once": once.si_aragonite if once else None,
        "si_aragonite_aerated": rest.si_aragonite,
        "conductivity_us_cm": (once or rest).conductivity_us_cm,
        "ions_mmol_l": ions_mmol_l(recipe.water, once or rest),
        "buckets": made.premix.buckets,
        "order": [bucket.name for bucket in made.premix.buckets],
        "order_reason": made.premix.reason,
        "clouding": made.premix.saturations,
        "cost": recipe.cost,
        "proven": recipe.proven,
        "bound": recipe.bound,
        "spread": made.spread,
    }


def show(screen: Console, made: Made) -> None:
    """The page of one recipe."""
    from tapwright.chemistry.dosing.premix.pouring import pouring
    from tapwright.chemistry.units import figure

    request = made.request
    totes = f", in {request.parts} totes" if request.parts > 1 else ""
    pages.heading(screen, f"Recipe for {figure(request.volume_l, 4)} L{totes} (target: {request.target.name})")
    pages.pairs(screen, _amounts(made))
    pages.heading(screen, "Where it lands")
    rows = [_row(at) for at in made.recipe.reached]
    pages.figures(screen, ("", "reached", "lowest", "highest"), rows)
    high = made.at_once is not None and made.recipe.harsh and made.at_once.ph > made.aerated.ph
    pages.heading(screen, "pH: too high at first" if high else "pH: do not correct the first reading")
    pages.paragraph(screen, _course(made))
    screen.print()
    if made.premix.buckets:
        pages.heading(screen, "How to get it in" + (", for each tote" if request.parts > 1 else ""))
        texts = [*pouring(made.premix), *([made.premix.reason] if made.premix.reason else [])]
        marks = [f"{number}." for number in range(1, len(made.premix.buckets) + 1)] + ["-"]
        pages.pairs(screen, list(zip(marks, texts, strict=False)), gap=1)
        pages.heading(screen, "Will it cloud (saturation indices)")
        places = [(place.where, _saturation(place)) for place in made.premix.saturations]
        pages.pairs(screen, places)
    pages.heading(screen, "How sure")
    pages.bullets(screen, _sure(made))


def _amounts(made: Made) -> list[tuple[str, str]]:
    """What goes in: the whole, and each tote's part where there are several."""
    from tapwright.chemistry.units import figure

    recipe, parts = made.recipe, made.request.parts
    rows: list[tuple[str, str]] = []
    for name, grams in recipe.grams.items():
        amount = f"{figure(grams, 4)} g {name}"
        step_g = next((item.step_g for item in made.cupboard if item.salt.name == name), None)
        if step_g is not None and recipe.steps:
            count = recipe.steps[name]
            each = f", {count // parts} a tote" if parts > 1 else ""
            rows.append(("Salts" if not rows else "", f"{_spoons(count, made.spoon)} ({figure(grams)} g) {name}{each}"))
            continue
        rows.append(
            ("Salts" if not rows else "", amount + (f", {figure(grams / parts, 4)} g a tote" if parts > 1 else ""))
        )
    own_l = made.request.volume_l - recipe.deionised_l
    water = f"{figure(own_l, 4)} L {made.source.name}"
    if recipe.deionised_l > 0:
        water += f" and {figure(recipe.deionised_l, 4)} L deionised water"
    rows = rows or [("Salts", "none needed")]
    rows.append(("Water", water))
    if recipe.cost is not None:
        rows.append(("Cost", f"{recipe.cost:.2f} for the whole"))
    return rows


def _spoons(count: int, spoon: str | None) -> str:
    return f"{count} level {spoon or 'spoon'}{'' if count == 1 else 's'}"


def _row(at: Standing) -> tuple[str, str, str, str]:
    from tapwright.chemistry.water.target import measures

    measure = measures()[at.band]
    name = f"{measure.words[:1].upper()}{measure.words[1:]}" + (f", {measure.unit}" if measure.unit else "")
    if measure.words.startswith("pH"):
        name = measure.words
    value, low, high = (_number(value * measure.scale) for value in (at.value, at.within.low, at.within.high))
    return name, value, low, high


def _number(value: float) -> str:
    from tapwright.chemistry.units import figure

    return "-" if value in (float("inf"), -float("inf")) else figure(value, 4)


def _course(made: Made) -> str:
    """pH at once and in air, and what drives the difference."""
    from tapwright.chemistry.units import figure
    from tapwright.cli.pages.water import give_or_take

    once, rest = made.at_once, made.aerated
    air = f"{rest.ph:.2f} after hours in the room's air ({rest.co2_times_air:.1f} times outdoor CO2)"
    if once is None:
        return f"{air}; at once not known, as the pH of the source is not."
    sure = give_or_take(once, made.ph_spread, computed=True)
    text = f"{once.ph:.2f} at once{sure}, {air}."
    if abs(once.ph - rest.ph) < 0.05:
        return f"{text} It is at rest with the air from the start."
    more = once.co2_times_air > rest.co2_times_air
    why = (
        "bicarbonate brings as much carbon as alkalinity, and the source its own CO2: what is too much goes into the air"
        if more
        else "it holds less CO2 than the air, and takes it up"
    )
    return f"{text} At first it holds {figure(once.co2_times_air, 2)} times the CO2 of outdoor air: {why}."


def _saturation(place: Saturation) -> str:
    word = {"calm": "calm", "caution": "CAUTION: may cloud", "cloud": "CLOUD: chalk will come out"}[place.level]
    return f"{word}; calcite {pages.index(place.si_calcite, 1)}, aragonite {pages.index(place.si_aragonite, 1)}"


def _sure(made: Made) -> list[str]:
    """The spread of hardness and alkalinity, and what makes it."""
    from tapwright.chemistry.units import figure
    from tapwright.chemistry.water.target import measures

    lines = []
    for band, spread in made.spread.items():
        measure = measures()[band]
        value = getattr(made.recipe.water, band) * measure.scale
        parts = sorted(spread.shares.items(), key=lambda entry: -entry[1])
        shares = ", ".join(f"{name} {share:.0%}" for name, share in parts if share >= 0.005)
        lines.append(
            f"{measure.words.capitalize()} {figure(value)} {measure.unit}, give or take "
            f"{figure(spread.give_or_take * measure.scale, 2)}" + (f": {shares} of it." if shares else ".")
        )
    return lines
