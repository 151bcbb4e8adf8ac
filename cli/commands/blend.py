"""The `blend` command."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from tapwright.cli.answer import Answer
from tapwright.cli.options.of_parts import BlendOptions
from tapwright.cli.pages import pieces as pages
from tapwright.cli.reading import Reader

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.change.heat.blending import Blend, Vessel


def answer(options: BlendOptions) -> Answer:
    """Hot and cold for a target, or the temperature of given volumes, as an answer."""
    from tapwright.chemistry.change.heat.blending import blend_of_volumes, blend_to_target, scald_findings

    reader = Reader()
    hot_c = reader.needed(options.hot, "hot water", "--hot")
    cold_c = reader.needed(options.cold, "water", "--cold")
    vessel = _vessel(options, reader)
    by_target = _by_target(options, reader)
    volume_l = reader.quantity(options.volume, "volume", "--volume") or 0.0
    target_c = reader.quantity(options.target, "vessel", "--target") or 0.0
    hot_l = reader.quantity(options.hot_volume, "volume, or none", "--hot-volume") or 0.0
    cold_l = reader.quantity(options.cold_volume, "volume, or none", "--cold-volume") or 0.0
    reader.done()
    if by_target:
        blend = blend_to_target(volume_l, target_c, hot_c, cold_c, vessel)
    else:
        blend = blend_of_volumes(hot_l, cold_l, hot_c, cold_c, vessel)
    findings = scald_findings(hot_c)

    def show(screen: Console) -> None:
        _show(screen, blend, hot_c, cold_c)
        pages.findings(screen, findings)

    return Answer("blend", asdict(blend), show, findings)


def _by_target(options: BlendOptions, reader: Reader) -> bool:
    """Whether a target is asked for rather than what given volumes make: one full pair is wanted, and not both."""
    for_target, for_volumes = (options.volume, options.target), (options.hot_volume, options.cold_volume)
    wanted, other = (for_target, for_volumes) if for_volumes == (None, None) else (for_volumes, for_target)
    if None in wanted or other != (None, None):
        message = "either --target and --volume, or --hot-volume and --cold-volume are wanted."
        reader.refuse("blend", message, 'Write --target "26 degC" --volume "120 L".')
    return wanted is for_target


def _vessel(options: BlendOptions, reader: Reader) -> Vessel:
    """What stands in the tote, and the tote; each comes with its temperature or not at all."""
    from tapwright.chemistry.change.heat.blending import EMPTY, Vessel

    for amount, temperature, names in (
        (options.residual, options.residual_temperature, "--residual and --residual-temperature"),
        (options.tub_mass, options.tub_temperature, "--tub-mass and --tub-temperature"),
    ):
        if (amount is None) != (temperature is None):
            reader.refuse(names, "one is given without the other.", "Give both or neither.")
    residual_c = reader.quantity(options.residual_temperature, "vessel", "--residual-temperature")
    tub_c = reader.quantity(options.tub_temperature, "vessel", "--tub-temperature")
    return Vessel(
        residual_l=reader.quantity(options.residual, "volume, or none", "--residual") or 0.0,
        residual_c=EMPTY.residual_c if residual_c is None else residual_c,
        tub_mass_kg=(reader.quantity(options.tub_mass, "mass, or none", "--tub-mass") or 0.0) / 1000,
        tub_c=EMPTY.tub_c if tub_c is None else tub_c,
    )


def _show(screen: Console, blend: Blend, hot_c: float, cold_c: float) -> None:
    pages.heading(screen, "Blend")
    pages.pairs(
        screen,
        [
            ("Hot", f"{blend.hot_l:.1f} L at {hot_c:.1f} °C ({blend.hot_share:.0%} of what the taps give)"),
            ("Cold", f"{blend.cold_l:.1f} L at {cold_c:.1f} °C"),
            ("In the tote", f"{blend.volume_l:.1f} L at {blend.temperature_c:.2f} °C"),
        ],
    )
