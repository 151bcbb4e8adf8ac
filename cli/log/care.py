"""The `log` commands that look after the log itself: check, backup, adopt."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from tapwright.chemistry.errors import BadInput
from tapwright.cli.answer import Answer
from tapwright.cli.files.kinds import LOGBOOK
from tapwright.cli.files.writing import placed
from tapwright.cli.log.commands import now
from tapwright.cli.log.entries import Entry, faults_of, said
from tapwright.cli.log.logbook import SELECT, Logbook, path_of
from tapwright.cli.log.owner import backup_findings, shown_time, tanks_of
from tapwright.cli.log.reading import copied
from tapwright.cli.pages import pieces as pages

if TYPE_CHECKING:
    from rich.console import Console

    from tapwright.chemistry.findings import Finding

_MOST_SHOWN = 5  # faults of one sort


def check_answer(file: Path) -> Answer:
    """Is the log whole, and whose is it? Nothing in it is changed."""
    path = path_of(file)
    with Logbook(path, create=False, reading=True) as book:
        damage = _damage(path)
        entries, last = ([], 0) if damage else (book.entries(), book.last_number())
        known, restored = book.known_tanks(), backup_findings(book)
    findings = [*_damaged(damage), *_missing(entries, last), *_unsound(entries), *_misfits(known, file), *restored]
    newest = max(entries, key=lambda entry: entry.number, default=None)
    back = sum(entry.undone is not None for entry in entries)

    def show(screen: Console) -> None:
        pages.findings(screen, findings)
        if not any(finding.level == "stop" for finding in findings):
            screen.print(f"{path} is whole: {len(entries)} entries, {back} of them taken back.", soft_wrap=True)
        if newest:
            screen.print(
                f"The newest is entry {newest.number}, written on {shown_time(newest.written)}: {newest.tank}: {said(newest)}",
                soft_wrap=True,
            )
            screen.print("If you have written down later ones, this log is an older copy.", soft_wrap=True)

    result = {
        "file": str(path),
        "whole": not damage,
        "entries": len(entries),
        "taken_back": back,
        "tanks": known,
        "newest": newest._asdict() if newest else None,
    }
    return Answer("log check", result, show, findings, as_written=True)


def _damage(path: Path) -> list[str]:
    """What SQLite itself finds wrong, in a copy that is left as it is."""
    try:
        with closing(copied(path)) as copy:
            found = [str(row[0]) for row in copy.execute("PRAGMA integrity_check") if row[0] != "ok"]
            return found + [
                f"row {row[1]} of {row[0]} leads nowhere" for row in copy.execute("PRAGMA foreign_key_check")
            ]
    except sqlite3.DatabaseError as error:
        return [str(error)]


def _damaged(damage: Sequence[str]) -> list[Finding]:
    from tapwright.chemistry.findings import Finding

    if not damage:
        return []
    text = (
        f"The log is damaged: {_first(damage)}. Keep the file, and put your latest backup in its place; what can still be read "
        "of it, `tapwright log export` writes out."
    )
    return [Finding("stop", "log_damaged", text)]


def _missing(entries: Sequence[Entry], last: int) -> list[Finding]:
    """Numbers that were given and are no longer there: nothing here ever takes an entry out."""
    from tapwright.chemistry.findings import Finding

    there = {entry.number for entry in entries}
    count = last - len(there)
    if count <= 0:
        return []
    first = islice((number for number in range(1, last + 1) if number not in there), _MOST_SHOWN)
    text = (
        f"Entries that were written are not there any more, {count} of them, number {', '.join(map(str, first))}: nothing "
        "here takes an entry out. Look for them in a backup."
    )
    return [Finding("caution", "log_entries_missing", text)]


def _unsound(entries: Sequence[Entry]) -> list[Finding]:
    """Entries that say what none of ours can say."""
    from tapwright.chemistry.findings import Finding

    today = now()
    faults = [
        str(fault)
        for entry in entries
        for fault in faults_of(entry, lambda field, n=entry.number: f"entry {n}: {field}", today)  # type: ignore[misc]
    ]
    if not faults:
        return []
    text = (
        f"Not every entry makes sense: {_first(faults)} Take it back (tapwright log undo --number) and enter it again."
    )
    return [Finding("caution", "log_entry_unsound", text)]


def _misfits(known: Sequence[str], file: Path) -> list[Finding]:
    """Tanks that the log knows and the household file has not, or that the log is another's altogether."""
    from tapwright.chemistry.findings import Finding

    try:
        tanks = tanks_of(file)
    except BadInput as error:
        text = f"Whose log it is was not looked at: {error}"
        return [Finding("caution", "household_unread", text)]
    gone = [name for name in known if name not in tanks]
    if known and len(gone) == len(known):
        text = f"This is the log of another household: {file} has none of its tanks ({', '.join(known)})."
        return [Finding("stop", "log_of_another", text)]
    if gone:
        return [Finding("note", "tanks_gone", f"In the log, and no more in {file}: {', '.join(gone)}.")]
    return []


def _first(texts: Sequence[str]) -> str:
    more = len(texts) - _MOST_SHOWN
    return "; ".join(texts[:_MOST_SHOWN]) + (f"; and {more} more" if more > 0 else "")


def backup_answer(file: Path, copy: Path) -> Answer:
    """The whole log into one new file, held against the log before it is put in place."""
    if copy.absolute() == path_of(file).absolute():
        raise BadInput.of(str(copy), "is the log itself.", "Give another name, best on another disk.")
    when = now().isoformat()
    with Logbook(path_of(file), create=False, reading=True) as book:
        refuse_damaged(path_of(file))
        before = set[tuple[object, ...]](book.entries())
        with placed(copy, LOGBOOK) as part:
            book.copy_to(part, when)
            refuse_damaged(part)
            after = _held(part)
            if not before <= after:
                raise BadInput.of(str(copy), "does not hold what the log holds.", "Try again; nothing was written.")
    count = len(after)

    def show(screen: Console) -> None:
        screen.print(f"{count} entries are in {copy}, read back and found whole.", soft_wrap=True)
        screen.print(f"To restore it, put it in the place of {path_of(file)}.", soft_wrap=True)

    return Answer("log backup", {"file": str(copy), "entries": count}, show, done=f"{copy} is written.")


def _held(path: Path) -> set[tuple[object, ...]]:
    """The entries in a file; not opened as a logbook, which would begin a journal beside it."""
    try:
        with closing(sqlite3.connect(path)) as copy:
            return set(copy.execute(SELECT))
    except sqlite3.DatabaseError:
        return set()


def refuse_damaged(path: Path) -> None:
    """BadInput for a database that is not whole."""
    if damage := _damage(path):
        hint = "Keep your older backups. See: tapwright log check"
        raise BadInput.of(str(path), f"is damaged: {_first(damage)}.", hint)


def adopt_answer(file: Path) -> Answer:
    """Make the log beside a household file its own, where all its tanks were given new names."""
    tanks = tanks_of(file)
    with Logbook(path_of(file), create=False) as book:
        before = book.known_tanks()
        book.adopt(tanks)

    def show(screen: Console) -> None:
        screen.print(f"{path_of(file)} is the log of {file} from now on: {', '.join(tanks)}.", soft_wrap=True)

    done = f"{path_of(file)} is the log of {file} from now on."
    return Answer("log adopt", {"file": str(path_of(file)), "tanks": tanks, "before": before}, show, done=done)
