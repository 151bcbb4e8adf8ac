"""Puts a file in its place whole, or leaves the place as it was and says why.

Written beside under a name of its own, flushed to the disk, and only then put in place in one step: a disk that fills up, a
fault or a kill in the middle leaves no half of it there. Without force the step itself refuses a place that is taken, so
that of two who write at once neither is lost.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from uuid import uuid4

from tapwright.chemistry.errors import BadInput
from tapwright.chemistry.words import LONGEST_PATH, shown
from tapwright.cli.files.kinds import ANOTHER, Kind, refuse_other_kind, refuse_place_of_a_log

STDOUT = Path("-")  # what stands for it on a command line
_PART = ".tapwright-{}.part"
_STALE_S = 3600.0  # nobody takes an hour to write a page: whoever left it was killed


def write_new(path: Path, text: str, kind: Kind | None = None, *, force: bool = False) -> None:
    """Text to a file as it stands; BadInput where something is there already or the folder takes no file.

    STDOUT takes it as well.  kind: what is written; with force it may take the place of a file of that kind, and of no other.
    """
    if path == STDOUT:
        sys.stdout.write(text)
        return
    with placed(path, kind, force=force) as part:
        part.write_bytes(text.encode("utf-8"))


@contextmanager
def placed(path: Path, kind: Kind | None = None, *, force: bool = False) -> Iterator[Path]:
    """A name beside `path` to write to; what stands there when the block ends well is put in place, else it goes.

    Raises BadInput as `write_new` does, for any OSError of the block as well.
    """
    refuse_place(path, kind, force=force)
    place = path
    try:
        if force and path.is_symlink():
            place = path.resolve()  # a link stays a link; what it leads to has been looked at
        part = place.with_name(_PART.format(uuid4().hex))
        _sweep(place.parent)
        try:
            yield part
            _flush(part, os.O_RDWR)
            if force:
                refuse_other_kind(path, kind)  # it may have come meanwhile
                _as_open_as(place, part)
                part.replace(place)
            else:
                _exclusively(part, place)
            with suppress(OSError):  # not every system lets a folder be flushed
                _flush(place.parent)
        finally:
            with suppress(OSError):
                part.unlink(missing_ok=True)
    except FileExistsError:
        raise _stands(path, kind) from None
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        raise BadInput.of(
            shown(str(path), LONGEST_PATH), f"cannot be written: {reason}.", "Give a name in a folder you may write to."
        ) from None


def refuse_place(path: Path, kind: Kind | None = None, *, force: bool = False) -> None:
    """What can be said before there is anything to write: BadInput for a folder, for what is no ordinary file, such as a
    device, for the place of a log, and where something is there already (forced: something that is not of that kind)."""
    if path == STDOUT:
        return
    with suppress(OSError):  # a name too long to ask about is refused when it is opened
        if path.is_dir():
            raise BadInput.of(str(path), "is a folder.", f"Give a file in it, such as {path / 'new-file'}.")
        refuse_place_of_a_log(path, kind)
        if not path.exists():
            return
        if not path.is_file():
            raise BadInput.of(str(path), "is no ordinary file and is left as it is.", ANOTHER)
        if not force:
            raise _stands(path, kind)
    if force:
        refuse_other_kind(path, kind)


def _exclusively(part: Path, place: Path) -> None:
    """Put it in place if nothing stands there; FileExistsError else."""
    try:
        os.link(part, place)
    except FileExistsError:
        raise
    except OSError:  # a disk that knows no second name for a file: take the place first, then fill it in one step
        with place.open("xb"):
            pass
        try:
            part.replace(place)
        except OSError:
            place.unlink(missing_ok=True)
            raise


def _flush(path: Path, how: int = os.O_RDONLY) -> None:
    """To the disk, so that a power cut after the name stands finds the whole of it under that name."""
    handle = os.open(path, how)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _as_open_as(old: Path, new: Path) -> None:
    """The new file may be read by whoever could read the old one, and by nobody else."""
    with suppress(OSError):
        new.chmod(old.stat().st_mode & 0o777)


def _sweep(folder: Path) -> None:
    """Clear away what runs that were killed have left in the folder."""
    with suppress(OSError):
        for left in folder.glob(_PART.format("*") + "*"):
            with suppress(OSError):
                if time.time() - left.stat().st_mtime > _STALE_S:
                    left.unlink()


def _stands(path: Path, kind: Kind | None) -> BadInput:
    hint = "Give another name, or --force." if kind and kind.renewed else ANOTHER
    return BadInput.of(str(path), "is there already and is left as it is.", hint)
