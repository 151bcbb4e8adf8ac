"""The `mix` command: waters poured together."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import quoted
from tapwright.cli.answer import Answer
from tapwright.cli.commands.water import ammonia_of, assumed_of_air, doubts_of
from tapwright.cli.options import water_sources
from tapwright.cli.options.of_waters import MixOptions
from tapwright.cli.options.water_words import water_in_words
from tapwright.cli.pages import pieces as pages
from tapwright.cli.pages.water import give_or_take, words
from tapwright.cli.reading import Reader

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.plan.household.household import Household
    from tapwright.chemistry.water.composition import Water
    from tapwright.chemistry.water.mixing import Mixture
    from tapwright.cli.options.water_sources import Source

_PART = re.compile(r"\s*(.+?)\s+of\s+(.+?)\s*$")
_EXAMPLE = "Write '60 L of tap', or '60 L of hardness 4 dGH, alkalinity 3 dKH, ph 7.6, temperature 12 degC'."


def answer(options: MixOptions) -> Answer:
    """The mixture of the parts as an answer."""
    from tapwright.chemistry.water.mixing import mixture

    parts = options.parts
    if len(parts) < 2:
        raise BadInput.of("--part", "one water is no mixture; two or more are wanted.", _EXAMPLE)
    household = water_sources.household_of(options.file)
    reader = Reader()
    times_air = reader.tried(lambda: water_sources.times_air(options.air, household))
    read = [reader.tried(partial(_part, text, number, household)) for number, text in enumerate(parts, start=1)]
    reader.done()
    pairs = [pair for pair in read if pair is not None]
    sources, volumes_l = [source for source, _ in pairs], [volume_l for _, volume_l in pairs]
    mixed = mixture([source.water for source in sources], volumes_l, times_air or 1.0)
    whole = water_sources.Source("mixture", mixed.water, made_of=_made_of(sources, volumes_l))
    spread = whole.ph_spread()
    findings = list(dict.fromkeys(finding for source in sources for finding in (*source.findings, *doubts_of(source))))
    findings += ammonia_of(mixed.water, mixed.at_once, mixed.aerated)
    assumed = list(dict.fromkeys(note for source in sources for note in source.assumptions))
    assumed += assumed_of_air(mixed.water, times_air)
    if mixed.at_once is None:
        assumed.append("The pH of a part is not known: the mixture's is known at rest with air only, not at once.")

    def show(screen: Console) -> None:
        pages.heading(screen, "Mixture")
        pages.pairs(screen, _figures(mixed, sources, volumes_l, give_or_take(mixed.at_once, spread, computed=True)))
        pages.heading(screen, "What it means")
        pages.bullets(screen, words(mixed.water, mixed.at_once, mixed.aerated))
        pages.findings(screen, findings)
        pages.assumptions(screen, assumed)

    return Answer("mix", _result(mixed, spread), show, findings, assumed)


def _made_of(sources: Sequence[Source], volumes_l: Sequence[float]) -> tuple[tuple[float, Water], ...]:
    """Every water that was tested, with its share in the whole."""
    whole_l = sum(volumes_l)
    pairs = zip(sources, volumes_l, strict=True)
    return tuple((v / whole_l * share, water) for source, v in pairs for share, water in source.tested())


def _part(text: str, number: int, household: Household | None) -> tuple[Source, float]:
    """One part: a volume, and a water by name or by its readings."""
    from tapwright.chemistry.allowed import read_within

    where = f"--part {number}"
    match = _PART.match(text)
    if not match:
        raise BadInput.of(where, f"{quoted(text)} is read; a volume 'of' a water is wanted.", _EXAMPLE)
    volume_l = read_within(match[1], "volume", where)
    return water_in_words(match[2], where, household, f"part {number}", _EXAMPLE), volume_l


def _result(mixed: Mixture, spread: float | None) -> dict[str, Any]:
    from tapwright.chemistry.water.equilibrium import ions_mmol_l

    once, rest = mixed.at_once, mixed.aerated
    found = once or rest
    return {
        "state": "as computed" if once else "at rest with air",
        "volume_l": mixed.volume_l,
        "temperature_c": mixed.water.temperature_c,
        "ph_at_once": once.ph if once else None,
        "ph_spread": spread,
        "ph_aerated": rest.ph,
        "co2_times_air": once.co2_times_air if once else None,
        "co2_times_air_aerated": rest.co2_times_air,
        "hardness_mmol_l": mixed.water.hardness_mmol_l,
        "alkalinity_meq_l": mixed.water.alkalinity_meq_l,
        "carbon_mmol_l": mixed.water.carbon_mmol_l,
        "si_calcite_at_once": once.si_calcite if once else None,
        "si_calcite_aerated": rest.si_calcite,
        "unionised_ammonia_share": found.unionised_ammonia_share,
        "unionised_ammonia_share_aerated": rest.unionised_ammonia_share,
        "conductivity_us_cm": found.conductivity_us_cm,
        "ions_mmol_l": ions_mmol_l(mixed.water, found),
    }


def _figures(mixed: Mixture, sources: Sequence[Source], volumes_l: Sequence[float], sure: str) -> list[tuple[str, str]]:
    from tapwright.chemistry.units import figure

    water, once, rest = mixed.water, mixed.at_once, mixed.aerated
    parts = " and ".join(f"{figure(v, 4)} L of {source.name}" for source, v in zip(sources, volumes_l, strict=True))
    return [
        ("Of", parts),
        ("Makes", f"{figure(mixed.volume_l, 4)} L at {water.temperature_c:.1f} °C"),
        ("pH at once", f"{once.ph:.2f}{sure}" if once else "not known"),
        ("pH at rest", f"{rest.ph:.2f} with air ({rest.co2_times_air:.1f} times outdoor CO2)"),
        ("Hardness", f"{water.hardness_dgh:.1f} dGH"),
        ("Alkalinity", f"{water.alkalinity_dkh:.1f} dKH"),
        ("Nitrate", f"{water.nitrate_mg_l:.1f} mg/L NO3"),
        ("Conductivity", f"{(once or rest).conductivity_us_cm:.0f} µS/cm at 25 °C"),
    ]
