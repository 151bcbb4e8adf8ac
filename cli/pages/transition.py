"""A transition for machines, and as a page: each change with its refill, and what the tank comes to."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from tapwright.cli.pages import pieces as pages

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.dosing.transition.request import Change, Transition, TransitionRequest
    from tapwright.chemistry.water.composition import Water


def result(request: TransitionRequest, made: Transition) -> dict[str, Any]:
    """Every figure of the way."""
    return {
        "changes": len(made.changes),
        "share": request.share,
        "volume_l": request.volume_l,
        "refill_l": request.volume_l * request.share,
        "target": request.target.name,
        "refills": [
            {
                "salts": [{"salt": name, "salt_g": grams} for name, grams in change.grams.items()],
                "deionised_l": change.deionised_l,
                "temperature_c": change.refill_temperature_c,
                "reached": _amounts(change.refill),
            }
            for change in made.changes
        ],
        "path": [
            {
                **_amounts(change.after),
                "ph_aerated": change.ph_after,
                "conductivity_us_cm": change.conductivity_after_us_cm,
                "temperature_c": change.after.temperature_c,
            }
            for change in made.changes
        ],
        "reached": {at.band: {"value": at.value, "low": at.within.low, "high": at.within.high} for at in made.reached},
        "each_alone": made.each_alone,
        "with_target_refill": made.with_target_refill,
        "longer_by_scale": made.by_scale,
        "proven": made.proven,
        "at_least": None if made.at_least is None else dict(zip(("changes", "salts"), made.at_least, strict=True)),
        "settles": {
            water: {"hardness_mmol_l": hardness, "alkalinity_meq_l": alkalinity}
            for water, (hardness, alkalinity) in made.settles.items()
        },
    }


def _amounts(water: Water) -> dict[str, float]:
    from tapwright.chemistry.water.composition import ION_SYMBOLS

    return {
        "hardness_mmol_l": water.hardness_mmol_l,
        "alkalinity_meq_l": water.alkalinity_meq_l,
        **{f"{ion}_mmol_l": getattr(water, f"{ion}_mmol_l") for ion in ION_SYMBOLS},
    }


def show(screen: Console, request: TransitionRequest, made: Transition) -> None:
    """The page of one way."""
    from tapwright.chemistry.units import figure

    count = len(made.changes)
    refill_l = figure(request.volume_l * request.share, 4)
    if count == 0:
        pages.heading(
            screen, f"The tank lies in the bands already (target: {request.target.name}): no change is needed"
        )
        screen.print()
        return
    changes = "1 change" if count == 1 else f"{count} changes"
    pages.heading(screen, f"{changes} of {request.share:.0%}, {refill_l} L each (target: {request.target.name})")
    pages.pairs(screen, [(f"{number}.", _refill(change)) for number, change in enumerate(made.changes, start=1)])
    pages.heading(screen, "The tank after each change")
    head = ("", "hardness, dGH", "alkalinity, dKH", "pH at rest", "µS/cm", "°C")
    first = made.changes[0]
    rows = [_row("now", first.before, first.ph_before, first.conductivity_before_us_cm)]
    rows += [
        _row(f"after {number}", change.after, change.ph_after, change.conductivity_after_us_cm)
        for number, change in enumerate(made.changes, start=1)
    ]
    pages.figures(screen, head, rows)
    pages.heading(screen, "What to know")
    pages.bullets(screen, _words(request, made))


def _refill(change: Change) -> str:
    from tapwright.chemistry.units import figure

    cups = [f"{figure(grams, 4)} g {name}" for name, grams in change.grams.items()]
    if change.deionised_l > 0:
        cups.append(f"{figure(change.deionised_l, 4)} L deionised water")
    made = f"{change.refill.hardness_dgh:.1f} dGH, {change.refill.alkalinity_dkh:.1f} dKH"
    return f"{', '.join(cups) or 'no salts'}; the refill at {made}, {change.refill_temperature_c:.1f} °C"


def _row(name: str, water: Water, ph: float, conductivity_us_cm: float) -> tuple[str, ...]:
    return (
        name, f"{water.hardness_dgh:.1f}", f"{water.alkalinity_dkh:.1f}", f"{ph:.2f}", f"{conductivity_us_cm:.0f}",
        f"{water.temperature_c:.1f}",
    )  # fmt: skip


def _words(request: TransitionRequest, made: Transition) -> list[str]:
    from tapwright.chemistry.water.composition import dgh_per_mmol

    words = []
    if made.each_alone < len(made.changes):
        words.append(
            f"By itself no quantity would take more than {made.each_alone}: salts bring hardness or alkalinity together with "
            "conductivity, and each is held to its limit."
        )
    if made.by_scale:
        words.append("A finer scale would take fewer changes.")
    if made.with_target_refill is None:
        words.append("A refill equal to the target itself would never arrive.")
    else:
        words.append(
            f"A refill equal to the middle of the target comes ever closer and never quite arrives; inside the bands after "
            f"{made.with_target_refill}, did no limit stand in its way. These refills stop once the bands are reached."
        )
    for water, (hardness, alkalinity) in made.settles.items():
        words.append(
            f"Topped off with {'the source water' if water == 'source' else 'deionised water'} for good, and refilled with "
            f"the middle of the target, the tank settles at {hardness * dgh_per_mmol():.1f} dGH and "
            f"{alkalinity * dgh_per_mmol() / 2:.1f} dKH after each change."
        )
    words.append(
        "Test hardness, alkalinity and pH before each change; plan anew if they are off by more than the kit is."
    )
    return words
