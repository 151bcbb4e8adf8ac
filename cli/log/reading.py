"""A copy of a log in memory, for where its folder or file may only be read: SQLite itself wants to write beside it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from shutil import copyfile
from tempfile import TemporaryDirectory

from tapwright.cli.files.kinds import DATABASE

_MARKED = 20  # bytes of the head up to the one that says how it is read: 1 without, 2 with a write-ahead journal
# What SQLite says where it may not write, or not make what it keeps beside the database.
_CLOSED = (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM)


def may_not_write(error: sqlite3.Error) -> bool:
    """Whether an error says that the place may only be read."""
    return (getattr(error, "sqlite_errorcode", 0) & 0xFF) in _CLOSED


def left_behind(path: Path) -> Path | None:
    """The write-ahead journal beside a database that is not, or not yet, written by way of one; None where there is none.

    It can only be of another database that stood there before, and SQLite would take it for this one's. A backup, and a
    log that is being made, are of that kind; one that has been written to is not.
    """
    journal = path.with_name(f"{path.name}-wal")
    with suppress(OSError):  # whoever opens them will say so
        # The journal first: another process may just be writing first the mark into the head, then the journal.
        if not journal.stat().st_size:
            return None
        if not path.exists():
            return journal
        with path.open("rb") as file:
            head = file.read(_MARKED)
        return journal if head.startswith(DATABASE) and head.endswith(b"\x01") else None
    return None


def copied(path: Path) -> sqlite3.Connection:
    """The whole of a database, with what stands in its write-ahead journal alone, page by page in memory.

    Raises sqlite3.Error as SQLite does.
    """
    memory = sqlite3.connect(":memory:", isolation_level=None)
    try:
        with _source(path) as source:
            source.backup(memory)
    except BaseException:
        memory.close()
        raise
    return memory


@contextmanager
def _source(path: Path) -> Iterator[sqlite3.Connection]:
    """The database opened by the first way that does."""
    place = path.resolve().as_uri()
    for address in (f"{place}?mode=rw", f"{place}?mode=ro"):
        source = sqlite3.connect(address, uri=True)
        try:
            source.execute("SELECT count(*) FROM sqlite_master")
        except sqlite3.OperationalError as error:
            source.close()
            if not may_not_write(error):
                raise
            continue
        with closing(source):
            yield source
        return
    journal = path.with_name(f"{path.name}-wal")
    if not journal.exists() or not journal.stat().st_size:
        # Nobody can be writing: whoever does keeps a journal and a lock file beside it, which the last way would have found.
        with closing(sqlite3.connect(f"{place}?immutable=1", uri=True)) as source:
            yield source
        return
    with TemporaryDirectory() as folder:  # read as it stands, it would lack what is in the journal
        copy = Path(folder, "log.sqlite")
        copyfile(path, copy)
        copyfile(journal, copy.with_name(f"{copy.name}-wal"))
        with closing(sqlite3.connect(copy)) as source:
            yield source
