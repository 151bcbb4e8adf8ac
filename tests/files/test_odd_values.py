"""Whatever stands behind a key of a household file, the message is short, in plain words, and shows no more than it may."""

from __future__ import annotations

import re
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import DEMO, Outcome
from hypothesis import given
from hypothesis import strategies as st

from tapwright.chemistry.words import LONGEST, nearest, quoted, shown, told
from tapwright.cli.files.household_template import filled

_BANDS = """[tank.bands]
hardness = ["8 dGH", "12 dGH"]
alkalinity = ["10 dKH", "14 dKH"]
calcium_to_magnesium = [0.5, 3]
sodium = ["0 mg/L", "60 mg/L"]
conductivity = ["300 uS/cm", "500 uS/cm"]
ph_aerated = [8.2, 8.8]
"""
# Every key of a file with a value of its own, and those of the tables that stand in one line.
WHOLE = re.sub(r"(?m)^target = .*$", "", filled(optional=True)) + _BANDS
_ENTRY = re.compile(r"(?m)^(\w+) = ([^\n#]+?)( *#.*)?$")
_INNER = re.compile(r'(\w+) = ("[^"]*"|[\d.]+)')

ODD = {
    "date": "2026-01-01", "time": "10:30:00", "moment": "2026-01-01T10:00:00Z", "yes": "true", "number": "-7.5",
    "nested list": '[[1, ["a", true]], 2026-01-01]', "pair": '["a", false]', "table": '{ a = "b", "c d" = [1] }',
    "large whole number": "0x" + "f" * 9000, "large number": "1e308", "infinity": "-inf", "no number": "nan",
    "control characters": '"\\u0007\\u001b[31m 5 L"', "line ends": '"5 L\\n\\r\\u0085\\u2028 2"',
    "right to left": '"\\u202e5 L\\u2066"',
    "right to left, raw": '"\u202e5 L\u2066"', "no text": '""', "blanks": '"  "', "long text": f'"{"5 L " * 50_000}"',
    "digits": f'"{"9" * 5000} L"', "bell in a key": '{ "\\u0007\\u202e" = 1 }',
}  # fmt: skip
# How the language or a library would say it.
_NOT_FOR_PEOPLE = re.compile(
    r"datetime|\bTrue\b|\bFalse\b|\bNone\b|<class|<built|object\b|Decimal|\\x|Input should|validation|pydantic|Error\b|'str'"
)


def allowed(key: str, value: str) -> bool:
    """Whether this odd value is just what the key wants."""
    return (key.startswith("last_") and value == "date") or (key == "siphon" and value == "yes")


def judge(done: Outcome, path: Path) -> list[str]:
    """What every refusal keeps to; the lines it names."""
    assert done.code == 2
    assert done.out == ""
    said = [line.replace(str(path), "house.toml") for line in done.err.split("\n")[:-1]]
    assert said
    for line in said:
        assert line.isprintable(), ascii(line)
        assert not _NOT_FOR_PEOPLE.search(line), line
        assert len(line) < 300, line
    return [line.split(":")[1] for line in said]


@pytest.mark.parametrize("name", ODD)
def test_an_odd_value_is_told_in_plain_words_whatever_the_key(
    name: str, tmp_path: Path, tapwright: Callable[..., Outcome]
) -> None:
    """All keys at once, and each has its line in the answer."""
    path = tmp_path / "house.toml"
    text = _ENTRY.sub(lambda entry: entry[0] if allowed(entry[1], name) else f"{entry[1]} = {ODD[name]}", WHOLE)
    path.write_text(text, encoding="utf-8", newline="\n")
    numbers = set(judge(tapwright("check", path), path))
    wanted = {
        str(number)
        for number, line in enumerate(text.split("\n"), 1)
        if (entry := _ENTRY.match(line[:400])) and not allowed(entry[1], name)
    }
    assert numbers >= wanted


@pytest.mark.parametrize("name", ODD)
def test_so_it_is_in_tables_of_one_line(name: str, tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    path = tmp_path / "house.toml"
    lines = [
        _INNER.sub(lambda inner: f"{inner[1]} = {ODD[name]}", line) if " = {" in line else line
        for line in WHOLE.split("\n")
    ]
    path.write_text("\n".join(lines), encoding="utf-8", newline="\n")
    judge(tapwright("check", path), path)


@given(data=st.data())
def test_an_odd_value_alone_lets_the_cross_checks_judge_the_rest(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    from tapwright.cli.files.household_file import BadInput, load

    entries = list(_ENTRY.finditer(WHOLE))
    entry, name = data.draw(st.sampled_from(entries)), data.draw(st.sampled_from(sorted(ODD)))
    if allowed(entry[1], name):
        return
    path = tmp_path_factory.getbasetemp() / "alone.toml"
    text = f"{WHOLE[: entry.start()]}{entry[1]} = {ODD[name]}{WHOLE[entry.end() :]}"
    path.write_text(text, encoding="utf-8", newline="\n")
    with pytest.raises(BadInput) as refused:
        load(path)
    judge(Outcome(2, "", "".join(f"{fault}\n" for fault in refused.value.faults)), path)


@pytest.mark.parametrize("key", ["flow", "name", "last_filter_service", "siphon", "target", "fittings"])
def test_ten_megabytes_are_not_printed_back(key: str, tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    path = tmp_path / "house.toml"
    long = '"' + "x" * 10_000_000 + '"'
    path.write_text(re.sub(rf"(?m)^{key} = .*$", f"{key} = {long}", filled(optional=True), count=1), encoding="utf-8")
    judge(tapwright("check", path), path)


@pytest.mark.parametrize(
    "line",
    ["flow = " + "9" * 100_000, "x" * 100_000, "flow = 1\u202e", 'flow = "\\q"', "flow = \u0007", "a.b = 1\na = 2",
     "[tap]", "[[tap]]", "tap = 1", 'x = { a = 1, a = 2 }', "x = { a = 1 }\n[x.a]", "x = [1, 2", 'x = "\u0007"',
     "x = 2026-13-01",      'x = """', "x = 'a\nb'", "[x", "= 1", "x = \\", 'x = "\\u12"', 'x = "\\ud800"'],
)  # fmt: skip
def test_lines_that_are_no_toml_are_told_in_plain_words(
    line: str, tmp_path: Path, tapwright: Callable[..., Outcome]
) -> None:
    path = tmp_path / "house.toml"
    path.write_text(f"{filled()}\n{line}\n", encoding="utf-8", newline="\n")
    judge(tapwright("check", path), path)


@pytest.mark.parametrize("key", ['"\u202ex"', '"\\u0007"', '""', '"' + "k" * 100_000 + '"', '"²"', '"1"', '"a b"'])
def test_odd_keys_are_shown_escaped_and_cut(key: str, tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    path = tmp_path / "house.toml"
    path.write_text(filled().replace("[tap] ", f"[tap]\n{key} = 1 #", 1), encoding="utf-8", newline="\n")
    judge(tapwright("check", path), path)
    path.write_text(f"{key} = 1\n[claim]\n{key} = 2\n[[content]]\n{key} = 3\n", encoding="utf-8", newline="\n")
    assert {"1", "3", "5"} <= set(judge(tapwright("label", path), path))


@pytest.mark.parametrize("name", ODD)
def test_a_label_file_tells_odd_values_alike(name: str, tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    path = tmp_path / "label.toml"
    text = (f"dose = {ODD[name]}\nin = {ODD[name]}\n[claim]\nraises = {ODD[name]}\nby = {ODD[name]}\n"
            f"[[content]]\nsubstance = {ODD[name]}\namount = {ODD[name]}\n")  # fmt: skip
    path.write_text(text, encoding="utf-8", newline="\n")
    judge(tapwright("label", path), path)


@given(st.text(st.characters(codec="utf-8")), st.integers(10, 80))
def test_a_text_is_shown_on_one_line_and_no_longer_than_asked(text: str, most: int) -> None:
    assert shown(text, most).isprintable()
    assert len(shown(text, most)) <= most
    assert len(quoted(text)) <= LONGEST + 2
    if text.isprintable() and len(text) <= most:
        assert shown(text, most) == text


plain = st.none() | st.booleans() | st.integers() | st.floats() | st.dates() | st.times() | st.datetimes() | st.text()


@given(st.recursive(plain, lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner)))
def test_every_value_is_told_on_one_line(value: object) -> None:
    said = told(value)
    assert said.isprintable()
    assert len(said) <= LONGEST + 2
    assert isinstance(value, str | dict | list) or not _NOT_FOR_PEOPLE.search(said)


def test_a_word_without_end_resembles_nothing() -> None:
    assert nearest("temperatur", ["temperature", "flow"]) == ["temperature"]
    assert nearest("temperature" * 1000, ["temperature"]) == []


def test_the_plotting_library_and_its_environment_change_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tapwright: Callable[..., Outcome]
) -> None:
    """Sheets and charts are drawn without it, whether it is there or not."""
    house = tmp_path / DEMO.name
    shutil.copy(DEMO, house)
    on = ("--tank", "Rock wall", "--now", "2026-03-14 18:00")
    assert tapwright("log", "import", house, DEMO.parent / "log.csv").code == 0
    for number in range(2):
        if number:
            monkeypatch.setitem(sys.modules, "matplotlib", None)
            monkeypatch.setenv("MPLBACKEND", "foo")
            monkeypatch.setenv("MATPLOTLIBRC", str(tmp_path / "nowhere"))
        for words in (("sheet", house, *on[:2], "--output", tmp_path / f"{number}.html"),
                      ("nitrate", house, *on, "--chart", tmp_path / f"{number}.svg")):  # fmt: skip
            done = tapwright(*words)
            assert (done.code in (0, 1), done.err) == (True, "")
    for kind in ("html", "svg"):
        plain, named = ((tmp_path / f"{number}.{kind}").read_text(encoding="utf-8") for number in (0, 1))
        assert "<svg" in plain
        assert plain == named
