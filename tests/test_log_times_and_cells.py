"""What a log must not take for granted: which moment a clock meant, and that a cell is only a text."""

from __future__ import annotations

import csv
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta, timezone
from pathlib import Path
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

import pytest
from conftest import Outcome
from hypothesis import given
from hypothesis import strategies as st
from test_logbook import MEMORY, note

from chemistry.errors import BadInput
from cli import log_csv
from cli.log_entries import moment

NOW = datetime(2026, 3, 20, 12, 0, tzinfo=timezone(timedelta(hours=1)))


# --- clocks put forward and back ----------------------------------------------------------------------------------


@contextmanager
def machine_in(zone: str) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", zone)
        time.tzset()
        try:
            yield
        finally:
            patch.undo()
            time.tzset()


@pytest.mark.parametrize(("zone", "text", "said", "offered"), [
    ("Europe/Berlin", "2026-03-29 02:30", "never was", ("2026-03-29T01:30+01:00", "2026-03-29T03:30+02:00")),
    ("Europe/Berlin", "2026-03-29 02:00", "never was", ("2026-03-29T01:00+01:00", "2026-03-29T03:00+02:00")),
    ("Europe/Berlin", "2026-10-25 02:30", "came twice", ("2026-10-25T02:30+02:00", "2026-10-25T02:30+01:00")),
    ("America/New_York", "2026-03-08T02:59", "never was", ("2026-03-08T01:59-05:00", "2026-03-08T03:59-04:00")),
    ("Australia/Lord_Howe", "2026-10-04 02:15", "never was", ("2026-10-04T01:45+10:30", "2026-10-04T02:45+11:00")),
    ("Australia/Lord_Howe", "2026-04-05 01:45", "came twice", ("2026-04-05T01:45+11:00", "2026-04-05T01:45+10:30")),
])  # fmt: skip
def test_an_hour_that_never_was_or_came_twice_is_asked_back(
    zone: str, text: str, said: str, offered: tuple[str, str]
) -> None:
    with machine_in(zone):
        with pytest.raises(BadInput) as told:
            moment(text, "--at")
        (fault,) = told.value.faults
        assert said in fault.message and text in fault.message
        assert fault.hint == f"Write {' or '.join(offered)}."
        for answer in offered:  # what is offered is taken, and means what it says
            assert moment(answer, "--at")[1] == datetime.fromisoformat(answer).timestamp()


@given(st.datetimes(datetime(2000, 1, 1), datetime(2037, 1, 1)), st.sampled_from(["Europe/Berlin", "America/New_York"]))
def test_every_other_time_is_what_the_clock_there_showed(clock: datetime, zone: str) -> None:
    there = clock.replace(microsecond=0, tzinfo=ZoneInfo(zone))
    folds = {there.replace(fold=fold).utcoffset() for fold in (0, 1)}
    with machine_in(zone):
        if len(folds) == 2:
            with pytest.raises(BadInput, match="Write"):
                moment(str(there.replace(tzinfo=None)), "--at")
        else:
            assert moment(str(there.replace(tzinfo=None)), "--at") == (there.isoformat(), there.timestamp())


def test_the_command_asks_back_and_enters_nothing(tmp_path: Path, tapwright: Callable[..., Outcome]) -> None:
    house = tmp_path / "house.toml"
    house.write_text('[[tank]]\nname = "Rock wall"\n', encoding="utf-8")
    with machine_in("Europe/Berlin"):
        done = tapwright("log", "add", house, "--tank", "Rock wall", "--note", "x", "--at", "2026-03-29 02:30")
    assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
    assert done.err.startswith("--at: '2026-03-29 02:30' never was here")
    assert [path.name for path in tmp_path.iterdir()] == ["house.toml"]


# --- a cell is a text ---------------------------------------------------------------------------------------------

SIGNS = "=+-@'＝＋－＠"
TEXTS = st.text(st.sampled_from(SIGNS) | st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"]), min_size=1).filter(
    str.strip
)


@given(TEXTS, TEXTS)
def test_any_text_comes_back_and_none_begins_as_a_formula(text: str, tank: str) -> None:
    stands = note(f"'{text}", note=text, tank=tank, written=NOW.isoformat())
    with TemporaryDirectory(dir=MEMORY) as folder:
        path = Path(folder, "log.csv")
        log_csv.written([stands], path, force=False)
        with path.open(encoding="utf-8", newline="") as file:
            (cells,) = csv.DictReader(file)
        assert not any((cell or "x")[0] in "=+-@＝＋－＠\t\r\n" for cell in cells.values())
        assert log_csv.read(path, [tank], NOW) == [stands]


@pytest.mark.parametrize(("text", "cell"), [
    ("=1+1", "'=1+1"), ("'=1+1", "''=1+1"), ("''@x", "'''@x"), ("-3 dKH", "'-3 dKH"), ("'quoted'", "'quoted'"),
    ("5 - 3 = 2", "5 - 3 = 2"), ("' x '", "' x '"), ("'", "'"),
])  # fmt: skip
def test_only_what_a_spreadsheet_would_run_is_marked(text: str, cell: str) -> None:
    assert log_csv._cell(text) == cell
    assert log_csv._text(cell) == text
