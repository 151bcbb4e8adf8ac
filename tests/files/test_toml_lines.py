"""Lines of keys: those that the shortest part of the text which parses and holds the key would give, found in one go."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from conftest import DEMO, Outcome
from hypothesis import given, settings
from hypothesis import strategies as st

from tapwright.chemistry.errors import BadInput
from tapwright.cli.files.household_file import load
from tapwright.cli.files.household_template import filled
from tapwright.cli.files.toml_file import Lines, the_first

Place = tuple[str | int, ...]


class SlowLines:
    """The same from the parser alone: ever longer beginnings of the text, until one of them holds the key."""

    def __init__(self, text: str) -> None:
        lines = text.split("\n")
        self._parsed = [_parsed("\n".join(lines[:number])) for number in range(len(lines) + 1)]

    def of(self, place: Sequence[str | int]) -> int:
        for depth in range(len(place), 0, -1):
            for number, data in enumerate(self._parsed):
                if data is not None and _holds(data, place[:depth]):
                    while self._parsed[number - 1] is None:
                        number -= 1  # back to where a value over several lines began
                    return number
        return 1


def _parsed(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


def _holds(data: Any, place: Sequence[str | int]) -> bool:
    try:
        for part in place:
            data = data[part]
    except (KeyError, IndexError, TypeError):
        return False
    return True


def places_in(data: Any, under: Place = ()) -> Iterator[Place]:
    """Every place there is, and one beside it that is not."""
    entries = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in entries:
        yield (*under, key)
        yield (*under, key, "not there")
        yield from places_in(value, (*under, key))


# Pieces that a TOML reader can stumble over; those which do not make a text together are left out.
names = st.sampled_from(["a", "b", "tank", "'a.b'", '"c\\u0020d"', '"\\""', "1", "-x_"])
keys = st.lists(names, min_size=1, max_size=3).map(" . ".join)
values = st.sampled_from([
    "1", '"x"', '"# no remark"', "'[no table]'", '"\\" = 1"', "2026-01-01", "true", "[1, 2]", "[\n 1, # one ]\n 2,\n]",
    "{ a = 1, b.c = [2] }", '"""\nx = 1\n[tank]\n"""', "'''\n\\\n'''", '"""a""\n"""""', '"""\\"""\n"""',
    '[\n{ a = "]" },\n]', '""', "''",
])  # fmt: skip
entries = st.builds("{} = {}{}".format, keys, values, st.sampled_from(["", "  # [remark] = '"]))
headers = st.builds("{}[{}]".format, st.sampled_from(["", "\t"]), keys) | st.builds("[[{}]] # x".format, keys)
texts = st.lists(entries | headers | st.sampled_from(["", "# remark"]), max_size=12)


def together(pieces: Sequence[str]) -> str:
    """Those of the pieces, in their order, that make a text."""
    text = ""
    for piece in pieces:
        text = longer if _parsed(longer := f"{text}{piece}\n") is not None else text
    return text


@settings(max_examples=300)
@given(texts.map(together))
def test_every_key_has_the_line_that_brings_it_into_being(text: str) -> None:
    quick, slow = Lines(text), SlowLines(text)
    for place in places_in(tomllib.loads(text)):
        assert quick.of(place) == slow.of(place), place


@pytest.mark.parametrize("text", [filled(optional=True), DEMO.read_text(encoding="utf-8")], ids=["template", "demo"])
def test_so_it_is_in_whole_households(text: str) -> None:
    quick, slow = Lines(text), SlowLines(text)
    for place in places_in(tomllib.loads(text)):
        assert quick.of(place) == slow.of(place), place


@pytest.mark.parametrize("tables", [10, 1000])
def test_the_faults_of_a_long_file_are_found_in_one_parse(
    tables: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many tables there are: one parse of the text, few faults, and each with a line."""
    text = filled() + "\n[[salt]]\nname = 7\n[[tank]]\nnmae = 'x'\n" * tables
    path = tmp_path / "house.toml"
    path.write_text(text, encoding="utf-8")
    parsed: list[int] = []
    loads = tomllib.loads
    monkeypatch.setattr(tomllib, "loads", lambda text: parsed.append(len(text)) or loads(text))
    with pytest.raises(BadInput) as refused:
        load(path)
    assert parsed.count(len(text)) == 1
    assert sum(parsed) < len(text) + 10_000  # a table of the engine may be read for the first time
    assert len(refused.value.faults) <= 201
    assert len(str(refused.value)) < 60_000
    assert all(int(fault.where.removeprefix(f"{path}:").split(":")[0]) > 1 for fault in refused.value.faults)


def test_of_very_many_faults_the_first_are_told_and_the_rest_counted(tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    path.write_text(filled() + "\n[[tank]]\n" * 30, encoding="utf-8")
    with pytest.raises(BadInput) as refused:
        load(path)
    said = [str(fault) for fault in refused.value.faults if ".live_water: " in str(fault)]
    assert len(said) == 21
    assert "10 more of this kind" in said[-1]
    faults = refused.value.faults * 10
    assert [*the_first(faults)][:200] == list(faults[:200])
    assert f"and {len(faults) - 200} faults more" in str(the_first(faults)[-1])


def test_more_tanks_than_anybody_has_are_counted_not_read(tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    path = tmp_path / "house.toml"
    path.write_text(filled() + "\n[[tank]]\n" * 100, encoding="utf-8")
    done = tapwright("check", path)
    assert done.code == 2
    assert "tank: 101 are given; 100 at most are read." in done.err
    assert len(done.err.splitlines()) == 1
