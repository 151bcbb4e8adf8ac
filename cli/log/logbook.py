"""The logbook beside a household file: an embedded SQLite database that loses nothing.

Every entry is one committed transaction in a write-ahead journal: a process killed at any moment leaves what was
committed, and nothing half written. Two processes may write at once; one waits for the other. An entry taken back is
kept and marked.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Self

from tapwright.chemistry.errors import BadInput
from tapwright.cli.files.kinds import LOGBOOK
from tapwright.cli.files.writing import placed
from tapwright.cli.log.entries import Entry
from tapwright.cli.log.reading import copied, left_behind, may_not_write

_APPLICATION_ID = 0x74617077  # "tapw": tells this database from any other
_PATIENCE_S = 30.0
_LAST_NUMBER = 2**63 - 1  # the largest whole number SQLite knows
# One step of the schema after another; `PRAGMA user_version` counts those that are done. Never change one that stands.
_MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE tank (number INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE)",
        """CREATE TABLE entry (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            uid TEXT NOT NULL UNIQUE,
            tank INTEGER NOT NULL REFERENCES tank (number),
            at TEXT NOT NULL,
            at_s REAL NOT NULL,
            kind TEXT NOT NULL CHECK (kind IN ('reading', 'change', 'service', 'note')),
            quantity TEXT, value REAL, unit TEXT, test TEXT, below REAL, above REAL,
            share REAL, volume_l REAL, dosed TEXT,
            part TEXT,
            note TEXT NOT NULL,
            written TEXT NOT NULL,
            undone TEXT,
            CHECK ((kind = 'reading') = (value IS NOT NULL AND quantity IS NOT NULL AND test IS NOT NULL)),
            CHECK ((kind = 'change') = (share IS NOT NULL OR volume_l IS NOT NULL)),
            CHECK ((kind = 'service') = (part IS NOT NULL))
        )""",
        "CREATE INDEX entry_at ON entry (tank, at_s)",
        f"PRAGMA application_id = {_APPLICATION_ID}",
    ),
    (
        # Whose log it is, by the names of their tanks when last written to; backed_up: in a backup, when it was made.
        "CREATE TABLE household (tank TEXT NOT NULL UNIQUE)",
        "INSERT INTO household SELECT name FROM tank",
        "CREATE TABLE logbook (backed_up TEXT)",
        "INSERT INTO logbook VALUES (NULL)",
    ),
)
SELECT = (
    "SELECT entry.number, uid, tank.name, at, at_s, kind, quantity, value, unit, test, below, above, share, volume_l, "
    "dosed, part, note, written, undone FROM entry JOIN tank ON tank.number = entry.tank"
)
_INSERT = (
    "INSERT INTO entry (uid, tank, at, at_s, kind, quantity, value, unit, test, below, above, share, volume_l, dosed, part, "
    "note, written, undone) VALUES (?, (SELECT number FROM tank WHERE name = ?), " + ", ".join("?" * 16) + ")"
)


def path_of(household: Path) -> Path:
    """Where the logbook of a household file lies: beside it, house.log.sqlite for house.toml. BadInput for no file's name."""
    if not household.name:
        raise BadInput.of(str(household), "is a folder; a household file is wanted.", "Give its name as well.")
    return household.with_name(f"{household.stem}.log.sqlite")


class Logbook:
    """An open logbook; use it in a `with` block."""

    def __init__(self, path: Path, *, create: bool, reading: bool = False) -> None:
        """Open it, or make it if asked; BadInput where there is none, or what is there is no logbook.

        reading: it is not going to be written to, so that a place that may only be read will do.
        """
        self.path, self._reading = path, reading
        if create and not os.path.exists(path):  # asks of any name, however long
            self._refuse_anothers_journal()
            self._make()
        self._refuse_nothing()
        self._refuse_anothers_journal()
        with self._in_words():
            try:
                self._open(sqlite3.connect(path, timeout=_PATIENCE_S, isolation_level=None))
            except sqlite3.OperationalError as error:
                if not (reading and may_not_write(error)):
                    raise
                self._open(copied(path))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._connection.close()

    def _make(self) -> None:
        """Make it beside and put it in place whole: an empty file is never one of ours that somebody is making."""
        try:
            with placed(self.path, LOGBOOK) as part, self._in_words():
                self._open(sqlite3.connect(part, isolation_level=None), write_ahead=False)
                self._connection.close()
        except BadInput:
            if not self.path.exists():  # else another process was faster
                raise

    def _refuse_nothing(self) -> None:
        """BadInput where there is no file, or one that holds nothing: a copy that went wrong must not pass for a new log."""
        try:
            size = self.path.stat().st_size
        except FileNotFoundError:
            hint = "Write a first entry with: tapwright log add"
            raise BadInput.of(str(self.path), "there is no logbook yet.", hint) from None
        except OSError as error:
            reason = (error.strerror or "unknown reason").lower()
            raise BadInput.of(str(self.path), f"cannot be read: {reason}.", "Give a file you may read.") from None
        if not size:
            hint = "Restore a backup in its place, or remove it to begin anew."
            raise BadInput.of(str(self.path), "is empty: a logbook never is.", hint)

    def _refuse_anothers_journal(self) -> None:
        """BadInput where the journal of a log that stood here before would be mixed into a new or restored one."""
        if left := left_behind(self.path):
            said = (
                f"beside it lies {left.name}, the journal of a log that stood here before; the two must not be mixed."
            )
            hint = f"Move {left.name} elsewhere, and keep it: its last entries may be in no other file."
            raise BadInput.of(str(self.path), said, hint)

    def _open(self, connection: sqlite3.Connection, *, write_ahead: bool = True) -> None:
        self._connection = connection
        try:
            self._prepare(write_ahead=write_ahead)
        except BaseException:
            connection.close()
            raise

    def known_tanks(self) -> list[str]:
        """Names of the household's tanks as of the last time it was written to; none where it never was."""
        with self._in_words():
            return [name for (name,) in self._connection.execute("SELECT tank FROM household ORDER BY tank")]

    def adopt(self, tanks: Sequence[str]) -> None:
        """Make it the log of the household of these tanks."""
        with self._in_words(), self._transaction():
            self._adopt(tanks)

    def _adopt(self, tanks: Sequence[str]) -> None:
        self._connection.execute("DELETE FROM household")
        self._connection.executemany("INSERT INTO household VALUES (?)", [(name,) for name in dict.fromkeys(tanks)])

    def backed_up(self) -> str | None:
        """When the backup was made that this is, or was restored from, if nothing has been written to it since."""
        with self._in_words():
            found = self._connection.execute("SELECT backed_up FROM logbook").fetchone()
        return found[0] if found else None

    def last_number(self) -> int:
        """The last number that was given to an entry; 0 where there was none."""
        with self._in_words():
            found = self._connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'entry'").fetchone()
        return int(found[0]) if found else 0

    def copy_to(self, path: Path, when: str) -> None:
        """The whole of it to a new database, in one file, marked as a backup of that time; OSError where none can be made."""
        path.touch()
        with self._in_words(), closing(sqlite3.connect(path, isolation_level=None)) as copy:
            self._connection.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")  # a backup may lie where nothing can be written beside it
            copy.execute("UPDATE logbook SET backed_up = ?", (when,))

    def add(
        self, entries: Sequence[Entry], *, skip_known: bool = False, tanks: Sequence[str] | None = None
    ) -> list[int]:
        """Write entries, all or none; returns the numbers they got (their own are not looked at).

        skip_known: leave out those whose uid stands in the logbook already; else BadInput is raised for one.
        tanks: of the household it is written for from now on.
        """
        with self._in_words(), self._transaction():
            if skip_known:
                known = {uid for (uid,) in self._connection.execute("SELECT uid FROM entry")}
                entries = [entry for entry in entries if entry.uid not in known]
            if tanks is not None:
                self._adopt(tanks)
            if entries:
                self._connection.execute("UPDATE logbook SET backed_up = NULL")
            names = {(entry.tank,) for entry in entries}
            self._connection.executemany("INSERT OR IGNORE INTO tank (name) VALUES (?)", names)
            numbers = []
            for entry in entries:
                done = self._connection.execute(_INSERT, (entry.uid, entry.tank, *entry[3:]))
                numbers.append(int(done.lastrowid or 0))
        return numbers

    def entries(self, tank: str | None = None, kind: str | None = None, since_s: float | None = None) -> list[Entry]:
        """Entries in the order they happened, those taken back among them; of one tank, kind and time if asked."""
        conditions = {"tank.name = ?": tank, "kind = ?": kind, "at_s >= ?": since_s}
        wanted = {text: value for text, value in conditions.items() if value is not None}
        where = f" WHERE {' AND '.join(wanted)}" if wanted else ""
        with self._in_words():
            rows = self._connection.execute(f"{SELECT}{where} ORDER BY at_s, entry.number", tuple(wanted.values()))
            # As Entry._make does, without a call of Python for every row.
            return list(map(partial(tuple.__new__, Entry), rows))

    def undo(self, number: int | None, when: str) -> Entry:
        """Mark one entry, by default the last written that stands, as taken back at `when`; returns it.

        Raises BadInput where there is none of that number, or it has been taken back already.
        """
        if number is not None and not 0 < number <= _LAST_NUMBER:
            raise BadInput.of(str(self.path), f"there is no entry {number}.", "See: tapwright log list")
        with self._in_words(), self._transaction():
            query = (
                "WHERE undone IS NULL ORDER BY entry.number DESC LIMIT 1"
                if number is None
                else "WHERE entry.number = ?"
            )
            row = self._connection.execute(f"{SELECT} {query}", () if number is None else (number,)).fetchone()
            if row is None:
                said = "no entry stands that could be taken back." if number is None else f"there is no entry {number}."
                raise BadInput.of(str(self.path), said, "See: tapwright log list")
            entry = Entry._make(row)
            if entry.undone:
                said = f"entry {entry.number} was taken back already, at {entry.undone}."
                raise BadInput.of(str(self.path), said, "See: tapwright log list --undone")
            self._connection.execute("UPDATE entry SET undone = ? WHERE number = ?", (when, entry.number))
        return entry._replace(undone=when)

    def _prepare(self, *, write_ahead: bool) -> None:
        self._connection.execute("BEGIN")  # both answers of one moment: another process may be making the logbook
        version = self._version()
        if version:
            application = self._connection.execute("PRAGMA application_id").fetchone()[0]
        elif self._connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
            application = None
        else:
            application = _APPLICATION_ID
        self._connection.execute("COMMIT")
        if application != _APPLICATION_ID:
            raise BadInput.of(str(self.path), "is a database, but no logbook of tapwright.", "Move it elsewhere.")
        if version > len(_MIGRATIONS):
            said = f"was written by a later version (schema {version}; this one knows {len(_MIGRATIONS)})."
            raise BadInput.of(str(self.path), said, "Use that version; nothing was changed.")
        if write_ahead:
            self._write_ahead()
        self._connection.execute("PRAGMA synchronous = FULL")
        self._connection.execute("PRAGMA foreign_keys = ON")
        if version < len(_MIGRATIONS):
            self._migrate()

    def _write_ahead(self) -> None:
        """Turn the write-ahead journal on; while another process does the same, SQLite refuses instead of waiting."""
        until = time.monotonic() + _PATIENCE_S
        while True:
            try:
                self._connection.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as error:
                if "locked" not in str(error) or time.monotonic() > until:
                    raise
                time.sleep(0.01)

    def _migrate(self) -> None:
        with self._transaction():  # another process may have been faster: ask again once nobody else can write
            for number, statements in enumerate(_MIGRATIONS[self._version() :], self._version() + 1):
                for statement in statements:
                    self._connection.execute(statement)
                self._connection.execute(f"PRAGMA user_version = {number}")

    def _version(self) -> int:
        return int(self._connection.execute("PRAGMA user_version").fetchone()[0])

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._connection.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            if self._connection.in_transaction:  # a full disk has rolled back already
                self._connection.execute("ROLLBACK")
            raise
        self._connection.execute("COMMIT")

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        """SQLite's refusals as ours."""
        try:
            yield
        except sqlite3.IntegrityError as error:
            raise BadInput.of(
                str(self.path), f"an entry does not fit the logbook ({error}).", "Nothing was written."
            ) from None
        except sqlite3.DatabaseError as error:
            said = str(error)
            if may_not_write(error):
                what = "read" if self._reading else "written to"
                hint = "Nothing was written. Work where you may, with the household file and its log beside it."
                raise BadInput.of(str(self.path), f"may not be {what} where it lies: {said}.", hint) from None
            if "locked" in said or "busy" in said:
                raise BadInput.of(
                    str(self.path), "is held by another program.", "Close it there, then try again."
                ) from None
            hint = "Nothing was written. If it ever was a logbook, keep it: a copy may be mended."
            raise BadInput.of(str(self.path), f"cannot be used as a logbook: {said}.", hint) from None
