"""The package as others meet it: in a checkout without links, beside files and packages of the same names."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from conftest import ROOT

from tapwright import __version__

PLAN = ["-m", "tapwright", "plan", "house.toml", "--tank", "Rock wall", "--json"]


def said(cwd: Path, *words: str) -> str:
    done = subprocess.run([sys.executable, *words], cwd=cwd, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What a plan says in a folder that holds nothing else."""
    folder = tmp_path_factory.mktemp("alone")
    shutil.copy(ROOT / "demo" / "house.toml", folder)
    return said(folder, *PLAN)


def test_a_checkout_without_links_is_whole(tmp_path: Path, planned: str) -> None:
    for room in ("chemistry", "cli", "tables"):
        shutil.copytree(ROOT / room, tmp_path / room, ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "tapwright").mkdir()
    for path in (ROOT / "tapwright").glob("*.py"):
        shutil.copy(path, tmp_path / "tapwright")
    (tmp_path / "tapwright" / "cli").write_text("../cli", encoding="utf-8")  # what git leaves where it makes no links
    shutil.copy(ROOT / "demo" / "house.toml", tmp_path)
    assert said(tmp_path, *PLAN) == planned
    assert said(tmp_path, "-c", "import tapwright.cli.app as at; print(at.__file__)").startswith(str(tmp_path))


def test_files_and_packages_of_the_same_names_change_nothing(tmp_path: Path, planned: str) -> None:
    for name in ("chemistry", "tables", "units", "cli"):
        (tmp_path / f"{name}.py").write_text("raise AssertionError('not mine')", encoding="utf-8")
    for name in ("cli", "tests"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "__init__.py").write_text("raise AssertionError('not mine')", encoding="utf-8")
    shutil.copy(ROOT / "demo" / "house.toml", tmp_path)
    assert said(tmp_path, *PLAN) == planned


def test_the_version_is_one() -> None:
    for name, line in (("pyproject.toml", f'version = "{__version__}"'), ("CITATION.cff", f"version: {__version__}")):
        assert line in (ROOT / name).read_text(encoding="utf-8").splitlines(), name
