"""Names, notes and file names that hold control or direction marks: seen for what they are, and untouched in JSON."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from pathlib import Path
from unittest.mock import patch

import pytest
from conftest import DEMO, Outcome
from hypothesis import given
from hypothesis import strategies as st

from cli.logbook import Logbook, path_of
from cli.visible import visible

Run = Callable[..., Outcome]
DIRECTION = "\u202e\u202d\u2066\u2067\u2069\u200f\u061c"
EVIL = "a\u202eb\u2066c\u200bd\u061ce"
SHOWN = r"a\u202eb\u2066c\u200bd\u061ce"


def unsafe(text: str) -> list[str]:
    """Letters other than line ends that a page may not hold."""
    hidden = ("Cc", "Cs", "Zl", "Zp")
    return [
        c for c in text if c != "\n" and (unicodedata.category(c) in hidden or c in DIRECTION or c in "\u200b\ufeff")
    ]


@given(st.text())
def test_nothing_hidden_is_left_and_nothing_plain_is_touched(text: str) -> None:
    shown = visible(text)
    assert unsafe(shown.replace("\n", "\x00")) == []
    assert visible(shown) == shown
    if text.isprintable():
        assert shown == text


@pytest.mark.parametrize(("text", "shown"), [
    ("\x1b[31mred", r"\x1b[31mred"), ("a\rb\nc", r"a\rb\nc"), ("\udcff", r"\udcff"), ("\x9b", r"\x9b"), (EVIL, SHOWN),
    ("水 ünïcode °C 🐟", "水 ünïcode °C 🐟"), ("👨\u200d👩\u200d👧", "👨\u200d👩\u200d👧"), (r"\x1b", r"\x1b"),
])  # fmt: skip
def test_what_is_shown(text: str, shown: str) -> None:
    assert visible(text) == shown


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """Named in the worst way; a log asks nothing of a tank's name that planning asks."""
    file = tmp_path / f"h{EVIL}\x1b[2J.toml"
    file.write_text(DEMO.read_text(encoding="utf-8"), encoding="utf-8")
    return file


@pytest.fixture
def logged(tmp_path: Path) -> Path:
    file = tmp_path / f"l{EVIL}.toml"
    file.write_text(f'[[tank]]\nname = "{EVIL}"\n', encoding="utf-8")
    return file


def test_no_page_and_no_message_obeys_a_name(house: Path, logged: Path, tapwright: Run, tmp_path: Path) -> None:
    table, tank = tmp_path / f"{EVIL}.csv", ("--tank", EVIL)
    runs = [
        tapwright(*words)
        for words in (
            ("check", house), ("check", logged), ("plan", house, "--tank", EVIL), ("new", house), ("check", f"{house}x"),
            ("log", "add", logged, *tank, "--note", f"n{EVIL}"), ("log", "list", logged), ("log", "check", logged),
            ("log", "export", logged, table), ("log", "export", logged, table), ("log", "import", logged, table),
            ("log", "adopt", logged), ("log", "backup", logged, tmp_path / f"b{EVIL}"), ("log", "undo", logged),
            ("log", "list", logged, "--kind", EVIL), (EVIL,), ("plan", house, f"--{EVIL}"),
        )
    ]  # fmt: skip
    assert {done.code for done in runs} == {0, 2}
    assert [unsafe(done.out + done.err) for done in runs] == [[]] * len(runs)
    assert [SHOWN in done.out + done.err for done in runs] == [True] * len(runs)


def test_no_sheet_obeys_a_name(house: Path, tapwright: Run, tmp_path: Path) -> None:
    page = tmp_path / f"s{EVIL}.html"
    with patch("cli.sheet.command._charts", return_value=[]):
        done = tapwright("sheet", house, "--tank", "Rock wall", "-o", page)
    assert (done.code, unsafe(done.out), SHOWN in done.out) == (0, [], True)
    text = page.read_text(encoding="utf-8")
    assert unsafe(text) == []
    assert SHOWN in text


def test_json_keeps_every_text_as_it_is(house: Path, logged: Path, tapwright: Run) -> None:
    done = tapwright("log", "add", logged, "--tank", EVIL, "--note", f"n{EVIL}", "--json")
    (entry,) = done.json["result"]["entries"]
    assert (entry["tank"], entry["note"]) == (EVIL, f"n{EVIL}")
    assert tapwright("check", house, "--json").json["result"]["file"] == str(house)
    with Logbook(path_of(logged), create=False) as book:
        assert [found.note for found in book.entries()] == [f"n{EVIL}"]
