"""The sheet's script under a linter and a type checker: each of its parts, and the whole as the page has it."""

from __future__ import annotations

import shutil
import subprocess
from importlib import resources
from pathlib import Path

import pytest
from conftest import ROOT, missing

from tapwright.cli.sheet.document import _script

FOLDER = ROOT / "tests" / "browser"
PARTS = ROOT / "cli" / "sheet" / "page" / "script"


def checked(tool: str, *words: str | Path, text: str | None = None) -> None:
    """A tool of node_modules finds nothing."""
    path = shutil.which(tool, path=FOLDER / "node_modules" / ".bin")
    if path is None or shutil.which("node") is None:
        missing(f"{tool} is not here: run npm ci --ignore-scripts --prefix tests/browser.")
    done = subprocess.run([path, *words], cwd=ROOT, input=text, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_types() -> None:
    checked("tsc", "--project", FOLDER / "tsconfig.json")


@pytest.mark.parametrize("whole", [False, True], ids=["parts", "whole"])
def test_style(whole: bool) -> None:
    script = _script(resources.files("tapwright.cli.sheet") / "page" / "script") if whole else None
    on = ["--stdin", "--stdin-filename", FOLDER / "whole.js"] if whole else [PARTS]
    checked("eslint", "--max-warnings=0", "--config", FOLDER / "eslint.config.mjs", *on, text=script)


def test_what_explains_the_script_stays_behind() -> None:
    script = _script(resources.files("tapwright.cli.sheet") / "page" / "script").splitlines()
    assert not [line for line in script if line.startswith(("//", "/**", "*"))]
    code = [line for part in PARTS.glob("*.js") for line in part.read_text(encoding="utf-8").splitlines()]
    assert len(script) - 3 == len(
        [line for line in code if line.strip() and not line.strip().startswith(("//", "/**"))]
    )
