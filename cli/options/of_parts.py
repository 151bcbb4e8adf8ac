"""Options of commands as a person writes them, each declared once: the command line is made of these records."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from tapwright.cli.options.asking import agents, option


@dataclass(frozen=True, kw_only=True)
class NeutraliseOptions:
    """The options of `neutralise`."""

    volume: Annotated[str, option("--volume", "Tap water to treat, such as '400 L'.")]
    total_chlorine: Annotated[str, option("--total-chlorine", "Total chlorine in it, such as '2.4 mg/L'.")]
    agent: Annotated[str, option("--agent", "Neutraliser with its hydrate.", complete=agents)]
    free_chlorine: Annotated[str | None, option("--free-chlorine", "Free chlorine; the rest is chloramine.")] = None
    solution: Annotated[str | None, option("--solution", "Strength of your stock solution, such as '50 g/L'.")] = None
    purity: Annotated[str | None, option("--purity", "Purity of the neutraliser, such as 98%; else 100%.")] = None
    excess: Annotated[str | None, option("--excess", "On top of what the chlorine takes, such as 10%.")] = None
    dose: Annotated[str | None, option("--dose", "What you mean to put in, to see what it leaves.")] = None
    cl2_to_n: Annotated[str | None, option("--cl2-to-n", "Mass ratio of the utility's chloramine.")] = None
    free_ammonia: Annotated[str | None, option("--free-ammonia", "Free ammonia in the tap, '0.2 mg/L N'.")] = None
    ph: Annotated[str | None, option("--ph", "pH of the water the fish will meet.")] = None
    temperature: Annotated[str | None, option("--temperature", "Its temperature, such as '26 degC'.")] = None
    tap_hardness: Annotated[str | None, option("--tap-hardness", "Of the tap water; with it the new pH is told.")] = (
        None
    )
    tap_alkalinity: Annotated[str | None, option("--tap-alkalinity", "Of the tap water.")] = None
    tap_ph: Annotated[str | None, option("--tap-ph", "Of the tap water; without it only the pH in air is told.")] = None
    tap_temperature: Annotated[str | None, option("--tap-temperature", "At which that pH was read.")] = None
    label_amount: Annotated[str | None, option("--label-amount", "What a label doses, such as '5 mL'.")] = None
    label_volume: Annotated[str | None, option("--label-volume", "For how much water, such as '40 L'.")] = None
    label_chlorine: Annotated[str | None, option("--label-chlorine", "Against how much chlorine.")] = None


@dataclass(frozen=True, kw_only=True)
class BlendOptions:
    """The options of `blend`."""

    hot: Annotated[str, option("--hot", "Hot tap, such as '58 degC'.")]
    cold: Annotated[str, option("--cold", "Cold tap, such as '11 degC'.")]
    target: Annotated[str | None, option("--target", "Temperature wanted in the tote.")] = None
    volume: Annotated[str | None, option("--volume", "Water wanted in the tote in all, residual included.")] = None
    hot_volume: Annotated[str | None, option("--hot-volume", "Hot water drawn, in place of target and volume.")] = None
    cold_volume: Annotated[str | None, option("--cold-volume", "Cold water drawn.")] = None
    residual: Annotated[str | None, option("--residual", "Water that stands in the tote already.")] = None
    residual_temperature: Annotated[str | None, option("--residual-temperature", "Its temperature.")] = None
    tub_mass: Annotated[str | None, option("--tub-mass", "Mass of the empty tote (polyethylene).")] = None
    tub_temperature: Annotated[str | None, option("--tub-temperature", "Its temperature.")] = None


@dataclass(frozen=True, kw_only=True)
class LabelOptions:
    """The options of `label`."""

    file: Annotated[Path | None, typer.Argument(metavar="[FILE]", help="Label file (TOML), in place of options.")] = (
        None
    )
    name: Annotated[str | None, option("--name", "What to call it.")] = None
    dose: Annotated[str | None, option("--dose", "What the label doses, such as '5 mL' or '1 teaspoon'.")] = None
    volume: Annotated[str | None, option("--in", "In how much water, such as '40 L'.")] = None
    raises: Annotated[str | None, option("--raises", "What it says it raises: hardness, nitrate, calcium ...")] = None
    neutralises: Annotated[str | None, option("--neutralises", "chlorine or chloramine.")] = None
    contains: Annotated[str | None, option("--contains", "What it says is in it: nitrate, magnesium ...")] = None
    by: Annotated[str | None, option("--by", "By how much it says, such as '3 dGH' or '120 ppm'.")] = None
    content: Annotated[
        list[str] | None,
        option("--content", "Once for each substance in it: 'potassium nitrate 61 g/L', '..., purity 99%'."),
    ] = None
    density: Annotated[str | None, option("--density", "Of a liquid, or of a powder in a spoon: '1.2 kg/L'.")] = None
