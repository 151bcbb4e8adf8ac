"""Options of commands as a person writes them, each declared once: the command line is made of these records."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from tapwright.cli.options.asking import lakes, option, tanks


@dataclass(frozen=True, kw_only=True)
class WaterOptions:
    """The options of `water`."""

    hardness: Annotated[str | None, option("--hardness", "Hardness, such as '12 dGH'.")] = None
    alkalinity: Annotated[str | None, option("--alkalinity", "Alkalinity, such as '8 dKH'.")] = None
    ph: Annotated[str | None, option("--ph", "pH as read; without it the water is described at rest with air.")] = None
    temperature: Annotated[str | None, option("--temperature", "Temperature, such as '25 degC'.")] = None
    conductivity: Annotated[str | None, option("--conductivity", "At 25 degC, such as '320 uS/cm'.")] = None
    calcium: Annotated[str | None, option("--calcium", "Calcium, such as '40 mg/L'; so every other ion.")] = None
    magnesium: Annotated[str | None, option("--magnesium", "Magnesium.")] = None
    sodium: Annotated[str | None, option("--sodium", "Sodium.")] = None
    potassium: Annotated[str | None, option("--potassium", "Potassium.")] = None
    chloride: Annotated[str | None, option("--chloride", "Chloride.")] = None
    sulfate: Annotated[str | None, option("--sulfate", "Sulfate.")] = None
    nitrate: Annotated[str | None, option("--nitrate", "Nitrate, such as '20 mg/L NO3'.")] = None
    ammonia: Annotated[str | None, option("--ammonia", "Total ammonia, such as '0.2 mg/L N'.")] = None
    air: Annotated[str | None, option("--air", "CO2 of the room's air, such as '700 ppm'; else outdoor air.")] = None
    file: Annotated[Path | None, option("--file", "Household file, in place of readings.")] = None
    which: Annotated[str | None, option("--which", "Water in it: tap, tank:NAME or refill:NAME.")] = None
    target: Annotated[str | None, option("--target", "A lake by name, in place of readings.", complete=lakes)] = None


@dataclass(frozen=True, kw_only=True)
class MixOptions:
    """The options of `mix`."""

    parts: Annotated[
        list[str],
        option("--part", "Once for each water: '60 L of tap', '40 L of deionised, temperature 20 degC', or readings."),
    ]
    air: Annotated[str | None, option("--air", "CO2 of the room's air, such as '700 ppm'; else outdoor air.")] = None
    file: Annotated[Path | None, option("--file", "Household file for tap, tank:NAME and refill:NAME.")] = None


@dataclass(frozen=True, kw_only=True)
class RemineraliseOptions:
    """The options of `remineralise`."""

    volume: Annotated[str, option("--volume", "Refill to make, such as '200 L'.")]
    source: Annotated[
        str | None, option("--from", "Water it is made of: tap, deionised or readings; else the file's tap.")
    ] = None
    file: Annotated[Path | None, option("--file", "Household file for tap, salts, scale and tanks.")] = None
    tank: Annotated[
        str | None, option("--tank", "Tank in it whose target and temperature are meant.", complete=tanks)
    ] = None
    target: Annotated[str | None, option("--target", "A lake by name.", complete=lakes)] = None
    every_ion: Annotated[bool, option("--every-ion", "Bands around every ion of the lake's analysis.")] = False
    bands: Annotated[
        list[str] | None, option("--band", "Once for each: 'hardness 8 to 12 dGH', 'sodium up to 60 mg/L'.")
    ] = None
    salts: Annotated[
        list[str] | None,
        option(
            "--salt", "Once for each, in place of the file's: 'sodium bicarbonate, purity 99%, stock 2 kg, price 4.5'."
        ),
    ] = None
    deionised: Annotated[str | None, option("--deionised", "Deionised water at hand, such as '100 L'.")] = None
    deionised_price: Annotated[str | None, option("--deionised-price", "Of a litre of it.")] = None
    step: Annotated[str | None, option("--step", "Step of the scale, such as '0.1 g'; else the file's.")] = None
    spoon: Annotated[str | None, option("--spoon", "Measure by level spoons instead: teaspoon or tablespoon.")] = None
    totes: Annotated[int, option("--totes", "Equal totes it is made in.")] = 1
    temperature: Annotated[str | None, option("--temperature", "Of the refill; else the tank's or the source's.")] = (
        None
    )
    prefer: Annotated[
        str | None, option("--prefer", "What counts first, such as 'cost,salts'; of salts, cost, sodium, water, name.")
    ] = None
    air: Annotated[str | None, option("--air", "CO2 of the room's air, such as '700 ppm'; else outdoor air.")] = None


@dataclass(frozen=True, kw_only=True)
class TransitionOptions:
    """The options of `transition`."""

    change: Annotated[str, option("--change", "Of the tank, at each change, such as 25%.")]
    target: Annotated[str | None, option("--target", "A lake by name; else the tank's own target.", complete=lakes)] = (
        None
    )
    every_ion: Annotated[bool, option("--every-ion", "Bands around every ion of the lake's analysis.")] = False
    bands: Annotated[
        list[str] | None, option("--band", "Of the tank in the end, once for each: 'hardness 8 to 12 dGH'.")
    ] = None
    refill_bands: Annotated[
        list[str] | None, option("--refill-band", "Of every refill, once for each: 'sodium up to 150 mg/L'.")
    ] = None
    file: Annotated[Path | None, option("--file", "Household file for tank, tap, salts and scale.")] = None
    tank: Annotated[str | None, option("--tank", "Tank in it.", complete=tanks)] = None
    water: Annotated[str | None, option("--water", "The tank's water by its readings, in place of --tank.")] = None
    volume: Annotated[str | None, option("--volume", "Live water of the tank; else the file's.")] = None
    source: Annotated[
        str | None, option("--from", "Water refills are made of: tap, deionised or readings; else the file's tap.")
    ] = None
    salts: Annotated[
        list[str] | None, option("--salt", "Once for each, in place of the file's: 'sodium bicarbonate, purity 99%'.")
    ] = None
    deionised: Annotated[str | None, option("--deionised", "At hand for each refill, such as '100 L'.")] = None
    step: Annotated[str | None, option("--step", "Step of the scale, such as '0.1 g'; else the file's.")] = None
    limits: Annotated[
        list[str] | None, option("--limit", "How far one change may move the tank: 'hardness 1 dGH', 'ph 0.3'.")
    ] = None
    evaporation: Annotated[str | None, option("--evaporation", "Lost between two changes, such as '5 L'.")] = None
    top_off: Annotated[str | None, option("--top-off", "What replaces it: source or deionised.")] = None
    temperature: Annotated[str | None, option("--temperature", "Wanted in the end; else the tank's own.")] = None
    air: Annotated[str | None, option("--air", "CO2 of the room's air, such as '700 ppm'; else outdoor air.")] = None
