"""The project's own order: style, types, floors of the engine, sizes of files, and no path of a machine."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import ROOT

SOURCES = sorted([*ROOT.glob("chemistry/**/*.py"), *ROOT.glob("cli/**/*.py")])
TRACKED = [
    ROOT / name
    for name in subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    ).stdout.splitlines()
]
FLOORS = {
    "chemistry.allowed": 1, "chemistry.errors": 1, "chemistry.findings": 1, "chemistry.units": 1, "chemistry.reference": 1,
    "chemistry.substances": 2, "chemistry.programmes": 2, "chemistry.water": 3, "chemistry.dosing": 4,
    "chemistry.change": 4, "chemistry.plan": 5,
    "cli": 6,
}  # fmt: skip


@pytest.mark.parametrize(
    "command", [("ruff", "check", "."), ("ruff", "format", "--check", "."), ("mypy",)], ids=" ".join
)
def test_style_and_types(command: tuple[str, ...]) -> None:
    done = subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def _floor(module: str) -> int | None:
    return next((floor for room, floor in FLOORS.items() if module == room or module.startswith(f"{room}.")), None)


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_point_down(path: Path) -> None:
    module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    own = _floor(module)
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.ImportFrom) or not node.module or own is None:
            continue
        for name in (node.module, *(f"{node.module}.{alias.name}" for alias in node.names)):
            other = _floor(name)
            assert other is None or other <= own, f"{module} imports {name}"
            if own == 4 and other == 4:
                assert name.split(".")[1] == module.split(".")[1], f"{module} imports sideways: {name}"


def test_no_modules_import_each_other_in_a_circle() -> None:
    modules = {".".join(path.relative_to(ROOT).with_suffix("").parts): path for path in SOURCES}
    leads_to = {name: _imported(path) & set(modules) for name, path in modules.items()}
    while free := [name for name, others in leads_to.items() if not others & set(leads_to)]:
        for name in free:
            del leads_to[name]
    assert not leads_to, f"in or behind a circle: {sorted(leads_to)}"


def _imported(path: Path) -> set[str]:
    """Every module a file names in an import, also inside functions."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return found


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


@pytest.mark.parametrize("path", [p for p in SOURCES if "chemistry" in p.parts], ids=lambda path: path.name)
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
