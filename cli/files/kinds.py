"""What a file is, told by its content and never by its name: what may be written over, and what never."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from tapwright.chemistry.errors import BadInput

_HEAD_BYTES = 8192
DATABASE = b"SQLite format 3\0"
ANOTHER = "Give another name."
LOG_ENDING = ".log.sqlite"
_COMPANIONS = ("-wal", "-shm", "-journal")


@dataclass(frozen=True)
class Kind:
    """One kind of file the tool writes.

    name: as a person calls it, with its article; knows: whether the head of a file is of it; renewed: whether there is a
    --force to write over one.
    """

    name: str
    knows: Callable[[bytes], bool]
    renewed: bool = True


def _page(head: bytes) -> bool:
    # The title stands for pages written before there was a marker.
    marks = (b'<meta name="generator" content="tapwright">', b"<title>Water change for ")
    return head.startswith(b"<!doctype html>") and any(mark in head for mark in marks)


PAGE = Kind("a sheet of tapwright", _page)
# Not the rows of one evening, which the page gives: they may not be in the log yet.
LOG_CSV = Kind("a log as CSV", lambda head: head.removeprefix(b"\xef\xbb\xbf").startswith(b"uid,tank,at,kind,quantity"))
CHART = Kind("an SVG picture", lambda head: head.startswith((b"<?xml", b"<svg")) and b"<svg" in head)
LOGBOOK = Kind("a logbook", lambda head: head.startswith(DATABASE), renewed=False)


def refuse_other_kind(path: Path, kind: Kind | None) -> None:
    """BadInput for a file that holds something, and something else than this kind."""
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
    except OSError:  # nothing there, or nothing to be read: whoever writes it will say so
        return
    if head and not (kind and kind.renewed and kind.knows(head)):
        what = f"is {_what(head)}" if _what(head) else f"is not {kind.name}" if kind else "is there already"
        raise BadInput.of(str(path), f"{what} and is left as it is.", ANOTHER)


def _what(head: bytes) -> str:
    """What is recognised in a head, in words; empty for what is unknown here."""
    if head.startswith(DATABASE):
        return "a logbook, or another database,"
    found = next((kind.name for kind in (PAGE, LOG_CSV, CHART) if kind.knows(head)), "")
    if not found and any(line.strip().startswith((b"[[tank]]", b"[tap]")) for line in head.splitlines()):
        return "a household file"
    return found


def refuse_place_of_a_log(path: Path, kind: Kind | None) -> None:
    """BadInput for the names a logbook lies under, whether one lies there or not, and of the files it keeps beside it."""
    name = (path.resolve() if path.is_symlink() else path).name.casefold()
    if name.endswith(LOG_ENDING) and kind is not LOGBOOK:
        raise BadInput.of(str(path), f"is the place of a logbook (…{LOG_ENDING}).", ANOTHER)
    whole = next((path.with_name(name.removesuffix(end)) for end in _COMPANIONS if name.endswith(end)), None)
    if whole is not None and (whole.name.endswith(LOG_ENDING) or is_database(whole)):
        raise BadInput.of(str(path), f"belongs to the database {whole}.", ANOTHER)


def is_database(path: Path) -> bool:
    """Whether a file begins as a database does."""
    with suppress(OSError), path.open("rb") as file:
        return file.read(len(DATABASE)) == DATABASE
    return False
