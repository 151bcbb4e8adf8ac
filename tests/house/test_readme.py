"""The README shows real output: every console block is run and compared. `python tests/house/test_readme.py` renews it."""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import shutil
import tempfile
from pathlib import Path

import pytest

from tapwright.cli.app import run

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
_BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def renewed(text: str) -> str:
    """The text with the output of every console block as the commands give it now, one after another, beside a copy of the
    demo: some of them write a log."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(ROOT / "demo", Path(folder) / "demo", ignore=shutil.ignore_patterns("*.sqlite*"))
        with contextlib.chdir(folder):
            return _BLOCK.sub(lambda block: f"```console\n{_session(block[1])}```", text)


def _session(block: str) -> str:
    commands = [line for line in block.splitlines() if line.startswith("$ ")]
    return "".join(f"{command}\n{_output(command)}" for command in commands)


def _output(command: str) -> str:
    words = shlex.split(command.removeprefix("$ "))
    assert words[0] == "tapwright"
    shown = io.StringIO()
    with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(shown):
        run(words[1:])
    return shown.getvalue()


def test_the_output_shown_is_the_output_given(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = README.read_text(encoding="utf-8")
    assert len(_BLOCK.findall(text)) >= 5
    assert renewed(text) == text, "run: python tests/house/test_readme.py"


def test_what_is_shown_of_a_confident_plan_is_what_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    shown = README.read_text(encoding="utf-8").split("```text\nHow sure")[1].split("```")[0]
    with contextlib.chdir(ROOT):
        assert shown.strip() in _output('$ tapwright plan demo/house.toml --tank "Shell bay" --confident')


def test_the_job_stands_at_the_top_and_two_commands_set_everything_up() -> None:
    text = README.read_text(encoding="utf-8")
    setup = text.split("## Set up")[1].split("\n## ")[0]
    commands = [line for line in setup.splitlines() if line.startswith("python3 ")]
    assert len(commands) == 2
    assert all("-m venv .venv && .venv/bin/python -m pip install" in command for command in commands)
    assert "tapwright plan demo/house.toml" in commands[0]
    assert commands[1].endswith("pytest -n 2")


def test_every_command_is_shown() -> None:
    from tapwright.cli.app import command_names

    text = README.read_text(encoding="utf-8") + (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    names = command_names()
    assert "log add" in names
    for name in names:
        assert f"tapwright {name}" in text, name


if __name__ == "__main__":
    os.environ["COLUMNS"] = "80"
    README.write_text(renewed(README.read_text(encoding="utf-8")), encoding="utf-8")
