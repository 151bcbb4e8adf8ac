"""Whatever is written into an option, the answer is one clear message or a sound answer: never a traceback, never an absurdity.

The options are found by looking at the commands themselves; one that no line here gives is missed at once.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import typer.main
from conftest import DEMO, Outcome

from tapwright.chemistry.allowed import NUMBERS, QUANTITIES, read_within
from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.units import KINDS, show
from tapwright.chemistry.water.constants import HIGHEST_C, LOWEST_C
from tapwright.cli.app import app

HOUSE, LOG, SHEET = "HOUSE", "LOG", "SHEET"  # where a file is put
SOFT = "hardness 3 dGH, alkalinity 2 dKH, ph 7.4, temperature 25 degC"
SALT = "magnesium sulfate heptahydrate, purity 99%, stock 2 kg, price 4.5"
SALTS = ("--salt", "sodium bicarbonate", "--salt", "calcium chloride dihydrate", "--salt", SALT)
AGENT = ("--agent", "sodium thiosulfate pentahydrate")
TANK = ("--tank", "Shell bay")

# Lines that are answered, and give every option there is at least once.
LINES: tuple[tuple[str, ...], ...] = (
    ("neutralise", "--volume", "400 L", "--total-chlorine", "2.4 mg/L", *AGENT, "--free-chlorine", "0.3 mg/L",
     "--solution", "50 g/L", "--purity", "98%", "--excess", "10%", "--dose", "9 g", "--cl2-to-n", "4.5", "--free-ammonia",
     "0.2 mg/L N", "--ph", "8.2", "--temperature", "26 degC", "--tap-hardness", "3 dGH", "--tap-alkalinity", "4 dKH",
     "--tap-ph", "7.2", "--tap-temperature", "12 degC"),
    ("neutralise", "--volume", "400 L", "--total-chlorine", "2.4 mg/L", "--agent", "sodium hydroxymethanesulfonate",
     "--label-amount", "5 mL", "--label-volume", "40 L", "--label-chlorine", "2 mg/L"),
    ("label", "--name", "mine", "--dose", "5 g", "--in", "40 L", "--raises", "hardness", "--by", "3 dGH", "--content",
     "magnesium sulfate heptahydrate 98%, purity 99%", "--density", "1.2 kg/L"),
    ("label", "--dose", "2 teaspoons", "--in", "40 L", "--neutralises", "chlorine", "--by", "2 mg/L", "--content",
     "sodium thiosulfate pentahydrate 98%", "--density", "1.1 kg/L"),
    ("label", "--dose", "5 mL", "--in", "40 L", "--contains", "nitrate", "--by", "37 g/L", "--content",
     "potassium nitrate 61 g/L"),
    ("blend", "--hot", "58 degC", "--cold", "11 degC", "--target", "26 degC", "--volume", "120 L", "--residual", "5 L",
     "--residual-temperature", "18 degC", "--tub-mass", "9 kg", "--tub-temperature", "19 degC"),
    ("blend", "--hot", "58 degC", "--cold", "11 degC", "--hot-volume", "40 L", "--cold-volume", "80 L"),
    ("water", "--hardness", "12 dGH", "--alkalinity", "8 dKH", "--ph", "7.4", "--temperature", "25 degC", "--nitrate",
     "20 mg/L NO3", "--ammonia", "0.2 mg/L N", "--air", "700 ppm"),
    ("water", "--temperature", "25 degC", "--calcium", "60 mg/L", "--magnesium", "15 mg/L", "--sodium", "30 mg/L",
     "--potassium", "4 mg/L", "--chloride", "25 mg/L", "--sulfate", "40 mg/L", "--conductivity", "560 uS/cm"),
    ("water", "--file", HOUSE, "--which", "tap"),
    ("water", "--target", "malawi", "--temperature", "26 degC"),
    ("mix", "--part", f"60 L of {SOFT}", "--part", "40 L of deionised, temperature 20 degC", "--air", "700 ppm"),
    ("mix", "--part", "60 L of tap", "--part", f"40 L of {SOFT}", "--file", HOUSE),
    ("remineralise", "--volume", "200 L", "--from", SOFT, "--target", "tanganyika", "--band", "sodium up to 900 mg/L", *SALTS,
     "--deionised", "100 L", "--deionised-price", "0.05", "--step", "0.1 g", "--totes", "2", "--temperature", "26 degC",
     "--prefer", "cost,salts", "--air", "700 ppm"),
    ("remineralise", "--volume", "200 L", "--file", HOUSE, *TANK, "--spoon", "teaspoon", "--patience", "2 s"),
    ("remineralise", "--volume", "200 L", "--from", SOFT, "--band", "hardness 4 to 12 dGH", "--band", "ph aerated 7 to 9",
     *SALTS),
    ("transition", "--water", SOFT, "--volume", "400 L", "--from", SOFT, "--target", "malawi", "--band",
     "sodium up to 900 mg/L", "--refill-band", "chloride up to 900 mg/L", *SALTS, "--change", "40%", "--step", "1 g",
     "--deionised", "100 L", "--limit", "hardness 2 dGH", "--limit", "ph 0.5", "--limit", "temperature 1 degC", "--limit",
     "conductivity 20%", "--evaporation", "5 L", "--top-off", "source", "--temperature", "26 degC", "--air", "700 ppm"),
    ("transition", "--file", HOUSE, *TANK, "--change", "30%", "--every-ion", "--patience", "2 s"),
    ("plan", HOUSE, *TANK, "--change", "40%", "--start", "18:30", "--date", "2026-03-14", "--clean-substrate",
     "--service-filter", "--patience", "2 s"),
    ("plan", HOUSE, *TANK, "--brief"),
    ("plan", HOUSE, *TANK, "--confident"),
    ("sheet", HOUSE, *TANK, "--output", SHEET, "--force", "--change", "40%", "--start", "18:30", "--date", "2026-03-14",
     "--clean-substrate", "--service-filter", "--patience", "2 s"),
    ("nitrate", LOG, "--tank", "Rock wall", "--change", "40%", "--interval", "7 days", "--confidence", "90%", "--since",
     "2025-11-01 00:00", "--now", "2026-03-14 18:30"),
    ("late", "--start-volume", "300 L", "--end-volume", "500 L", "--flow", "10 L/min", "--total-chlorine", "2 mg/L",
     "--free-chlorine", "0.2 mg/L", "--cl2-to-n", "4.5", *AGENT, "--purity", "98%", "--excess", "10%", "--solution",
     "50 g/L", "--demand", "0.04 /h", "--ph", "8.2", "--temperature", "26 degC", "--tote", "200 L", "--dosed-for", "220 L",
     "--after", "5 min", "--water-off"),
    ("late", "--file", HOUSE, *TANK, "--change", "40%", "--flow", "30 L/min", "--after", "5 min", "--water-off"),
    ("log add", LOG, "--tank", "Rock wall", "--at", "2026-03-14 18:30", "--reading",
     "nitrate 20 mg/L NO3, chart, below 10, above 40", "--reading", "temperature 25.5 degC, meter"),
    ("log add", LOG, "--tank", "Rock wall", "--change", "230 L", "--dosed", "4 g sodium bicarbonate", "--note", "one"),
    ("log add", LOG, "--tank", "Rock wall", "--change", "40%"),
    ("log add", LOG, "--tank", "Rock wall", "--service", "filter"),
    ("log list", LOG, "--tank", "Rock wall", "--kind", "reading", "--last", "20", "--undone"),
    ("log undo", LOG, "--number", "1"),
)  # fmt: skip
# Options that no line above gives: they ask for another form of the answer, or write a file that tests of their own hold.
ELSEWHERE = {
    "--json",
    "--help",
    "--version",
    "--install-completion",
    "--show-completion",
    "--chart",
    "log export --force",
    "nitrate --force",
    "remineralise --every-ion",
}
EXTREMES = ("1e308", "-1e308", "-1", "0", "1e-300", "nan", "inf", "1" + "0" * 400, "1e12", "")
_NUMBER = re.compile(r"(?<![\w.:-])\d+(?:\.\d+)?(?![\w:-])")


@cache
def _command() -> Any:
    return typer.main.get_command(app)


def _options() -> Iterator[tuple[str, str]]:
    """Every command and option there is."""

    def of(command: Any, name: str) -> Iterator[tuple[str, str]]:
        yield from ((name, option) for parameter in command.params for option in parameter.opts if option[0] == "-")
        for key, inner in getattr(command, "commands", {}).items():
            yield from of(inner, f"{name} {key}".strip())

    return of(_command(), "")


def test_every_option_there_is_is_given_by_a_line() -> None:
    given = {(line[0], word) for line in LINES for word in line[1:] if word.startswith("--")}
    missed = {
        (command, option)
        for command, option in _options()
        if option.startswith("--") and option not in ELSEWHERE and f"{command} {option}" not in ELSEWHERE
    } - given
    assert not missed
    assert given <= set(_options())


@pytest.fixture
def run_line(
    tapwright: Callable[..., Outcome], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Callable[[tuple[str, ...]], Outcome]:
    """Run a line with its files in a folder of its own."""
    command = _command()
    monkeypatch.setattr(typer.main, "get_command", lambda _: command)  # made anew, it would take most of the time
    log = tmp_path / "house.toml"
    log.write_bytes(DEMO.read_bytes())
    places = {HOUSE: str(DEMO), LOG: str(log), SHEET: str(tmp_path / "sheet.html")}

    def call(line: tuple[str, ...]) -> Outcome:
        if LOG in line and not log.with_name("house.log.sqlite").exists():
            assert tapwright("log", "import", log, DEMO.parent / "log.csv").code == 0
        words = [places.get(word, word) for word in line[1:]]
        return tapwright(*line[0].split(), *words)

    return call


def _sound(number: object) -> None:
    """Every figure of a document is a number that something can be."""
    if isinstance(number, float):
        assert math.isfinite(number)
        assert abs(number) < 1e12
    elif isinstance(number, dict | list):
        for part in number.values() if isinstance(number, dict) else number:
            _sound(part)


def _answered(done: Outcome, line: tuple[str, ...]) -> None:
    """A sound answer, or a refusal of a line for each fault, in words a person can act on."""
    assert done.code in (0, 1, 2, 3), line
    document = json.loads(done.out, parse_constant=lambda name: pytest.fail(f"{name} in {line}"))
    if done.code < 2:
        _sound(document["result"])
        stops = [finding for finding in document["findings"] if finding["level"] == "stop"]
        assert bool(stops) == (done.code == 1), line
        return
    faults = document["error"]["faults"]
    assert faults, line
    text = "\n".join(f"{fault['where']}: {fault['message']} {fault['hint']}" for fault in faults)
    own = re.sub(r"'[^']*'", "''", text)  # what was read is quoted as it stands
    assert not re.search(r"\b(nan|inf|None|Traceback|e[+-]\d{2,})\b", own), text


@pytest.mark.parametrize("line", LINES, ids=lambda line: f"{line[0]} {line[-2]}")
def test_the_line_as_it_stands_is_answered(
    line: tuple[str, ...], run_line: Callable[[tuple[str, ...]], Outcome]
) -> None:
    done = run_line((*line, "--json"))
    assert done.code in (0, 1), done.out
    _answered(done, line)


def _spoiled(line: tuple[str, ...], extreme: str) -> Iterator[tuple[str, ...]]:
    """The line with each of its numbers, one at a time, replaced."""
    for place, (option, text) in enumerate(pairwise(line)):
        if option.startswith("--") and not text.startswith("--"):
            for match in _NUMBER.finditer(text):
                written = text[: match.start()] + extreme + text[match.end() :]
                yield (*line[: place + 1], written, *line[place + 2 :])


@pytest.mark.parametrize("extreme", EXTREMES, ids=lambda text: text[:8] or "none")
@pytest.mark.parametrize("line", LINES, ids=lambda line: f"{line[0]} {line[-2]}")
def test_no_number_is_too_much_for_any_option(
    line: tuple[str, ...], extreme: str, run_line: Callable[[tuple[str, ...]], Outcome]
) -> None:
    for spoiled in _spoiled(line, extreme):
        done = run_line((*spoiled, "--json"))
        _answered(done, spoiled)
        if done.code < 2 and line[0] not in ("log add", "transition"):  # one writes, one takes its time
            assert run_line(spoiled).code == done.code


@pytest.mark.parametrize("extreme", EXTREMES, ids=lambda text: text[:8] or "none")
@pytest.mark.parametrize("units", [("mg/L Cl2", "mg/L NH2Cl"), ("kg", "mg"), ("degC", "degF"), ("dGH", "mg/L CaCO3")])
def test_no_number_is_too_much_to_convert(
    extreme: str, units: tuple[str, str], run_line: Callable[[tuple[str, ...]], Outcome]
) -> None:
    line = ("convert", f"{extreme} {units[0]}", units[1])
    done = run_line((*line, "--json"))
    _answered(done, line)
    assert len(run_line(line).out) < 200


# --- the table ----------------------------------------------------------------------------------------------------


def test_every_example_lies_within_its_limits_and_what_lies_outside_is_refused() -> None:
    for name, limits in QUANTITIES.items():
        assert limits.holds(read_within(limits.written, name))
        shown = "%" if limits.kind == "share" else KINDS[limits.kind].shown
        scale = 100 if limits.kind == "share" else 1
        for value in (limits.low - 1, limits.high * 1.01, *([limits.low] if limits.above else [])):
            with pytest.raises(BadInput, match="is allowed"):
                read_within(f"{value * scale:.12g} {shown}", name)
    for bare in NUMBERS.values():
        assert bare.holds(float(bare.example))
        assert not any(bare.holds(value) for value in (math.nan, math.inf, -math.inf, bare.high * 1.01, bare.low - 1))


@pytest.mark.parametrize("name", sorted(QUANTITIES))
def test_what_a_refusal_calls_allowed_is_allowed_in_every_unit(name: str) -> None:
    """Also where a unit's factor rounds: 104 degF are 40 degC and the hair above it that their factor leaves."""
    limits = QUANTITIES[name]
    for unit in KINDS[limits.kind].spellings:
        for end in (limits.low, limits.high)[limits.above :]:
            text = show(end, limits.kind, unit, digits=17)
            assert read_within(text, name) == pytest.approx(end, rel=1e-12, abs=1e-12), text


def test_waters_are_read_as_far_as_their_constants_reach() -> None:
    assert (QUANTITIES["water"].low, QUANTITIES["water"].high) == (LOWEST_C, HIGHEST_C)


# --- every fault at once ------------------------------------------------------------------------------------------

QUANTITY = re.compile(r"\d+(?:\.\d+)?\s*(?:L|mg/L|g|kg|%|g/L|degC|dGH|dKH|min|ppm|uS/cm|L/min|/h|mg/L N|mg/L NO3)$")


@pytest.mark.parametrize("command", ["neutralise", "blend", "remineralise", "transition", "late", "water"])
def test_what_lacks_its_unit_is_named_for_every_option_at_once(
    command: str, run_line: Callable[[tuple[str, ...]], Outcome]
) -> None:
    """One fault hides no other, and no figure is told that nobody has written."""
    line = next(line for line in LINES if line[0] == command)
    spoiled, named = [line[0]], []
    for option, text in pairwise(line):
        bare = option.startswith("--") and option not in ("--content", "--part") and QUANTITY.fullmatch(text)
        spoiled.append("100" if bare else text)
        named += [option] if bare else []
    document = run_line((*spoiled, "--json")).json
    said = {fault["where"]: fault["message"] for fault in document["error"]["faults"]}
    assert len(named) >= 4
    assert named and {option for option in named if said.get(option) != "'100' has no unit."} == set()
