"""What a command loads: help answers at once, and a plan or a sheet needs no library that is an extra."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from conftest import ROOT

LIGHT = ("--help", "--version", "plan --help", "neutralise --help", "late --help", "nitrate --help", "log add --help")


def run(code: str, *words: str) -> str:
    """What an interpreter of its own prints; it must end well."""
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys; from tapwright.cli.app import run\n"
        "heavy = ('numpy', 'pint', 'pandas', 'highspy', *(f'tapwright.chemistry.{at}' for at in ('plan', 'water', 'units')))\n"
        "for words in sys.argv[1:]:\n"
        "    run(words.split()); print()\n"
        "    found = [name for name in heavy if name in sys.modules]\n"
        "    if found: sys.exit(f'{words} imported {found}')\n"
        "    print('END OF', words)\n"
    )
    out = run(code, *LIGHT)
    for words in LIGHT:
        said, out = out.split(f"END OF {words}\n")
        assert "apwright" in said, words


def test_plan_and_sheet_import_neither_scipy_nor_pandas_nor_matplotlib(tmp_path: Path) -> None:
    # The unit library looks for scipy itself where it is installed, but loads none of its parts.
    code = (
        "import sys, pint; before = set(sys.modules); "
        "from tapwright.cli.app import run; on = ['demo/house.toml', '--tank', 'Rock wall']; run(['plan', *on]); "
        "run(['sheet', *on, '-o', sys.argv[1]]); "
        "heavy = ('scipy', 'pandas', 'matplotlib'); "
        "found = [name for name in set(sys.modules) - before if name.partition('.')[0] in heavy]; "
        "sys.exit(f'imported: {found}' if found else 0)"
    )
    run(code, str(tmp_path / "s.html"))
    assert "<svg" in (tmp_path / "s.html").read_text(encoding="utf-8")
