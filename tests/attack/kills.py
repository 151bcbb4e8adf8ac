"""Commands that write, killed at a random moment, most of them in the middle of the writing.

Each runs in a fork of this process, where everything is imported already, and dies by a signal nobody can catch: at a
moment drawn from its whole life, or from the time after it first opened a file to write. What is left must be whole: the
state before or the state after, the latter wherever the command had said so; and the same command must then work.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import signal
import sqlite3
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

from tapwright.cli.app import run

from . import Seen
from .files import ROOT, judged

_MEMORY = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None  # a kill does not ask what reached the disk
_SHEET = ["sheet", "house.toml", "--tank", "Rock wall", "-o", "page.html", "--date", "2026-03-14"]
WRITERS: Mapping[str, list[str]] = {
    "log add": ["log", "add", "house.toml", "--tank", "Rock wall", "--at", "2026-03-15T09:00+01:00", "--note", "clear",
                "--reading", "nitrate 40 mg/L NO3, chart, below 20, above 80", "--reading", "ph 8.2, meter"],
    "log import": ["log", "import", "house.toml", str(ROOT / "demo" / "log.csv")],
    "log undo": ["log", "undo", "house.toml"],
    "log export --force": ["log", "export", "house.toml", "out.csv", "--force"],
    "log export": ["log", "export", "house.toml", "first.csv"],
    "sheet --force": [*_SHEET, "--force"],
    "sheet": [*_SHEET[:5], "first.html", *_SHEET[6:]],
    "new": ["new", "second.toml"],
}  # fmt: skip
_WRITTEN = ("out.csv", "first.csv", "page.html", "first.html", "second.toml")
_KNOWN = {"house.toml", "house.log.sqlite", "house.log.sqlite-wal", "house.log.sqlite-shm", "said", *_WRITTEN}


@dataclass(frozen=True)
class Life:
    """A command unharmed: what the folder held before and after, and its seconds, in all and from its first writing on."""

    before: object
    after: object
    takes_s: float
    writes_s: float


@cache
def _furniture() -> Mapping[str, bytes]:
    """A household with a log, and a page and a table that stand there already."""
    with TemporaryDirectory(dir=_MEMORY) as folder, contextlib.chdir(folder):
        Path("house.toml").write_bytes((ROOT / "demo" / "house.toml").read_bytes())
        first = ["log", "add", "house.toml", "--tank", "Shell bay", "--at", "2026-03-01T09:00+01:00", "--note", "first"]
        for words in (
            first,
            WRITERS["log export --force"],
            ["sheet", "house.toml", "--tank", "Shell bay", "-o", "page.html"],
            first,
        ):
            said, wrong = judged(words)
            assert said is not None and said.code == 0 and not wrong, (words, said, wrong)
        return {path.name: path.read_bytes() for path in Path().iterdir()}


def _furnish(command: str) -> None:
    for name, content in _furniture().items():
        Path(name).write_bytes(content)
    if command == "log import":  # the first of its kind makes the log
        Path("house.log.sqlite").unlink()


def _state(wrong: list[str]) -> object:
    """What the folder holds: entries and those taken back, and every file that a command may have written."""
    log, rows = Path("house.log.sqlite"), None
    if log.exists() and log.stat().st_size:
        with contextlib.closing(sqlite3.connect(log)) as raw:
            if raw.execute("PRAGMA integrity_check").fetchall() != [("ok",)]:
                wrong.append("the log is broken")
            if raw.execute("PRAGMA user_version").fetchone() != (0,):
                rows = raw.execute("SELECT count(*), count(undone) FROM entry").fetchone()
    return rows or (0, 0), {name: Path(name).read_bytes() if Path(name).exists() else None for name in _WRITTEN}


def _child(words: list[str], after_s: float | None, writing: bool) -> None:
    """Runs the command in a fork and dies after so many seconds; says on stdout's file what it said, and when it wrote."""
    said = Path("said").open("w", encoding="utf-8")  # noqa: SIM115
    began_s, first_s = time.perf_counter(), [0.0]

    def arm(event: str, details: tuple[Any, ...]) -> None:
        opens = event == "open" and isinstance(details[2], int) and details[2] & (os.O_WRONLY | os.O_RDWR)
        if first_s[0] == 0 and (opens or event == "sqlite3.connect"):
            first_s[0] = time.perf_counter()
            if after_s is not None and writing:
                signal.setitimer(signal.ITIMER_REAL, after_s)

    signal.signal(signal.SIGALRM, signal.SIG_DFL)  # ends the process wherever it is, as SIGKILL does
    sys.addaudithook(arm)
    if after_s is not None and not writing:
        signal.setitimer(signal.ITIMER_REAL, after_s)
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(io.StringIO()):
        code = run(words)
    ended_s = time.perf_counter()
    signal.setitimer(signal.ITIMER_REAL, 0)
    if after_s is None:
        Path("said").write_text(f"{ended_s - began_s} {ended_s - (first_s[0] or ended_s)}", encoding="utf-8")
    os._exit(code)


def _lived(words: list[str], after_s: float | None, writing: bool) -> int:
    """Exit code of the command in a fork; negative where it was killed."""
    child = os.fork()
    if child == 0:
        with contextlib.suppress(BaseException):
            _child(words, after_s, writing)
        os._exit(99)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@cache
def _life(command: str) -> Life:
    """The command once unharmed; all it needs is imported here first."""
    words = WRITERS[command]
    for _ in range(2):
        with TemporaryDirectory(dir=_MEMORY) as folder, contextlib.chdir(folder):
            _furnish(command)
            before, wrong = _state([]), list[str]()
            assert _lived(words, None, False) in (0, 1), command
            takes_s, writes_s = map(float, Path("said").read_text(encoding="utf-8").split())
            life = Life(before, _state(wrong), takes_s, writes_s)
            run_here, _ = judged([*words, "--json"])  # imports, for the forks to come
            assert run_here is not None and not wrong
    return life


def attack(key: str) -> Seen:
    """One command killed at one moment."""
    random = Random(key)
    command = random.choice(list(WRITERS))
    life, words, writing = _life(command), WRITERS[command], random.random() < 0.8
    after_s = random.uniform(1e-5, 1.15 * (life.writes_s if writing else life.takes_s))
    with TemporaryDirectory(dir=_MEMORY) as folder, contextlib.chdir(folder):
        _furnish(command)
        code, wrong = _lived(words, after_s, writing), list[str]()
        acknowledged = bool(Path("said").exists() and Path("said").read_text(encoding="utf-8"))
        litter = [name for name in os.listdir() if name not in _KNOWN]
        found = _state(wrong)
        if found != life.after and (found != life.before or acknowledged):
            wrong.append(
                f"neither as before nor as after{' and it had said done' if acknowledged else ''}: {_differs(found, life)}"
            )
        wrong += _goes_on(command, found == life.after)
        left = [name for name in os.listdir() if name not in _KNOWN]
    outcomes = [f"{command}: {'killed' if code < 0 else 'over before' if code in (0, 1) else code}"]
    outcomes += [f"left behind: {re.sub(r'[0-9a-f]{32}', '*', name)}" for name in litter]
    wrong += [f"{name} is still left after the same command ran whole" for name in left if code >= 0]
    where = f"killed {1000 * after_s:.2f} ms after {'its first writing' if writing else 'its start'}"
    return Seen(outcomes, [f"{shlex.join(words)}, {where}: {complaint}" for complaint in wrong])


def _differs(found: Any, life: Life) -> str:
    """Which part of a state is neither old nor new."""
    (rows, files), (_, before), (_, after) = found, life.before, life.after  # type: ignore[misc]
    odd = [
        f"{name} holds {len(content or b'')} bytes"
        for name, content in files.items()
        if content not in (before[name], after[name])
    ]
    return "; ".join(odd) or f"entries {rows}"


def _goes_on(command: str, done: bool) -> list[str]:
    """What is wrong when the same command is given again: it works, or what it was to make stands there whole."""
    said, wrong = judged(WRITERS[command])
    if said is not None and said.code == 2 and not (done and "is there already" in said.err):
        wrong = [*wrong, f"afterwards it is refused: {said.err.strip()[:200]}"]
    _state(wrong)
    return wrong


def shown(key: str) -> str:
    """The command of a key."""
    return shlex.join(WRITERS[Random(key).choice(list(WRITERS))])
