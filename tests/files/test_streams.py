"""An answer that cannot be printed: what was done says so, nothing crashes, and no exit code says what is not so."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import DEMO, ROOT

from tapwright.cli.log.logbook import Logbook, path_of

FULL = pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
NOBODY_READS = "| true"
LOST = ["1>&-", pytest.param("1>/dev/full", marks=FULL)]
ENTERED = "entered all the same"
ROCK = "--tank 'Rock wall'"


def shell(words: str, streams: str, folder: Path) -> tuple[int, str, str]:
    """Exit code of the command itself, stdout and stderr; the shell alone can close a stream."""
    line = f'{{ "{sys.executable}" -m tapwright {words}; echo $? > "{folder}/code"; }} {streams}'
    done = subprocess.run(line, shell=True, capture_output=True, text=True, cwd=ROOT, check=False)
    return int((folder / "code").read_text(encoding="utf-8")), done.stdout, done.stderr


@pytest.fixture
def house(tmp_path: Path) -> Path:
    file = tmp_path / "house.toml"
    file.write_bytes(DEMO.read_bytes())
    return file


def notes(house: Path) -> list[tuple[str, bool]]:
    with Logbook(path_of(house), create=False) as book:
        return [(entry.note, bool(entry.undone)) for entry in book.entries()]


@pytest.mark.parametrize("as_json", ["", "--json"])
@pytest.mark.parametrize("streams", [*LOST, NOBODY_READS])
def test_what_is_entered_says_so_however_the_answer_is_lost(
    streams: str, as_json: str, house: Path, tmp_path: Path
) -> None:
    may_be_silent = streams == NOBODY_READS  # a pipe may take the answer before its reader is gone

    def loses(words: str, said: str) -> None:
        code, _, err = shell(f"{words} {as_json}", streams, tmp_path)
        assert code == 0
        assert (err.count("\n") == 1 and said in err) or (may_be_silent and not err)

    loses(f"log add '{house}' {ROCK} --note one", ENTERED)
    loses(f"log undo '{house}'", "taken back all the same")
    assert notes(house) == [("one", True)]
    loses(f"log import '{house}' demo/log.csv", ENTERED)
    assert len(notes(house)) > 1


@pytest.mark.parametrize(
    "streams", ["2>&-", "1>&- 2>&-", "0<&- 1>&- 2>&-", pytest.param("1>/dev/full 2>/dev/full", marks=FULL)]
)
def test_with_nobody_to_tell_the_code_still_says_entered(streams: str, house: Path, tmp_path: Path) -> None:
    assert shell(f"log add '{house}' {ROCK} --note one", streams, tmp_path)[0::2] == (0, "")
    assert notes(house) == [("one", False)]


@pytest.mark.parametrize("words", [
    f"plan demo/house.toml {ROCK}", f"plan demo/house.toml {ROCK} --json", "check demo/house.toml", "--help", "--version",
    "log --help", "convert '12 dGH' 'mg/L CaCO3'", "convert 12 'mg/L CaCO3' --json", "plan --json",
])  # fmt: skip
@pytest.mark.parametrize("streams", LOST)
def test_what_cannot_be_printed_is_one_line_and_no_success(streams: str, words: str, tmp_path: Path) -> None:
    code, out, err = shell(words, streams, tmp_path)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert err.startswith("the answer cannot be printed: ")


@pytest.mark.parametrize(("words", "own"), [
    (f"plan demo/house.toml {ROCK}", 0), (f"plan demo/house.toml {ROCK} --json", 0), ("--help", 0), ("plan --help", 0),
    ("--version", 0), ("check nothing.toml", 2), ("check nothing.toml --json", 2), ("fish", 2), ("convert '1 L' 'degC'", 2),
])  # fmt: skip
@pytest.mark.parametrize(
    "streams", ["2>&-", pytest.param("2>/dev/full", marks=FULL), NOBODY_READS, "| head -1", "0<&-"]
)
def test_the_code_is_the_commands_own_whoever_reads(streams: str, words: str, own: int, tmp_path: Path) -> None:
    code, _, err = shell(words, streams, tmp_path)
    assert code == own
    assert "Traceback" not in err
    assert err.count("\n") == (1 if own and "--json" not in words and "2>" not in streams else 0)


def test_a_page_that_is_written_says_so_where_its_answer_is_lost(house: Path, tmp_path: Path) -> None:
    page = tmp_path / "s.html"
    code, _, err = shell(f"sheet '{house}' {ROCK} -o '{page}'", "1>&-", tmp_path)
    assert (code, err) == (0, f"the answer cannot be printed: stdout is closed. {page} is written.\n")
    assert page.read_text(encoding="utf-8").rstrip().endswith("</html>")


def test_a_closed_stderr_leaves_the_document_whole(tmp_path: Path) -> None:
    code, out, _ = shell(f"plan demo/house.toml {ROCK} --json", "2>&-", tmp_path)
    assert (code, json.loads(out)["command"]) == (0, "plan")
