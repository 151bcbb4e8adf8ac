"""Every command with options that mean something, mostly within limits, so that most of them get past the door.

The words are those of the README and a few more (`RECIPES`); options are read off the commands themselves, and values off
the recipes and the help. One attack takes a recipe, turns some of its figures and options, and judges what comes.
"""

from __future__ import annotations

import contextlib
import re
import shlex
import shutil
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import typer

from tapwright.cli.app import app

from . import Seen
from .files import ROOT, judged

# What the README does not show of an option or a command; files are those of `_folder`.
RECIPES = """
new another.toml
plan house.toml --tank 'Shell bay' --change 45% --clean-substrate --date 2026-03-14
plan house.toml --tank 'Rock wall' --service-filter --confident --patience '3 s'
late --after '25 min' --start-volume '300 L' --end-volume '600 L' --flow '10 L/min' --total-chlorine '2 mg/L' --free-chlorine '0.5 mg/L' --cl2-to-n 4.5 --agent 'ascorbic acid' --purity 98% --excess 10% --demand '0.04 /h' --ph 8.2 --temperature '26 degC'
late --after '5 min' --start-volume '300 L' --end-volume '600 L' --flow '10 L/min' --total-chlorine '2 mg/L' --agent 'sodium sulfite' --solution '50 g/L' --tote '200 L' --dosed-for '150 L'
late --file house.toml --tank 'Shell bay' --change 30% --after '5 min' --water-off
nitrate house.toml --tank 'Rock wall' --now '2026-03-14T18:30+01:00' --change 40% --interval '7 days' --confidence 95% --since '2026-01-01 00:00' --chart course.svg
log add house.toml --tank 'Rock wall' --at '2026-03-14 18:30' --change 40% --dosed '4 g sodium thiosulfate pentahydrate' --dosed '22 g sodium bicarbonate' --note 'clear'
log add house.toml --tank 'Shell bay' --at '2026-03-14 18:30' --service filter --note 'squeezed'
log add house.toml --tank 'Shell bay' --reading 'hardness 11 dGH, drops' --reading 'conductivity 640 uS/cm, meter' --reading 'temperature 26 degC'
log list house.toml --kind reading --undone
log undo house.toml --number 3
log export house.toml log.csv --force
log check house.toml
log backup house.toml copy.sqlite
log adopt house.toml
neutralise --volume '120 gal' --total-chlorine '1 mg/L' --agent 'sodium hydroxymethanesulfonate' --label-amount '5 mL' --label-volume '40 L' --label-chlorine '2 mg/L'
neutralise --volume '200 L' --total-chlorine '2 mg/L' --agent 'sodium metabisulfite' --purity 95% --dose '2 g' --free-ammonia '0.2 mg/L N' --ph 8 --temperature '25 degC' --tap-temperature '10 degC' --tap-ph 7.5 --tap-hardness '5 dGH' --tap-alkalinity '4 dKH'
label --name Salt --dose '1 teaspoon' --in '40 L' --raises hardness --by '3 dGH' --content 'calcium chloride dihydrate 60%' --content 'magnesium sulfate heptahydrate 40%' --density '0.9 kg/L'
label --dose '5 mL' --in '40 L' --neutralises chlorine --by '2 mg/L' --content 'sodium thiosulfate pentahydrate 100 g/L, purity 99%' --density '1.05 kg/L'
label --dose '5 mL' --in '100 L' --contains nitrate --by '10 mg/L NO3' --content 'potassium nitrate 61 g/L'
blend --hot '55 degC' --cold '10 degC' --hot-volume '30 L' --cold-volume '70 L' --tub-mass '12 kg' --tub-temperature '19 degC'
water --calcium '40 mg/L' --magnesium '8 mg/L' --sodium '10 mg/L' --potassium '2 mg/L' --chloride '20 mg/L' --sulfate '30 mg/L' --alkalinity '6 dKH' --nitrate '20 mg/L NO3' --temperature '25 degC' --conductivity '320 uS/cm'
water --file house.toml --which 'refill:Rock wall'
water --file house.toml --which tap
mix --part '60 L of tap' --part '40 L of tank:Shell bay' --file house.toml --air '700 ppm'
remineralise --volume '80 L' --from deionised --patience '1 s' --band 'hardness 8 to 12 dGH' --band 'alkalinity 6 to 9 dKH' --band 'sodium up to 90 mg/L' --salt 'sodium bicarbonate, purity 99%, price 4.5' --salt 'calcium chloride dihydrate, price 6' --salt 'magnesium sulfate heptahydrate, price 3' --step '0.1 g' --prefer cost,salts --totes 2 --temperature '25 degC' --air '600 ppm'
remineralise --volume '80 L' --file house.toml --target tanganyika --every-ion --deionised '100 L' --deionised-price 0.1 --spoon teaspoon
transition --change 25% --patience '1 s' --water 'hardness 5 dGH, alkalinity 5 dKH, ph 8, temperature 25 degC' --from 'hardness 3 dGH, alkalinity 2 dKH, ph 7.4, temperature 12 degC' --volume '400 L' --target malawi --salt 'sodium bicarbonate' --salt 'magnesium sulfate heptahydrate' --salt 'calcium chloride dihydrate' --step '1 g' --limit 'hardness 1 dGH' --limit 'ph 0.3' --deionised '50 L' --temperature '26 degC' --air '700 ppm'
transition --file house.toml --tank 'Shell bay' --change 20% --band 'hardness 8 to 14 dGH' --band 'alkalinity 12 to 18 dKH' --refill-band 'sodium up to 400 mg/L'
list salts
schema household
sheet house.toml --tank 'Shell bay' -o page.html --change 30% --start 18:30 --force --patience '2 s'
"""  # noqa: E501
_CONSOLE = re.compile(r"^\$ tapwright (.+)$", re.MULTILINE)
_SHOWN = re.compile(r"'([^']+)'|such as ([\w%.:-]+)")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_WILD = ("", "nan", "-1", "0", "1e308 mg/L", "1e308 L", "-5 L", "100", "1e-300 g", "9" * 400, "\u202eL 5", "x" * 3000,
         "5 \x1b[31mL", "5 stones", "inf L", "0%", "100%", "1000%", "2026-02-30 12:00", "-300 degC", "😀", "--json", "a, b, c",
         "5 to 3 dGH", "1;2", "'")  # fmt: skip


@dataclass(frozen=True)
class Recipe:
    """A command, what stands without an option, and its options with their values (None: a flag)."""

    command: str
    bare: tuple[str, ...]
    options: tuple[tuple[str, str | None], ...]

    def words(self) -> list[str]:
        """As they are typed."""
        given = [word for name, value in self.options for word in ([name] if value is None else [name, value])]
        return [*self.command.split(), *self.bare, *given]


@cache
def commands() -> Mapping[str, Mapping[str, Any]]:
    """Every command, with its options by name."""
    found: dict[str, Any] = {}

    def walk(command: Any, name: str) -> None:
        if hasattr(command, "commands"):
            for part, inner in command.commands.items():
                walk(inner, f"{name} {part}".strip())
        else:
            found[name] = {option: one for one in command.params for option in one.opts if option.startswith("--")}

    walk(typer.main.get_command(app), "")
    return found


@cache
def recipes() -> tuple[Recipe, ...]:
    """Those of the README, of the docs, and the others."""
    pages = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
    shown = [line for page in pages for line in _CONSOLE.findall(page.read_text(encoding="utf-8"))]
    lines = [line.replace("demo/", "") for line in shown] + RECIPES.strip().splitlines()
    return tuple(_recipe(shlex.split(line)) for line in lines)


def _recipe(words: list[str]) -> Recipe:
    command = next(name for name in (" ".join(words[:2]), words[0]) if name in commands())
    rest, bare, options = words[len(command.split()) :], [], []
    while rest:
        word = rest.pop(0)
        if word == "-o":
            word = "--output"
        if not word.startswith("--"):
            bare.append(word)
        else:
            flag = getattr(commands()[command][word], "is_flag", False)
            options.append((word, None if flag else rest.pop(0)))
    return Recipe(command, tuple(bare), tuple(options))


@cache
def values() -> Mapping[str, tuple[str, ...]]:
    """What may stand behind an option, by its name: as recipes have it, and as its help shows it."""
    found = defaultdict(set)
    for recipe in recipes():
        for name, value in recipe.options:
            if value is not None:
                found[name].add(value)
    for options in commands().values():
        for name, option in options.items():
            found[name] |= {one or other for one, other in _SHOWN.findall(option.help or "")}
    return {name: tuple(sorted(some)) for name, some in found.items() if some}


def turned(random: Random, recipe: Recipe) -> Recipe:
    """The recipe with some of its figures and options changed; one in five beyond all limits."""
    wild = random.random() < 0.2
    options = [
        (name, _figures_turned(random, value)) if random.random() < 0.5 else (name, value)
        for name, value in recipe.options
    ]
    known = commands()[recipe.command]
    for _ in range(random.choice([0, 0, 1, 2] if not wild else [1, 2, 4])):
        how = random.randrange(4)
        if how == 0 and options:
            options.pop(random.randrange(len(options)))
        elif how == 1 and options:
            at = random.randrange(len(options))
            name, value = options[at]
            if value is not None:
                options[at] = (name, random.choice(_WILD) if wild else random.choice(values()[name]))
        elif how == 2:
            name = random.choice([name for name in known if name != "--help"])
            flag = getattr(known[name], "is_flag", False)
            some = _WILD if wild and random.random() < 0.5 else values().get(name, ("3",))
            if name not in dict(options) or getattr(known[name], "multiple", False):
                options.append((name, None if flag else random.choice(some)))
        elif wild and options:
            options.append(random.choice(options))
    bare = recipe.bare
    if wild and bare and random.random() < 0.3:
        bare = tuple(random.choice([word, random.choice(_WILD)]) for word in bare)
    if random.random() < 0.5 and "--json" not in dict(options):
        options.append(("--json", None))
    return Recipe(recipe.command, bare, tuple(options))


def _figures_turned(random: Random, value: str | None) -> str | None:
    """Every figure in a value a little more or less; dates and times as they are."""
    if value is None or re.search(r"\d{4}-\d\d|\d:\d\d", value):
        return value

    def turn(match: re.Match[str]) -> str:
        number = float(match[0]) * random.choice([1, random.uniform(0.75, 1.3), random.uniform(0.4, 2)])
        return f"{number:.0f}" if "." not in match[0] and number >= 1 else f"{number:.3g}"

    # A letter before it makes a figure part of a name: Cl2, NO3.
    return re.sub(rf"(?<![\w.]){_NUMBER.pattern}(?!\w)", turn, value)


def drawn_words(random: Random) -> list[str]:
    """What is typed in one attack."""
    command = random.choice(sorted(commands()))
    return turned(random, random.choice([recipe for recipe in recipes() if recipe.command == command])).words()


@cache
def log_of_the_demo() -> bytes:
    """The log of the demo, taken in once."""
    with TemporaryDirectory() as folder, contextlib.chdir(folder):
        shutil.copy(ROOT / "demo" / "house.toml", "house.toml")
        said, _ = judged(["log", "import", "house.toml", str(ROOT / "demo" / "log.csv")])
        assert said is not None and said.code == 0
        return Path("house.log.sqlite").read_bytes()


def _furnish() -> None:
    """The demo with its log, and pages and tables that stand there already."""
    for name in ("house.toml", "log.csv"):
        shutil.copy(ROOT / "demo" / name, name)
    shutil.copytree(ROOT / "demo" / "labels", "labels")
    Path("house.log.sqlite").write_bytes(log_of_the_demo())


def attack(key: str) -> Seen:
    """One command, answered or refused."""
    random = Random(key)
    words = drawn_words(random)
    command = " ".join(words[:2]) if words[0] == "log" else words[0]
    with TemporaryDirectory() as folder, contextlib.chdir(folder):
        _furnish()
        said, wrong = judged(words)
    outcome = "crashed" if said is None else "refused" if said.code == 2 else "answered"
    return Seen([f"{command}: {outcome}"], [f"{complaint} <- {shlex.join(words)[:500]}" for complaint in wrong])


def shown(key: str) -> str:
    """The words of a key."""
    return f"tapwright {shlex.join(drawn_words(Random(key)))}"
