"""Word on a terminal's stderr while an answer takes its time; an answer that comes soon leaves no trace of it.

Plain carriage returns: the terminal library's own display costs more to import than most commands take, and hides a cursor
that a killed program would not give back.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from threading import Event, Thread
from time import monotonic
from typing import TextIO

DELAY_S = 1.0  # until the first word
TICK_S = 1.0  # from one to the next
TASK: ContextVar[str] = ContextVar("TASK", default="tapwright")


@contextmanager
def told(stream: TextIO | None) -> Iterator[None]:
    """While the block runs for longer than a second, say so on the stream if that is a terminal, and wipe it afterwards."""
    if stream is None or stream.closed or not stream.isatty():
        yield
        return
    done = Event()
    teller = Thread(target=_tell, args=(stream, TASK.get(), done), name="tapwright progress", daemon=True)
    teller.start()
    try:
        yield
    finally:
        done.set()
        teller.join()  # wiped before anything else is written


def _tell(stream: TextIO, task: str, done: Event) -> None:
    """Wait, then tell the seconds until done; a terminal that goes away meanwhile is no reason to lose the answer."""
    began = monotonic()
    if done.wait(DELAY_S):
        return
    with suppress(OSError, ValueError):
        if os.environ.get("TERM") in ("dumb", "unknown"):
            _write(stream, f"{task}: working ...\n")
            return
        most = _columns(stream) - 1  # a full line would wrap, and its first half stay behind
        width = 0
        while True:
            line = f"{task}: working, {monotonic() - began:.0f} s"[:most]
            width = max(width, len(line))
            _write(stream, f"\r{line}")
            if done.wait(TICK_S):
                break
        _write(stream, f"\r{' ' * width}\r")


def _write(stream: TextIO, text: str) -> None:
    stream.write(text)
    stream.flush()


def _columns(stream: TextIO) -> int:
    """Width of the terminal; 80 where it does not say."""
    with suppress(OSError, ValueError):
        return os.get_terminal_size(stream.fileno()).columns or 80
    return 80
