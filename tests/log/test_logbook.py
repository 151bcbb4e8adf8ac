"""The engine of the log: killed at any moment, written by several processes at once, brought up, refused whole."""

from __future__ import annotations

import multiprocessing
import os
import random
import re
import signal
import sqlite3
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager, suppress
from functools import partial
from itertools import chain, count, product
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from unittest.mock import Mock

import pytest

from tapwright.chemistry.errors import BadInput
from tapwright.cli.log import logbook
from tapwright.cli.log.entries import Entry
from tapwright.cli.log.logbook import Logbook, path_of

Say = Callable[[object], object]
FORK = multiprocessing.get_context("fork")
MEMORY = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
AT, AT_S, LATER = "2026-03-14T18:30:00+01:00", 1773509400.0, "2026-03-15T08:00:00+01:00"
# The schema as the first version wrote it, held here so that no later one forgets it.
FIRST = """
CREATE TABLE tank (number INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
CREATE TABLE entry (number INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, tank INTEGER NOT NULL
    REFERENCES tank (number), at TEXT NOT NULL, at_s REAL NOT NULL, kind TEXT NOT NULL, quantity TEXT, value REAL, unit TEXT,
    test TEXT, below REAL, above REAL, share REAL, volume_l REAL, dosed TEXT, part TEXT, note TEXT NOT NULL,
    written TEXT NOT NULL, undone TEXT);
CREATE INDEX entry_at ON entry (tank, at_s); PRAGMA application_id = 1952542839; PRAGMA user_version = 1;
INSERT INTO tank VALUES (7, 'Rock wall');
INSERT INTO entry VALUES (4, 'b', 7, '2026-03-14T18:30:00+01:00', 1773509400.0, 'reading', 'nitrate', 20.0, 'mg/L NO3',
    'chart', 10.0, 40.0, NULL, NULL, NULL, NULL, '', '2026-03-14T18:30:00+01:00', '2026-03-15T08:00:00+01:00');
"""
NEWER = (("CREATE TABLE fish (name TEXT)", "ALTER TABLE entry ADD COLUMN fish TEXT"), ("CREATE TABLE plant (name)",))


def note(uid: str, **others: Any) -> Entry:
    blank = dict.fromkeys(Entry._fields) | {"number": 0, "uid": uid, "tank": "Rock wall", "at": AT, "at_s": AT_S}
    return Entry(**blank | {"kind": "note", "note": "clear water", "written": AT} | others)


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder in memory where there is one: a kill, other than a power cut, does not ask what reached the disk."""
    with TemporaryDirectory(dir=MEMORY) as name:
        yield Path(name)


class Child:
    """A process of its own; what it says goes through a pipe, and so outlives it."""

    def __init__(self, work: Callable[[Say], object]) -> None:
        self.ear, mouth = FORK.Pipe(duplex=False)
        self._process = FORK.Process(target=work, args=(mouth.send,))
        self._process.start()
        mouth.close()

    def rest(self, *, kill: bool = False) -> list[Any]:
        """What else it says until its end, which comes at once if it is killed."""
        if kill:
            self._process.kill()
        words = []
        with suppress(EOFError):
            while True:
                words.append(self.ear.recv())
        self._process.join()
        assert self._process.exitcode in ((-signal.SIGKILL,) if kill else (0, -signal.SIGKILL))
        return words


def at_once(works: Sequence[Callable[[Say], object]]) -> list[list[Any]]:
    """Lets processes go at the same moment; what each of them said."""
    gate = FORK.Barrier(len(works))
    children = [Child(lambda say, work=work: (gate.wait(), work(say))) for work in works]  # type: ignore[misc]
    return [child.rest() for child in children]


class Watched(sqlite3.Connection):
    before = Mock()

    def execute(self, *words: Any) -> sqlite3.Cursor:
        Watched.before()
        return super().execute(*words)


@contextmanager
def at_statement(number: int, act: Callable[[], object]) -> Iterator[None]:
    """Does something just before the statement of that number, counted over all connections opened here."""
    numbers = count(1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sqlite3, "connect", partial(sqlite3.connect, factory=Watched))
        patch.setattr(Watched, "before", staticmethod(lambda: act() if next(numbers) == number else None))
        yield


def writer(path: Path, life: object, size: int, say: Say) -> None:
    """Adds so many entries in one go, and again, for ever; says each go's name once it stands."""
    with Logbook(path, create=True) as book:
        for go in count():
            book.add([note(f"{life}.{go}.{part}") for part in range(size)])
            say(f"{life}.{go}")


def add_one(path: Path, uid: object, say: Say) -> None:
    with Logbook(path, create=True) as book:
        say(book.add([note(str(uid))])[0])


def go_of(uid: str) -> str:
    return uid.rpartition(".")[0]


def evening(path: Path, say: Say) -> None:
    with Logbook(path, create=True) as book:
        book.add([note("one"), note("two")])
        say("added")
        book.undo(None, LATER)
        say("taken back")


EVENING = [[], ["one", "two"], ["one", "two, taken back"]]


def sound(path: Path, *, tell: bool = False) -> list[str]:
    """Holds a database to be whole; all there is in it, if asked."""
    with closing(sqlite3.connect(path)) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
        return [*map(str, raw.execute("PRAGMA user_version")), *raw.iterdump()] if tell else []


def database(path: Path, script: str) -> Path:
    with closing(sqlite3.connect(path)) as raw:
        raw.executescript(script)
    return path


@pytest.fixture
def old(folder: Path) -> Path:
    return database(folder / "old.sqlite", FIRST)


def uids(path: Path) -> list[str]:
    with Logbook(path, create=False) as book:
        return [entry.uid + ", taken back" * bool(entry.undone) for entry in book.entries()]


@pytest.mark.parametrize(("size", "lives"), [(1, 120), (25, 50)])
def test_a_killed_writer_loses_nothing_and_leaves_no_half(size: int, lives: int, folder: Path) -> None:
    moments, acknowledged = random.Random(size), set[str]()
    for life in range(lives):
        path = folder / f"{life // 5}.sqlite"  # sees many deaths, but does not grow for ever
        acknowledged = acknowledged if life % 5 else set()
        child = Child(partial(writer, path, life, size))
        acknowledged.add(child.ear.recv())
        time.sleep(moments.uniform(0, 0.003))
        acknowledged.update(child.rest(kill=True))
        sound(path)
        found = Counter(map(go_of, uids(path)))
        assert acknowledged <= set(found)
        assert set(found.values()) == {size}
        with Logbook(path, create=False) as book:
            book.add([note(f"after {life}.{part}") for part in range(size)])
        acknowledged.add(f"after {life}")


def test_killed_while_the_logbook_is_made(folder: Path) -> None:
    began, taken_s = time.perf_counter(), 0.0
    for life in range(41):
        path = folder / f"{life}.sqlite"
        child = Child(partial(writer, path, life, 1))
        if not life:  # undisturbed, to see how long it takes
            taken_s = child.ear.recv() and time.perf_counter() - began
        time.sleep(taken_s * life / 40)
        acknowledged = child.rest(kill=True)
        add_one(path, "after.", acknowledged.append)
        assert set(acknowledged[:-1]) <= set(map(go_of, uids(path)))
        sound(path)


@pytest.mark.parametrize("older", [False, True], ids=["made anew", "brought up"])
def test_killed_before_each_statement_in_turn(older: bool, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def life(path: Path, last: int, say: Say) -> None:
        with at_statement(last, lambda: os.kill(os.getpid(), signal.SIGKILL)):
            evening(path, say)

    first = logbook._MIGRATIONS
    for last in count(1):
        path = folder / f"{last}.sqlite"
        if older:
            monkeypatch.setattr(logbook, "_MIGRATIONS", first)
            with Logbook(path, create=True):
                monkeypatch.setattr(logbook, "_MIGRATIONS", (*first, *NEWER))
        said = Child(partial(life, path, last)).rest()
        with Logbook(path, create=True):
            state = EVENING.index(uids(path))
        assert state in (len(said), len(said) + 1)  # it may have died before it could say so
        add_one(path, "after", Mock())
        assert ("CREATE TABLE fish (name TEXT);" in sound(path, tell=True)) == older
        if len(said) == 2:
            break
    assert last > 12


def test_a_failure_at_any_statement_is_told_and_leaves_a_whole_logbook(folder: Path) -> None:
    failures, fail = 0, Mock(side_effect=sqlite3.OperationalError("disk I/O error"))
    for last in range(1, 25):
        path, said = folder / f"{last}.sqlite", list[object]()
        try:
            with at_statement(last, fail):
                evening(path, said.append)
        except BadInput as told:
            failures += "disk I/O error" in str(told)
        with Logbook(path, create=True):
            assert uids(path) == EVENING[len(said)]
        sound(path)
    assert failures > 12


def test_many_write_at_once_while_another_is_killed_again_and_again(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"

    def write(name: str, say: Say) -> None:
        for number in range(70):
            add_one(path, f"{name}{number}", say)

    add_one(path, "first", Mock())
    children, victims = [Child(partial(write, name)) for name in "abcd"], list[str]()
    for life in range(25):
        victim = Child(partial(writer, path, f"victim {life}", 3))
        victims += [victim.ear.recv(), *victim.rest(kill=True)]
    said = {number: f"{name}{n}" for name, child in zip("abcd", children, strict=True)
            for n, number in enumerate(child.rest())}  # fmt: skip
    sound(path)
    with Logbook(path, create=False) as book:
        found = {entry.number: entry.uid for entry in book.entries()}
    assert len(said) == 4 * 70
    assert said.items() <= found.items()
    of_victims = Counter(map(go_of, set(found.values()) - set(said.values()) - {"first"}))
    assert set(victims) <= set(of_victims)
    assert set(of_victims.values()) == {3}


def test_several_make_the_same_logbook_at_once(folder: Path) -> None:
    for number in range(60):
        path = folder / f"{number}.sqlite"
        works = [partial(add_one, path, name) for name in range(2 + number % 3)]
        assert sorted(at_once(works)) == [[place] for place in range(1, len(works) + 1)]
        assert sorted(uids(path)) == [str(name) for name in range(len(works))]


def test_another_makes_the_logbook_between_any_two_statements(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logbook, "_PATIENCE_S", 0.02)  # in one process, neither can wait for the other
    for moment in range(1, 20):
        path = folder / f"{moment}.sqlite"

        def meanwhile(path: Path = path) -> None:
            with suppress(BadInput):
                add_one(path, "other", Mock())

        with at_statement(moment, meanwhile):
            add_one(path, "own", Mock())
        assert set(uids(path)) in ({"own"}, {"own", "other"})


def test_each_entry_is_taken_back_once_however_many_try(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite"
    with Logbook(path, create=True) as book:
        book.add([note(f"{number}") for number in range(90)])

    def take_back(numbers: Sequence[int | None], say: Say) -> None:
        with Logbook(path, create=False) as book:
            for number in numbers:
                try:
                    say(book.undo(number, LATER).number)
                except BadInput as error:
                    assert "taken back" in error.faults[0].message

    for wanted, meant in ((range(1, 31), range(1, 31)), ([None] * 61, range(31, 91))):
        said = at_once([partial(take_back, wanted)] * 3)
        assert sorted(chain(*said)) == list(meant)
    assert sorted(uids(path)) == sorted(f"{number}, taken back" for number in range(90))


def test_a_writer_waits_for_another_and_says_so_if_it_never_ends(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with closing(sqlite3.connect(old, check_same_thread=False)) as other:
        for uid in ("patient", "more so"):  # first to change the journal, then to write
            other.execute("BEGIN IMMEDIATE")
            threading.Timer(0.2, other.rollback).start()
            add_one(old, uid, Mock())
        monkeypatch.setattr(logbook, "_PATIENCE_S", 0.05)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(BadInput, match="held by another program"):
            add_one(old, "in vain", Mock())
    assert uids(old) == ["b, taken back", "patient", "more so"]


OLD = note("b", number=4, kind="reading", quantity="nitrate", value=20.0, unit="mg/L NO3", test="chart", below=10.0,
           above=40.0, note="", undone=LATER)  # fmt: skip


def test_an_older_logbook_is_brought_up_once_with_its_entries(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logbook, "_MIGRATIONS", (*logbook._MIGRATIONS, *NEWER))
    assert sorted(at_once([partial(add_one, old, name) for name in "cde"])) == [[5], [6], [7]]
    with Logbook(old, create=False) as book:
        assert book.entries()[0] == OLD
    version = f"({len(logbook._MIGRATIONS)},)"
    assert {version, "CREATE TABLE fish (name TEXT);", "CREATE TABLE plant (name);"} <= set(sound(old, tell=True))


def test_a_migration_that_fails_leaves_the_file_as_it_was(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = sound(old, tell=True)
    for failing in ("CREATE TABLE tank (x)", "UPDATE entry SET tank = 99", "no SQL"):
        with monkeypatch.context() as patch:
            patch.setattr(logbook, "_MIGRATIONS", (*logbook._MIGRATIONS, *NEWER, ("CREATE TABLE last (x)", failing)))
            with pytest.raises(BadInput):
                Logbook(old, create=True)
        assert sound(old, tell=True) == before
    with Logbook(old, create=False) as book:
        assert book.entries() == [OLD]


def test_what_is_no_logbook_is_refused_unchanged(folder: Path) -> None:
    said = {"another": "no logbook of tapwright", "with a version": "no logbook of tapwright", "folder": "unable to open",
            "later": "was written by a later version (schema 9; this one knows ", "text": "file is not a database",
            "word": "file is not a database", "broken": "malformed"}  # fmt: skip
    database(folder / "another", "CREATE TABLE tank (name)")
    database(folder / "with a version", "PRAGMA user_version = 1; CREATE TABLE entry (name)")
    later = database(folder / "later", f"{FIRST} PRAGMA user_version = 9;").read_bytes()
    (folder / "folder").mkdir()
    for name, content in (("text", b"hello " * 999), ("word", b"hi"), ("broken", later[:5000] + b"x" * 4000)):
        (folder / name).write_bytes(content)
    before = {path: path.is_file() and path.read_bytes() for path in folder.iterdir()}
    for path, create in product(before, (True, False)):
        with pytest.raises(BadInput, match=re.escape(f"{path}: ")) as caught:
            Logbook(path, create=create)
        assert said[path.name] in caught.value.faults[0].message
    assert {path: path.is_file() and path.read_bytes() for path in folder.iterdir()} == before


@pytest.mark.parametrize(("name", "journal", "rights", "said"), [
    ("old.sqlite", "wal", 0o555, "readonly database"), ("new", "wal", 0o555, "unable to open"),
    pytest.param("old.sqlite", "delete", 0o555, "readonly database"),
    pytest.param("old.sqlite", "wal", 0o000, "ermission denied"),
])  # fmt: skip
def test_a_closed_place_is_refused_at_once(name: str, journal: str, rights: int, said: str, old: Path) -> None:
    database(old, f"PRAGMA journal_mode = {journal}").chmod(0o444)
    old.parent.chmod(rights)
    with ExitStack() as rooms, pytest.MonkeyPatch.context() as patch:
        rooms.callback(old.parent.chmod, 0o755)
        rooms.callback(os.seteuid, os.geteuid())
        os.seteuid(os.geteuid() or 65534)  # root may write whatever is closed to others
        patch.setattr(time, "sleep", Mock(side_effect=AssertionError("waits for what will not come")))
        with pytest.raises(BadInput, match=said):
            Logbook(old.with_name(name), create=name == "new")


def test_a_full_disk_is_named(old: Path) -> None:
    with Logbook(old, create=True) as book:
        book._connection.execute("PRAGMA max_page_count = 1")  # or as many as there are
        with pytest.raises(BadInput, match="full"):
            book.add([note(f"{number}") for number in range(999)])
    assert uids(old) == ["b, taken back"]


def test_what_the_logbook_takes_and_gives(folder: Path) -> None:
    with Logbook(path_of(folder / "my house.v2.toml"), create=True) as book:
        book.add([note("noon", at_s=9), note("other", tank="Bay"), note("dawn", at_s=8), note("noon too", at_s=9)])
        for bad in (note("noon"), note("x", kind="fish"), note("x", kind="reading"), note("x", note=None),
                    note("x", kind="change"), note("x", kind="service"), note("x", value=1.0, quantity="ph", test="meter"),
                    note("x", share=0.4), note("x", part="filter"), note("x", tank=None)):  # fmt: skip
            with pytest.raises(BadInput, match="does not fit"):
                book.add([note("good"), bad])
        assert book.add([]) == []
        assert [entry.uid for entry in book.entries()] == ["dawn", "noon", "noon too", "other"]
        assert [entry.uid for entry in book.entries("Rock wall", "note", 9.0)] == ["noon", "noon too"]
        assert book.entries(kind="reading") == book.entries("Nobody") == book.entries(since_s=AT_S + 1) == []
        # A power cut cannot be staged here: the journal must be written ahead, and reach the disk at each commit.
        assert book._connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert book._connection.execute("PRAGMA synchronous").fetchone() == (2,)
        with pytest.raises(sqlite3.IntegrityError):
            book._connection.execute("DELETE FROM tank")
    assert [file.name for file in folder.iterdir()] == ["my house.v2.log.sqlite"]
