"""Manners of the command line: what it shows of itself, what it takes for granted, and what it will not let pass."""

from __future__ import annotations

import io
import json
import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import jsonschema
import pytest
from conftest import DEMO, ROOT

from tapwright.cli.app import command_names, run


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    capsys.readouterr()
    code = run(list(words))
    out, err = capsys.readouterr()
    return code, out + err


@pytest.fixture
def one_tank(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder whose house.toml has one tank."""
    text = DEMO.read_text(encoding="utf-8")
    (tmp_path / "house.toml").write_text(text[: text.rindex("[[tank]]")], encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("TAPWRIGHT_HOUSE", raising=False)
    return tmp_path


def test_the_help_shows_every_command_in_whole_sentences_and_the_exit_codes(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    code, text = said(capsys, "-h")
    assert code == 0
    assert "..." not in text.partition("Options:")[2]
    places = [
        text.index(f"\n  {name} ") for name in ("new", "check", "plan", "sheet", "late", "log", "nitrate", "convert")
    ]
    assert places == sorted(places)
    for name in {name.partition(" ")[0] for name in command_names()}:
        assert f"\n  {name} " in text
    for number in (0, 1, 2, 3, 130):
        assert f"\n  {number} " in text
    assert said(capsys, "-V")[1].startswith("tapwright ")


@pytest.mark.parametrize("name", command_names())
def test_every_command_shows_how_it_is_written(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, text = said(capsys, *name.split(), "-h")
    assert code == 0
    assert f"\n  tapwright {name}" in text.partition("Example:")[2]


def test_the_file_in_the_folder_and_its_only_tank_need_no_name(
    one_tank: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert said(capsys, "plan") == said(capsys, "plan", "house.toml", "--tank", "Rock wall")
    assert said(capsys, "plan", "-t", "rock WALL") == said(capsys, "plan")
    assert "'Rock wall'" in said(capsys, "plan", "-t", "rock WALL")[1]


def test_the_variable_names_the_household(
    one_tank: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.move(one_tank / "house.toml", one_tank / "mine.toml")
    assert said(capsys, "check")[0] == 2
    monkeypatch.setenv("TAPWRIGHT_HOUSE", str(one_tank / "mine.toml"))
    assert said(capsys, "check")[0] == 0


def test_a_dash_is_stdin_and_stdout(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("house.toml", "log.csv"):
        shutil.copy(DEMO.with_name(name), tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "stdin", io.StringIO(DEMO.read_text(encoding="utf-8")))
    assert said(capsys, "check", "-")[0] == 0
    assert said(capsys, "sheet", "-t", "Rock wall", "-o", "-")[1].startswith("<!doctype html>")
    said(capsys, "log", "import", "house.toml", "log.csv")
    rows = said(capsys, "log", "export", "house.toml", "-")[1].splitlines()
    assert rows[0].startswith("uid,tank,at") and len(rows) == 52
    drawn = said(capsys, "nitrate", "-t", "Rock wall", "--now", "2026-03-14 18:30+01:00", "--chart", "-")[1]
    assert drawn.rstrip().endswith("</svg>")
    code, text = said(capsys, "log", "export", "house.toml", "-", "--json")
    assert code == 2 and "both want stdout" in text
    assert sorted(path.name for path in tmp_path.iterdir() if not path.name.startswith("house.")) == ["log.csv"]


def test_a_picture_is_not_called_what_it_is_not(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    shutil.copy(DEMO, tmp_path)
    shutil.copy(DEMO.with_name("log.csv"), tmp_path)
    house, picture = str(tmp_path / "house.toml"), tmp_path / "x.png"
    said(capsys, "log", "import", house, str(tmp_path / "log.csv"))
    words = ("nitrate", house, "-t", "Rock wall", "--now", "2026-03-14 18:30+01:00", "--chart", str(picture))
    code, text = said(capsys, *words)
    assert code == 2 and "Write --chart x.svg." in text and not picture.exists()


def test_of_several_tanks_one_must_be_named(capsys: pytest.CaptureFixture[str]) -> None:
    code, text = said(capsys, "plan", str(DEMO))
    assert (code, text) == (2, "--tank: not given, and the household has several. Write 'Rock wall' or 'Shell bay'.\n")


@pytest.mark.parametrize("second", ["--tank=Shell bay", "-t", "--tank"])
def test_an_option_that_is_given_twice_is_refused(second: str, capsys: pytest.CaptureFixture[str]) -> None:
    rest = [] if "=" in second else ["Shell bay"]
    code, text = said(capsys, "plan", str(DEMO), "--tank", "Rock wall", second, *rest)
    assert (code, text) == (2, "--tank: is given 2 times. Give it once.\n")


def test_options_that_may_come_often_still_may(capsys: pytest.CaptureFixture[str]) -> None:
    parts = ("--part", "60 L of tap", "--part", "40 L of deionised, temperature 20 degC")
    assert said(capsys, "mix", *parts, "--file", str(DEMO))[0] == 0


@pytest.mark.parametrize(
    ("line", "offered"),
    [
        (f"tapwright plan {DEMO.relative_to(ROOT)} --tank ", {"Rock wall", "Shell bay"}),
        ("tapwright neutralise --agent sodium", {"sodium thiosulfate pentahydrate", "sodium sulfite"}),
        ("tapwright transition --target ", {"malawi", "tanganyika"}),
        ("tapwright pl", {"plan"}),
    ],
)
def test_a_shell_is_offered_names(line: str, offered: set[str]) -> None:
    words = {"COMP_WORDS": line, "COMP_CWORD": str(len(line.split(" ")) - 1), "_TAPWRIGHT_COMPLETE": "complete_bash"}
    call = "import sys; sys.argv = ['tapwright']; from tapwright.cli.app import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", call], cwd=ROOT, env=os.environ | words, capture_output=True, text=True, check=False
    )
    assert offered <= set(done.stdout.splitlines()), done


def test_a_refusal_into_a_closed_pipe_ends_quietly_with_its_own_code(tmp_path: Path) -> None:
    line = f'{{ "{sys.executable}" -m tapwright plan nowhere.toml -t a; echo $? > "{tmp_path}/code"; }} 2>&1 >&- | true'
    done = subprocess.run(["bash", "-c", line], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert (tmp_path / "code").read_text().strip() == "2"
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("what", ["salts", "agents", "lakes", "kits", "fittings", "limits", "units"])
def test_what_the_tables_know_is_listed(what: str, capsys: pytest.CaptureFixture[str]) -> None:
    code, text = said(capsys, "list", what, "--json")
    rows = json.loads(text)["result"][what]
    assert code == 0
    shown = said(capsys, "list", what)[1]
    assert all(str(next(iter(row.values()))) in shown for row in rows)


def test_the_schema_is_printed_for_an_editor(capsys: pytest.CaptureFixture[str]) -> None:
    schema = json.loads(said(capsys, "schema", "household")[1])
    house = tomllib.loads(DEMO.read_text(encoding="utf-8"))
    jsonschema.validate(json.loads(json.dumps(house, default=str)), schema)
    assert said(capsys, "schema", "fish")[0] == said(capsys, "list", "fish")[0] == 2
