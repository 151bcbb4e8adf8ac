"""The commands and their options. Nothing heavy is imported here: `tapwright --help` must answer at once."""

from __future__ import annotations

import gc
import sys
from pathlib import Path
from typing import Annotated

import typer

from tapwright import __version__
from tapwright.chemistry.errors import BadInput, TapwrightError
from tapwright.cli.answer import refuse
from tapwright.cli.log.app import log_app
from tapwright.cli.manners import DEFAULT_HOUSE, Command, Group
from tapwright.cli.options.asking import (
    AsJson,
    Change,
    CleanSubstrate,
    Day,
    HouseFile,
    Patience,
    ServiceFilter,
    Start,
    TankName,
    agents,
    answered,
    lakes,
    option,
    tanks,
)
from tapwright.cli.progress import TASK
from tapwright.cli.sheet_app import sheet
from tapwright.cli.streams import stand, unprinted
from tapwright.cli.time_app import late, nitrate

app = typer.Typer(
    name="tapwright",
    help="Plans the water change of a large hard-water fish tank, before a hose is touched.",
    no_args_is_help=True,
    add_completion=True,
    cls=Group,
    context_settings={"help_option_names": ["-h", "--help"]},
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.command(cls=Command)(sheet)
app.command(cls=Command)(nitrate)
app.command(cls=Command)(late)
app.add_typer(log_app, name="log")


def _print_version(asked: bool) -> None:
    if asked:
        print(f"tapwright {__version__}")  # noqa: T201
        raise typer.Exit


@app.callback()
def _tapwright(
    version: Annotated[
        bool, typer.Option("--version", "-V", help="Say the version.", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    """Plans the water change of a large hard-water fish tank, before a hose is touched."""


@app.command(cls=Command)
def new(file: Annotated[Path, typer.Argument(metavar="FILE", help="File to write.")], as_json: AsJson = False) -> None:
    """Write a household file to fill in."""
    from tapwright.cli.commands.household import new_answer

    answered(lambda: new_answer(file), as_json)


@app.command(cls=Command)
def check(file: HouseFile = DEFAULT_HOUSE, as_json: AsJson = False) -> None:
    """Check a household file and name every fault in it."""
    from tapwright.cli.commands.household import check_answer

    answered(lambda: check_answer(file), as_json)


@app.command(cls=Command)
def plan(
    file: HouseFile = DEFAULT_HOUSE,
    tank: TankName = None,
    change: Change = None,
    start: Start = None,
    date: Day = None,
    clean_substrate: CleanSubstrate = False,
    service_filter: ServiceFilter = False,
    confident: Annotated[bool, option("--confident", "Say how sure every figure is.")] = False,
    brief: Annotated[bool, option("--brief", "Only the card to stick on the tote.")] = False,
    patience: Patience = None,
    as_json: AsJson = False,
) -> None:
    """Plan a water change: share, blend, doses, times and steps."""
    from tapwright.cli.commands.plan import Asked, answer

    asked = Asked(file, tank, change, start, date, clean_substrate, service_filter)
    answered(lambda: answer(asked, confident=confident, brief=brief), as_json, patience)


@app.command(cls=Command)
def neutralise(
    volume: Annotated[str, option("--volume", "Tap water to treat, such as '400 L'.")],
    total_chlorine: Annotated[str, option("--total-chlorine", "Total chlorine in it, such as '2.4 mg/L'.")],
    agent: Annotated[str, option("--agent", "Neutraliser with its hydrate.", complete=agents)],
    free_chlorine: Annotated[str | None, option("--free-chlorine", "Free chlorine; the rest is chloramine.")] = None,
    solution: Annotated[str | None, option("--solution", "Strength of your stock solution, such as '50 g/L'.")] = None,
    purity: Annotated[str | None, option("--purity", "Purity of the neutraliser, such as 98%; else 100%.")] = None,
    excess: Annotated[str | None, option("--excess", "On top of what the chlorine takes, such as 10%.")] = None,
    dose: Annotated[str | None, option("--dose", "What you mean to put in, to see what it leaves.")] = None,
    cl2_to_n: Annotated[str | None, option("--cl2-to-n", "Mass ratio of the utility's chloramine.")] = None,
    free_ammonia: Annotated[str | None, option("--free-ammonia", "Free ammonia in the tap, '0.2 mg/L N'.")] = None,
    ph: Annotated[str | None, option("--ph", "pH of the water the fish will meet.")] = None,
    temperature: Annotated[str | None, option("--temperature", "Its temperature, such as '26 degC'.")] = None,
    tap_hardness: Annotated[
        str | None, option("--tap-hardness", "Of the tap water; with it the new pH is told.")
    ] = None,
    tap_alkalinity: Annotated[str | None, option("--tap-alkalinity", "Of the tap water.")] = None,
    tap_ph: Annotated[
        str | None, option("--tap-ph", "Of the tap water; without it only the pH in air is told.")
    ] = None,
    tap_temperature: Annotated[str | None, option("--tap-temperature", "At which that pH was read.")] = None,
    label_amount: Annotated[str | None, option("--label-amount", "What a label doses, such as '5 mL'.")] = None,
    label_volume: Annotated[str | None, option("--label-volume", "For how much water, such as '40 L'.")] = None,
    label_chlorine: Annotated[str | None, option("--label-chlorine", "Against how much chlorine.")] = None,
    as_json: AsJson = False,
) -> None:
    """How much neutraliser takes the chlorine out, and what it leaves behind."""
    from tapwright.cli.commands.neutralise import Asked, answer

    asked = Asked(
        volume, total_chlorine, free_chlorine, agent, solution, purity, excess, dose, cl2_to_n, free_ammonia, ph,
        temperature, tap_hardness, tap_alkalinity, tap_ph, tap_temperature, label_amount, label_volume, label_chlorine,
    )  # fmt: skip
    answered(lambda: answer(asked), as_json)


@app.command(cls=Command)
def label(
    file: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="Label file (TOML), in place of options.")
    ] = None,
    name: Annotated[str | None, option("--name", "What to call it.")] = None,
    dose: Annotated[str | None, option("--dose", "What the label doses, such as '5 mL' or '1 teaspoon'.")] = None,
    volume: Annotated[str | None, option("--in", "In how much water, such as '40 L'.")] = None,
    raises: Annotated[str | None, option("--raises", "What it says it raises: hardness, nitrate, calcium ...")] = None,
    neutralises: Annotated[str | None, option("--neutralises", "chlorine or chloramine.")] = None,
    contains: Annotated[str | None, option("--contains", "What it says is in it: nitrate, magnesium ...")] = None,
    by: Annotated[str | None, option("--by", "By how much it says, such as '3 dGH' or '120 ppm'.")] = None,
    content: Annotated[
        list[str] | None,
        option("--content", "Once for each substance in it: 'potassium nitrate 61 g/L', '..., purity 99%'."),
    ] = None,
    density: Annotated[str | None, option("--density", "Of a liquid, or of a powder in a spoon: '1.2 kg/L'.")] = None,
    as_json: AsJson = False,
) -> None:
    """Does what a label says is in a product do what the label says a dose does?"""
    from tapwright.cli.commands.label import Asked, answer

    asked = Asked(file, name, dose, volume, density, raises, neutralises, contains, by, content or ())
    answered(lambda: answer(asked), as_json)


@app.command(cls=Command)
def blend(
    hot: Annotated[str, option("--hot", "Hot tap, such as '58 degC'.")],
    cold: Annotated[str, option("--cold", "Cold tap, such as '11 degC'.")],
    target: Annotated[str | None, option("--target", "Temperature wanted in the tote.")] = None,
    volume: Annotated[str | None, option("--volume", "Water wanted in the tote in all, residual included.")] = None,
    hot_volume: Annotated[str | None, option("--hot-volume", "Hot water drawn, in place of target and volume.")] = None,
    cold_volume: Annotated[str | None, option("--cold-volume", "Cold water drawn.")] = None,
    residual: Annotated[str | None, option("--residual", "Water that stands in the tote already.")] = None,
    residual_temperature: Annotated[str | None, option("--residual-temperature", "Its temperature.")] = None,
    tub_mass: Annotated[str | None, option("--tub-mass", "Mass of the empty tote (polyethylene).")] = None,
    tub_temperature: Annotated[str | None, option("--tub-temperature", "Its temperature.")] = None,
    as_json: AsJson = False,
) -> None:
    """How much hot and cold tap give a temperature, by mass and heat."""
    from tapwright.cli.commands.blend import Asked, answer

    asked = Asked(hot, cold, target, volume, hot_volume, cold_volume, residual, residual_temperature, tub_mass,
                  tub_temperature)  # fmt: skip
    answered(lambda: answer(asked), as_json)


@app.command(cls=Command)
def water(
    hardness: Annotated[str | None, option("--hardness", "Hardness, such as '12 dGH'.")] = None,
    alkalinity: Annotated[str | None, option("--alkalinity", "Alkalinity, such as '8 dKH'.")] = None,
    ph: Annotated[str | None, option("--ph", "pH as read; without it the water is described at rest with air.")] = None,
    temperature: Annotated[str | None, option("--temperature", "Temperature, such as '25 degC'.")] = None,
    conductivity: Annotated[str | None, option("--conductivity", "At 25 degC, such as '320 uS/cm'.")] = None,
    calcium: Annotated[str | None, option("--calcium", "Calcium, such as '40 mg/L'; so every other ion.")] = None,
    magnesium: Annotated[str | None, option("--magnesium", "Magnesium.")] = None,
    sodium: Annotated[str | None, option("--sodium", "Sodium.")] = None,
    potassium: Annotated[str | None, option("--potassium", "Potassium.")] = None,
    chloride: Annotated[str | None, option("--chloride", "Chloride.")] = None,
    sulfate: Annotated[str | None, option("--sulfate", "Sulfate.")] = None,
    nitrate: Annotated[str | None, option("--nitrate", "Nitrate, such as '20 mg/L NO3'.")] = None,
    ammonia: Annotated[str | None, option("--ammonia", "Total ammonia, such as '0.2 mg/L N'.")] = None,
    air: Annotated[str | None, option("--air", "CO2 of the room's air, such as '700 ppm'; else outdoor air.")] = None,
    file: Annotated[Path | None, option("--file", "Household file, in place of readings.")] = None,
    which: Annotated[str | None, option("--which", "Water in it: tap, tank:NAME or refill:NAME.")] = None,
    target: Annotated[str | None, option("--target", "A lake by name, in place of readings.", complete=lakes)] = None,
    as_json: AsJson = False,
) -> None:
    """Describe a water: its pH now and in air, whether it clouds, what ammonia does in it."""
    from tapwright.cli.commands.water import answer

    readings = {
        "hardness": hardness, "alkalinity": alkalinity, "ph": ph, "temperature": temperature,
        "conductivity": conductivity, "calcium": calcium, "magnesium": magnesium, "sodium": sodium,
        "potassium": potassium, "chloride": chloride, "sulfate": sulfate, "nitrate": nitrate, "ammonia": ammonia,
    }  # fmt: skip
    answered(lambda: answer(readings, air, file, which, target), as_json)


@app.command(cls=Command)
def mix(
    part: Annotated[
        list[str],
        option("--part", "Once for each water: '60 L of tap', '40 L of deionised, temperature 20 degC', or readings."),
    ],
    air: Annotated[str | None, option("--air", "CO2 of the room's air, such as '700 ppm'; else outdoor air.")] = None,
    file: Annotated[Path | None, option("--file", "Household file for tap, tank:NAME and refill:NAME.")] = None,
    as_json: AsJson = False,
) -> None:
    """Pour waters together: pH at once and in air, temperature and ions."""
    from tapwright.cli.commands.mix import answer

    answered(lambda: answer(part, air, file), as_json)


@app.command(cls=Command)
def remineralise(
    volume: Annotated[str, option("--volume", "Refill to make, such as '200 L'.")],
    source: Annotated[
        str | None, option("--from", "Water it is made of: tap, deionised or readings; else the file's tap.")
    ] = None,
    file: Annotated[Path | None, option("--file", "Household file for tap, salts, scale and tanks.")] = None,
    tank: Annotated[
        str | None, option("--tank", "Tank in it whose target and temperature are meant.", complete=tanks)
    ] = None,
    target: Annotated[str | None, option("--target", "A lake by name.", complete=lakes)] = None,
    every_ion: Annotated[bool, option("--every-ion", "Bands around every ion of the lake's analysis.")] = False,
    band: Annotated[
        list[str] | None, option("--band", "Once for each: 'hardness 8 to 12 dGH', 'sodium up to 60 mg/L'.")
    ] = None,
    salt: Annotated[
        list[str] | None,
        option(
            "--salt", "Once for each, in place of the file's: 'sodium bicarbonate, purity 99%, stock 2 kg, price 4.5'."
        ),
    ] = None,
    deionised: Annotated[str | None, option("--deionised", "Deionised water at hand, such as '100 L'.")] = None,
    deionised_price: Annotated[str | None, option("--deionised-price", "Of a litre of it.")] = None,
    step: Annotated[str | None, option("--step", "Step of the scale, such as '0.1 g'; else the file's.")] = None,
    spoon: Annotated[str | None, option("--spoon", "Measure by level spoons instead: teaspoon or tablespoon.")] = None,
    totes: Annotated[int, option("--totes", "Equal totes it is made in.")] = 1,
    temperature: Annotated[
        str | None, option("--temperature", "Of the refill; else the tank's or the source's.")
    ] = None,
    prefer: Annotated[
        str | None, option("--prefer", "What counts first, such as 'cost,salts'; of salts, cost, sodium, water, name.")
    ] = None,
    air: Annotated[str | None, option("--air", "CO2 of the room's air, such as '700 ppm'; else outdoor air.")] = None,
    patience: Patience = None,
    as_json: AsJson = False,
) -> None:
    """Which salts, and how much, bring a water into a target's bands; or why none do, and what would."""
    from tapwright.cli.commands.remineralise import Asked, answer
    from tapwright.cli.options.recipe_words import Asked as Measures

    measures = Measures(salt or (), deionised, deionised_price, step, spoon)
    asked = Asked(volume, source, file, tank, target, every_ion, band or (), measures, totes, temperature, prefer, air)
    answered(lambda: answer(asked), as_json, patience)


@app.command(cls=Command)
def transition(
    share: Annotated[str, option("--change", "Of the tank, at each change, such as 25%.")],
    target: Annotated[
        str | None, option("--target", "A lake by name; else the tank's own target.", complete=lakes)
    ] = None,
    every_ion: Annotated[bool, option("--every-ion", "Bands around every ion of the lake's analysis.")] = False,
    band: Annotated[
        list[str] | None, option("--band", "Of the tank in the end, once for each: 'hardness 8 to 12 dGH'.")
    ] = None,
    refill_band: Annotated[
        list[str] | None, option("--refill-band", "Of every refill, once for each: 'sodium up to 150 mg/L'.")
    ] = None,
    file: Annotated[Path | None, option("--file", "Household file for tank, tap, salts and scale.")] = None,
    tank: Annotated[str | None, option("--tank", "Tank in it.", complete=tanks)] = None,
    water: Annotated[str | None, option("--water", "The tank's water by its readings, in place of --tank.")] = None,
    volume: Annotated[str | None, option("--volume", "Live water of the tank; else the file's.")] = None,
    source: Annotated[
        str | None, option("--from", "Water refills are made of: tap, deionised or readings; else the file's tap.")
    ] = None,
    salt: Annotated[
        list[str] | None, option("--salt", "Once for each, in place of the file's: 'sodium bicarbonate, purity 99%'.")
    ] = None,
    deionised: Annotated[str | None, option("--deionised", "At hand for each refill, such as '100 L'.")] = None,
    step: Annotated[str | None, option("--step", "Step of the scale, such as '0.1 g'; else the file's.")] = None,
    limit: Annotated[
        list[str] | None, option("--limit", "How far one change may move the tank: 'hardness 1 dGH', 'ph 0.3'.")
    ] = None,
    evaporation: Annotated[str | None, option("--evaporation", "Lost between two changes, such as '5 L'.")] = None,
    top_off: Annotated[str | None, option("--top-off", "What replaces it: source or deionised.")] = None,
    temperature: Annotated[str | None, option("--temperature", "Wanted in the end; else the tank's own.")] = None,
    air: Annotated[str | None, option("--air", "CO2 of the room's air, such as '700 ppm'; else outdoor air.")] = None,
    patience: Patience = None,
    as_json: AsJson = False,
) -> None:
    """The fewest changes from the tank's water to another, none too large for fish, and the refill of each."""
    from tapwright.cli.commands.transition import Asked, answer
    from tapwright.cli.options.recipe_words import Asked as Measures

    measures = Measures(salt or (), deionised, None, step, None)
    asked = Asked(share, target, every_ion, band or (), refill_band or (), file, tank, water, volume, source, measures,
                  limit or (), evaporation, top_off, temperature, air)  # fmt: skip
    answered(lambda: answer(asked), as_json, patience)


@app.command(cls=Command, context_settings={"ignore_unknown_options": True})  # so that '-5 degC' is a quantity
def convert(
    quantity: Annotated[str, typer.Argument(metavar="QUANTITY", help="Number and unit, such as '12 dGH'.")],
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="Unit wanted, such as 'mg/L CaCO3'.")],
    as_json: AsJson = False,
) -> None:
    """Turn a quantity into another unit."""
    from tapwright.cli.commands.convert import answer

    answered(lambda: answer(quantity, unit), as_json)


@app.command("list", cls=Command)
def list_(
    what: Annotated[str, typer.Argument(metavar="WHAT", help="salts, agents, lakes, kits, fittings, limits or units.")],
    as_json: AsJson = False,
) -> None:
    """Show what the tables know, each row with its source."""
    from tapwright.cli.commands.list import list_answer

    answered(lambda: list_answer(what), as_json)


@app.command(cls=Command)
def schema(what: Annotated[str, typer.Argument(metavar="WHAT", help="household.")], as_json: AsJson = False) -> None:
    """Show the keys of a household file as a JSON Schema, for editors."""
    from tapwright.cli.commands.list import schema_answer

    answered(lambda: schema_answer(what), as_json)


def command_names() -> list[str]:
    """Every command as it is written, those of a group with the group's name before."""

    def names(of: typer.Typer) -> list[str]:
        return [str(entry.name or getattr(entry.callback, "__name__", "")) for entry in of.registered_commands]

    grouped = [f"{group.name} {name}" for group in app.registered_groups for name in names(group.typer_instance)]  # type: ignore[arg-type]
    return [*names(app), *grouped]


def _command_of(words: list[str]) -> str:
    """The command that is asked; empty where none is known."""
    spoken = [word for word in words if not word.startswith("-")]
    tried = (" ".join(spoken[:2]), *spoken[:1])
    groups = {str(group.name) for group in app.registered_groups}
    return next((name for name in tried if name in command_names() or name in groups), "")


def run(words: list[str]) -> int:
    """Run the command line and return its exit code; refusals leave as text or JSON, never as a traceback."""
    as_json = "--json" in words
    command = _command_of(words)
    TASK.set(f"tapwright {command}")
    try:
        code = app(args=words or ["--help"], prog_name="tapwright", standalone_mode=False) or 0
        sys.stdout.flush()
        return code
    except TapwrightError as error:
        return refuse(error, command, as_json=as_json)
    except OSError as error:  # of a help text: an answer looks after itself
        return unprinted(error, 0)
    except SystemExit:  # how the option parser leaves where nobody reads its help any more
        return unprinted(BrokenPipeError(), 0)
    except (KeyboardInterrupt, typer.Abort):
        return 130
    except Exception as error:
        # The option parser's own errors share this method across its versions; anything else is a defect of ours.
        if not hasattr(error, "format_message"):
            raise
        said = error.format_message()
        hint = f"See: tapwright {command} --help" if command else "See: tapwright --help"
        usage = BadInput.of("", said if said.endswith((".", "?")) else f"{said}.", hint)
        return refuse(usage, command or next((word for word in words if not word.startswith("-")), ""), as_json=as_json)


def main() -> None:
    """The console command."""
    # A run is over in a fraction of a second: looking for cycles to free, on the way and once more at exit over every
    # object of every library, would take a quarter of it.
    gc.disable()
    stand()
    code = run(sys.argv[1:])
    gc.freeze()
    raise SystemExit(code)
