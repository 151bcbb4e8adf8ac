"""Household files spoiled on purpose, and what the command line must say of whatever it is given.

`judged` runs the command line in this process and tells what is not as it must be: the exit code, one JSON document, no
traceback, faults with file, line and key, no word of Python's and no control character. The options use it as well.
"""

from __future__ import annotations

import contextlib
import copy
import io
import json
import re
import shlex
import time
import tomllib
import traceback
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

from tapwright.cli.app import run

from . import Seen
from .households import drawn

ROOT = Path(__file__).parent.parent.parent
DEMO = (ROOT / "demo" / "house.toml").read_text(encoding="utf-8")

# --- what is asked of any answer --------------------------------------------------------------------------------------

SLOW_S = 5.0
_LONGEST_LINE = 2000
_LONGEST_ANSWER = 2_000_000
_PYTHON = re.compile(
    r"Traceback|object at 0x|<class|<function|datetime\.|Decimal\(|\bnan\b|\binf\b|\bNaN\b|Infinity|\b[1-9]\.\d+e\+\d\d|"
    r"_mg_n_l|_mmol_l|pydantic|ValidationError|KeyError|np\.float"
)


@dataclass(frozen=True)
class Said:
    """What a command left: exit code, stdout, stderr."""

    code: int
    out: str
    err: str


def judged(words: Sequence[str], typed: str = "") -> tuple[Said | None, list[str]]:
    """Runs the command line; what it left (None where it crashed), and what is not as it must be.

    typed: what a person wrote besides the words, and may be told again.
    """
    out, err = io.StringIO(), io.StringIO()
    began_s = time.process_time()
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = run(list(words))
    except Exception as error:
        frame = traceback.extract_tb(error.__traceback__)[-1]
        return None, [f"crashed: {error!r} at {Path(frame.filename).name}:{frame.lineno}"[:400]]
    except SystemExit as error:
        return None, [f"crashed: exits by itself with {error.code!r}"]
    took_s = time.process_time() - began_s
    said = Said(code, out.getvalue(), err.getvalue())
    slow = [f"slow: {took_s:.0f} s of the processor"] if took_s > SLOW_S else []
    return said, [*slow, *_wrong(said, as_json=_wants_json(words), typed=" ".join([*words, typed]))]


# Options without a value: behind any other, '--json' is what somebody gave it as its value.
_FLAGS = (
    "--force",
    "--confident",
    "--brief",
    "--water-off",
    "--undone",
    "--every-ion",
    "--clean-substrate",
    "--service-filter",
)


def _wants_json(words: Sequence[str]) -> bool | None:
    """Whether an answer in JSON is asked for; None where the word is another option's value, and nobody can say."""
    before = [["", *words][place] for place, word in enumerate(words) if word == "--json"]
    if any(word.startswith(("--", "-o", "-t")) and word not in _FLAGS for word in before):
        return None
    return bool(before)


def _wrong(said: Said, *, as_json: bool | None, typed: str) -> Iterator[str]:
    if said.code not in (0, 1, 2, 3):
        yield f"exit code {said.code}"
    if as_json:
        yield from _wrong_json(said)
    elif as_json is False and said.code in (2, 3) and not said.err.strip():
        yield f"exit code {said.code} without a word"
    text = _words(said.out) if as_json else said.out + said.err
    for found in _PYTHON.finditer(text):
        if found[0] not in typed:
            line = text[text.rfind("\n", 0, found.start()) + 1 :].partition("\n")[0]
            yield f"says '{found[0]}': {line[:200]}"
            break
    if not as_json and (odd := [letter for letter in text if _odd(letter)]):
        yield f"prints {odd[0]!a}"
    if len(text) > _LONGEST_ANSWER or any(len(line) > _LONGEST_LINE for line in said.err.splitlines()):
        yield f"an answer of {len(text)} letters"


def _words(out: str) -> str:
    """What a JSON document says to a person; its keys are for machines."""
    with contextlib.suppress(ValueError):
        document = json.loads(out)
        faults = [text for fault in document.get("error", {}).get("faults", []) for text in fault.values()]
        found = [finding["text"] for finding in document.get("findings", [])]
        return "\n".join([*faults, *found, *document.get("assumptions", [])])
    return ""


def _odd(letter: str) -> bool:
    """A control or bidi character, or half of a letter."""
    return letter != "\n" and unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp")


def _wrong_json(said: Said) -> Iterator[str]:
    def refuse(text: str) -> None:
        raise ValueError(text)

    try:
        document = json.loads(said.out, parse_constant=refuse)
    except ValueError as error:
        yield f"no JSON document: {error}"
        return
    if (said.code in (2, 3)) != ("error" in document):
        yield f"exit code {said.code} with {sorted(document)}"
    for fault in document.get("error", {}).get("faults", []):
        if not fault["message"].strip():
            yield f"a fault without a message: {fault}"


# --- files ------------------------------------------------------------------------------------------------------------

_LETTERS = (
    "\u202e",
    "\u2066",
    "\x00",
    "\x1b[31m",
    "\x7f",
    "\ufeff",
    "\u2028",
    "ß",
    "水",
    "🐟",
    "“",
    "'",
    '"',
    "\\",
    "\t",
    "[",
)
_NUMBERS = ("0", "-0", "-1", "1e308", "1e400", "-1e308", "1e-308", "nan", "inf", "0.1.2", "1,5", "½", "٣", "0x10", "1_000",
            "9" * 60, "")  # fmt: skip
_UNITS = ("L", "gal", "cm", "ft", "degC", "degF", "mg/L", "mg/L NO3", "mg/L N", "ppm", "dGH", "dKH", "kW", "%", "g", "kg",
          "min", "uS/cm", "")  # fmt: skip
_VALUES: tuple[Any, ...] = (
    *(0, -1, 1.5, 10**30, 1e308, True, False),
    *("", "?", "nan L", "x" * 5000),
    *([], {}, [1, 2], {"a": 1}, [[]], [{"name": "x"}]),
)
_SIZES = (0.001, 0.1, 0.5, 1.1, 2, 10, 1e4)
_QUANTITY = re.compile(r"([-+]?[\d.]+)(\s*)(.*)")


def _places(value: Any, place: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every key and every entry of a list in a tree."""
    entries = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, entry in entries:
        yield (*place, key)
        yield from _places(entry, (*place, key))


def _holder(tree: Any, place: tuple[Any, ...]) -> Any:
    for part in place[:-1]:
        tree = tree[part]
    return tree


def _other_value(random: Random, value: Any) -> Any:
    """A value like it but spoiled, or another altogether."""
    match = _QUANTITY.fullmatch(value) if isinstance(value, str) else None
    how = random.randrange(7)
    if match and how < 2:
        return f"{random.choice(_NUMBERS)}{match[2]}{match[3]}"
    if match and how == 2:
        return f"{match[1]}{match[2]}{random.choice(_UNITS)}"
    if match and how == 3:
        with contextlib.suppress(ValueError):
            return f"{float(match[1]) * random.choice(_SIZES):g} {match[3]}"
    if isinstance(value, str) and how == 4:
        cut = random.randint(0, len(value))
        return value[:cut] + random.choice(_LETTERS) + value[cut:]
    if isinstance(value, int | float) and how < 4:
        return value * random.choice([0, -1, 0.5, 3, 1e3, 1e300])
    return copy.deepcopy(random.choice(_VALUES))


def _spoil_tree(random: Random, tree: dict[str, Any]) -> None:
    """One thing of a parsed file: a key gone, misspelled, moved, twice, or another value."""
    place = random.choice(list(_places(tree)))
    holder, key = _holder(tree, place), place[-1]
    how = random.randrange(8)
    if how == 0:
        del holder[key]
    elif how == 1 and isinstance(holder, dict):
        cut = random.randint(0, len(key))
        holder[key[:cut] + random.choice(["x", "_", "S", "ß", "\u202e", ""]) + key[cut + 1 :]] = holder.pop(key)
    elif how == 2 and isinstance(holder, list):
        holder += [copy.deepcopy(holder[key]) for _ in range(random.choice([1, 2, 30]))]
    elif how == 3:
        other = random.choice(list(_places(tree)))
        _holder(tree, other)[other[-1]] = copy.deepcopy(holder[key])
    else:
        holder[key] = _other_value(random, holder[key])


def written(value: Any, name: str = "") -> str:
    """A tree as TOML; letters that TOML forbids stay as they are, for the reader to refuse."""
    tables = {key: entry for key, entry in value.items() if isinstance(entry, dict)}
    lists = {
        key: entry
        for key, entry in value.items()
        if isinstance(entry, list) and entry and all(isinstance(one, dict) for one in entry)
    }
    lines = [
        f"{_key(key)} = {_inline(entry)}" for key, entry in value.items() if key not in tables and key not in lists
    ]
    for key, entry in tables.items():
        lines.append(f"\n[{name}{_key(key)}]\n{written(entry, f'{name}{_key(key)}.')}")
    for key, entries in lists.items():
        lines += [f"\n[[{name}{_key(key)}]]\n{written(entry, f'{name}{_key(key)}.')}" for entry in entries]
    return "\n".join(lines)


def _key(key: str) -> str:
    return key if re.fullmatch(r"[\w-]+", key, re.ASCII) else json.dumps(key, ensure_ascii=False)


def _inline(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {_inline(entry)}" for key, entry in value.items()) + " }"
    if isinstance(value, list):
        return f"[{', '.join(map(_inline, value))}]"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str | bool | int | float) else str(value)


def _spoil_text(random: Random, text: str) -> str:
    """One thing of a text, without regard to what it means."""
    lines = text.split("\n")
    at, cut = random.randrange(len(lines)), random.randrange(len(text) + 1)
    ways: list[Callable[[], str]] = [
        lambda: "\n".join(lines[:at] + lines[at + 1 :]),
        lambda: "\n".join([*lines[:at], lines[at], *lines[at:]]),
        lambda: text[:cut],
        lambda: text[:cut] + random.choice(_LETTERS) + text[cut:],
        lambda: text[:cut] + text[cut + 1 :],
        lambda: "\n".join(lines[:at] + lines[at : at + 3] * random.choice([2, 20, 200]) + lines[at:]),
        lambda: text.replace('"', random.choice(["“", "'", ""]), random.choice([1, 2, 1000])),
        lambda: text.replace("\n", "\r\n"),
        lambda: text.replace(".", ",", random.randint(1, 9)),
        lambda: (
            f"{text}\n{random.choice(['x', 'salt', 'a.b'])} = {random.choice(['1', '[' * 500, '{', '2026-13-01', '1e999'])}"
        ),
    ]
    return random.choice(ways)()


def spoiled(random: Random) -> str:
    """The text of a household file, spoiled once or a few times; now and then left whole."""
    tree = tomllib.loads(DEMO) if random.random() < 0.8 else drawn(random)
    text = None
    for _ in range(random.choice([0, 1, 1, 1, 1, 2, 4])):
        if text is None and random.random() < 0.7:
            with contextlib.suppress(IndexError):  # nothing is left to spoil
                _spoil_tree(random, tree)
        else:
            text = _spoil_text(random, text or written(tree))
    return written(tree) if text is None else text


def attack(key: str) -> Seen:
    """A spoiled file through `check` or `plan`."""
    random = Random(key)
    text = spoiled(random)
    names = re.findall(r'name = "([^"\n]*)"', text)
    tank = random.choice([*names, "Rock wall", "Rock wall", "Shell bay"])
    command = random.choice(["check", "check", "plan"])
    words = [command, "house.toml"]
    if command == "plan":
        words += ["--tank", tank, *random.choice([[], [], ["--brief"], ["--change", "30%"], ["--service-filter"]])]
    if random.random() < 0.5:
        words.append("--json")
    with TemporaryDirectory() as folder, contextlib.chdir(folder):
        Path("house.toml").write_text(text, encoding="utf-8", newline="", errors="surrogatepass")
        said, wrong = judged(words, text)
    if said is None:
        return Seen([f"{command}: crashed"], wrong)
    wrong += _unplaced(said) if command == "check" else []
    outcome = "refused" if said.code == 2 else "answered"
    return Seen([f"{command}: {outcome}"], [f"{complaint} <- {shlex.join(words)}" for complaint in wrong])


def _unplaced(said: Said) -> list[str]:
    """Faults of a file that do not say file, line and key."""
    if said.code != 2:
        return []
    try:
        wheres = [fault["where"] for fault in json.loads(said.out)["error"]["faults"]]
    except ValueError:
        wheres = [line.partition(": ")[0] for line in said.err.splitlines()]
    return [f"a fault without its line: {where}" for where in wheres if not re.match(r"house\.toml(:\d+|$)", where)][:1]


def shown(key: str) -> str:
    """The file of a key."""
    return spoiled(Random(key))
