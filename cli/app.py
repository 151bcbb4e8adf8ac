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
    HouseFile,
    answered,
)
from tapwright.cli.options.of_evening import LateOptions, NitrateOptions, PlanOptions, SheetOptions
from tapwright.cli.options.of_parts import BlendOptions, LabelOptions, NeutraliseOptions
from tapwright.cli.options.of_waters import MixOptions, RemineraliseOptions, TransitionOptions, WaterOptions
from tapwright.cli.options.registering import register
from tapwright.cli.progress import TASK
from tapwright.cli.streams import stand, unprinted

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
register(
    app, "plan", PlanOptions, "tapwright.cli.commands.plan:answer",
    "Plan a water change: share, blend, doses, times and steps.", patient=True,
)  # fmt: skip
register(
    app, "sheet", SheetOptions, "tapwright.cli.sheet.command:answer",
    "Write the plan as one page to tick off at the tank, on a phone or on paper.", patient=True,
)  # fmt: skip
register(
    app, "late", LateOptions, "tapwright.cli.commands.late:answer",
    "The neutraliser was forgotten: what to do now, and what the fish have met.",
)  # fmt: skip
register(
    app, "nitrate", NitrateOptions, "tapwright.cli.commands.nitrate:answer",
    "What the log says a tank makes of nitrate, and which changes hold it under its ceiling.",
)  # fmt: skip
register(
    app, "water", WaterOptions, "tapwright.cli.commands.water:answer",
    "Describe a water: its pH now and in air, whether it clouds, what ammonia does in it.",
)  # fmt: skip
register(
    app, "mix", MixOptions, "tapwright.cli.commands.mix:answer",
    "Pour waters together: pH at once and in air, temperature and ions.",
)  # fmt: skip
register(
    app, "remineralise", RemineraliseOptions, "tapwright.cli.commands.remineralise:answer",
    "Which salts, and how much, bring a water into a target's bands; or why none do, and what would.", patient=True,
)  # fmt: skip
register(
    app, "transition", TransitionOptions, "tapwright.cli.commands.transition:answer",
    "The fewest changes from the tank's water to another, none too large for fish, and the refill of each.", patient=True,
)  # fmt: skip
register(
    app, "label", LabelOptions, "tapwright.cli.commands.label:answer",
    "Does what a label says is in a product do what the label says a dose does?",
)  # fmt: skip
register(
    app, "neutralise", NeutraliseOptions, "tapwright.cli.commands.neutralise:answer",
    "How much neutraliser takes the chlorine out, and what it leaves behind.",
)  # fmt: skip
register(
    app, "blend", BlendOptions, "tapwright.cli.commands.blend:answer",
    "How much hot and cold tap give a temperature, by mass and heat.",
)  # fmt: skip
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
def schema(
    what: Annotated[str, typer.Argument(metavar="WHAT", help="household or plan.")], as_json: AsJson = False
) -> None:
    """Show the keys of a household file, or of a plan, as a JSON Schema."""
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
    if as_json and "-" in words:
        return refuse(
            BadInput.of("--json", "given beside '-': both want stdout.", "Leave one of the two."),
            command,
            as_json=False,
        )
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
