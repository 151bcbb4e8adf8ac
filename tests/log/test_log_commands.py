"""The log from the command line: what is written down, what is refused and how, CSV out and in, JSON."""

from __future__ import annotations

import csv
import io
import shlex
import sqlite3
import time
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from functools import cache
from pathlib import Path
from shutil import copy
from tempfile import TemporaryDirectory
from typing import Any
from unittest.mock import Mock, patch

import pytest
import typer.main
from conftest import Outcome
from hypothesis import given
from hypothesis import strategies as st

from log.test_logbook import MEMORY, at_once, at_statement
from tapwright.chemistry import units
from tapwright.cli.log import commands as log_commands
from tapwright.cli.log import csv as log_csv
from tapwright.cli.log.entries import PARTS, QUANTITIES, Entry, faults_of
from tapwright.cli.log.logbook import Logbook, path_of

Log = Callable[..., Outcome]
Taken = Callable[[str | bytes], Outcome]
# A log must not wait until everything else in the household file is right.
HOUSE = '[tap]\nhardness = 12\n[[tank]]\nname = "Rock wall"\nvolume = "?"\n[[tank]]\nname = "Shell bay"\n'
TANKS = ("Rock wall", "Shell bay", 'Fred\'s "big", one')
NOW = datetime(2026, 3, 20, 12, 0, tzinfo=timezone(timedelta(hours=1)))
ROCK, AT = ("--tank", "Rock wall"), "2026-03-14T18:30:00+01:00"
HEAD = ",".join(log_csv.COLUMNS) + "\r\n"
# Made anew for each of hundreds of runs, commands and options would take nine tenths of the time.
MADE_ONCE = cache(typer.main.get_command)


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(log_commands, "now", lambda: NOW)
    (tmp_path / "Schrank Süd, 水").mkdir()
    file = tmp_path / "Schrank Süd, 水" / "my house.toml"
    file.write_text(HOUSE, encoding="utf-8")
    return file


@pytest.fixture
def log(house: Path, tapwright: Callable[..., Outcome], monkeypatch: pytest.MonkeyPatch) -> Log:
    monkeypatch.setattr(typer.main, "get_command", MADE_ONCE)
    return lambda command, *words: tapwright("log", command, house, *words)


def entries(log: Log, *words: object) -> Any:
    return log("list", "--undone", "--last", 9999, *words, "--json").json["result"]["entries"]


def reading(*cells: object) -> dict[str, Any]:
    names = ("quantity", "value", "unit", "test", "below", "above")
    return {"kind": "reading"} | dict.fromkeys(names) | dict(zip(names, cells, strict=False))


READ: list[tuple[str, tuple[Any, ...], str]] = [
    ("nitrate 20 mg/L NO3, chart, below 10, above 40", ("nitrate", 20, "mg/L NO3", "chart", 10, 40),
     "nitrate 20 mg/L NO3 (chart, between 10 and 40)"),
    ("NITRATE 20mg/l no3,Strip,ABOVE 4e1,Below 1.5", ("nitrate", 20, "mg/l no3", "strip", 1.5, 40), "between 1.5 and 40)"),
    ("nitrate 0 mg/L N, chart, above 5", ("nitrate", 0, "mg/L N", "chart", None, 5), "between the first step and 5)"),
    ("ammonia 5 ppm N, chart, below 3, above NONE", ("ammonia", 5, "ppm N", "chart", 3, None), "between 3 and the last step)"),
    ("nitrate 225.8 mg/L N, photometer", ("nitrate", 225.8, "mg/L N", "photometer"), "nitrate 225.8 mg/L N (photometer)"),
    ("chlorine 0 mg/L, drops", ("chlorine", 0, "mg/L", "drops"), ""), ("ph 8.2, meter", ("ph", 8.2, None, "meter"), "ph 8.2 ("),
    ("alkalinity 0 dKH, drops", ("alkalinity", 0, "dKH", "drops"), ""), ("pH 11 pH, meter", ("ph", 11, "pH", "meter"), ""),
    ("temperature 32 degF, laboratory", ("temperature", 32, "degF", "laboratory"), "temperature 32 degF (laboratory)"),
]  # fmt: skip
OTHERS: list[tuple[tuple[str, ...], dict[str, Any], str]] = [
    (("--change", "40%"), {"kind": "change", "share": 0.4}, "changed 40%"),
    (("--change", "100%"), {"kind": "change", "share": 1.0}, "changed 100%"),
    (("--change", "230 L", "--note", "late"), {"kind": "change", "volume_l": 230.0, "note": "late"}, "changed 230 L: late"),
    (("--change", "0.03 m3", "--dosed", "4 g soda", "--dosed", "5 mL chalk"),
     {"kind": "change", "volume_l": 30.0, "dosed": "4 g soda; 5 mL chalk"}, "changed 30 L; dosed 4 g soda; 5 mL chalk"),
    (("--service", " Filter ", "--note", "two"), {"kind": "service", "part": "filter", "note": "two"}, "filter serviced: two"),
    (("--note", 'fry, "a" [12] :fish: 水'), {"kind": "note", "note": 'fry, "a" [12] :fish: 水'}, 'fry, "a" [12] :fish: 水'),
]  # fmt: skip


def test_what_is_written_stands_as_it_was_meant(log: Log) -> None:
    readings = [word for text, *_ in READ for word in ("--reading", text)]
    pages = [log("add", *ROCK, "--at", AT, *words) for words in (readings, *(words for words, *_ in OTHERS))]
    assert {(page.code, page.err) for page in pages} == {(0, "")}
    stand = [reading(*meant) for _, meant, _ in READ] + [fields for _, fields, _ in OTHERS]
    lines = "".join(page.out for page in pages).splitlines()
    for number, (line, (*_, said)) in enumerate(zip(lines, [*READ, *OTHERS], strict=True), 1):
        assert line.startswith(f"Entry {number}, 2026-03-14 18:30, Rock wall: ")
        assert said in line
    found = entries(log)
    always = {"tank": "Rock wall", "at": AT, "at_s": 1773509400.0, "note": "", "written": NOW.isoformat(), "uid": ""}
    assert [entry | {"uid": ""} for entry in found] == [
        dict.fromkeys(Entry._fields) | always | {"number": number} | fields for number, fields in enumerate(stand, 1)
    ]
    assert len({entry["uid"] for entry in found}) == len(found)
    (last,) = log("add", *ROCK, "--note", "x", "--json").json["result"]["entries"]
    assert (last, last["at"], last["at_s"]) == (entries(log)[-1], NOW.isoformat(), NOW.timestamp())


UNREAD = [
    ("nitrate", "'nitrate' is read; what, how much and its unit are wanted"), ("ph ?, meter", "'ph ?' is read; what"),
    ("nitrate 20,5 mg/L NO3, drops", "'20,5' has a comma; the decimal sign is a point"), ("ph 8.2.5, drops", "'8.2.5' is no"),
    ("ph 8", "'ph 8' does not say how it was read. Add chart"), ("ph 8, eye", "'eye' is no kind of test and no step"),
    ("ph 8, meter, drops", "'drops': test is given twice"), ("ph 8, strip, below ten", "'ten' is no number"),
    ("ph 7, chart, below 6, above inf", "'inf' is no number"),
    ("ph 8, chart, above 9, above 10, below 7", "'above 10': above is given twice"), ("ph 8, chart, below 7", "the step above"),
]  # fmt: skip
UNSOUND = [
    ("iron 1 mg/L, drops", "'iron' is nothing that is read here. Write nitrate"), ("nitrate 20, drops", "'20 ' has no unit"),
    ("ph 7, chart, below 6, above 16", "16 cannot be. Up to 14 pH."), ("ph 8, chart, below 8, above 9", "on either side"),
    ("nitrate 20 ppm, drops", "'20 ppm' is ambiguous; say what it is counted as: 'mg/L NO3'"), ("ph 15, meter", "15 cannot be"),
    ("nitrate 226 mg/L N, drops", "226 mg/L N cannot be. Up to 1000 mg/L NO3."), ("ph -1, meter", "-1 cannot be"),
    ("temperature 213 degF, meter", "213 degF cannot be. Up to 100 °C."), ("ph 9, meter, below 7", "no place with test meter"),
    ("temperature 31 degF, meter", "31 degF cannot be"), ("ph 7, chart, below 6, above 7", "on either side of it"),
    ("temperature 26 dGH, meter", "'26 dGH' is a hardness; a temp"), ("ph 8 dGH, meter", "'dGH' is read; pH has no unit"),
]  # fmt: skip
REFUSED: list[tuple[tuple[str, ...], str]] = [
    ((), "log add: one of --reading, --change, --service or --note is wanted"),
    (("--change", "5%", "--service", "filter"), "log add: one of"), (("--note", "a\nb"), "--note: holds a control character"),
    (("--note", "x", "--dosed", "4 g soda"), "--dosed: belongs to a change"), (("--note", ""), "--note: a note without words"),
    (("--note", "x", "--at", "2026-03-14"), "--at: '2026-03-14' has no"), (("--note", "x", "--at", "7.3.2026"), "--at: '7.3.2"),
    (("--note", "x", "--at", "2026-03-20T12:00:01+01:00"), "--at: 2026-03-20T12:00:01+01:00 lies in the future"),
    (("--note", "x", "--at", "1969-12-31T23:00Z"), "--at: '1969-12-31T23:00Z' lies outside the years 1970 to 2096"),
    (("--note", "x", "--at", "9999-12-31 23:59"), "--at: '9999-12-31 23:59' lies outside the years 1970 to 2096"),
    (("--service", "pump"), "--service: 'pump' is nothing that is"), (("--change", "0 L"), "--change: '0 L' is read; more"),
    (("--change", "40"), "--change: '40' has no unit"), (("--change", "4 g"), "--change: '4 g' is a mass; a share is wanted"),
    (("--change", "5%", "--dosed", "soda"), "--dosed: 'soda' is"), (("--change", "5%", "--dosed", "4 h sun"), "--dosed: '4 h"),
    (("--change", "5%", "--dosed", "4 g a\tb"), "--dosed: holds a control character"),
    (("--tank", "Rock", "--note", "x"), "--tank: there is no tank named 'Rock' in the file. Write 'Rock wall' or 'Shell bay'"),
]  # fmt: skip


@pytest.mark.parametrize(("words", "said"), REFUSED, ids=[f"{' '.join(words)}!" for words, _ in REFUSED])
def test_what_is_refused_is_named_and_leaves_nothing(words: tuple[str, ...], said: str, log: Log, house: Path) -> None:
    done = log("add", *ROCK, *words)
    assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
    assert done.err.startswith(said)
    (fault,) = log("add", *ROCK, *words, "--json").json["error"]["faults"]
    assert fault["where"] == said.split(": ")[0]
    assert list(house.parent.iterdir()) == [house]


@pytest.mark.parametrize("faulty", [UNREAD, UNSOUND], ids=["cannot be read", "cannot be"])
def test_every_faulty_reading_is_named_at_once(faulty: list[tuple[str, str]], log: Log, house: Path) -> None:
    texts = ("ph 8, meter", *(text for text, _ in faulty), "ph 7, meter")
    done = log("add", *ROCK, *(word for text in texts for word in ("--reading", text)))
    assert (done.code, done.out) == (2, "")
    for line, (_, said) in zip(done.err.splitlines(), faulty, strict=True):
        assert line.startswith("--reading")
        assert said in line
    assert list(house.parent.iterdir()) == [house]


def test_a_time_without_zone_is_that_of_the_machine(log: Log, monkeypatch: pytest.MonkeyPatch) -> None:
    meant = {"2026-03-01 18:30": ("2026-03-01T18:30:00-05:00", 1772407800.0),
             "20260314T1830": ("2026-03-14T18:30:00-04:00", 1773527400.0),
             "2026-03-14T18:30+05:45": ("2026-03-14T18:30:00+05:45", 1773492300.0),
             "2026-03-14 18:30:00.5Z": ("2026-03-14T18:30:00.500000+00:00", 1773513000.5)}  # fmt: skip
    with monkeypatch.context() as machine:
        machine.setenv("TZ", "EST5EDT,M3.2.0,M11.1.0")
        time.tzset()
        for at, (stands, at_s) in meant.items():
            (entry,) = log("add", *ROCK, "--note", "x", "--at", at, "--json").json["result"]["entries"]
            assert (entry["at"], entry["at_s"]) == (stands, at_s)
    time.tzset()


def test_list_and_undo(log: Log, house: Path) -> None:
    assert all("there is no logbook yet" in log(command).err for command in ("list", "undo"))
    said = [("--note", "first"), ("--service", "parts"), ("--note", "second"), ("--change", "5%")]
    for day, words in enumerate(said):
        log("add", "--tank", TANKS[day % 2], *words, "--at", f"2026-03-1{9 - day} 10:00Z")
    page = log("list").out
    assert " ".join(page.split()).startswith(f"Log of {house}: 4 entries 4 2026-03-16 10:00 Shell bay: changed 5% 3 ")
    assert log("list", "--last", 3, "--json").json["result"]["of"] == 4
    assert [line.split()[0] for line in page.splitlines()[-5:-1]] == ["4", "3", "2", "1"]
    assert [entry["number"] for entry in entries(log, *ROCK)] == [3, 1]
    assert [entry["number"] for entry in entries(log, *ROCK, "--kind", "note", "--last", 1)] == [1]
    assert [entry["number"] for entry in entries(log, "--kind", "service")] == [2]
    assert ": the last 3 of 4\n" in log("list", "--last", 3).out
    assert log("undo").out == "Taken back, and kept: entry 4, 2026-03-16 10:00, Shell bay: changed 5%\n"
    assert log("undo", "--number", 2, "--json").json["result"]["entry"]["undone"] == NOW.isoformat()
    assert log("undo").out.startswith("Taken back, and kept: entry 3")
    assert ": 1 entry, 3 taken back not shown " in " ".join(log("list").out.split())
    page = log("list", "--undone").out
    assert page.count("TAKEN BACK: ") == 3
    assert "3  2026-03-17 10:00  Rock wall: TAKEN BACK: second" in page
    assert f"entry 2 was taken back already, at {NOW.isoformat()}" in log("undo", "--number", 2).err
    assert "there is no entry 0" in log("undo", "--number", 0).err
    assert log("undo").code == 0
    assert "no entry stands that could be taken back" in log("undo").err
    assert log("add", *ROCK, "--note", "x", "--json").json["result"]["entries"][0]["number"] == 5
    for words in (("--kind", "fish"), ("--last", 0), ("--tank", "Bay")):
        assert log("list", *words).err.startswith(f"{words[0]}: ")


def test_every_answer_and_refusal_is_one_document(log: Log, tmp_path: Path) -> None:
    for command, words, keys in (
        ("add", (*ROCK, "--note", "x"), {"entries"}), ("list", (), {"entries", "of"}), ("undo", (), {"entry"}),
        ("export", (tmp_path / "a",), {"file", "entries"}), ("import", (tmp_path / "a",), {"file", "added", "known"}),
    ):  # fmt: skip
        done, refusal = log(command, *words, "--json"), log(command, *words, "--fish", "--json")
        assert (done.code, done.err, done.json["command"], set(done.json["result"])) == (0, "", f"log {command}", keys)
        assert (refusal.code, refusal.err, refusal.json["command"]) == (2, "", f"log {command}")
        assert (refusal.json["error"]["kind"], set(refusal.json) - set(done.json)) == ("bad_input", {"error"})


words = st.text(
    st.characters(exclude_categories=["C", "Z"]) | st.sampled_from(" ,;\"'=-+@\uff1d"), min_size=1, max_size=20
)
zones = st.integers(-86_000, 86_000).map(lambda seconds: timezone(timedelta(seconds=seconds)))
times = st.datetimes(datetime(1970, 1, 3), datetime(2026, 3, 18), timezones=zones)


@st.composite
def readings(draw: st.DrawFn) -> dict[str, Any]:
    quantity, (kind, most) = draw(st.sampled_from(list(QUANTITIES.items())))
    below, value, above = sorted(draw(st.lists(st.floats(0, most), min_size=3, max_size=3, unique=True)))
    found = reading(quantity, value, units.KINDS[kind].shown if kind in units.KINDS else None, "chart", below, above)
    return found | draw(st.sampled_from([{}, {"above": None}, {"value": 0.0, "below": None, "test": "strip"},
                                         {"below": None, "above": None, "test": "drops"}]))  # fmt: skip


KINDS = st.one_of(
    readings(), st.just({"kind": "note"}), st.sampled_from(PARTS).map(lambda part: {"kind": "service", "part": part}),
    st.builds(dict, kind=st.just("change"), share=st.floats(0, 1, exclude_min=True), dosed=st.none() | words),
    st.builds(dict, kind=st.just("change"), volume_l=st.floats(0, 1e5, exclude_min=True)),
)  # fmt: skip
REST = st.builds(dict, number=st.just(0), uid=st.uuids().map(str), tank=st.sampled_from(TANKS), note=words,
                 written=times.map(datetime.isoformat), undone=st.none() | times.map(datetime.isoformat))  # fmt: skip
WHEN = times.map(lambda at: {"at": at.isoformat(), "at_s": at.timestamp()})
ANY = st.builds(lambda kind, when, rest: Entry(**dict.fromkeys(Entry._fields) | rest | when | kind), KINDS, WHEN, REST)


@given(st.lists(ANY, max_size=8))
def test_out_and_in_again_is_the_same_to_the_last_bit(written: list[Entry]) -> None:
    assert [fault for entry in written for fault in faults_of(entry, str, NOW)] == []
    with TemporaryDirectory(dir=MEMORY) as name:
        files = [Path(name, file) for file in ("1.csv", "2.csv")]
        with Logbook(Path(name, "1.sqlite"), create=True) as one, Logbook(Path(name, "2.sqlite"), create=True) as two:
            one.add(written)
            assert log_csv.written(one.entries(), files[0], force=False) == len(written)
            read = log_csv.read(files[0], TANKS, NOW)
            assert log_csv.new_among(read, two.entries()) == (read, [])
            two.add(read)
            log_csv.written(two.entries(), files[1], force=False)
            assert files[0].read_bytes() == files[1].read_bytes()
            assert two.entries() == one.entries()
            assert log_csv.new_among(read, two.entries()) == ([], [])


def row(**cells: object) -> str:
    sound = {} if "kind" in cells else reading("nitrate", 20.0, "mg/L NO3", "chart", 10.0, 40.0)
    line, found = io.StringIO(), {"tank": "Rock wall", "at": AT} | sound | cells
    csv.writer(line).writerow([found.get(column, "") for column in log_csv.COLUMNS])
    return line.getvalue()


BAD: list[tuple[dict[str, object], str, str]] = [
    ({"value": "1,5"}, "value", "'1,5' is no number. Write 1.5."), ({"value": "nan"}, "value", "'nan' is no number"),
    ({"value": "1e999"}, "value", "is no number"), ({"below": "x"}, "below", "'x' is no number. Write a number with"),
    ({"value": ""}, "value", "not given, and a reading"), ({"value": "1001", "above": ""}, "value", "1001 mg/L NO3 cannot"),
    ({"unit": "ppm"}, "unit", "'20 ppm' is ambiguous"), ({"unit": ""}, "unit", "has no unit"),
    ({"quantity": ""}, "quantity", "'' is nothing that is read"), ({"below": "30"}, "below", "on either side"),
    ({"test": "nose", "below": "", "above": ""}, "test", "'nose' is no kind"), ({"above": "20"}, "below", "on either side"),
    ({"test": "drops", "below": ""}, "above", "has no place with test drops"), ({"share": "0.4"}, "share", "no place in a"),
    ({"part": "filter"}, "part", "'filter' has no place in a reading"), ({"tank": "Rock wal"}, "tank", "Write 'Rock wall'."),
    ({"tank": ""}, "tank", "Write 'Rock wall' or 'Shell bay'."), ({"at": ""}, "at", "'' is read; a day and a time"),
    ({"at": "2026-03-20T11:01Z"}, "at", "lies in the future"), ({"undone": "yes"}, "undone", "'yes' is read"),
    ({"written": "soon"}, "written", "'soon' is read"), ({"kind": "diary"}, "kind", "'diary' is no kind of entry"),
    ({"note": "a\tb"}, "note", "control character"), ({"uid": "known"}, "uid", "the same uid stands in line 2"),
    ({"kind": "change", "share": "0.4", "volume_l": "3"}, "share", "either a share or"), ({"below": ""}, "below", "not given;"),
    ({"kind": "change", "share": "0"}, "share", "a share of 0%"), ({"kind": "change", "share": "1.01"}, "share", "of 101%"),
    ({"kind": "change", "volume_l": "0"}, "volume_l", "0 L cannot"), ({"kind": "change"}, "share", "either a share or litres"),
    ({"kind": "change", "volume_l": "100001"}, "volume_l", "100001 L cannot"), ({"kind": "note"}, "note", "without words"),
    ({"kind": "service", "part": "pump"}, "part", "'pump' is nothing"), ({"kind": "service"}, "part", "'' is nothing that is"),
]  # fmt: skip


@pytest.fixture
def taken(log: Log, tmp_path: Path) -> Taken:
    def take(text: str | bytes) -> Outcome:
        (tmp_path / "sheet.csv").write_bytes(text.encode() if isinstance(text, str) else text)
        return log("import", tmp_path / "sheet.csv")

    return take


def test_every_bad_row_is_named_and_nothing_is_taken_in(taken: Taken, log: Log) -> None:
    log("add", *ROCK, "--note", "before")
    before = entries(log)
    done = taken(HEAD + row(uid="known") + "".join(row(**cells) for cells, *_ in BAD) + row())
    assert (done.code, done.out) == (2, "")
    said = [line.split("sheet.csv:")[1].split(": ", 2) for line in done.err.splitlines()]
    assert [(line, column) for line, column, _ in said] == [(str(n), bad[1]) for n, bad in enumerate(BAD, 3)]
    assert [words for (*_, words), (*_, part) in zip(said, BAD, strict=True) if part not in words] == []
    both = taken(HEAD + row(tank="x", at="y", value="z", undone="w")).err
    assert [line.split(": ")[1] for line in both.splitlines()] == ["value", "tank", "at", "undone"]
    assert entries(log) == before


def test_several_stand_together_or_not_at_all(taken: Taken, log: Log) -> None:
    log("add", *ROCK, "--note", "x")
    for last in range(1, 25):
        before = len(entries(log))
        with at_statement(last, Mock(side_effect=sqlite3.OperationalError("disk is full"))):
            codes = [log("add", *ROCK, *["--reading", "ph 8, meter"] * 3).code, taken(HEAD + row() * 3).code]
        assert len(entries(log)) == before + 3 * codes.count(0)


@pytest.mark.parametrize(("text", "said"), [
    ("", ":1: '' is read; a head with columns is wanted"), (HEAD, ": holds no entry below its head"),
    (HEAD.replace(",", ";"), ":1: 'uid;tank;at"), ("tank,at\nx,y", ":1: the column 'kind' is missing. Needed: tank, at, kind."),
    ("tank,at,kind,vlaue,fish\n", ":1: there is no column 'vlaue' here. Did you mean 'value'?"),
    ("tank,at,kind,note,note\n", ":1: 'note' stands twice."), (HEAD + row() + "a,b\n", ":3: 2 cells are read; the head has 17"),
    (HEAD + row() + row()[:-2] + ",\n", ":3: 18 cells are read"), (HEAD + row() + '"a', ":3: is no CSV: "),
    (HEAD + row() + '"a"b,', ":3: is no CSV: "), (HEAD.encode() + b"\xff\n", ": is not text in UTF-8"),
])  # fmt: skip
def test_what_is_no_sheet_is_refused(text: str | bytes, said: str, taken: Taken) -> None:
    done = taken(text)
    assert (done.code, done.out, f"sheet.csv{said}" in done.err) == (2, "", True)


def test_sheets_as_people_and_programs_write_them(taken: Taken, log: Log) -> None:
    small = (
        'kind,note, at ,tank\nnote,\' x \',20260314T1830,Rock wall\n\n,,,\nnote,"a ""b"", c",20260314T1830Z,Shell bay\n'
    )
    for text in (small, "\N{BOM}" + small, small.replace("\n", "\r\n"), small.replace("\n", "\r")):
        assert taken(text).out.startswith("2 entries of ")
    assert {(entry["note"], entry["tank"]) for entry in entries(log)} == {("' x '", TANKS[0]), ('a "b", c', TANKS[1])}
    assert "cannot be read: is a directory. Give the name of a CSV file." in log("import", ".").err


def test_out_of_one_log_into_another(log: Log, house: Path, tmp_path: Path, tapwright: Log) -> None:
    sheet, other = tmp_path / "a.csv", Path(copy(house, tmp_path / "other.toml"))
    for words, *_ in OTHERS:
        log("add", *ROCK, "--at", AT, *words)
    log("undo", "--number", 2)
    assert log("export", sheet).out.startswith(f"{len(OTHERS)} entries are in {sheet}")
    before = sheet.read_bytes()
    assert f"{sheet}: is there already and is left as it is" in log("export", sheet).err
    assert "cannot be written: " in log("export", tmp_path / "no" / "c.csv").err
    assert tapwright("log", "import", other, sheet).out == f"{len(OTHERS)} entries of {sheet} are in the log.\n"
    assert log("import", sheet).out == f"0 entries of {sheet} are in the log. {len(OTHERS)} stood in it already.\n"
    log("undo", "--number", 3)  # the sheet does not know of it, and must not bring it back
    assert log("import", sheet, "--json").json["result"] == {"file": str(sheet), "added": 0, "known": len(OTHERS)}
    assert [bool(entry["undone"]) for entry in entries(log)] == [False, True, True, False, False, False]
    assert tapwright("log", "export", other, sheet, "--force").code == 0
    assert sheet.read_bytes() == before
    sheet.write_bytes(before.replace(b"late", b"early") + row().encode())
    said = f"{sheet}: uid {entries(log)[2]['uid']}: the logbook has another entry under this uid"
    assert log("import", sheet).err.startswith(said)
    assert len(entries(log)) == len(OTHERS)


@pytest.mark.parametrize("line", [
    "list .", "list LONG", "export / x.csv", "undo HOUSE --number 9223372036854775808", "export HOUSE HOUSE --force",
    "export HOUSE LOG --force", "add HOUSE --tank 'Rock wall' --note '  '",
    "add HOUSE --tank 'Rock wall' --change 5% --dosed '4 g'", "add HOUSE --tank 'Rock wall' --change 5% --dosed '-4 g soda'",
])  # fmt: skip
def test_what_is_to_be_refused(line: str, house: Path, log: Log, tapwright: Log) -> None:
    log("add", *ROCK, "--note", "x")
    names = {"HOUSE": house, "LOG": path_of(house), "LONG": "x" * 300}
    done = tapwright("log", *(names.get(word, word) for word in shlex.split(line)))
    assert (done.code, done.err.count("\n"), "answer cannot be printed" in done.err) == (2, 1, False)
    assert len(entries(log)) == 1


@pytest.mark.parametrize("cells", [{"uid": "u"}, {"uid": "a\rb"}, {"unit": "mg/L\rNO3"}, {"written": f"{AT}\r"}])
def test_what_was_taken_in_comes_out_and_in(cells: dict[str, str], taken: Taken, log: Log, tmp_path: Path) -> None:
    log("add", *ROCK, "--note", "x")
    code = taken(HEAD + row(**cells)).code  # it may be refused, or taken in for good
    with patch.object(log_commands, "now", lambda: NOW + timedelta(days=1)):
        assert taken(HEAD + row(**cells)).code == code
    assert [log(command, tmp_path / "a.csv").code for command in ("export", "import")] == [0, 0]


def test_a_sheet_taken_in_by_two_at_once_stands_once(log: Log, tmp_path: Path) -> None:
    log("add", *ROCK, "--note", "x")  # not about who makes the logbook
    sheet = tmp_path / "sheet.csv"
    for go in range(10):
        rows = "".join(row(uid=f"{go} {number}") for number in range(100))
        sheet.write_text(
            HEAD + rows, encoding="utf-8", newline=""
        )  # before either reads it: no half file is meant here
        assert at_once([lambda say: say((done := log("import", sheet)).err or done.code)] * 2) == [[0], [0]]
    assert len(entries(log)) == 1001


def test_rows_of_a_wrong_length_do_not_hide_others(taken: Taken) -> None:
    assert all(f"sheet.csv:{line}: " in taken(HEAD + "a,b\n" + row(tank="x") + "a,b,c\n").err for line in (2, 3, 4))
