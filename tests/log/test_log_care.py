"""The log looked after: read where it may only be read, checked, backed up, restored, and kept apart from another's."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from functools import partial
from pathlib import Path
from unittest.mock import patch

import pytest
from conftest import DEMO, Outcome
from files.test_files import names, small_disk

from log.test_logbook import Child, note
from tapwright.cli.log import reading as log_reading
from tapwright.cli.log.logbook import Logbook, path_of

Run = Callable[..., Outcome]
HOUSE = '[[tank]]\nname = "Rock wall"\n[[tank]]\nname = "Shell bay"\n'


@pytest.fixture
def house(tmp_path: Path) -> Path:
    file = tmp_path / "here" / "house.toml"
    file.parent.mkdir()
    file.write_text(HOUSE, encoding="utf-8")
    return file


@pytest.fixture
def log(house: Path, tapwright: Run) -> Run:
    return lambda command, *words: tapwright("log", command, house, *words)


def added(log: Run, *texts: str) -> None:
    for text in texts:
        assert log("add", "--tank", "Rock wall", "--note", text).code == 0


def listed(done: Outcome) -> list[str]:
    return [entry["note"] for entry in done.json["result"]["entries"]]


@contextmanager
def only_read(folder: Path) -> Iterator[None]:
    """The folder mounted over itself so that even root may not write to it; skipped where that is not allowed."""
    for words in (["--bind", folder, folder], ["-o", "remount,bind,ro", folder]):
        done = subprocess.run(["mount", *words], capture_output=True, check=False)
        if done.returncode:
            subprocess.run(["umount", folder], capture_output=True, check=False)
            pytest.skip("may not mount here")
    try:
        yield
    finally:
        subprocess.run(["umount", folder], check=True)


def killed_writing(path: Path, text: str = "left in the journal") -> None:
    """Leaves entries in the write-ahead journal alone, as a killed process does."""

    def write(_: object) -> None:
        book = Logbook(path, create=True)
        book.add([note(text, note=text)])
        os.kill(os.getpid(), signal.SIGKILL)

    Child(partial(write)).rest()
    assert path.with_name(f"{path.name}-wal").stat().st_size


# --- read where it may only be read -------------------------------------------------------------------------------


@pytest.mark.parametrize("journal", ["gone", "older", "left", "left without its index", "empty"])
def test_a_log_is_read_where_nothing_may_be_written(journal: str, house: Path, log: Run, tmp_path: Path) -> None:
    added(log, "one", "two")
    path = path_of(house)
    if journal == "older":  # what stood before logs knew their household
        with closing(sqlite3.connect(path)) as raw:
            raw.executescript("DROP TABLE household; DROP TABLE logbook; PRAGMA user_version = 1;")
    if journal.startswith("left"):
        killed_writing(path)
    if journal == "left without its index":
        path.with_name(f"{path.name}-shm").unlink(missing_ok=True)
    if journal == "empty":
        path.with_name(f"{path.name}-wal").touch()
    meant = ["one", "two"] + ["left in the journal"] * journal.startswith("left")
    before = {file.name: file.read_bytes() for file in house.parent.iterdir()}
    with only_read(house.parent):
        done = log("list", "--json")
        assert (done.code, done.err, sorted(listed(done))) == (0, "", sorted(meant))
        assert log("export", tmp_path / "out.csv").code == 0
        assert log("check").code == 0
        assert log("backup", tmp_path / "copy.db").code == 0
        refused = log("add", "--tank", "Rock wall", "--note", "x")
        assert (refused.code, refused.err.count("\n")) == (2, 1)
        assert {file.name: file.read_bytes() for file in house.parent.iterdir()} == before
    with Logbook(tmp_path / "copy.db", create=False) as book:
        assert sorted(entry.note for entry in book.entries()) == sorted(meant)


def test_nitrate_and_sheet_read_a_log_that_may_only_be_read(house: Path, tapwright: Run, tmp_path: Path) -> None:
    house.write_bytes(DEMO.read_bytes())
    assert tapwright("log", "import", house, DEMO.parent / "log.csv").code == 0
    with only_read(house.parent):
        assert tapwright("nitrate", house, "--tank", "Rock wall", "--now", "2026-03-15 12:00").code == 0
        done = tapwright("sheet", house, "--tank", "Rock wall", "-o", tmp_path / "s.html", "--json")
    assert done.code == 0
    assert "log_unread" not in {finding["code"] for finding in done.json["findings"]}


def test_a_sheet_says_that_it_could_not_read_the_log(house: Path, tapwright: Run, tmp_path: Path) -> None:
    house.write_bytes(DEMO.read_bytes())
    path_of(house).write_bytes(b"no logbook at all" * 99)
    page = tmp_path / "s.html"
    with patch("tapwright.cli.sheet.command._charts", return_value=[]):
        done = tapwright("sheet", house, "--tank", "Rock wall", "-o", page)
    assert (done.code, done.err) == (0, "")
    for text in (done.out, page.read_text(encoding="utf-8")):
        assert "The log could not be read" in " ".join(text.split())


# --- empty, another's, restored -----------------------------------------------------------------------------------


def test_an_empty_log_is_said_and_nothing_is_made_of_it(house: Path, log: Run) -> None:
    path_of(house).touch()
    for command, words in (("add", ("--tank", "Rock wall", "--note", "x")), ("list", ()), ("undo", ()), ("check", ()),
                           ("backup", ("x.db",)), ("export", ("x.csv",)), ("adopt", ())):  # fmt: skip
        done = log(command, *words)
        assert (done.code, done.out) == (2, "")
        assert "is empty: a logbook never is. Restore a backup in its place, or remove it" in done.err
    assert path_of(house).stat().st_size == 0
    path_of(house).unlink()
    added(log, "anew")


def test_a_log_of_another_household_is_refused_for_writing_and_reckoning(house: Path, log: Run, tapwright: Run) -> None:
    added(log, "mine")
    for text, code in (
        (HOUSE.replace("Rock wall", "Reef"), 0), (HOUSE + '[[tank]]\nname = "Cube"\n', 0), (HOUSE.replace("Shell bay", "x"), 0),
    ):  # fmt: skip
        house.write_text(text, encoding="utf-8")
        tank = text.split('"')[3]  # one tank at a time is renamed, added or sold: the household stays the same
        assert log("add", "--tank", tank, "--note", tank).code == code
    house.write_text('[[tank]]\nname = "Elsewhere"\n', encoding="utf-8")
    for command, words in (("add", ("--tank", "Elsewhere", "--note", "x")), ("undo", ())):
        done = log(command, *words)
        assert (done.code, done.out) == (2, "")
        assert "is the log of another household, with 'Rock wall', 'x'" in done.err and "'Elsewhere'" in done.err
    assert [finding["code"] for finding in log("check", "--json").json["findings"]] == ["log_of_another"]
    assert log("check").code == 1
    count = log("list", "--json").json["result"]["of"]  # looking at it, or saving it, harms nobody
    assert (count, log("export", house.with_name("a.csv")).code, log("backup", house.with_name("a.db")).code) == (
        4,
        0,
        0,
    )
    assert log("adopt").code == 0  # they were all renamed at once
    assert log("add", "--tank", "Elsewhere", "--note", "x").code == 0


def test_nitrate_of_another_household_is_refused(house: Path, tapwright: Run) -> None:
    house.write_text(DEMO.read_text(encoding="utf-8"), encoding="utf-8")
    other = house.with_name("other.toml")
    other.write_text('[[tank]]\nname = "Elsewhere"\n', encoding="utf-8")
    assert tapwright("log", "add", other, "--tank", "Elsewhere", "--note", "x").code == 0
    path_of(other).rename(path_of(house))
    assert "is the log of another household" in tapwright("nitrate", house, "--tank", "Rock wall").err
    done = tapwright("sheet", house, "--tank", "Rock wall", "-o", house.with_name("s.html"), "--json")
    assert "log_unread" in {finding["code"] for finding in done.json["findings"]}


def test_a_backup_holds_everything_and_a_restored_one_says_so_once(house: Path, log: Run, tmp_path: Path) -> None:
    added(log, "one")
    killed_writing(path_of(house))
    copy = tmp_path / "copy.db"
    done = log("backup", copy)
    assert done.out.startswith(f"2 entries are in {copy}")
    assert names(tmp_path) == ["copy.db", "here"]
    with closing(sqlite3.connect(f"{copy.as_uri()}?immutable=1", uri=True)) as raw:  # whole in itself
        assert raw.execute("SELECT count(*) FROM entry").fetchone() == (2,)
        assert raw.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    added(log, "lost")
    assert log("list", "--json").json["findings"] == []
    shutil.copyfile(copy, path_of(house))
    for command in ("list", "check", "list"):
        assert "This log was restored from the backup made on " in " ".join(log(command).out.split())
    found = log("add", "--tank", "Rock wall", "--note", "lost", "--json").json["findings"]
    assert [finding["code"] for finding in found] == ["log_restored"]
    assert log("list", "--json").json["findings"] == []
    assert listed(log("list", "--json")) == ["left in the journal", "one", "lost"]


@pytest.mark.parametrize("then", ["restored", "anew"])
def test_the_journal_of_the_log_before_is_never_mixed_in(then: str, house: Path, log: Run, tmp_path: Path) -> None:
    added(log, "one")
    path = path_of(house)
    assert log("backup", tmp_path / "copy.db").code == 0
    added(log, *map(str, range(40)))
    killed_writing(path)
    journal = path.with_name(f"{path.name}-wal")
    if then == "restored":
        shutil.copyfile(tmp_path / "copy.db", path)
    else:
        path.unlink()
    left = {file.name: file.read_bytes() for file in house.parent.iterdir()}
    refused = [log("add", "--tank", "Rock wall", "--note", "x")]
    if then == "restored":
        refused += [log("list"), log("check"), log("undo")]
    for done in refused:
        assert (done.code, done.out) == (2, "")
        assert f"beside it lies {journal.name}, the journal of a log that stood here before" in done.err
    assert {file.name: file.read_bytes() for file in house.parent.iterdir()} == left
    journal.rename(tmp_path / "kept")  # the way out that the message names
    assert log("add", "--tank", "Rock wall", "--note", "two").code == 0
    assert listed(log("list", "--json")) == (["one", "two"] if then == "restored" else ["two"])
    assert log("check").code == 0


def test_a_journal_of_its_own_is_no_other_logs(house: Path, log: Run, tmp_path: Path) -> None:
    """Killed after every kind of opening, among them the first after a restore: what is beside it then belongs to it."""
    killed_writing(path_of(house))
    assert listed(log("list", "--json")) == ["left in the journal"]
    assert log("backup", tmp_path / "copy.db").code == 0
    for file in house.parent.glob("*.sqlite*"):
        file.unlink()
    shutil.copyfile(tmp_path / "copy.db", path_of(house))
    assert log("list").code == 0
    with Logbook(path_of(house), create=False) as book:
        book.undo(None, "2026-03-14T18:30:00+01:00")
    killed_writing(path_of(house), "another")
    assert listed(log("list", "--undone", "--json")) == ["left in the journal", "another"]


def test_where_nothing_may_be_written_the_refusal_says_which_place(house: Path, log: Run, tmp_path: Path) -> None:
    added(log, "one")
    with only_read(house.parent):
        said = log("add", "--tank", "Rock wall", "--note", "x").err
        assert said.startswith(f"{path_of(house)}: may not be written to where it lies: ")
        assert "mended" not in said
        copy = house.with_name("copy.db")
        assert log("backup", copy).err.startswith(f"{copy}: cannot be written: read-only file system")


def test_a_backup_is_whole_or_not_there_and_takes_nobodys_place(house: Path, log: Run, tmp_path: Path) -> None:
    added(log, *("x" * 900 for _ in range(90)))
    with small_disk(tmp_path / "disk", 48) as disk:
        done = log("backup", disk / "copy.db")
        assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
        assert "full" in done.err or "no space" in done.err
        assert names(disk) == []
    with patch.object(Logbook, "copy_to", lambda _, part, when: sqlite3.connect(part).close() or part.touch()):
        assert log("backup", tmp_path / "copy.db").code == 2
    assert names(tmp_path) == ["disk", "here"]
    for place in (path_of(house), house, house.with_name("house.log.sqlite-wal")):
        before = place.read_bytes() if place.exists() else None
        assert log("backup", place).code == 2
        assert before == (place.read_bytes() if place.exists() else None)


# --- checked ------------------------------------------------------------------------------------------------------


def test_a_sound_log_says_its_newest_entry(house: Path, log: Run) -> None:
    added(log, "first", "last words")
    log("undo", "--number", 1)
    done = log("check")
    assert (done.code, done.err) == (0, "")
    page = " ".join(done.out.split())
    assert "is whole: 2 entries, 1 of them taken back" in page
    assert "newest is entry 2" in page and "last words" in page
    found = log("check", "--json").json
    assert found["findings"] == []
    assert found["result"]["newest"]["note"] == "last words"
    assert {"file", "whole", "entries", "taken_back", "tanks", "newest"} == set(found["result"])


def test_damage_anywhere_in_the_file_is_found_or_harmless_and_never_a_crash(house: Path, log: Run) -> None:
    """Each page in turn is overwritten; what is still called whole must give every entry as it was."""
    added(log, *(f"note {number} " + "y" * 300 for number in range(20)))
    path = path_of(house)
    sound, meant, stops = path.read_bytes(), listed(log("list", "--json")), 0
    for start in range(0, len(sound), 4096):
        path.write_bytes(sound[:start] + b"\x55" * 4096 + sound[start + 4096 :])
        done = log("check", "--json")
        assert done.code in (0, 1, 2)
        stops += done.code != 0
        if done.code == 0:
            assert listed(log("list", "--json")) == meant
        else:
            assert log("backup", house.with_name("copy.db")).code == 2
            assert not house.with_name("copy.db").exists()
    assert stops > 3


@pytest.mark.parametrize(("script", "code", "finding"), [
    ("PRAGMA foreign_keys = OFF; DELETE FROM tank;", 1, "log_damaged"),
    ("UPDATE entry SET note = ' '", 0, "log_entry_unsound"), ("UPDATE entry SET at_s = 9e9", 0, "log_entry_unsound"),
    ("DELETE FROM entry", 0, "log_entries_missing"),
    ("UPDATE sqlite_sequence SET seq = 9000000000000000000", 0, "log_entries_missing"),
])  # fmt: skip
def test_what_fits_nothing_is_named(script: str, code: int, finding: str, house: Path, log: Run) -> None:
    added(log, "one")
    with closing(sqlite3.connect(path_of(house))) as raw:
        raw.executescript(script)
    done = log("check", "--json")
    assert (done.code, [found["code"] for found in done.json["findings"]]) == (code, [finding])


def test_a_tank_that_is_gone_and_a_household_that_cannot_be_read_are_said(house: Path, log: Run) -> None:
    added(log, "one")
    house.write_text('[[tank]]\nname = "Rock wall"\n', encoding="utf-8")
    assert [found["code"] for found in log("check", "--json").json["findings"]] == ["tanks_gone"]
    house.write_text("[tank", encoding="utf-8")
    assert [found["code"] for found in log("check", "--json").json["findings"]] == ["household_unread"]


def test_only_a_closed_place_leads_to_a_copy(house: Path, log: Run) -> None:
    added(log, "one")
    busy = sqlite3.OperationalError("database is locked")
    busy.sqlite_errorcode = sqlite3.SQLITE_BUSY  # type: ignore[misc]
    assert not log_reading.may_not_write(busy)
    with patch("sqlite3.connect", side_effect=busy):
        done = log("list")
    assert (done.code, done.out) == (2, "")
    assert "is held by another program" in done.err
