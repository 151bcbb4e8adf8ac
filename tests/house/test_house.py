"""The project's own order: style, types, floors of the engine, sizes of files, and no path of a machine."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import ROOT, missing

SOURCES = sorted([*ROOT.glob("chemistry/**/*.py"), *ROOT.glob("cli/**/*.py"), *ROOT.glob("tapwright/library/*.py")])
MADE = {"node_modules", "__pycache__", "build", "dist"}  # by tools, in a tree where no git tells it apart


def tracked() -> list[Path]:
    """The project's own files: as git knows them, or what there is in an unpacked source distribution."""
    if (ROOT / ".git").exists():
        command = ["git", "ls-files", "--cached", "--others", "--exclude-standard"]
        listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True).stdout
        return [ROOT / name for name in listed.splitlines()]
    names = (path.relative_to(ROOT) for path in ROOT.rglob("*") if path.is_file())
    return [ROOT / name for name in names if not any(part in MADE or part.startswith(".") for part in name.parts)]


TRACKED = tracked()


@pytest.mark.parametrize(
    "command",
    [
        ("ruff", "check", "."),
        ("ruff", "format", "--check", "."),
        ("mypy",),
        ("lint-imports", "--no-logo", "--no-cache"),
    ],
    ids=" ".join,
)
def test_style_types_and_import_contracts(command: tuple[str, ...]) -> None:
    tool = shutil.which(command[0], path=Path(sys.executable).parent)
    if command[0] != "ruff" and not (ROOT / "tapwright" / "chemistry").is_dir():
        missing("The rooms of the package are no links here: types and import contracts are those of a checkout.")
    if tool is None:
        missing(f"{command[0]} is not here: install the extra lint.")
    done = subprocess.run([tool, *command[1:]], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_module_and_public_function_says_what_it_is(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            nested = any(
                node in ast.walk(outer)
                for outer in ast.walk(tree)
                if isinstance(outer, ast.FunctionDef) and outer is not node
            )
            overrides = node.name == "misfits"  # said once, in the base of the file's tables
            assert nested or overrides or ast.get_docstring(node), f"{path.name}: {node.name}"


@pytest.mark.parametrize("path", [p for p in TRACKED if p.suffix == ".py"], ids=lambda path: path.name)
def test_no_file_is_longer_than_400_lines(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


@pytest.mark.parametrize(
    "path", [p for p in SOURCES if p.is_relative_to(ROOT / "chemistry")], ids=lambda path: path.name
)
def test_the_engine_prints_nothing_and_reads_no_clock(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for word in ("print(", "time.time", "datetime.now", "date.today", "perf_counter", "input("):
        assert word not in text
    if path.name not in ("reference.py", "linear_programme.py"):
        assert "open(" not in text
        assert "read_text" not in text


def test_no_path_of_a_machine_and_no_registry_is_written_down() -> None:
    assert TRACKED
    for path in TRACKED:
        if path.is_file() and path.name != Path(__file__).name:
            content = path.read_text(encoding="utf-8", errors="ignore")
            assert not re.search(r"/home/|/Users/|/work/|pypi\.org|npmjs|deb\.debian", content), path
