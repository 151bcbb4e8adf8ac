"""How the command line shows itself: commands in the order of the work, whole sentences, an example each; and that nothing
is said twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from typer.core import TyperCommand, TyperGroup

from tapwright.chemistry.errors import BadInput

# What is meant where no household file is named.
DEFAULT_HOUSE = Path("house.toml")
HOUSE_VARIABLE = "TAPWRIGHT_HOUSE"

_GROUPS = {
    "Before the evening": ("new", "check"),
    "The evening": ("plan", "sheet", "late"),
    "Over the weeks": ("log", "nitrate"),
    "Another water": ("water", "mix", "remineralise", "transition", "label"),
    "Single parts": ("neutralise", "blend", "convert"),
    "To look up": ("list", "schema"),
}

_EXAMPLES = {
    "new": "tapwright new house.toml",
    "check": "tapwright check house.toml",
    "log check": "tapwright log check house.toml",
    "plan": 'tapwright plan house.toml -t "Rock wall" --start 18:30',
    "sheet": 'tapwright sheet house.toml -t "Rock wall" -o sheet.html',
    "late": 'tapwright late --file house.toml --tank "Rock wall" --after "5 min"',
    "nitrate": 'tapwright nitrate house.toml -t "Rock wall" --confidence 95%',
    "water": 'tapwright water --hardness "8 dGH" --alkalinity "5 dKH" --ph 7.6 --temperature "25 degC"',
    "mix": 'tapwright mix --part "60 L of tap" --part "40 L of deionised, temperature 20 degC" --file house.toml',
    "remineralise": 'tapwright remineralise --volume "200 L" --file house.toml --tank "Rock wall"',
    "transition": 'tapwright transition --file house.toml --tank "Rock wall" --target tanganyika --change 30%',
    "label": 'tapwright label --dose "5 g" --in "100 L" --raises hardness --by "2.5 dGH" --content "gypsum 98%"',
    "neutralise": 'tapwright neutralise --volume "400 L" --total-chlorine "2 mg/L" --agent "sodium thiosulfate pentahydrate"',
    "blend": 'tapwright blend --hot "58 degC" --cold "11 degC" --target "26 degC" --volume "120 L"',
    "convert": 'tapwright convert "12 dGH" "mg/L CaCO3"',
    "list": "tapwright list salts",
    "log add": 'tapwright log add house.toml -t "Rock wall" --reading "nitrate 20 mg/L NO3, photometer"',
    "schema": "tapwright schema household > household.schema.json",
    "log list": 'tapwright log list house.toml -t "Rock wall" --last 5',
    "log import": "tapwright log import house.toml water-change.csv",
    "log export": "tapwright log export house.toml log.csv",
    "log undo": "tapwright log undo house.toml",
    "log backup": "tapwright log backup house.toml copy.log.sqlite",
    "log adopt": "tapwright log adopt house.toml",
}

_CODES = (
    ("0", "done"),
    ("1", "done, and a STOP stands: do not begin"),
    ("2", "what was written cannot be read, or is not allowed"),
    ("3", "there is no answer; what stands in the way is said"),
    ("130", "ended by the keyboard"),
)


class Command(TyperCommand):
    """A command that says how it is written, and refuses an option that is given twice."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """As usual, once every option that takes one value is seen to have one."""
        _refuse_twice(self, args)
        return super().parse_args(ctx, args)

    def format_epilog(self, ctx: Any, formatter: Any) -> None:
        """The example."""
        if (example := _EXAMPLES.get(ctx.command_path.partition(" ")[2])) is not None:
            with formatter.section("Example"):
                formatter.write(f"{'':{formatter.current_indent}}{example}\n")


class Group(TyperGroup):
    """A group whose commands stand in the order of the work, each with its whole first sentence."""

    def list_commands(self, ctx: Any) -> list[str]:
        """In the order of the work; those that are in no group last."""
        order = [name for names in _GROUPS.values() for name in names]
        return sorted(self.commands, key=lambda name: order.index(name) if name in order else len(order))

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """By what they are for."""
        for title, names in self._sections(ctx):
            with formatter.section(title):
                formatter.write_dl([(name, _first_sentence(self.commands[name])) for name in names])

    def _sections(self, ctx: Any) -> Iterator[tuple[str, list[str]]]:
        there = self.list_commands(ctx)
        known = {name for names in _GROUPS.values() for name in names}
        for title, names in _GROUPS.items():
            if found := [name for name in names if name in there and ctx.parent is None]:
                yield title, found
        if rest := [name for name in there if ctx.parent is not None or name not in known]:
            yield "Commands", rest

    def format_epilog(self, ctx: Any, formatter: Any) -> None:
        """What the exit codes mean, once."""
        if ctx.parent is None:
            with formatter.section("Exit codes"):
                formatter.write_dl(_CODES)


def _first_sentence(command: Any) -> str:
    return " ".join((command.help or "").split("\n\n")[0].split())


def _refuse_twice(command: Any, args: list[str]) -> None:
    """BadInput for an option of one value that stands there twice: the first would be lost in silence."""
    single: dict[str, Any] = {
        name: option.opts[0]
        for option in command.params
        if option.param_type_name == "option" and not option.multiple and not option.is_flag
        for name in option.opts
    }
    before = args[: args.index("--")] if "--" in args else args
    counts = Counter(single[word.partition("=")[0]] for word in before if word.partition("=")[0] in single)
    twice = next((name for name, times in counts.items() if times > 1), None)
    if twice is not None:
        raise BadInput.of(twice, f"is given {counts[twice]} times.", "Give it once.")
