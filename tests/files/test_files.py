"""What is written stands whole or not at all, and never in the place of what is not its own kind."""

from __future__ import annotations

import errno
import multiprocessing
import os
import signal
import stat
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

import pytest
from conftest import DEMO, ROOT, Outcome

from tapwright.chemistry.errors import BadInput
from tapwright.cli.files import kinds, writing
from tapwright.cli.files.kinds import CHART, LOG_CSV, LOGBOOK, PAGE, Kind
from tapwright.cli.files.writing import placed, write_new
from tapwright.cli.log.logbook import path_of

Run = Callable[..., Outcome]
PAGE_HEAD = '<!doctype html>\n<meta name="generator" content="tapwright">\n'
OF_KIND: dict[str, tuple[Kind, str]] = {
    "page": (PAGE, PAGE_HEAD), "log": (LOG_CSV, "uid,tank,at,kind,quantity\n"), "chart": (CHART, "<?xml version='1'?>\n<svg/>"),
}  # fmt: skip
FOREIGN = {"text": b"mine", "page": b"<!doctype html><p>of another", "csv": b"a,b\n1,2\n", "toml": DEMO.read_bytes(),
           "database": b"SQLite format 3\0" + bytes(4080), "wal": b"\x37\x7f\x06\x82" + bytes(28)}  # fmt: skip


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@contextmanager
def small_disk(folder: Path, kib: int) -> Iterator[Path]:
    """A file system in memory of that size; skipped where none may be mounted."""
    folder.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={kib}k", "tmpfs", folder], capture_output=True, check=False
    )
    if done.returncode:
        pytest.skip("may not mount here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", folder], check=True)


# --- whole or not at all ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("force", [False, True])
def test_a_full_disk_leaves_nothing_and_takes_it_once_there_is_room(force: bool, tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", 64) as disk:
        ballast = disk / "ballast"
        ballast.write_bytes(bytes(40_000))
        place, text = disk / "s.html", PAGE_HEAD + "x" * 40_000
        with pytest.raises(BadInput, match="no space left on device"):
            write_new(place, text, PAGE, force=force)
        assert names(disk) == ["ballast"]
        ballast.unlink()
        write_new(place, text, PAGE, force=force)
        assert place.read_text(encoding="utf-8") == text


def test_a_full_disk_leaves_the_old_page_as_it_was(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", 64) as disk:
        (place := disk / "s.html").write_text(PAGE_HEAD + "old", encoding="utf-8")
        with pytest.raises(BadInput, match="no space left on device"):
            write_new(place, PAGE_HEAD + "x" * 100_000, PAGE, force=True)
        assert place.read_text(encoding="utf-8") == PAGE_HEAD + "old"
        assert names(disk) == ["s.html"]


@pytest.mark.parametrize("force", [False, True])
@pytest.mark.parametrize("failing", ["os.fsync", "os.link", "pathlib.Path.replace", "pathlib.Path.write_bytes"])
def test_a_fault_at_any_step_leaves_the_place_as_it_was(failing: str, force: bool, tmp_path: Path) -> None:
    place = tmp_path / "s.html"
    if force:
        place.write_text(PAGE_HEAD, encoding="utf-8")
    full = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    stood = names(tmp_path)
    with patch(failing, side_effect=full):
        try:
            write_new(place, PAGE_HEAD + "new", PAGE, force=force)
        except BadInput as told:
            assert "no space left on device" in str(told)
            assert names(tmp_path) == stood
            assert not force or place.read_text(encoding="utf-8") == PAGE_HEAD
        else:  # that step is not on this way, or there is another
            assert place.read_text(encoding="utf-8") == PAGE_HEAD + "new"
            assert names(tmp_path) == ["s.html"]


@pytest.mark.parametrize("code", [errno.EPERM, errno.EOPNOTSUPP])
def test_a_disk_without_second_names_still_refuses_what_is_taken(code: int, tmp_path: Path) -> None:
    with patch("os.link", side_effect=OSError(code, os.strerror(code))):
        write_new(tmp_path / "s.html", "one", PAGE)
        with placed(tmp_path / "t.html", PAGE) as part:
            part.write_text("ours", encoding="utf-8")
            with pytest.raises(BadInput, match="there already"), placed(tmp_path / "s.html", PAGE):
                pass
    assert (tmp_path / "s.html").read_text(encoding="utf-8") == "one"
    assert names(tmp_path) == ["s.html", "t.html"]


def test_of_two_who_write_at_once_the_later_is_refused(tmp_path: Path) -> None:
    place = tmp_path / "s.html"
    with pytest.raises(BadInput, match="there already"), placed(place, PAGE) as part:
        part.write_text("late", encoding="utf-8")
        write_new(place, "soon", PAGE)
    assert place.read_text(encoding="utf-8") == "soon"
    assert names(tmp_path) == ["s.html"]


def test_a_household_that_comes_while_a_forced_page_is_made_stays(tmp_path: Path) -> None:
    place = tmp_path / "s.html"
    with pytest.raises(BadInput, match="is a household file"), placed(place, PAGE, force=True) as part:
        part.write_text(PAGE_HEAD, encoding="utf-8")
        place.write_bytes(DEMO.read_bytes())
    assert place.read_bytes() == DEMO.read_bytes()


def _die_at(step: str, place: Path, force: bool) -> None:
    """Write, but be killed just before one call."""
    with patch(step, side_effect=lambda *_, **__: os.kill(os.getpid(), signal.SIGKILL)):
        write_new(place, PAGE_HEAD + "new" * 9999, PAGE, force=force)


@pytest.mark.parametrize("force", [False, True])
@pytest.mark.parametrize(
    "step", ["os.link", "os.fsync", "pathlib.Path.write_bytes", "pathlib.Path.replace", "pathlib.Path.unlink"]
)
def test_killed_at_any_step_there_is_all_or_nothing_and_the_rest_is_swept(
    step: str, force: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "s.html"
    if force:
        place.write_text(PAGE_HEAD, encoding="utf-8")
    child = multiprocessing.get_context("fork").Process(target=_die_at, args=(step, place, force))
    child.start()
    child.join()
    whole = PAGE_HEAD + "new" * 9999
    if place.exists():
        assert place.read_text(encoding="utf-8") in ({PAGE_HEAD, whole} if force else {whole})
    write_new(tmp_path / "soon.html", "x", PAGE)  # what is fresh may belong to somebody who is still at it
    assert child.exitcode in (0, -signal.SIGKILL)
    monkeypatch.setattr(writing, "_STALE_S", -1.0)
    write_new(tmp_path / "later.html", "x", PAGE)
    assert set(names(tmp_path)) <= {"s.html", "soon.html", "later.html"}


def test_what_is_written_is_open_to_whom_the_old_one_was(tmp_path: Path) -> None:
    place = tmp_path / "s.html"
    write_new(place, PAGE_HEAD, PAGE)
    place.chmod(0o640)
    write_new(place, PAGE_HEAD, PAGE, force=True)
    assert stat.S_IMODE(place.stat().st_mode) == 0o640


# --- only over its own kind ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", OF_KIND)
def test_force_takes_the_place_of_its_own_kind_alone(kind: str, tmp_path: Path) -> None:
    own, text = OF_KIND[kind]
    others = {name: other.encode() for name, (_, other) in OF_KIND.items() if name != kind}
    for number, there in enumerate([*FOREIGN.values(), *others.values()]):
        place = tmp_path / f"{number}.html"
        place.write_bytes(there)
        with pytest.raises(BadInput, match="left as it is") as told:
            write_new(place, "new", own, force=True)
        assert "--force" not in str(told.value)
        assert place.read_bytes() == there
    for there in (text, text + "old", ""):
        place.write_text(there, encoding="utf-8")
        write_new(place, text + "new", own, force=True)
        assert place.read_text(encoding="utf-8") == text + "new"


@pytest.mark.parametrize("way", ["itself", "symlink", "hard link", "other name"])
@pytest.mark.parametrize("what", ["household", "log"])
@pytest.mark.parametrize("command", ["sheet", "export"])
def test_no_household_and_no_log_is_written_over_by_any_way(
    command: str, what: str, way: str, tmp_path: Path, tapwright: Run
) -> None:
    own, others = (tmp_path / name / "house.toml" for name in ("own", "others"))
    for house in (own, others):
        house.parent.mkdir()
        house.write_bytes(DEMO.read_bytes())
        assert tapwright("log", "import", house, DEMO.parent / "log.csv").code == 0
    target = others if what == "household" else path_of(others)
    place = tmp_path / "s.html"
    if way == "itself":
        place = target
    elif way == "symlink":
        place.symlink_to(target)
    elif way == "hard link":
        os.link(target, place)
    else:
        target = target.rename(place)
    before = target.read_bytes()
    words = ("log", "export", own, place) if command == "export" else ("sheet", own, "--tank", "Rock wall", "-o", place)
    with patch("tapwright.cli.commands.plan.planned", side_effect=AssertionError("planned for nothing")):
        done = tapwright(*words, "--force")
    assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
    assert target.read_bytes() == place.read_bytes() == before


@pytest.mark.parametrize("end", ["-wal", "-shm", "-journal", ""])
def test_nothing_is_put_where_a_log_or_what_it_keeps_beside_it_lies(end: str, tmp_path: Path) -> None:
    for there in (None, b""):
        place = tmp_path / f"house.log.sqlite{end}"
        if there is not None:
            place.write_bytes(there)
        for kind, force in ((LOG_CSV, True), (PAGE, False), (PAGE, True), (None, False)):
            with pytest.raises(BadInput):
                write_new(place, "x", kind, force=force)
        assert there == (place.read_bytes() if place.exists() else None)
    (tmp_path / "moved.db").write_bytes(FOREIGN["database"])
    with pytest.raises(BadInput, match="belongs to the database"):
        write_new(tmp_path / f"moved.db{end or '-wal'}", "x", LOG_CSV)


def test_a_link_to_a_page_stays_a_link_and_the_page_is_renewed(tmp_path: Path) -> None:
    page, link = tmp_path / "s.html", tmp_path / "link.html"
    page.write_text(PAGE_HEAD, encoding="utf-8")
    link.symlink_to(page)
    write_new(link, PAGE_HEAD + "new", PAGE, force=True)
    assert link.is_symlink()
    assert page.read_text(encoding="utf-8") == PAGE_HEAD + "new"


def test_what_the_tool_writes_it_knows_again(tmp_path: Path, tapwright: Run) -> None:
    house = tmp_path / "house.toml"
    house.write_bytes(DEMO.read_bytes())
    tapwright("log", "import", house, DEMO.parent / "log.csv")
    page, table, chart = (tmp_path / name for name in ("s.html", "log.csv", "n.svg"))
    now = ("--now", "2026-03-31 12:00")
    for words in (("sheet", house, "--tank", "Rock wall", "-o", page), ("log", "export", house, table),
                  ("nitrate", house, "--tank", "Rock wall", *now, "--chart", chart)):  # fmt: skip
        assert [tapwright(*words).code, tapwright(*words).code, tapwright(*words, "--force").code] == [0, 2, 0]
    for path, kind in ((page, PAGE), (table, LOG_CSV), (chart, CHART), (path_of(house), LOGBOOK)):
        assert kind.knows(path.read_bytes()[: kinds._HEAD_BYTES])


def test_the_command_leaves_no_half_on_a_full_disk(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", 96) as disk:
        house = disk / "house.toml"
        house.write_bytes(DEMO.read_bytes())
        words = ["sheet", house, "--tank", "Rock wall", "-o", disk / "s.html"]
        command = [sys.executable, "-m", "tapwright", *words]
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stdout) == (2, "")
        assert "no space left on device" in done.stderr
        assert names(disk) == ["house.toml"]
