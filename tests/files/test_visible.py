"""Letters that nobody sees are shown wherever a name, a note or a file is told, and do nothing to the screen."""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from shutil import copy
from unicodedata import category

import pytest
from conftest import DEMO, Outcome
from hypothesis import given
from hypothesis import strategies as st

from tapwright.cli.log.logbook import path_of
from tapwright.cli.visible import visible

HOSTILE = "a\x1b[31mb\x1b]0;t\x07\u202egpj\u2066x\u2069\x9b2J\u200b\ufeffz"
ROCK = ("--tank", "Rock wall")
Tapwright = Callable[..., Outcome]


def hidden(text: str) -> set[str]:
    """Letters of it that are not to be seen, but for the line ends of a page."""
    return {letter for letter in text if category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp")} - {"\n"}


@given(st.text(st.characters()))
def test_nothing_hidden_is_left_and_nothing_seen_is_touched(text: str) -> None:
    shown = visible(text)
    assert hidden(shown) <= {"\N{ZERO WIDTH JOINER}", "\N{ZERO WIDTH NON-JOINER}"}
    assert "\n" not in shown
    assert visible(shown) == shown
    escape = re.compile(r"\\u([0-9a-f]{4})|\\U([0-9a-f]{8})|\\([btnfr])")
    if not escape.search(text):  # else what was an escape from the start cannot be told from ours
        short = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r"}
        assert escape.sub(lambda m: short[m[3]] if m[3] else chr(int(m[1] or m[2], 16)), shown) == text


@given(st.text(st.characters(exclude_categories=("Cc", "Cf", "Cs", "Zl", "Zp"))))
def test_what_can_be_seen_stays(text: str) -> None:
    assert visible(text) == text


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """The demo under a name that turns the line round, breaks it, and is no text to its end."""
    folder = tmp_path / "f"
    folder.mkdir()
    name = os.fsdecode(b"h\xe2\x80\xae\n\x1b[31mlmot\xff.toml")
    try:
        return Path(copy(DEMO, folder / name))
    except OSError:
        pytest.skip("this disk takes no such name")


def test_every_page_and_message_shows_them(house: Path, tapwright: Tapwright, tmp_path: Path) -> None:
    beside = house.parent
    for words in (
        ("check", house), ("plan", house, *ROCK), ("new", beside / f"n{HOSTILE}.toml"), ("new", house),
        ("sheet", house, *ROCK, "-o", beside / f"s{HOSTILE}.html"), ("check", beside / f"c{HOSTILE}"),
        ("log", "import", house, DEMO.parent / "log.csv"), ("log", "list", house), ("log", "list", beside / HOSTILE),
        ("log", "add", house, *ROCK, "--note", "x\u202ey\u2066"), ("log", "undo", house),
        ("log", "add", house, *ROCK, "--note", HOSTILE), ("plan", house, "--tank", HOSTILE),
        ("log", "export", house, beside / f"e{HOSTILE}.csv"), ("log", "import", house, beside / HOSTILE),
        ("nitrate", house, *ROCK, "--chart", beside / f"n{HOSTILE}.svg"), ("convert", HOSTILE, "degC"), (HOSTILE,),
        ("label", "--name", HOSTILE, "--dose", "5 mL", "--in", "40 L", "--contains", "nitrate", "--by", "1 mg/L NO3",
         "--content", "potassium nitrate 61 g/L"), ("label", beside / HOSTILE), ("water", "--file", house, "--which", "tap"),
    ):  # fmt: skip
        done = tapwright(*words)
        assert hidden(done.out + done.err) == set(), words
    assert "\\u202e\\n\\u001b[31mlmot\\udcff.toml is in order." in tapwright("check", house).out


def test_a_log_written_by_other_hands_does_nothing_to_the_screen(tmp_path: Path, tapwright: Tapwright) -> None:
    house = Path(copy(DEMO, tmp_path))
    tapwright("log", "add", house, *ROCK, "--note", "x")
    with closing(sqlite3.connect(path_of(house))) as base, base:
        base.execute("UPDATE entry SET note = ?", (f"{HOSTILE}\r\nsecond line",))
        base.execute("UPDATE tank SET name = ?", (HOSTILE,))
    said = tapwright("log", "list", house).out
    assert hidden(said) == set()
    assert "\\u202egpj" in said.replace("\n", "").replace(" ", "")
    assert HOSTILE in tapwright("log", "list", house, "--json").json["result"]["entries"][0]["note"]
    assert hidden(tapwright("log", "undo", house).out) == set()


def test_the_page_shows_them(house: Path, tapwright: Tapwright, tmp_path: Path) -> None:
    page = tmp_path / "sheet.html"
    assert tapwright("sheet", house, *ROCK, "-o", page).code in (0, 1)
    text = page.read_text(encoding="utf-8")
    assert hidden(text) == set()
    assert "from h\\u202e\\n\\u001b[31mlmot\\udcff.toml" in text
