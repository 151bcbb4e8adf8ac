"""The `blend` command."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from cli import pages
from cli.answer import Answer

if TYPE_CHECKING:
    from rich.console import Console

    from chemistry.change.blending import Blend, Vessel


@dataclass(frozen=True)
class Asked:
    """The options of the command as written."""

    hot: str
    cold: str
    target: str | None
    volume: str | None
    hot_volume: str | None
    cold_volume: str | None
    residual: str | None
    residual_temperature: str | None
    tub_mass: str | None
    tub_temperature: str | None


def answer(asked: Asked) -> Answer:
    """Hot and cold for a target, or the temperature of given volumes, as an answer."""
    from chemistry.change.blending import blend_of_volumes, blend_to_target, scald_findings
    from chemistry.units import read

    hot_c, cold_c = read(asked.hot, "temperature", "--hot"), read(asked.cold, "temperature", "--cold")
    vessel = _vessel(asked)
    first, second = _wanted(asked)
    if asked.target is not None:
        volume_l, target_c = read(first, "volume", "--volume"), read(second, "temperature", "--target")
        blend = blend_to_target(volume_l, target_c, hot_c, cold_c, vessel)
    else:
        hot_l, cold_l = read(first, "volume", "--hot-volume"), read(second, "volume", "--cold-volume")
        blend = blend_of_volumes(hot_l, cold_l, hot_c, cold_c, vessel)
    findings = scald_findings(hot_c)

    def show(screen: Console) -> None:
        _show(screen, blend, hot_c, cold_c)
        pages.findings(screen, findings)

    return Answer("blend", asdict(blend), show, findings)


def _wanted(asked: Asked) -> tuple[str, str]:
    """(volume, target) or (hot volume, cold volume): one full pair, not both."""
    from chemistry.errors import BadInput

    for_target, for_volumes = (asked.volume, asked.target), (asked.hot_volume, asked.cold_volume)
    if (for_target == (None, None)) == (for_volumes == (None, None)) or None in (
        for_target if for_volumes == (None, None) else for_volumes
    ):
        raise BadInput.of(
            "blend",
            "either --target and --volume, or --hot-volume and --cold-volume are wanted.",
            'Write --target "26 degC" --volume "120 L".',
        )
    chosen = for_target if for_volumes == (None, None) else for_volumes
    return str(chosen[0]), str(chosen[1])


def _vessel(asked: Asked) -> Vessel:
    """What stands in the tote, and the tote; each comes with its temperature or not at all."""
    from chemistry.change.blending import Vessel
    from chemistry.errors import BadInput
    from chemistry.units import read

    known: dict[str, float] = {}
    for name, amount, temperature, kind in (
        ("residual", asked.residual, asked.residual_temperature, "volume"),
        ("tub", asked.tub_mass, asked.tub_temperature, "mass"),
    ):
        if (amount is None) != (temperature is None):
            option = f"--{name}{'-mass' if name == 'tub' else ''} and --{name}-temperature"
            raise BadInput.of(option, "one is given without the other.", "Give both or neither.")
        if amount is None or temperature is None:
            continue
        size = read(amount, kind, f"--{name}")
        known[f"{name}_c"] = read(temperature, "temperature", f"--{name}-temperature")
        known["residual_l" if name == "residual" else "tub_mass_kg"] = size if kind == "volume" else size / 1000
    return Vessel(**known)


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
