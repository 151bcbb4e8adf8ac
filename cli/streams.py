"""stdout and stderr, which may be closed, full, or read by nobody any more: told where it can be, and never a crash."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Callable
from typing import TextIO

from tapwright.cli.visible import visible

_UNPRINTED = 2  # exit code


def stand() -> None:
    """Fill what the caller has closed, before a file of ours gets its number and a library's word lands in it.

    Every write to such a stdout is refused, so that an answer is not lost unnoticed; what is said on such a stderr vanishes.
    """
    for number, how in enumerate((os.O_RDONLY, os.O_RDONLY, os.O_WRONLY)):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, how)  # takes the lowest number that is free, which is this one
    if sys.stdout is None:
        sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    if sys.stderr is None:
        sys.stderr = _nowhere()


def write(text: str, stream: TextIO) -> None:
    """Text to a stream; letters that it cannot encode become question marks, never a crash."""
    encoding = stream.encoding or "utf-8"
    stream.write(text.encode(encoding, errors="replace").decode(encoding))


def tell(text: str) -> None:
    """A line on stderr, every letter of it to be seen; where that takes none, nobody is left to tell."""
    try:
        write(f"{visible(text)}\n", sys.stderr)
        sys.stderr.flush()
    except OSError:
        sys.stderr = _nowhere()


def printed(put: Callable[[], None], code: int, done: str = "") -> int:
    """Let `put` write to stdout, and return the exit code to leave with: `code`, if all of it went out.

    done: what has been done for good, as a sentence. Nobody must take it for undone, and do it twice, because the answer
    could not be printed: then it is said on stderr, and the code stays.
    """
    try:
        put()
        sys.stdout.flush()
    except OSError as error:
        return unprinted(error, code, done)
    return code


def unprinted(error: OSError, code: int, done: str = "") -> int:
    """The exit code where stdout refused an answer of that code; a reader who has seen enough hears nothing of it."""
    sys.stdout = _nowhere()  # what is left in it must not be tried once more at the end
    gone = isinstance(error, BrokenPipeError)
    if done or not gone:
        reason = "stdout is closed" if error.errno == errno.EBADF else (error.strerror or str(error)).lower()
        tell(f"the answer cannot be printed: {reason}. {done}".rstrip())
    return code if done or gone else _UNPRINTED


def _nowhere() -> TextIO:
    return open(os.devnull, "w", encoding="utf-8")
