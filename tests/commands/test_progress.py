"""Word on stderr while an answer takes its time. No test waits for a clock: each waits for the word itself."""

from __future__ import annotations

import io
import os
import select
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from conftest import DEMO, ROOT

from tapwright.chemistry.errors import NoAnswer
from tapwright.cli import app, progress
from tapwright.cli.answer import Answer
from tapwright.cli.app import run
from tapwright.cli.commands import convert as converting
from tapwright.cli.commands import household as households

_NEVER_S = 60.0  # a deadline that only a broken program reaches


class Terminal(io.StringIO):
    """A stream that says whether it is a terminal, and tells when so many writes have reached it."""

    def __init__(self, *, tty: bool = True, awaited: int = 1) -> None:
        super().__init__()
        self.tty, self.awaited, self.writes, self.told = tty, awaited, 0, threading.Event()

    def isatty(self) -> bool:
        return super().isatty() or self.tty  # raises on a closed stream, as any does

    def write(self, text: str) -> int:
        done = super().write(text)
        self.writes += 1
        if self.writes >= self.awaited:
            self.told.set()
        return done

    def wait(self) -> None:
        assert self.told.wait(_NEVER_S)

    def screen(self) -> list[str]:
        """What the terminal shows: a carriage return goes back to the line's start, and letters cover what was there."""
        shown = [""]
        for letter in self.getvalue():
            if letter == "\n":
                shown.append("")
                column = 0
            elif letter == "\r":
                column = 0
            else:
                shown[-1] = shown[-1][:column] + letter + shown[-1][column + 1 :]
                column += 1
        return [line.rstrip() for line in shown]


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "DELAY_S", 0.0)
    monkeypatch.setattr(progress, "TICK_S", 0.001)
    monkeypatch.setenv("TERM", "xterm")
    progress.TASK.set("tapwright")  # whatever ran before


def _tellers() -> list[threading.Thread]:
    return [thread for thread in threading.enumerate() if thread.daemon and thread.name.startswith("tapwright")]


def test_a_terminal_is_told_what_is_worked_on_and_for_how_long_and_then_wiped() -> None:
    terminal = Terminal(awaited=3)
    with progress.told(terminal):
        terminal.wait()
        assert terminal.screen()[0].startswith("tapwright")
        assert len(_tellers()) == 1
    assert terminal.screen() == [""]
    assert terminal.getvalue().count("\rtapwright: working, 0 s") >= 3
    assert terminal.getvalue().endswith("\r")
    assert not _tellers()


def test_seconds_are_counted_from_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter([100.0, 101.2, 102.6])
    monkeypatch.setattr(progress, "monotonic", lambda: next(clock, 109.0))
    terminal = Terminal(awaited=2)
    with progress.told(terminal):
        terminal.wait()
    assert terminal.getvalue().split("\r")[1:3] == ["tapwright: working, 1 s", "tapwright: working, 3 s"]


def test_an_answer_that_comes_soon_leaves_no_trace(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "DELAY_S", _NEVER_S)
    terminal = Terminal()
    with progress.told(terminal):
        assert len(_tellers()) == 1
    assert terminal.writes == 0
    assert not _tellers()


def test_what_is_no_terminal_hears_nothing_and_costs_no_thread() -> None:
    closed = Terminal()
    closed.close()
    for stream in (Terminal(tty=False), closed, None):
        with progress.told(stream):
            assert not _tellers()
    assert closed.writes == 0


def test_the_first_word_comes_after_a_second_and_others_every_second() -> None:
    # The fixture has replaced them here: the program's own are those of a fresh import.
    code = "from tapwright.cli import progress; print(progress.DELAY_S, progress.TICK_S)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.split() == ["1.0", "1.0"]


@pytest.mark.parametrize("error", [NoAnswer.of("x", "no.", "Stop."), ValueError("odd"), KeyboardInterrupt()])
def test_an_error_comes_out_as_it_was_and_the_line_is_wiped(error: BaseException) -> None:
    terminal = Terminal()
    with pytest.raises(type(error)) as raised, progress.told(terminal):
        terminal.wait()
        raise error
    assert raised.value is error
    assert terminal.screen() == [""]
    assert not _tellers()


@pytest.mark.parametrize("term", ["dumb", "unknown"])
def test_a_terminal_without_cursor_gets_one_line_and_keeps_it(term: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", term)
    terminal = Terminal()
    with progress.told(terminal):
        terminal.wait()
    assert terminal.getvalue() == "tapwright: working ...\n"


def test_the_line_is_shorter_than_a_narrow_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "get_terminal_size", lambda _: os.terminal_size((12, 24)))
    terminal = Terminal()
    monkeypatch.setattr(terminal, "fileno", lambda: 2)
    with progress.told(terminal):
        terminal.wait()
    assert set(terminal.getvalue().split("\r")) == {"", "tapwright: ", " " * 11}


def test_a_terminal_that_goes_away_takes_no_answer_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    class Gone(Terminal):
        def write(self, text: str) -> int:
            super().write(text)
            raise BrokenPipeError

    terminal, done = Gone(), []
    fallen: list[object] = []
    monkeypatch.setattr(threading, "excepthook", fallen.append)
    with progress.told(terminal):
        terminal.wait()
        done.append("answer")
    assert done
    assert not fallen
    assert not _tellers()


# --- in the command line -----------------------------------------------------------------------------------------


def test_a_command_is_named_and_stdout_holds_only_its_answer(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["convert", "12 dGH", "dKH"]) == 2
    assert run(["convert", "12 dGH", "mg/L CaCO3"]) == 0
    quick_out = capsys.readouterr().out
    terminal, own = Terminal(), converting.answer

    def slow(quantity: str, unit: str) -> Answer:
        terminal.wait()
        return own(quantity, unit)

    monkeypatch.setattr(converting, "answer", slow)
    monkeypatch.setattr(sys, "stderr", terminal)
    assert run(["convert", "12 dGH", "mg/L CaCO3"]) == 0
    assert capsys.readouterr().out == quick_out
    assert "\rtapwright convert: working, 0 s" in terminal.getvalue()
    assert terminal.screen() == [""]


def test_a_refusal_stands_alone_on_a_terminal(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    terminal, own = Terminal(), households.check_answer

    def slow(file: Path) -> Answer:
        terminal.wait()
        return own(file)

    monkeypatch.setattr(households, "check_answer", slow)
    monkeypatch.setattr(sys, "stderr", terminal)
    assert app.run(["check", str(tmp_path / "no.toml")]) == 2
    assert "\rtapwright check: working" in terminal.getvalue()
    (line, end) = terminal.screen()
    assert "no.toml" in line and "there is no such file" in line
    assert "working" not in line
    assert end == ""


_SLOW = """
import sys
from tapwright.cli.commands import household as households
from tapwright.cli.app import run
own = households.check_answer
def slow(file):
    sys.stdin.readline()
    return own(file)
households.check_answer = slow
sys.exit(run(["check", sys.argv[1]]))
"""


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="needs a pseudo-terminal")
@pytest.mark.parametrize("term", ["xterm", "dumb"])
def test_through_a_real_terminal(term: str) -> None:
    """The command waits until its word has been seen on the terminal, however slow the machine is."""
    ours, theirs = os.openpty()
    with subprocess.Popen(
        [sys.executable, "-c", _SLOW, str(DEMO)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=theirs,
        text=True, cwd=ROOT, env={**os.environ, "TERM": term},
    ) as process:  # fmt: skip
        os.close(theirs)
        seen = _read(ours, until=b"working")
        out, _ = process.communicate("go\n")
        seen += _read(ours, until=None)
    os.close(ours)
    assert process.returncode == 0
    assert "Rock wall" in out
    assert "working" not in out
    assert b"tapwright check: working" in seen
    # A pseudo-terminal turns each line's end into a carriage return and a line feed.
    assert seen.endswith(b" ...\r\n") if term == "dumb" else seen.endswith(b" \r")


def _read(terminal: int, until: bytes | None) -> bytes:
    """What comes until these letters do, or until the other end is closed."""
    seen = b""
    while until is None or until not in seen:
        ready, _, _ = select.select([terminal], [], [], _NEVER_S)
        assert ready, "the terminal stays silent"
        try:
            some = os.read(terminal, 1024)
        except OSError:  # how Linux says that the other end is closed
            some = b""
        if not some:
            break
        seen += some
    return seen
