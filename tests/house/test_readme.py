"""README and docs show real output: every console block is run and compared. `python tests/house/test_readme.py` renews all,
and the pages that are made from the program."""

from __future__ import annotations

import contextlib
import importlib.util
import io
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from tapwright.cli.app import run

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
PAGES = [README, *sorted((ROOT / "docs").glob("*.md"))]
_BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def made_pages() -> dict[Path, str]:
    """Pages that are made from the program itself."""
    spec = importlib.util.spec_from_file_location("reference_pages", ROOT / "docs" / "reference.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    pages: dict[Path, str] = module.pages()
    return pages


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


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_the_output_shown_is_the_output_given(page: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    text = page.read_text(encoding="utf-8")
    assert renewed(text) == text, "run: python tests/house/test_readme.py"


def test_commands_are_run_on_many_pages() -> None:
    shown = [page for page in PAGES if _BLOCK.search(page.read_text(encoding="utf-8"))]
    assert len(shown) >= 10


def test_what_is_shown_of_a_confident_plan_is_what_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    page = ROOT / "docs" / "how-sure.md"
    shown = page.read_text(encoding="utf-8").split("```text\nHow sure")[1].split("```")[0]
    with contextlib.chdir(ROOT):
        assert shown.strip() in _output('$ tapwright plan demo/house.toml --tank "Shell bay" --confident')


def test_the_pages_made_from_the_program_are_as_it_makes_them() -> None:
    for path, text in made_pages().items():
        assert path.read_text(encoding="utf-8") == text, "run: python tests/house/test_readme.py"


def test_the_python_on_the_front_page_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    code = re.findall(r"^```python\n(.*?)^```$", README.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)
    assert len(code) == 1
    names: dict[str, object] = {}
    exec(code[0], names)
    assert {"tap", "refill", "plan"} <= set(names)


def test_the_first_page_is_short_and_every_link_leads_somewhere() -> None:
    assert len(README.read_text(encoding="utf-8").splitlines()) <= 150
    for page in PAGES:
        for link in re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8")):
            assert (page.parent / link).exists(), f"{page.name}: {link}"


def test_the_site_is_built_without_a_warning(tmp_path: Path) -> None:
    pytest.importorskip("mkdocs")
    command = [sys.executable, "-m", "mkdocs", "build", "--strict", "--quiet", "--site-dir", str(tmp_path)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    pages = [path.read_text(encoding="utf-8") for path in tmp_path.rglob("*.html")]
    assert len(pages) > 15
    assert not [page for page in pages if re.search(r"<(script|link|img)[^>]+(src|href)=.https?://", page)]


def test_the_job_stands_at_the_top_and_two_commands_set_everything_up() -> None:
    text = README.read_text(encoding="utf-8")
    setup = text.split("## Install")[1].split("\n## ")[0]
    commands = [line for line in setup.splitlines() if line.startswith("python3 ")]
    assert len(commands) == 2
    assert all("-m venv .venv && .venv/bin/python -m pip install" in command for command in commands)
    assert "tapwright plan demo/house.toml" in commands[0]
    assert commands[1].endswith("pytest -n 2")


def test_every_command_is_on_the_first_page() -> None:
    from tapwright.cli.app import command_names

    table = README.read_text(encoding="utf-8").split("## Commands")[1].split("## ")[0]
    for name in command_names():
        assert re.search(rf"`(tapwright )?{name}`", table), name


if __name__ == "__main__":
    os.environ["COLUMNS"] = "80"
    for page in PAGES:
        page.write_text(renewed(page.read_text(encoding="utf-8")), encoding="utf-8")
    for path, text in made_pages().items():
        path.write_text(text, encoding="utf-8")
